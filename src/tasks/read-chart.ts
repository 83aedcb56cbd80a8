import { CHART_KINDS, type ChartLayout, fillField } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  type CaptureReference,
  choosePalette,
  drawFindings,
  type ExpectedFocus,
  fitCaptures,
  type Learned,
  type LocatedCapture,
  type Measured,
  measureCaptures,
  measureSpan,
  type PaletteOptions,
  parseAim,
  parseDoseAxis,
  type ReadCapture,
  readLocated,
  readMachine,
  readProfile,
  refuseMaterial,
  renderMeasuredPage,
  renderProfilePage,
  spotDiameterUm,
  type UsableSpan,
  warnOfExposures,
} from '../job/index.ts';
import { formatJson } from '../json.ts';
import { controlOf, type KnownControl, type Machine } from '../machine/index.ts';
import type { Palette, Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { describeOptics } from '../optics/index.ts';
import { type FileToWrite, refuseResults, rememberInput, writeFilesAtomic } from '../plane/index.ts';
import { type CapturesRequest, gatherNotices, listFoundFiles, openCaptures, resolveReference } from './captures.ts';
import { type CheckRecord, checkLocatedStrip } from './check-profile.ts';
import type { TaskContext } from './context.ts';
import { keepFoundSettings } from './found-settings.ts';
import { nameOfTitle, refuseRecordName } from './names.ts';
import { keepTwoWay } from './two-way.ts';

/** Where results go, each absent when it is not wanted. */
export interface ReadChartFiles {
  /** What was learned. */
  readonly profile?: string;
  /** What a spot or a dose chart told. */
  readonly measured?: string;
  readonly page?: string;
  readonly palette?: string;
  /** A profile that a strip adjusted. */
  readonly adjusted?: string;
  /** Folder for the captures with what was found drawn on them. */
  readonly found?: string;
}

/** Swept settings as they are typed, such as `power=10%:60%:6`, and the gap between cells. */
export interface GridRequest {
  readonly columns: string;
  readonly rows: string;
  readonly gapMm: number;
}

export interface ReadChartRequest extends CapturesRequest {
  /**
   * `learn`: from a chart to a profile or to measures. `check`: a strip or a chart against a profile, measures without
   * one. `any`: as the chart itself says.
   */
  readonly purpose: 'learn' | 'check' | 'any';
  /** Profile to compare with; absent: the one that the strip was drawn for. */
  readonly profile?: string;
  /** Title of the profile that is learned, as a person writes it; its name is made of it when none is given. */
  readonly title?: string;
  readonly name?: string;
  /** Aim curve as a person writes it: `lightness`, `density` or names of profiles. */
  readonly aim?: string;
  /** Diameters of craters by cell of a dose chart, µm. */
  readonly diametersUm?: Readonly<Record<string, number>>;
  /** What another software burned into the empty field of a dose chart. */
  readonly grid?: GridRequest;
  /** Marks that a dose chart shows, as a palette. */
  readonly palette?: Omit<PaletteOptions, 'date'>;
  /** See `CheckRequest`. */
  readonly adjust?: 'must' | 'may';
  readonly files: ReadChartFiles;
  /** No laser has burned the piece: the shop keeps nothing of it. */
  readonly isVirtual?: boolean;
  /** `true` replaces results that exist. */
  readonly force?: boolean;
}

/** The request with what tells how light the captures are as the reader takes it. */
type ResolvedRequest = Omit<ReadChartRequest, 'reference' | 'referenceAt'> & { readonly reference?: CaptureReference };

interface RecordBase {
  readonly captures: readonly ReadCapture[];
  readonly notices: readonly Notice[];
  /** Files that were written, in their order. */
  readonly files: readonly string[];
}

export interface LearnedRecord extends RecordBase {
  readonly kind: 'learned';
  readonly learned: Learned;
  readonly span: UsableSpan;
}

export interface MeasuredRecord extends RecordBase {
  readonly kind: 'measured';
  readonly reading: Measured['reading'];
  /** Where the shop keeps what was measured of its machine; absent where it does not, or has no folder. */
  readonly kept?: string;
  readonly palette?: Palette;
  /** How the control software of the machine counts; absent where the shop has no record of it. */
  readonly control?: KnownControl;
}

export type ChartRecord = LearnedRecord | MeasuredRecord | CheckRecord;

/**
 * Reads a burned chart: a tone chart becomes a profile, a spot or a dose chart its measures, a strip or a verification
 * chart a verdict on a profile. Files are written whole, or none of them.
 * @throws AppError those of `openCaptures`, `fitCaptures`, `measureCaptures` and `checkLocated`; result-exists before a
 * picture is read; option-invalid for a name that is none, a palette of another chart, a tone chart to check without a
 * profile
 */
export async function readChart(asked: ReadChartRequest, context: TaskContext): Promise<ChartRecord> {
  const reference = resolveReference(asked);
  const { reference: _asked, referenceAt: _at, ...others } = asked;
  const request: ResolvedRequest = { ...others, ...(reference ? { reference } : {}) };
  const { purpose, profile, files, force = false, name } = request;
  if (name !== undefined) refuseRecordName(name, 'the name of the profile');
  if (request.palette) refuseRecordName(request.palette.name, 'the name of the palette');
  const { found: _folder, ...single } = files;
  for (const path of [...request.captures.map((capture) => capture.path), request.chart]) {
    if (path !== undefined) rememberInput(path);
  }
  await refuseResults([...new Set(Object.values(single))], { force });
  const opened = await openCaptures(request, context);
  const { layout } = opened.located[0]!.located;
  const { gives, isTable } = CHART_KINDS[layout.kind];
  const isCompared = profile !== undefined && !layout.inField;
  if (purpose !== 'learn' && (isCompared || gives === 'drift')) {
    return checkLocatedStrip(opened, { ...request, force }, context);
  }
  if (purpose === 'check' && gives === 'profile') {
    throw new AppError(
      'option-invalid',
      `found a tone chart (${layout.hash}) and no profile, needed the profile that it is compared with`,
    );
  }
  if (request.palette && !isTable) {
    throw new AppError('option-invalid', `the palette: found a ${layout.kind} chart, needed a dose chart`);
  }
  return gives === 'measurement'
    ? measure(fillFields(opened.located, request.grid, context.shop), request, { context, notices: opened.notices })
    : learn(opened.located, request, { context, notices: opened.notices });
}

/**
 * The cells of a grid that another software burned, where a chart has an empty field for it.
 * @throws AppError option-invalid without the grid, or with one that the chart has no room for
 */
function fillFields(located: readonly LocatedCapture[], grid: GridRequest | undefined, shop: Shop) {
  const { layout } = located[0]!.located;
  if (!grid) {
    if (!layout.field) return located;
    throw new AppError(
      'option-invalid',
      `found a dose chart with an empty field (${layout.hash}), needed the rows and columns that were burned into it`,
      { options: ['columns', 'rows'] },
    );
  }
  const around = { machine: readMachine(layout.machine, shop), settings: layout.settings };
  const filled = fillField(layout, {
    columns: parseDoseAxis(grid.columns, around),
    rows: parseDoseAxis(grid.rows, around),
    gapMm: grid.gapMm,
  });
  return located.map((capture) => ({ ...capture, located: { ...capture.located, layout: filled } }));
}

/** The beam of the machine that burned a chart, by its optics; nothing where the shop has no record of it. */
function findBeam({ machine: name, settings, grid }: ChartLayout, shop: Shop): { readonly beam?: ExpectedFocus } {
  if (!shop.list('machines').some((one) => one.name === name)) return {};
  const { spotDiameterUm, depthOfFocusMm } = describeOptics(readMachine(name, shop), { ...settings, ...grid });
  return { beam: { spotDiameterUm, depthOfFocusMm } };
}

interface Around {
  readonly context: TaskContext;
  readonly notices: readonly Notice[];
}

async function measure(
  located: readonly LocatedCapture[],
  request: ResolvedRequest,
  { context, notices }: Around,
): Promise<MeasuredRecord> {
  const { files, diametersUm, force = false } = request;
  const captures = readLocated(located, request);
  const { layout } = captures[0]!.located;
  const control = findControl(layout.machine, context.shop);
  const bare = findMachine(layout.machine, context.shop)?.motion.bare;
  const field = layout.inField && {
    profile: readProfile(request.profile ?? layout.inField.profile, context.shop),
    date: context.clock.today(),
  };
  const { reading, warnings } = measureCaptures(captures, {
    ...(diametersUm ? { diametersUm } : {}),
    ...(control ? { control } : {}),
    ...(field ? { field } : {}),
    ...(layout.ramp ? findBeam(layout, context.shop) : {}),
    ...(bare === undefined ? {} : { bare }),
  });
  const palette =
    request.palette && reading.schema === 'tonewright-dose/1'
      ? choosePalette(reading, layout, { ...request.palette, date: context.clock.today() })
      : undefined;
  const pictures = files.page !== undefined || files.found !== undefined ? await drawAll(captures, context) : [];
  const written = await write(
    [
      ...listFoundFiles(pictures, files.found),
      ...fileOf(files.measured, () => formatJson(reading, 'reading')),
      ...fileOf(files.page, () =>
        renderMeasuredPage({ reading, captureName: captures[0]!.name, found: pictures[0]!, control }),
      ),
      ...fileOf(palette && files.palette, () => formatJson(palette, 'palette')),
    ],
    force,
  );
  const kept = request.isVirtual ? undefined : await keepInShop(reading, layout, context);
  return {
    kind: 'measured',
    reading,
    ...(kept === undefined ? {} : { kept }),
    ...(palette ? { palette } : {}),
    ...(control ? { control } : {}),
    captures,
    notices: gatherNotices(captures, [...notices, ...warnings]),
    files: written,
  };
}

/** What a machine keeps of a chart: its field, its lines there and back, settings and depth of focus of a material. */
async function keepInShop(
  reading: MeasuredRecord['reading'],
  { machine }: ChartLayout,
  { shop, clock }: Pick<TaskContext, 'shop' | 'clock'>,
): Promise<string | undefined> {
  if (shop.shopDir === undefined) return undefined;
  if (reading.schema === 'tonewright-spot/1') {
    if (!reading.twoWay) return undefined;
    const { offsetUm, lowUm, highUm, speedMmPerS } = reading.twoWay;
    const date = clock.today();
    return keepTwoWay(machine, { chart: reading.chart, date, speedMmPerS, offsetUm, lowUm, highUm }, shop);
  }
  if (reading.schema === 'tonewright-dose/1') return keepFoundSettings(reading, shop);
  if (reading.schema === 'tonewright-focus/1') {
    const [machine, material] = [reading.machine, reading.material].map((title) => nameOfTitle(title ?? ''));
    if (machine === undefined || material === undefined) return undefined;
    return shop.write('focus', `${machine}.${material}`, reading, { force: true });
  }
  if (reading.schema !== 'tonewright-evenness/1') return undefined;
  return shop.write('evenness', reading.machine, reading, { force: true });
}

async function learn(
  located: readonly LocatedCapture[],
  request: ResolvedRequest,
  { context, notices }: Around,
): Promise<LearnedRecord> {
  const { shop, clock, progress } = context;
  const { files, camera, reference, aim, title, force = false } = request;
  const name = request.name ?? (title === undefined ? undefined : nameOfTitle(title));
  const captures = readLocated(located, request);
  const aimed = aim === undefined ? undefined : parseAim(aim, shop);
  progress('fitting');
  const learned = fitCaptures(captures, {
    camera,
    ...(reference ? { reference } : {}),
    date: clock.today(),
    ...(name === undefined ? {} : { name }),
    ...(title === undefined ? {} : { title }),
    ...(aimed ? { aim: aimed } : {}),
  });
  const { profile, warnings } = learned;
  const apart = aimed && warnOfExposures(aimed, { shop, profile, asked: aim });
  refuseMaterial(profile.material, context.refused());
  progress('writing the report');
  const pictures = await drawAll(captures, context);
  const spot = findSpot(profile.machine, shop);
  const written = await write(
    [
      ...listFoundFiles(pictures, files.found),
      ...fileOf(files.profile, () => formatJson(profile, 'profile')),
      ...fileOf(files.page, () =>
        renderProfilePage({ learned, pictures, ...(spot === undefined ? {} : { spotDiameterUm: spot }) }),
      ),
    ],
    force,
  );
  return {
    kind: 'learned',
    learned,
    span: measureSpan(profile),
    captures,
    notices: gatherNotices(captures, [...notices, ...warnings, ...(apart ? [apart] : [])]),
    files: written,
  };
}

async function drawAll(captures: readonly ReadCapture[], { progress }: TaskContext): Promise<string[]> {
  const pictures: string[] = [];
  for (const [at, capture] of captures.entries()) {
    progress('drawing what was found', at / captures.length);
    pictures.push(await drawFindings(capture));
  }
  return pictures;
}

function fileOf(path: string | undefined, make: () => string): readonly FileToWrite[] {
  return path === undefined ? [] : [{ path, bytes: make() }];
}

async function write(files: readonly FileToWrite[], force: boolean): Promise<readonly string[]> {
  if (files.length > 0) await writeFilesAtomic(files, { force });
  return files.map(({ path }) => path);
}

/** Spot of the machine that burned the chart; undefined where the shop has no record of it. */
function findSpot(machine: string, shop: Shop): number | undefined {
  const record = findMachine(machine, shop);
  return record && spotDiameterUm(record);
}

function findControl(machine: string, shop: Shop): KnownControl | undefined {
  const record = findMachine(machine, shop);
  return record && controlOf(record);
}

/** The machine that burned a chart; undefined where the shop has no record of it. */
function findMachine(machine: string, shop: Shop): Machine | undefined {
  try {
    return readMachine(machine, shop);
  } catch (error) {
    if (error instanceof AppError && error.code === 'name-unknown') return undefined;
    throw error;
  }
}
