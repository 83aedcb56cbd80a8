// Finds and reads charts in 240 captures by a camera and a scanner that share nothing with those of src/simulation and
// benchmarks/common (benchmarks/mismatch/camera.ts): a pinhole above a table of boards with a ruler and printed cards,
// coloured stock and light, a bent lens off its middle, sideways colour, a disc of defocus, shake, a colour mosaic with
// noise of photons, noise filter, local tone, S-curves, sharpening with halos, JPEG 4:2:0 of quality 60 to 92 with EXIF
// turns; scans as 16-bit TIFF, grey, Adobe RGB. Counts as benchmarks/captures.ts does. Beside it, on the same captures,
// the tags that the AprilTag project's own detector finds (Debian package python3-apriltag, where installed), and how
// far the corners of both lie from the truth; light tags are inverted for it. `--check` ends with 1 when a goal is
// missed; COUNT, SEED, ONLY, SAVE as there.
import sharp from 'sharp';
import {
  type CaptureImage,
  type ChartLayout,
  type Corners,
  type Located,
  locateChart,
  locateTags,
  placeOnCapture,
  type Readings,
  readPatches,
} from '../src/chart/index.ts';
import { lightnessOfReflectance } from '../src/colour/index.ts';
import { AppError } from '../src/errors.ts';
import { withoutCodes } from '../src/notices.ts';
import { drawOnce, LAYOUTS } from './common/example-charts.ts';
import { findProgram, PYTHON } from './common/outside-programs.ts';
import { findReferenceTags, greyOf, REFERENCE_PROBE } from './common/reference-tags.ts';
import { median } from './median.ts';
import { makeOtherCase, type Placed } from './mismatch/cases.ts';

const COUNT = Number(process.env.COUNT ?? 240);
const SEED = Number(process.env.SEED ?? 1);
const only = process.env.ONLY?.split(',').map(Number);
const known = Object.values(LAYOUTS);

/** Largest distance of a patch's middle from where the camera put it, mm. */
function worstPlace({ place }: Placed, { layout, map, pxPerMm }: Located): number {
  let worst = 0;
  for (const { xMm, yMm, widthMm, heightMm } of layout.patches) {
    const middle = [xMm + widthMm / 2, yMm + heightMm / 2] as const;
    const [tx, ty] = place(...middle);
    const [px, py] = placeOnCapture(map, ...middle);
    worst = Math.max(worst, Math.hypot(px - tx, py - ty) / pxPerMm);
  }
  return worst;
}

/** Errors of the patches that were read, L*. */
function toneErrors({ readings }: Readings, { layout, bare, solid }: Placed): readonly number[] {
  const dots = drawOnce(layout);
  return readings.map(({ id, mean }) => {
    const patch = layout.patches.find((one) => one.id === id)!;
    let fired = 0;
    for (let y = 0; y < patch.heightDots; y++) {
      for (let x = 0; x < patch.widthDots; x++) fired += dots.data[(patch.yDots + y) * dots.width + patch.xDots + x]!;
    }
    const truth = bare + ((solid - bare) * fired) / (patch.widthDots * patch.heightDots);
    return Math.abs(lightnessOfReflectance(bare * mean) - lightnessOfReflectance(truth));
  });
}

const hasReference = process.env.TAGS !== '0' && findProgram(PYTHON, REFERENCE_PROBE);

/** Ink corners of a tag in the picture. */
function tagCorners({ place, layout }: Placed, { xDots, yDots, cellDotsX, cellDotsY }: ChartLayout['tags'][number]) {
  const { pitchMm, lineSpacingMm } = layout.grid;
  const at = (x: number, y: number) =>
    place((xDots + x * cellDotsX) * pitchMm, (yDots + y * cellDotsY) * lineSpacingMm);
  return [at(1, 1), at(9, 1), at(9, 9), at(1, 9)] as const;
}

/** Root mean square distance of corners from the truth, pixels. */
const cornerError = (found: Corners, truth: readonly (readonly [number, number])[]) =>
  Math.sqrt(found.reduce((sum, [x, y], i) => sum + (x - truth[i]![0]) ** 2 + (y - truth[i]![1]) ** 2, 0) / 4);

/** A tag counts as found when its corners lie within this of the truth, cells. */
const TAG_NEAR_CELLS = 0.5;
const tagCounts = { there: 0, ours: 0, theirs: 0, both: 0, strays: 0, theirStrays: 0 };
const cornerErrors: { readonly ours: number[]; readonly theirs: number[]; readonly polished: number[] } = {
  ours: [],
  theirs: [],
  polished: [],
};
const missedTags: string[] = [];

/** Counts the tags that both detectors find in one capture. */
function compareTags(
  capture: CaptureImage,
  { at, name, charts }: { at: number; name: string; charts: readonly Placed[] },
) {
  const [{ bare, solid }] = charts as [Placed];
  const ours = locateTags(capture);
  const theirs = findReferenceTags(greyOf(capture, { inverted: solid > bare }), capture.width, capture.height);
  let located: Located | undefined;
  try {
    located = locateChart(capture, known);
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
  }
  const truths = charts.flatMap((chart) =>
    chart.layout.tags.map((tag) => ({ tag, chart, corners: tagCorners(chart, tag) })),
  );
  const nearTruth = (found: { id: number; corners: Corners }) =>
    truths.find(({ tag, corners }) => {
      const cellPx = Math.hypot(corners[0][0] - corners[2][0], corners[0][1] - corners[2][1]) / Math.SQRT2 / 8;
      return tag.id === found.id && cornerError(found.corners, corners) < TAG_NEAR_CELLS * cellPx;
    });
  tagCounts.there += truths.length;
  tagCounts.strays += ours.filter((found) => found.hamming <= 2 && !nearTruth(found)).length;
  tagCounts.theirStrays += theirs.filter((found) => !nearTruth(found)).length;
  for (const { tag, corners, chart } of truths) {
    const own = ours.find((found) => found.id === tag.id && nearTruth(found));
    const their = theirs.find((found) => found.id === tag.id && nearTruth(found));
    if (own) tagCounts.ours++;
    if (their) tagCounts.theirs++;
    if (their && !own) missedTags.push(`${at}: ${name}: tag ${tag.position} of ${chart.layout.kind}`);
    if (!own || !their) continue;
    tagCounts.both++;
    cornerErrors.ours.push(cornerError(own.corners, corners));
    cornerErrors.theirs.push(cornerError(their.corners, corners));
    const polished = located?.layout === chart.layout && located.tags.find(({ position }) => position === tag.position);
    if (polished) cornerErrors.polished.push(cornerError(polished.corners, corners));
  }
}

const places: number[] = [];
const times: number[] = [];
const tones = new Map<string, number[]>();
const refused = new Map<string, number>();
const misread: string[] = [];
for (const at of only ?? Array.from({ length: COUNT }, (_, i) => i)) {
  const { name, charts, plain, traits, take } = makeOtherCase(at, SEED);
  const capture = await take();
  const { width, height } = capture;
  if (process.env.SAVE !== undefined) {
    const rgb = capture.bits === 16 ? Uint8Array.from(capture.rgb, (value) => value >> 8) : capture.rgb;
    await sharp(rgb, { raw: { width, height, channels: 3 } })
      .png()
      .toFile(`${process.env.SAVE}/other-${at}.png`);
  }
  if (hasReference) compareTags(capture, { at, name, charts });
  const start = process.cpuUsage();
  try {
    const located = locateChart(capture, known);
    const readings = readPatches(capture, located, {
      camera: plain ? 'known' : 'unknown',
      direction: located.direction,
    });
    times.push(process.cpuUsage(start).user / 1000);
    const chart = charts.find(({ layout }) => layout === located.layout);
    const place = chart ? worstPlace(chart, located) : Number.POSITIVE_INFINITY;
    if (!chart || place > located.layout.borderMm / 2) {
      misread.push(`${at}: ${name}: ${located.layout.kind}, place ${place.toFixed(3)} mm`);
      continue;
    }
    places.push(place);
    const errors = toneErrors(readings, chart);
    const worst = Math.max(...errors);
    const group = traits.includes('sharpened')
      ? 'photos, sharpened'
      : !plain
        ? 'photos with a curve of their own'
        : name.includes('scan')
          ? 'scans'
          : 'plain photos';
    tones.set(group, [...(tones.get(group) ?? []), worst]);
    if (process.env.DETAIL !== undefined) {
      console.log(
        `${at}: ${name}: place ${place.toFixed(3)} mm, tone ${worst.toFixed(2)} L*, ${readings.rejected.map(({ id, reason }) => `${id} ${reason}`).join(' ')} ${withoutCodes(
          readings.warnings,
          'patches-left-out',
        )
          .map(({ text }) => text)
          .join(' ')}`,
      );
    }
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    refused.set(error.code, (refused.get(error.code) ?? 0) + 1);
    console.log(`refused ${at}: ${name}: ${error.code}: ${error.message}`);
  }
}

for (const line of misread) console.log(`misread ${line}`);
const gone = [...refused.values()].reduce((sum, n) => sum + n, 0);
const worstOf = (values: readonly number[]) => values.reduce((most, value) => Math.max(most, value), 0);
console.log(
  `captures ${only?.length ?? COUNT}: read ${places.length}, misread ${misread.length}, refused ${gone} ${JSON.stringify([...refused])}`,
);
console.log(
  `place: median ${median(places).toFixed(3)} mm, worst ${worstOf(places).toFixed(3)} mm (half a border is 0.2 mm and more)`,
);
for (const [group, worst] of [...tones].sort()) {
  console.log(
    `tone of ${group} (${worst.length}): worst patch ${median(worst).toFixed(2)} L* in the median, ${worstOf(worst).toFixed(2)} L* at most`,
  );
}
console.log(`CPU: median ${median(times).toFixed(0)} ms a capture, worst ${worstOf(times).toFixed(0)} ms`);
if (hasReference) {
  const { there, ours, theirs, both, strays, theirStrays } = tagCounts;
  for (const line of missedTags) console.log(`tag missed that the reference found ${line}`);
  console.log(
    `tags ${there}: found ${ours}, by the reference ${theirs}, by both ${both}; strays with 2 corrections or fewer ${strays} and ${theirStrays}`,
  );
  const say = (values: readonly number[]) => {
    const sorted = [...values].sort((a, b) => a - b);
    return `${median(sorted).toFixed(3)} px in the median, ${sorted[Math.floor(0.95 * sorted.length)]!.toFixed(3)} at 95 %`;
  };
  const { ours: own, theirs: their, polished } = cornerErrors;
  console.log(`corners: ${say(own)}; polished once the chart is known ${say(polished)}; the reference's ${say(their)}`);
} else console.log('tags: the reference detector is not installed (Debian package python3-apriltag)');
if (process.argv.includes('--check') && (misread.length > 0 || gone > 0)) process.exitCode = 1;
