import { join } from 'node:path';
import type { ChartLayout, Corners } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  addToHistory,
  type ChartRequest,
  checkCapture,
  drawFindings,
  fitCaptures,
  type Learned,
  makeChart,
  measureCaptures,
  measureSpan,
  type NamedCapture,
  parseChartLayout,
  parseRehearsalErrors,
  type ReadCapture,
  readCaptures,
  readHistory,
  readMachine,
  readProfile,
  refuseMaterial,
  renderCheckPage,
  renderMeasuredPage,
  renderProfilePage,
  resolveChart,
  sayExpectedError,
  spotDiameterUm,
  toCaptureImage,
} from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import { notice } from '../notices.ts';
import {
  decodePhoto,
  encodeJpeg,
  readColour,
  readPhotoFile,
  releaseMemory,
  sha256,
  writeFilesAtomic,
} from '../plane/index.ts';
import type { ChartMade, NumberFact, Reading, ReadingAsk } from './protocol.ts';
import { sampleCurve, toDriftPoint } from './server-curve.ts';
import { answering, facts, openRecords, UPLOAD_SECONDS } from './worker-facts.ts';

/** Charts and what is learned from them: the same functions as the commands `chart`, `learn` and `check`. */

export const makeChartFiles = answering(async (request: ChartRequest): Promise<ChartMade> => {
  const { shop, refused } = openRecords();
  const path = join(facts.builtIn.at(-1)!, 'rehearsal-errors.json');
  const spec = resolveChart(request, { shop, refused, rehearsed: parseRehearsalErrors(readJson(path), path) });
  const { layout, cost, files } = await makeChart(spec);
  const { hash, kind, material, machine, direction, widthMm, heightMm, settings, patches } = layout;
  const folder = join(facts.shopDir, 'charts', hash);
  // The same layout has the same hash and the same bytes, so that writing it again changes nothing.
  await writeFilesAtomic(
    files.map(({ name, bytes }) => ({ path: join(folder, name), bytes })),
    { force: true },
  );
  await shop.write('charts', hash, layout, { force: true });
  return {
    hash,
    kind,
    material,
    machine,
    direction,
    widthMm,
    heightMm,
    files: files.map(({ name }) => name),
    seconds: cost.seconds,
    areaCm2: cost.areaCm2,
    patches: patches.length,
    settings,
    warnings: spec.warnings,
    expected: spec.expectedError ? sayExpectedError(spec.expectedError) : null,
  };
});

export interface CaptureInput {
  readonly path: string;
  readonly name: string;
  readonly maxPixels: number;
}

const VIEW_PX = 1600;

export const openCapture = answering(async ({ path, name, maxPixels }: CaptureInput) => {
  const photo = await decodePhoto(await readPhotoFile(path, name), name, { maxPixels, seconds: UPLOAD_SECONDS });
  const scale = Math.min(1, VIEW_PX / Math.max(photo.width, photo.height));
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const size = {
    width: Math.max(1, Math.round(photo.width * scale)),
    height: Math.max(1, Math.round(photo.height * scale)),
  };
  const view = await encodeJpeg(readColour(photo, { crop, ...size }), { quality: 82 });
  const { width, height, facts: about } = photo;
  await releaseMemory();
  return { width, height, format: about.format, view };
});

export interface ReadInput {
  readonly id: string;
  readonly ask: ReadingAsk;
  readonly captures: readonly { readonly path: string; readonly name: string }[];
  /** Folder for what the reading writes. */
  readonly out: string;
  readonly maxPixels: number;
  /** ISO date. */
  readonly date: string;
}

/** Reads captures: a tone chart becomes a profile, a strip a verdict on one, a spot or dose chart its measures. */
export const readChart = answering(async (input: ReadInput): Promise<Reading> => {
  const { shop } = openRecords();
  const { ask, maxPixels } = input;
  const layouts = listLayouts(shop, ask.chart);
  const opened = [];
  for (const { path, name } of input.captures) {
    const bytes = await readPhotoFile(path, name);
    const image = toCaptureImage(await decodePhoto(bytes, name, { maxPixels }));
    opened.push({ name, image, sha256: sha256(bytes) });
  }
  const corners = ask.corners ? { corners: ask.corners as Corners } : {};
  const how = { layouts, camera: ask.camera, mirrored: ask.mirrored, ...corners };
  const reading = ask.profile === undefined ? await learn(opened, input, how) : await check(opened, input, how);
  await releaseMemory();
  return reading;
});

interface How {
  readonly layouts: readonly ChartLayout[];
  readonly camera: 'known' | 'unknown';
  readonly mirrored: boolean;
  readonly corners?: Corners;
}

function listLayouts(shop: Shop, hash: string | undefined): readonly ChartLayout[] {
  const read = (name: string) => {
    const { json, path } = shop.read('charts', name);
    return parseChartLayout(json, path);
  };
  if (hash !== undefined) return [read(hash)];
  const all = shop.list('charts').flatMap(({ name }) => {
    try {
      return [read(name)];
    } catch (error) {
      if (error instanceof AppError) return [];
      throw error;
    }
  });
  if (all.length > 0) return all;
  throw new AppError('path-missing', 'found no chart in the shop, needed the one that was burned: draw it first');
}

async function learn(opened: readonly NamedCapture[], input: ReadInput, how: How): Promise<Reading> {
  const { ask, out, date, id } = input;
  const { shop, refused } = openRecords();
  const read = readCaptures(opened, how);
  const pictures = await drawAll(read, out);
  const { layout } = read[0]!.located;
  const base = { id, date, chart: layout.hash, ask, found: pictures.length };
  if (layout.kind === 'spot' || layout.kind === 'dose') {
    const { reading, warnings } = measureCaptures(read, {});
    const page = renderMeasuredPage({ reading, captureName: read[0]!.name, found: pictures[0]! });
    await writeFilesAtomic(
      [
        { path: join(out, 'measured.json'), bytes: `${JSON.stringify(reading, null, 2)}\n` },
        { path: join(out, 'report.html'), bytes: page },
      ],
      { force: true },
    );
    return {
      ...base,
      kind: 'measured',
      sentences: reading.notes,
      warnings: [...texts(warnings), ...sayRejected(read)],
    };
  }
  const learned = fitCaptures(read, {
    camera: ask.camera,
    date,
    ...(ask.name === undefined ? {} : { name: ask.name }),
  });
  const { profile, report, warnings } = learned;
  refuseMaterial(profile.material, refused);
  const spot = findSpot(profile.machine, shop);
  const page = renderProfilePage({ learned, pictures, ...(spot === undefined ? {} : { spotDiameterUm: spot }) });
  await writeFilesAtomic(
    [
      { path: join(out, 'profile.json'), bytes: `${JSON.stringify(profile, null, 2)}\n` },
      { path: join(out, 'report.html'), bytes: page },
    ],
    { force: true },
  );
  return {
    ...base,
    kind: 'learned',
    name: profile.name,
    title: profile.title,
    material: profile.material,
    machine: profile.machine,
    points: sampleCurve(profile.points),
    band: report.curve.map(({ coverage, lightness, low, high }) => ({ coverage, lightness, low, high })),
    patches: report.rows.map(({ group, role, coverage, lightness, spread, predicted }) => ({
      group,
      role,
      coverage,
      lightness,
      spread,
      predicted,
    })),
    facts: listFacts(learned),
    warnings: [...texts(warnings), ...sayRejected(read)],
    saved: false,
  };
}

type Checked = NamedCapture & { readonly sha256: string };

async function check(opened: readonly Checked[], input: ReadInput, how: How): Promise<Reading> {
  const { ask, out, date, id } = input;
  const { shop } = openRecords();
  if (opened.length !== 1) {
    throw new AppError('option-invalid', `found ${opened.length} captures, needed one: a strip is checked by itself`);
  }
  const [{ name, image, sha256: captureSha256 }] = opened as [Checked];
  const profile = readProfile(ask.profile!, shop);
  const found = checkCapture(image, { ...how, profile });
  const { located, readings } = found;
  const history = addToHistory(readHistory(profile.name, shop), { check: found, date, captureSha256 });
  const [picture] = await drawAll([{ name, image, located, readings }], out);
  const page = renderCheckPage({ check: found, profile, date, captureName: name, found: picture!, history });
  await writeFilesAtomic(
    [
      { path: join(out, 'report.html'), bytes: page },
      { path: join(facts.shopDir, 'history', `${profile.name}.json`), bytes: `${JSON.stringify(history, null, 2)}\n` },
    ],
    { force: true },
  );
  return {
    id,
    date,
    chart: found.chart.hash,
    ask,
    found: 1,
    kind: 'checked',
    profile: profile.name,
    verdict: found.verdict,
    sentences: found.sentences,
    patches: found.patches.map(({ ids, role, coverage, expected, lightness, delta }) => ({
      label: role === 'tone' ? ids.join(' ') : role,
      coverage,
      expected,
      lightness,
      delta,
    })),
    points: sampleCurve(profile.points),
    unit: found.unit,
    history: history.entries.map(toDriftPoint),
    warnings: [...texts(found.warnings), ...sayRejected([{ readings }])],
  };
}

/** The captures with what was found, as files for the page and as data for the report. */
async function drawAll(read: readonly ReadCapture[], out: string): Promise<string[]> {
  const pictures: string[] = [];
  for (const [at, capture] of read.entries()) {
    const uri = await drawFindings(capture);
    pictures.push(uri);
    const bytes = Buffer.from(uri.slice(uri.indexOf(',') + 1), 'base64');
    await writeFilesAtomic([{ path: join(out, `found-${at}.jpg`), bytes }], { force: true });
  }
  return pictures;
}

const texts = (notices: readonly { readonly text: string }[]) => notices.map(({ text }) => text);

function sayRejected(read: readonly Pick<ReadCapture, 'readings'>[]): string[] {
  return read.flatMap(({ readings }) =>
    readings.rejected.map(({ id, detail }) => notice('patch-left-out', { id, detail }).text),
  );
}

function findSpot(machine: string, shop: Shop): number | undefined {
  try {
    return spotDiameterUm(readMachine(machine, shop));
  } catch (error) {
    if (error instanceof AppError && error.code === 'name-unknown') return undefined;
    throw error;
  }
}

function listFacts({ profile, report, recommendedSpacingMm }: Learned): NumberFact[] {
  const width = ({ value, low, high }: Learned['report']['markX']) =>
    `${value.toFixed(1)} µm (95 %: ${low.toFixed(1)} … ${high.toFixed(1)})`;
  return [
    { label: 'Lightness, bare to marked', value: `L* ${profile.bare[0].toFixed(1)} to ${profile.full[0].toFixed(1)}` },
    { label: 'Equal patches differ by', value: `± ${report.repeatability.toFixed(2)} L*` },
    { label: 'A tone left out is missed by', value: `${report.leaveOneOut.toFixed(2)} L*` },
    { label: 'Tones that can be told apart', value: String(measureSpan(profile).tones) },
    { label: 'Mark width along the scan', value: width(report.markX) },
    { label: 'Mark width across the scan', value: width(report.markY) },
    { label: 'Line spacing recommended', value: `${recommendedSpacingMm.toFixed(3)} mm` },
    { label: 'Model against all patches', value: `${report.modelRms.toFixed(2)} L*` },
  ];
}
