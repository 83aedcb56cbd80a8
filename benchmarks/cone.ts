// A wedge and a circle around a cone that a rotary turns, on virtual engravers whose lines lie as far apart as the
// girth makes them: prepared as if the piece were flat (before) and with its two diameters (after). Tones along the
// axis beside those half-way, the circle's shape on the skin laid flat, and what shows at the seam of a picture that
// goes all around. The profile is learned from a scanned flat chart. The engravers are the project's own
// (`engraveCone`) and the second one of benchmarks/mismatch, burned in rings. Arguments: words of the cases' names.
// DIAMETERS (34,30), HEIGHT (40 mm); with ALL=1 tones are listed by place.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { CaptureImage, ChartLayout } from '../src/chart/index.ts';
import { learnProfile, makeChart, prepareJob, requestScreen, resolveChart, resolveJob } from '../src/job/index.ts';
import { openShop } from '../src/material/index.ts';
import { type DotGrid, type Dots, decodeDotsBytes, decodePhoto, encodeColour, orientDots } from '../src/plane/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  engraveCone,
  meanLightness,
  parseMaterialModel,
  type Surface,
  type TurnedPiece,
  unrollPiece,
} from '../src/simulation/index.ts';
import { coverPiece } from './common/cover-piece.ts';
import { runBenches } from './common/run-benches.ts';
import { burnOther, drawMaterial } from './mismatch/engraver.ts';
import { takePicture } from './mismatch/picture.ts';

const [UPPER, LOWER] = (process.env.DIAMETERS ?? '34,30').split(',').map(Number) as [number, number];
const HEIGHT = Number(process.env.HEIGHT ?? 40);
const MIDDLE = (UPPER + LOWER) / 2;
const CONE = { diametersMm: [UPPER, LOWER] } as const;
const TURN_MM = Math.PI * MIDDLE;
/** Steps of the wedge around, each of so many millimetres, and bands along the axis in which tones are measured. */
const STEPS = 7;
const STEP_MM = 4;
const BANDS = 9;
/** Held to: tones along the axis after, mean and worst, L*; the circle, mm; the seam, L*. */
const LIMITS = { mean: 0.4, worst: 2, circleMm: 0.1, seamL: 1 } as const;

/** Bands of a burned wedge, from the upper edge down, by step. */
type Tones = readonly (readonly number[])[];

interface Bench {
  readonly name: string;
  readonly machine: string;
  readonly direction: 'lighter' | 'darker';
  readonly grid: DotGrid;
  readonly spotUm: number;
  readonly burnFlat: (dots: Dots) => Surface;
  readonly toneCone: (dots: Dots, grid: DotGrid) => Tones;
  /** The whole piece, where the engraver knows cones. */
  readonly burnCone?: (dots: Dots, grid: DotGrid) => TurnedPiece;
  readonly scan: (piece: Surface, layout: ChartLayout) => CaptureImage;
}

function ownBench(material: string, machine: string): Bench {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));
  const still = { ...model, grain: [], beam: { ...model.beam, jitterUm: 0 } };
  const burnCone = (dots: Dots, grid: DotGrid) =>
    engraveCone(dots, { grid, model: still, seed: 3, pixelUm: 60, coneDiametersMm: [UPPER, LOWER] });
  return {
    name: material,
    machine,
    direction: model.direction,
    grid: model.reference,
    spotUm: Math.sqrt(model.beam.spotDiameterXUm * model.beam.spotDiameterYUm),
    burnFlat: (dots) => engrave(dots, { grid: model.reference, model, seed: 1, pixelUm: 25_400 / 600, marginMm: 1 }),
    toneCone: (dots, grid) => {
      const { columns, rows, lengthMm, pixelMm, rgb } = burnCone(dots, grid);
      const flat: Surface = {
        ...{ width: columns, height: rows, rgb, leftMm: 0, topMm: 0, cornerRadiusMm: 0 },
        ...{ pixelWidthMm: lengthMm / columns, pixelHeightMm: TURN_MM / rows, widthMm: lengthMm, heightMm: TURN_MM },
      };
      const firstMm = (TURN_MM - dots.height * grid.lineSpacingMm) / 2;
      if (!(pixelMm > 0)) throw new RangeError('a piece needs pixels');
      return listBands().map((share) =>
        listSteps().map((step) =>
          meanLightness(flat, {
            xMm: (1 - share) * lengthMm - 1,
            yMm: firstMm + step * STEP_MM + 1,
            widthMm: 2,
            heightMm: STEP_MM - 2,
          }),
        ),
      );
    },
    burnCone,
    scan: (piece) => ({ ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 }),
  };
}

function otherBench(name: string, seed: number): Bench {
  const material = drawMaterial(seed);
  return {
    name,
    machine: 'gantry-450',
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    grid: { pitchMm: material.grid.pitchMm, lineSpacingMm: material.grid.pitchMm },
    spotUm: Math.sqrt(material.spotXUm * material.spotYUm),
    burnFlat: (dots) => burnOther(dots, { material: square(material), seed: 1, perDot: 3 }),
    toneCone: (dots, grid) =>
      listBands().map((share) => {
        const column = Math.round((1 - share) * dots.width);
        const reach = Math.round(2 / grid.pitchMm);
        const [from, to] = [Math.max(0, column - reach), Math.min(dots.width, column + reach)];
        const girth = (UPPER + share * (LOWER - UPPER)) / MIDDLE;
        const lineSpacingMm = grid.lineSpacingMm * girth;
        const ring = burnOther(cut(dots, from, to), {
          material: { ...square(material), grid: { pitchMm: grid.pitchMm, lineSpacingMm } },
          seed: 3,
          perDot: 3,
        });
        return listSteps().map((step) =>
          meanLightness(ring, {
            xMm: (column - from) * grid.pitchMm - 1,
            yMm: (step * STEP_MM + 1) * girth,
            widthMm: 2,
            heightMm: (STEP_MM - 2) * girth,
          }),
        );
      }),
    scan: (piece, layout) => takePicture(piece, { layout, material, kind: 'scan', seed: 2, withPaper: false }),
  };
}

const square = <M extends { readonly grid: DotGrid }>(material: M): M => ({
  ...material,
  grid: { pitchMm: material.grid.pitchMm, lineSpacingMm: material.grid.pitchMm },
});

/** Places of the bands, shares of the height from the upper edge. */
const listBands = () => Array.from({ length: BANDS }, (_, band) => 0.05 + (0.9 * band) / (BANDS - 1));
const listSteps = () => Array.from({ length: STEPS }, (_, step) => step);

function cut({ width, height, levels, data }: Dots, from: number, to: number): Dots {
  const part = new Uint8Array((to - from) * height);
  for (let y = 0; y < height; y++) part.set(data.subarray(y * width + from, y * width + to), y * (to - from));
  return { scale: 'bit', width: to - from, height, levels, data: part };
}

const BENCHES: readonly (() => Bench)[] = [
  () => ownBench('anodised-black', 'galvo-1064-f160'),
  () => ownBench('stainless', 'galvo-1064-f160'),
  () => ownBench('painted-steel', 'galvo-1064-f160'),
  () => ownBench('glass', 'galvo-355-f210'),
  () => ownBench('birch', 'gantry-450'),
  () => otherBench('other engraver, a threshold', 3),
  () => otherBench('other engraver, saturating', 5),
];

type Known = Parameters<typeof resolveJob>[1];

async function run(bench: Bench, folder: string): Promise<void> {
  const known = await learnHome(bench, folder);
  const home = bench.toneCone(wedge(false, known), bench.grid);
  const turned = bench.toneCone(wedge(true, known), bench.grid);
  const [before, after] = [assess(home), assess(turned)];
  const isOff = after.mean > LIMITS.mean || after.worst > LIMITS.worst || after.mean > before.mean;
  if (isOff) process.exitCode = 1;
  const say = ({ mean, worst }: typeof before) => `mean ${mean.toFixed(2)}, worst ${worst.toFixed(2)} L*`;
  console.log(
    `${isOff ? '! ' : ''}${bench.name}: tones along Ø ${UPPER} to ${LOWER} mm over ${HEIGHT} mm: ${say(before)} → ${say(after)}`,
  );
  if (process.env.ALL) {
    for (const band of turned) console.log(`  ${band.map((tone) => tone.toFixed(1).padStart(6)).join(' ')}`);
  }
  if (bench.burnCone && !isDrawn) {
    isDrawn = true;
    await drawCircle(bench, known);
    await closeTurn(bench, known);
  }
}

async function learnHome(bench: Bench, folder: string): Promise<Known> {
  const shopDir = join(folder, bench.name.replace(/\W+/g, '-'));
  for (const kind of ['machines', 'profiles']) mkdirSync(join(shopDir, kind), { recursive: true });
  const machine = JSON.parse(readFileSync(`shared/machines/${bench.machine}.json`, 'utf8'));
  writeFileSync(
    join(shopDir, 'machines', 'bench.json'),
    JSON.stringify({ ...machine, name: 'bench', spotDiameterUm: bench.spotUm }),
  );
  const known = { shop: openShop({ shopDir, builtIn: ['shared/shop', 'shared'] }), refused: [] };
  const stock = { machine: 'bench', material: 'stock', direction: bench.direction, ...bench.grid } as const;
  const { layout, dots } = await makeChart(
    resolveChart({ kind: 'tone', ...stock, size: '64x46', screen: 'ostromoukhov' }, known),
  );
  const image = bench.scan(bench.burnFlat(dots), layout);
  const { profile } = learnProfile([{ name: 'tone', image }], {
    ...{ layouts: [layout], camera: 'known', date: '2026-01-01', origin: 'simulated', name: 'home' },
  } as Parameters<typeof learnProfile>[1]);
  writeFileSync(join(shopDir, 'profiles', 'home.json'), JSON.stringify(profile));
  return known;
}

const requestOf = (isTurned: boolean, widthMm: number) =>
  ({
    ...{ size: `${widthMm}x${HEIGHT}`, profile: 'home', subject: 'none', tone: 'plain', safeMarginMm: 0 },
    ...(isTurned ? { around: CONE } : { rotateDeg: 90 }),
  }) as Parameters<typeof resolveJob>[0];

/** The wedge's dots as they are burned: steps of equal L* around, each the same from edge to edge. */
function wedge(isTurned: boolean, known: Known): Dots {
  const spec = resolveJob(requestOf(isTurned, STEPS * STEP_MM), known);
  const { coverage } = coverPiece(spec, ({ x, width }) => (100 * Math.floor((x * STEPS) / width)) / (STEPS - 1));
  return orientDots(applyScreen(coverage, requestScreen(spec)), spec.orientation);
}

function assess(tones: Tones): { readonly mean: number; readonly worst: number } {
  const middle = tones[(BANDS - 1) / 2]!;
  const errors = tones.flatMap((band) => band.map((tone, step) => Math.abs(tone - middle[step]!)));
  return { mean: errors.reduce((sum, error) => sum + error, 0) / errors.length, worst: Math.max(...errors) };
}

interface DrawnPhoto {
  readonly around: { readonly stepsPerTurn?: number; readonly overlapMm?: number } | undefined;
  readonly widthMm: number;
  readonly greyAt: (xMm: number, yMm: number) => number;
}

/** A picture of grey values as a photo goes through the whole road. */
async function burnPhoto(bench: Bench, known: Known, { around, widthMm, greyAt }: DrawnPhoto): Promise<TurnedPiece> {
  const perMm = 12;
  const [width, height] = [Math.round(widthMm * perMm), HEIGHT * perMm];
  const rgb = new Uint8Array(3 * width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = 3 * (y * width + x);
      rgb.fill(greyAt((x + 0.5) / perMm - widthMm / 2, (y + 0.5) / perMm - HEIGHT / 2), at, at + 3);
    }
  }
  const bytes = await encodeColour({ width, height, rgb }, { format: 'png' });
  const spec = resolveJob(
    { ...requestOf(around !== undefined, widthMm), ...(around ? { around: { ...around, ...CONE } } : {}) },
    known,
  );
  const { files } = await prepareJob(() => decodePhoto(Buffer.from(bytes), 'drawn.png'), {
    ...{ spec, name: 'drawn', photoFile: 'drawn.png', version: 'bench', only: 'bitmap' },
  } as Parameters<typeof prepareJob>[1]);
  const { dots } = await decodeDotsBytes(files[0]!.bytes as Buffer, 'drawn');
  return bench.burnCone!(dots, spec.grid);
}

/** A disc 26 mm across, and how far its edge on the skin lies from a circle. */
async function drawCircle(bench: Bench, known: Known): Promise<void> {
  const radiusMm = 13;
  const greyAt = (x: number, y: number) => (Math.hypot(x, y) < radiusMm ? 255 : 0);
  const off = async (around: DrawnPhoto['around']) => {
    const piece = await burnPhoto(bench, known, { around, widthMm: 60, greyAt });
    return roundness(unrollPiece(piece, { pixelUm: 60 }));
  };
  const before = await off(undefined);
  const after = await off({});
  if (after.worstMm > LIMITS.circleMm) process.exitCode = 1;
  const say = ({ widthMm, heightMm, worstMm }: typeof before) =>
    `${widthMm.toFixed(2)} × ${heightMm.toFixed(2)} mm, ${worstMm.toFixed(2)} mm off a circle at worst`;
  console.log(`  a disc of ${2 * radiusMm} mm on the skin: ${say(before)} → ${say(after)}`);
}

/** Width and height of what differs from the corners, and its edge's farthest way from the circle that fits best. */
function roundness({ width, height, pixelWidthMm, pixelHeightMm, rgb }: Surface) {
  const lightAt = (x: number, y: number) => rgb[3 * (y * width + x) + 1]!;
  // The skin's front is its highest line where the piece is wider above, else its lowest.
  const frontMm = UPPER >= LOWER ? HEIGHT / 2 : height * pixelHeightMm - HEIGHT / 2;
  const [cx, cy] = [Math.round(width / 2), Math.round(frontMm / pixelHeightMm)];
  const inside = lightAt(cx, cy);
  const outside = lightAt(cx + Math.round(22 / pixelWidthMm), cy);
  const share = (x: number, y: number) => {
    const [left, top] = [Math.floor(x), Math.floor(y)];
    const [right, below] = [x - left, y - top];
    const upper = lightAt(left, top) * (1 - right) + lightAt(left + 1, top) * right;
    const lower = lightAt(left, top + 1) * (1 - right) + lightAt(left + 1, top + 1) * right;
    return (upper * (1 - below) + lower * below - outside) / (inside - outside);
  };
  // Where it lies: the mean of what is as marked as its middle.
  let [sumX, sumY, count] = [0, 0, 0];
  const reachPx = Math.round(17 / pixelWidthMm);
  for (let y = Math.max(0, cy - reachPx); y < Math.min(height, cy + reachPx); y++) {
    for (let x = cx - reachPx; x < cx + reachPx; x++) {
      const one = (lightAt(x, y) - outside) / (inside - outside);
      if (one < 0.5 || lightAt(x, y) > 0.99) continue;
      [sumX, sumY, count] = [sumX + x + 0.5, sumY + y + 0.5, count + 1];
    }
  }
  const [midX, midY] = [sumX / count - 0.5, sumY / count - 0.5];
  const edge = Array.from({ length: 180 }, (_, at) => {
    const angle = (2 * Math.PI * at) / 180;
    // From far out inwards, to where half of the change is seen.
    let mm = 16.5;
    while (
      mm > 1 &&
      share(midX + (mm * Math.cos(angle)) / pixelWidthMm, midY + (mm * Math.sin(angle)) / pixelHeightMm) < 0.5
    ) {
      mm -= 0.01;
    }
    return [mm * Math.cos(angle), mm * Math.sin(angle)] as const;
  });
  // Least squares of x² + y² = 2ax + 2by + c, by the sums of an even fan of points.
  let [a, b] = [0, 0];
  let radius = 0;
  for (let round = 0; round < 50; round++) {
    const far = edge.map(([x, y]) => Math.hypot(x - a, y - b));
    radius = far.reduce((sum, one) => sum + one, 0) / far.length;
    const pull = (axis: 0 | 1, from: number) =>
      edge.reduce((sum, point, at) => sum + (2 * (far[at]! - radius) * (point[axis] - from)) / far[at]!, 0) /
      edge.length;
    [a, b] = [a + pull(0, a), b + pull(1, b)];
  }
  const far = edge.map(([x, y]) => Math.hypot(x - a, y - b) - radius);
  const span = (axis: 0 | 1) => Math.max(...edge.map((p) => p[axis])) - Math.min(...edge.map((p) => p[axis]));
  return { widthMm: span(0), heightMm: span(1), worstMm: Math.max(...far.map(Math.abs)) };
}

/** A picture all around: dark at its one end and light at the other, and one of a single tone. */
async function closeTurn(bench: Bench, known: Known): Promise<void> {
  const stepsPerTurn = 25_600;
  const widthMm = Math.round(TURN_MM * 100) / 100;
  const even = await burnPhoto(bench, known, {
    around: { stepsPerTurn },
    widthMm,
    greyAt: (_x, y) => (Math.abs(y) < 16 ? 128 : 0),
  });
  const line = seamOf(even, 0.3);
  const rise = (x: number, y: number) => (Math.abs(y) < 16 ? Math.round(128 + (140 * x) / widthMm) : 0);
  const jump = async (overlapMm?: number) => {
    const around = { stepsPerTurn, ...(overlapMm === undefined ? {} : { overlapMm }) };
    return steepest(await burnPhoto(bench, known, { around, widthMm, greyAt: rise }));
  };
  const [open, blended] = [await jump(), await jump(10)];
  if (Math.abs(line) > LIMITS.seamL) process.exitCode = 1;
  console.log(
    `  all around: one tone shows its seam by ${line.toFixed(2)} L* over 0.3 mm; a picture from dark to light jumps by ${open.toFixed(1)} L* within 1 mm, blended over 10 mm by ${blended.toFixed(1)}`,
  );
}

/** L* within the middle half of the height, so far around from the seam. */
function toneAround({ columns, rows, rgb }: TurnedPiece, fromMm: number, toMm: number): number {
  const rowOf = (mm: number) => Math.round((mm / TURN_MM) * rows);
  let [sum, count] = [0, 0];
  for (let row = rowOf(fromMm); row < rowOf(toMm); row++) {
    for (let x = Math.round(columns * 0.3); x < columns * 0.7; x++) {
      const at = 3 * (((row + rows) % rows) * columns + x);
      sum += 0.2126 * rgb[at]! + 0.7152 * rgb[at + 1]! + 0.0722 * rgb[at + 2]!;
      count++;
    }
  }
  const light = sum / count;
  return light > 216 / 24389 ? 116 * Math.cbrt(light) - 16 : (light * 24389) / 27;
}

const seamOf = (piece: TurnedPiece, wideMm: number) =>
  toneAround(piece, -wideMm / 2, wideMm / 2) - (toneAround(piece, -4, -1) + toneAround(piece, 1, 4)) / 2;

/** Largest change of L* over a millimetre, near the seam. */
function steepest(piece: TurnedPiece): number {
  const tones = Array.from({ length: 28 }, (_, at) => toneAround(piece, at - 14, at - 13));
  return Math.max(...tones.slice(1).map((tone, at) => Math.abs(tone - tones[at]!)));
}

let isDrawn = false;
await runBenches(BENCHES, run);
