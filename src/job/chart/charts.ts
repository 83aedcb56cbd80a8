import {
  CHART_DEFAULTS,
  type ChartKind,
  type ChartLayout,
  type ChartOptions,
  type DoseCell,
  drawChart,
  drawDoseCells,
  drawWithoutDoseCells,
  type ExpectedTone,
  layoutChart,
} from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { formatJson } from '../../json.ts';
import { estimateTime, type Machine } from '../../machine/index.ts';
import {
  fillDotTable,
  findMark,
  type MarkDirection,
  type Material,
  type Profile,
  type RefusedMaterial,
  type Shop,
  type TonePoint,
} from '../../material/index.ts';
import { type BurnSettings, describeOptics } from '../../optics/index.ts';
import { type Dots, encodeDots, type Plane } from '../../plane/index.ts';
import { applyScreen, type ScreenName, type ScreenOptions, takesStrength } from '../../screens/index.ts';
import { parseSizeMm, type SizeMm } from '../../units.ts';
import type { JobFile } from '../prepare/run.ts';
import { sayAsSentence } from '../prepare/ticket.ts';
import { predictPoints } from '../request/curve.ts';
import { doseOf, judgeDose, refuseBeyond, resolveGrid, startSettings, usualDoseJPerCm2 } from '../request/grid.ts';
import {
  findMaterial,
  JOB_DEFAULTS,
  readMachine,
  refuseMaterial,
  refuseOversize,
  resolveJob,
  resolveScreen,
  screenOptionsOf,
  tryMaterial,
} from '../request/spec.ts';
import { aimTones } from '../request/tones.ts';
import { knownTo } from '../request/uncertainty.ts';
import { defaultDoseAxes, parseDoseAxis } from './dose-axes.ts';
import { writeDoseProgram } from './dose-program.ts';
import { drawDoseSvg, writeDoseTable } from './dose-table.ts';
import { type ExpectedError, expectError, type SimulationErrors } from './expected-error.ts';
import { drawChartPicture, renderChartPage } from './page.ts';

/** What a person asks of a chart, by name; the rest comes from the profile, the material or the defaults. */
export interface ChartRequest {
  readonly kind: ChartKind;
  readonly machine?: string;
  readonly material?: string;
  /** For a material that the shop has no record of. */
  readonly direction?: MarkDirection;
  /** Burned through it (`verify`, `check`), or only to space the steps (`tone`). */
  readonly profile?: string;
  /** Tone charts: a profile whose curve says where more patches help most; everything else is as with `profile`. */
  readonly after?: string;
  readonly size?: string;
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  readonly screen?: string;
  readonly screenOptions?: Partial<ScreenOptions>;
  readonly seed?: number;
  readonly steps?: number;
  readonly replicates?: number;
  /** Settings that replace the profile's or the machine's. */
  readonly settings?: Partial<BurnSettings>;
  /** Dose charts: two swept settings, such as `power=0.5:3:6`. */
  readonly vary?: readonly string[];
}

/** Settings that make a dose: who gives one of them asks for a dose. */
const DOSE_SETTINGS_ASKED = ['powerW', 'speedMmPerS', 'passes'] as const;

/** A request with every name turned into its record. */
export interface ChartSpec {
  readonly kind: ChartKind;
  readonly machine: Machine;
  /** Absent when only the direction is known. */
  readonly material?: Material;
  readonly profile?: Profile;
  readonly options: ChartOptions;
  readonly gridOrigin: 'profile' | 'given' | 'recommended';
  /** Mean dose of its solids, and the one that the profile was learned with or the machine starts with, J/cm². */
  readonly doseJPerCm2: number;
  readonly usualDoseJPerCm2: number;
  /** Tone charts: what a simulation on this class of material leaves of error. */
  readonly expectedError?: ExpectedError;
  readonly warnings: readonly string[];
  readonly assumptions: readonly string[];
}

/**
 * Turn names into records and defaults into values.
 * @throws AppError name-unknown, file-invalid, option-invalid, material-refused, size-exceeds-field
 */
export function resolveChart(
  asked: ChartRequest,
  {
    shop,
    refused,
    simulated,
  }: {
    readonly shop: Shop;
    readonly refused: readonly RefusedMaterial[];
    /** Errors of simulated loops; nothing is promised without. */
    readonly simulated?: SimulationErrors;
  },
): ChartSpec {
  refuseMaterial(asked.material, refused);
  const request = resolveAfter(asked);
  const { kind } = request;
  if (kind === 'verify' && request.profile === undefined) {
    throw new AppError('option-invalid', 'chart verify: found no --profile, needed the profile that it is to verify');
  }
  const size = resolveChartSize(request);
  const resolved =
    request.profile === undefined
      ? resolveUnlearned(request, { shop, refused })
      : resolveLearned(request, { shop, refused, size });
  const { machine, settings, warnings } = resolved;
  refuseOversize(size, machine);
  refuseBeyond(settings, { machine, of: `chart ${kind}` });
  // Through a profile the dose is what was learned, unless the request changes it.
  const asksDose = DOSE_SETTINGS_ASKED.some((setting) => request.settings?.[setting] !== undefined);
  const dose = judgeDose({ machine, learned: resolved.profile, settings, grid: resolved.grid }, { asked: asksDose });
  if (dose && !warnings.includes(dose)) warnings.push(dose);
  if (kind !== 'dose') warnings.push(...listBeats(resolved));
  const axes = kind === 'dose' ? resolveAxes(request, { machine, settings }) : undefined;
  if (kind !== 'dose' && request.vary && request.vary.length > 0) {
    throw new AppError('option-invalid', `chart ${kind}: found --vary, which only chart dose takes`);
  }
  const options: ChartOptions = {
    machine: machine.name,
    material: resolved.material?.name ?? request.material ?? resolved.profile?.material ?? '',
    direction: resolved.direction,
    settings,
    grid: resolved.grid,
    screen: resolved.screen,
    widthMm: size.widthMm,
    heightMm: size.heightMm,
    ...(request.seed === undefined ? {} : { seed: request.seed }),
    ...(request.steps === undefined ? {} : { steps: request.steps }),
    ...(request.replicates === undefined ? {} : { replicates: request.replicates }),
    ...(resolved.points ? { expected: resolved.points.map((point) => withHalfWidth(point, resolved, asked)) } : {}),
    ...(resolved.points && (kind === 'verify' || kind === 'check')
      ? { tones: aimTones(resolved.points, { kind, steps: request.steps }) }
      : {}),
    ...(axes ? { columns: axes[0], rows: axes[1] } : {}),
  };
  const assumptions = Object.entries(machine.origins)
    .filter(([, { kind: origin }]) => origin === 'assumed')
    .map(([group]) => `The machine’s ${group} (${machine.name}).`);
  const expectedError =
    kind === 'tone' && simulated
      ? expectError(simulated, { material: resolved.material?.name, direction: resolved.direction })
      : undefined;
  return {
    kind,
    machine,
    ...(expectedError ? { expectedError } : {}),
    ...(resolved.material ? { material: resolved.material } : {}),
    ...(resolved.profile ? { profile: resolved.profile } : {}),
    options,
    gridOrigin: resolved.gridOrigin,
    doseJPerCm2: doseOf(settings, resolved.grid),
    usualDoseJPerCm2: usualDoseJPerCm2({ machine, learned: resolved.profile }),
    warnings,
    assumptions,
  };
}

/** `after` names the profile, and what it is good for: a second tone chart. */
function resolveAfter({ after, ...request }: ChartRequest): ChartRequest {
  if (after === undefined) return request;
  if (request.kind !== 'tone' || request.profile !== undefined) {
    throw new AppError(
      'option-invalid',
      `--after: found it with ${request.kind === 'tone' ? '--profile, which names one already' : `a ${request.kind} chart`}; needed a tone chart and one profile`,
    );
  }
  return { ...request, profile: after };
}

/** A point of the curve, with how well it is known where a second chart asks for it. */
function withHalfWidth(
  { coverage, lightness }: TonePoint,
  { profile, curve }: Pick<Resolved, 'profile' | 'curve'>,
  { after }: ChartRequest,
): ExpectedTone {
  const halfOf = after === undefined || !profile ? undefined : knownTo(profile, curve);
  return { coverage, lightness, ...(halfOf ? { halfWidth: halfOf(lightness) } : {}) };
}

function resolveChartSize({ kind, size }: ChartRequest): SizeMm {
  if (size !== undefined) return parseSizeMm(size, '--size');
  const strip = kind === 'check';
  return {
    widthMm: strip ? CHART_DEFAULTS.stripWidthMm : CHART_DEFAULTS.widthMm,
    heightMm: strip ? CHART_DEFAULTS.stripHeightMm : CHART_DEFAULTS.heightMm,
    cornerRadiusMm: 0,
  };
}

interface Resolved {
  readonly machine: Machine;
  readonly material: Material | undefined;
  readonly profile: Profile | undefined;
  /** The profile's tone curve for this screen and grid. */
  readonly points: readonly TonePoint[] | undefined;
  readonly curve: 'measured' | 'predicted';
  readonly direction: MarkDirection;
  readonly settings: BurnSettings;
  readonly grid: ChartOptions['grid'];
  readonly gridOrigin: ChartSpec['gridOrigin'];
  readonly screen: { readonly name: ScreenName; readonly options: Readonly<Record<string, string | number>> };
  readonly warnings: string[];
}

interface Known {
  readonly shop: Shop;
  readonly refused: readonly RefusedMaterial[];
}

/** Everything as the profile has it, as for a photo that is prepared through it. */
function resolveLearned(request: ChartRequest, { size, ...known }: Known & { readonly size: SizeMm }): Resolved {
  const { kind: _kind, direction, settings, vary: _vary, seed: _seed, steps: _steps, replicates: _, ...rest } = request;
  const job = resolveJob({ ...rest, size: `${size.widthMm}x${size.heightMm}` }, known);
  if (direction !== undefined && direction !== job.profile.direction) {
    throw new AppError(
      'option-invalid',
      `--direction: found ${direction}, but the profile "${job.profile.name}" marks ${job.profile.direction}`,
    );
  }
  const record = tryMaterial(request.material ?? job.profile.material, known.shop);
  return {
    machine: job.machine,
    material: record,
    profile: job.profile,
    points: job.curve === 'predicted' ? predictPoints(job) : job.profile.points,
    curve: job.curve,
    direction: job.profile.direction,
    settings: { ...job.settings, ...settings },
    grid: job.grid,
    gridOrigin: job.gridOrigin,
    screen: job.screen,
    warnings: [...job.warnings],
  };
}

function resolveUnlearned(request: ChartRequest, { shop }: Known): Resolved {
  if (request.machine === undefined) {
    throw new AppError('option-invalid', 'found neither --machine nor --profile, needed at least one of the two');
  }
  const machine = readMachine(request.machine, shop);
  if (request.material === undefined && request.direction === undefined) {
    throw new AppError(
      'option-invalid',
      'found neither --material nor --direction, needed a known material or whether it marks lighter or darker',
    );
  }
  // With a direction, the material may be one that the shop has no record of.
  const material =
    request.direction === undefined
      ? findMaterial(request.material, shop)
      : request.material === undefined
        ? undefined
        : tryMaterial(request.material, shop);
  const mark = material && findMark(material, machine.wavelengthNm);
  const direction = request.direction ?? mark?.direction;
  if (direction === undefined) {
    throw new AppError(
      'option-invalid',
      `${material!.title}: found no known mark at ${machine.wavelengthNm} nm (${machine.name}), needed --direction lighter or darker`,
      { wavelengthNm: machine.wavelengthNm },
    );
  }
  const warnings: string[] = [];
  if (mark && request.direction !== undefined && mark.direction !== request.direction) {
    warnings.push(
      `${material.title} is known to mark ${mark.direction} at ${machine.wavelengthNm} nm; the chart is drawn for ${request.direction}. The reading finds the direction itself.`,
    );
  }
  const grid = resolveGrid(request, { machine, learned: undefined });
  const name = resolveScreen(request.screen ?? JOB_DEFAULTS.screen);
  const asked = { size: '', ...(request.screenOptions ? { screenOptions: request.screenOptions } : {}) };
  return {
    machine,
    material,
    profile: undefined,
    points: undefined,
    curve: 'measured',
    direction,
    settings: startSettings(machine, { grid, ...(request.settings ? { given: request.settings } : {}) }),
    grid: { pitchMm: grid.pitchMm, lineSpacingMm: grid.lineSpacingMm },
    gridOrigin: grid.origin,
    screen: {
      name,
      options: screenOptionsOf(name, { request: asked, learned: undefined, levels: JOB_DEFAULTS.levels }),
    },
    warnings,
  };
}

/** What a curve must not be learned with unsaid: dots without a pulse of their own, or of changing size. */
function listBeats({ machine, settings, grid }: Resolved): string[] {
  return describeOptics(machine, { ...settings, ...grid })
    .warnings.filter(({ about }) => about === 'pulsesPerDot' || about === 'pulseOverlap')
    .map(({ text }) => sayAsSentence(text));
}

function resolveAxes(
  { vary = [] }: ChartRequest,
  { machine, settings }: { readonly machine: Machine; readonly settings: BurnSettings },
) {
  if (vary.length === 0) return defaultDoseAxes(machine, settings);
  if (vary.length !== 2) {
    throw new AppError(
      'option-invalid',
      `--vary: found ${vary.length}, needed two settings: --vary power=0.5:3:6 --vary speed=500:2000:5`,
    );
  }
  return [parseDoseAxis(vary[0]!, machine), parseDoseAxis(vary[1]!, machine)] as const;
}

/** What a chart costs before it is burned. */
export interface ChartCost {
  readonly areaCm2: number;
  readonly seconds: number;
  /** Dots that fire. */
  readonly firing: number;
  readonly formula: string;
}

export interface Chart {
  readonly layout: ChartLayout;
  readonly dots: Dots;
  readonly cost: ChartCost;
  /** In the order in which they are to be written; the page, which says "done", last. */
  readonly files: readonly JobFile[];
}

/** A chart as its files: the bitmap, the layout and the page; a dose chart also its drawing, table and program. */
export async function makeChart(spec: ChartSpec): Promise<Chart> {
  const layout = layoutChart(spec.kind, spec.options);
  const named = { ...layout.screen.options, name: layout.screen.name as ScreenName };
  const marks = spec.profile && takesStrength(named) ? { marks: fillDotTable(spec.profile, layout.grid) } : {};
  const screen = (coverage: Plane<'coverage'>, grid: ChartOptions['grid']) =>
    applyScreen(coverage, { ...named, grid, ...marks });
  const dots = drawChart(layout, screen);
  const cells = drawDoseCells(layout);
  const rest = cells.length > 0 ? drawWithoutDoseCells(layout, screen) : dots;
  const cost = estimateCost({ layout, rest, cells, machine: spec.machine });
  const picture = await drawChartPicture(dots);
  const files: JobFile[] = [
    { name: 'chart.png', bytes: encodeDots(dots, layout.grid, { format: 'png' }) },
    ...(cells.length > 0 ? writeDoseFiles({ layout, rest, cells, machine: spec.machine }) : []),
    { name: 'chart.json', bytes: formatJson(layout, 'chart layout') },
  ];
  const names = files.map(({ name }) => name);
  files.push({ name: 'chart.html', bytes: renderChartPage({ spec, layout, cost, picture, files: names }) });
  return { layout, dots, cost, files };
}

interface ChartParts {
  readonly layout: ChartLayout;
  /** Everything that burns with the chart's own settings. */
  readonly rest: Dots;
  readonly cells: readonly DoseCell[];
  readonly machine: Machine;
}

function writeDoseFiles({ layout, rest, cells, machine }: ChartParts): JobFile[] {
  const { motion } = machine;
  return [
    { name: 'chart.svg', bytes: drawDoseSvg({ layout, rest, cells }) },
    { name: 'chart.csv', bytes: writeDoseTable({ layout, cells, machine }) },
    ...(motion.kind === 'gantry'
      ? [{ name: 'chart.nc', bytes: writeDoseProgram({ layout, rest, cells, machine, motion }) }]
      : []),
  ];
}

function estimateCost({ layout, rest, cells, machine }: ChartParts): ChartCost {
  const { motion } = machine;
  const whole = estimateTime(rest, { motion, settings: layout.settings, grid: layout.grid });
  let { seconds } = whole;
  let firing = countFiring(rest);
  for (const { dots, grid, settings } of cells) {
    seconds += estimateTime(dots, { motion, settings, grid }).seconds - motion.jobOverheadS;
    firing += countFiring(dots);
  }
  return { areaCm2: (layout.widthMm * layout.heightMm) / 100, seconds, firing, formula: whole.formula };
}

function countFiring({ data }: Dots): number {
  let firing = 0;
  for (let i = 0; i < data.length; i++) if (data[i] > 0) firing++;
  return firing;
}
