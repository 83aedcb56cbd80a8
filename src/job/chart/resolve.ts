import {
  CHART_KINDS,
  type ChartOptions,
  type DoseAxis,
  type ExpectedTone,
  type PlaceInField,
} from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import type { Machine } from '../../machine/index.ts';
import {
  findMark,
  type MarkDirection,
  type Material,
  type Profile,
  type RefusedMaterial,
  type Shop,
  type TonePoint,
  takeRoad,
} from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import { type BurnSettings, describeOptics } from '../../optics/index.ts';
import { SCREEN_NAMES, SCREENS, type ScreenName } from '../../screens/index.ts';
import { parseSizeMm, type SizeMm } from '../../units.ts';
import { noticeOfOptics } from '../prepare/ticket.ts';
import { predictPoints } from '../request/curve.ts';
import {
  doseOf,
  judgeDose,
  refuseBeyond,
  resolveGrid,
  settleGiven,
  startSettings,
  usualDoseJPerCm2,
} from '../request/grid.ts';
import {
  findMaterial,
  readMachine,
  readProfile,
  refuseMaterial,
  refuseOversize,
  tryMaterial,
} from '../request/records.ts';
import { resolveJob } from '../request/resolve.ts';
import { findScreen, resolveScreen, screenOptionsOf } from '../request/screen.ts';
import { resolveSide } from '../request/side.ts';
import { aimTones } from '../request/tones.ts';
import { JOB_DEFAULTS, type SideSpec } from '../request/types.ts';
import { knownTo } from '../request/uncertainty.ts';
import { defaultDoseAxes, inLevels, ladderAxes, parseDoseAxis, powerForAllDots, powerLadder } from './dose-axes.ts';
import { expectError, type SimulationErrors } from './expected-error.ts';
import type { ChartRequest, ChartSpec } from './types.ts';

/** Settings that make a dose: who gives one of them asks for a dose. */
const DOSE_SETTINGS_ASKED = ['powerW', 'speedMmPerS', 'passes'] as const;

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
  const { aims, isTable, gives, isOnRamp = false } = CHART_KINDS[kind];
  if (aims === 'always' && request.profile === undefined) {
    throw new AppError(
      'option-invalid',
      'a chart to verify with: found no profile, needed the one that it is to verify',
      {
        options: ['profile'],
      },
    );
  }
  const size = resolveChartSize(request, shop);
  const resolved =
    request.profile === undefined
      ? resolveUnlearned(request, { shop, refused })
      : resolveLearned(request, { shop, refused, size });
  const { machine, settings, notices, side } = resolved;
  const looksThrough = side?.seen === 'through' && bearsTones(kind);
  if (request.seen === 'through' && !looksThrough) {
    throw new AppError(
      'option-invalid',
      `seen: found through with a ${kind} chart, which is burned as it is drawn; needed a chart of tones. Taken through the stock, its picture is read as a mirrored one`,
      { options: ['seen', 'mirrored'] },
    );
  }
  refuseOversize(size, machine);
  refuseBeyond(settings, { machine, of: `chart ${kind}` });
  // Through a profile the dose is what was learned, unless the request changes it.
  const asksDose = DOSE_SETTINGS_ASKED.some((setting) => request.settings?.[setting] !== undefined);
  const dose = judgeDose({ machine, learned: resolved.profile, settings, grid: resolved.grid }, { asked: asksDose });
  if (dose && !notices.some(({ text }) => text === dose.text)) notices.push(dose);
  if (!isTable) notices.push(...listBeats(resolved));
  const isFieldEmpty = request.cells === 'empty';
  if (isFieldEmpty && (!isTable || (request.vary?.length ?? 0) > 0)) {
    throw new AppError(
      'option-invalid',
      `cells: found an empty field with ${isTable ? 'swept settings' : `a ${kind} chart`}, needed a dose chart without them: the software that burns the grid has its settings`,
      { options: ['cells', 'vary'] },
    );
  }
  const dosed = isFieldEmpty
    ? { axes: ROOM_OF_FIELD }
    : isTable
      ? resolveAxes(request, { machine, settings })
      : undefined;
  if (!isTable && request.vary && request.vary.length > 0) {
    throw new AppError('option-invalid', `vary: found it with a ${kind} chart, needed a dose chart`);
  }
  const levels = resolveLevels(request, resolved);
  const inField = placeInField(request, resolved, size);
  if (!isOnRamp && request.riseMm !== undefined) {
    throw new AppError('option-invalid', `rise: found it with a ${kind} chart, needed one that is burned on a slope`);
  }
  const options: ChartOptions = {
    machine: machine.name,
    material: resolved.material?.name ?? request.material ?? resolved.profile?.material ?? '',
    direction: resolved.direction,
    // Where every dot has its own power, what is typed is the full one.
    settings: dosed?.topW === undefined ? settings : { ...settings, powerW: dosed.topW },
    grid: resolved.grid,
    screen: resolved.screen,
    widthMm: size.widthMm,
    heightMm: size.heightMm,
    ...(request.seed === undefined ? {} : { seed: request.seed }),
    ...(request.steps === undefined ? {} : { steps: request.steps }),
    ...(request.replicates === undefined ? {} : { replicates: request.replicates }),
    ...(resolved.points ? { expected: resolved.points.map((point) => withHalfWidth(point, resolved, asked)) } : {}),
    ...(resolved.points && aims !== 'never'
      ? {
          tones: aimTones(resolved.points, {
            kind: CHART_KINDS[kind].isStrip ? 'check' : 'verify',
            steps: request.steps,
          }),
        }
      : {}),
    ...(dosed ? { columns: dosed.axes[0], rows: dosed.axes[1] } : {}),
    ...(isFieldEmpty ? { isFieldEmpty } : {}),
    ...(inField ? { inField } : {}),
    ...(levels ?? {}),
    ...(isOnRamp ? { riseMm: resolveRise(request, resolved) } : {}),
    ...(looksThrough ? { seen: 'through' as const } : {}),
    ...(side?.beneath ? { beneath: side.beneath } : {}),
  };
  const assumptions = Object.entries(machine.origins)
    .filter(([, { kind: origin }]) => origin === 'assumed')
    .map(([group]) => `The machine’s ${group} (${machine.name}).`);
  const expectedError =
    gives === 'profile' && simulated
      ? expectError(simulated, { material: resolved.material?.name, direction: resolved.direction })
      : undefined;
  return {
    kind,
    machine,
    ...(expectedError ? { expectedError } : {}),
    ...(resolved.material ? { material: resolved.material } : {}),
    ...(resolved.profile ? { profile: resolved.profile } : {}),
    options,
    ...(dosed?.topW === undefined ? {} : { powerPerDot: { ownW: settings.powerW, topW: dosed.topW } }),
    gridOrigin: resolved.gridOrigin,
    ...(side ? { side: looksThrough ? side : { ...side, seen: 'face' } } : {}),
    doseJPerCm2: doseOf(settings, resolved.grid),
    usualDoseJPerCm2: usualDoseJPerCm2({ machine, learned: resolved.profile }),
    warnings: notices.map(({ text }) => text),
    speaking: notices,
    assumptions,
  };
}

/**
 * Rise of a ramp in depths of focus, a factor, and its step, least and most, mm. Assumed: three Rayleigh ranges to
 * either side show lines that widen and fade; steps that a stack of cards makes; less is not laid right, and more
 * leaves no room under a lens.
 */
const RISE = { depths: 3, stepMm: 0.5, leastMm: 2, mostMm: 20 } as const;

/** @throws AppError option-invalid */
function resolveRise({ riseMm }: ChartRequest, { machine, settings, grid }: ResolvedChart): number {
  if (riseMm === undefined) {
    const wanted = RISE.depths * describeOptics(machine, { ...settings, ...grid }).depthOfFocusMm;
    return Math.min(RISE.mostMm, Math.max(RISE.leastMm, RISE.stepMm * Math.round(wanted / RISE.stepMm)));
  }
  if (riseMm >= RISE.leastMm / 4 && riseMm <= 5 * RISE.mostMm) return riseMm;
  throw new AppError(
    'option-invalid',
    `rise: found ${riseMm} mm, needed ${RISE.leastMm / 4} to ${5 * RISE.mostMm} mm from the lower to the upper edge`,
  );
}

/**
 * Power per dot of a chart: a tone chart has patches of their own for it, besides those of dots that fire or not.
 * @throws AppError option-invalid for a machine that cannot, another kind of chart, or a screen without levels
 */
function resolveLevels(
  { kind, levels: count = 2, screen: asked, screenOptions, after }: ChartRequest,
  { machine, settings, grid, profile, levelled }: ResolvedChart,
): Pick<ChartOptions, 'levels' | 'expectedLevels'> | undefined {
  if (count === 2) return undefined;
  const { gives, isTable, coversField } = CHART_KINDS[kind];
  if (gives === 'measurement' || isTable || coversField) {
    throw new AppError(
      'option-invalid',
      `levels: found ${count} with a ${kind} chart, needed a tone chart, which measures them, or a verify or check chart`,
      { options: ['levels'] },
    );
  }
  refuseLevelsOf(machine, count);
  if (gives !== 'profile') return undefined;
  const known = levelled?.levels;
  const named = asked === undefined || asked === 'auto' ? (known?.screen.name ?? 'auto') : asked;
  const found = findScreen(named, { machine, settings, grid, learned: undefined, levels: count });
  if (!SCREENS[found.name].uses.includes('levels')) {
    throw new AppError(
      'option-invalid',
      `screen: found ${found.name} with ${count} power levels per dot, needed one that gives levels: ${SCREEN_NAMES.filter((name) => SCREENS[name].uses.includes('levels')).join(', ')}; or none, so that one is chosen`,
      { options: ['screen', 'levels'] },
    );
  }
  const options = screenOptionsOf(found.name, {
    request: { screenOptions: { ...found.options, ...screenOptions } },
    learned: undefined,
    levels: count,
  });
  const halfOf = after === undefined || !profile || !known ? undefined : knownTo(takeRoad(levelled, count), 'measured');
  const expected = known?.points.map(({ coverage, lightness }) => {
    return { coverage, lightness, ...(halfOf ? { halfWidth: halfOf(lightness) } : {}) };
  });
  return {
    levels: { count, screen: { name: found.name, options } },
    ...(expected ? { expectedLevels: expected } : {}),
  };
}

/** @throws AppError option-invalid where a machine tells fewer powers apart than a chart asks for */
function refuseLevelsOf({ name, levels: stated }: Machine, count: number): void {
  if (Number.isInteger(count) && count >= 3 && count <= stated) return;
  throw new AppError(
    'option-invalid',
    stated <= 2
      ? `levels: found ${count}, but ${name} states that its beam fires or not; needed a machine with power per dot, or its record mended (levels)`
      : `levels: found ${count}, needed 3 to ${stated}, the power levels per dot that ${name} states`,
    { options: ['levels'], stated },
  );
}

/** `after` names the profile, and what it is good for: a second tone chart. */
function resolveAfter({ after, ...request }: ChartRequest): ChartRequest {
  if (after === undefined) return request;
  if (CHART_KINDS[request.kind].gives !== 'profile' || request.profile !== undefined) {
    throw new AppError(
      'option-invalid',
      `after: found it with ${CHART_KINDS[request.kind].gives === 'profile' ? 'a profile, which names one already' : `a ${request.kind} chart`}; needed a tone chart and one profile`,
    );
  }
  return { ...request, profile: after };
}

/** A point of the curve, with how well it is known where a second chart asks for it. */
function withHalfWidth(
  { coverage, lightness }: TonePoint,
  { profile, curve }: Pick<ResolvedChart, 'profile' | 'curve'>,
  { after }: ChartRequest,
): ExpectedTone {
  const halfOf = after === undefined || !profile ? undefined : knownTo(profile, curve);
  return { coverage, lightness, ...(halfOf ? { halfWidth: halfOf(lightness) } : {}) };
}

/**
 * Largest chart of a field where no size is asked for, mm. Assumed: what a flatbed scanner for A4 sheets (210 × 297)
 * takes with a rim; larger fields take several charts.
 */
const LARGEST_FIELD_MM = { long: 290, short: 205 } as const;

function resolveChartSize({ kind, size, profile, machine }: ChartRequest, shop: Shop): SizeMm {
  if (size !== undefined) return parseSizeMm(size, 'size');
  const { widthMm, heightMm, coversField } = CHART_KINDS[kind];
  if (!coversField) return { widthMm, heightMm, cornerRadiusMm: 0 };
  const { fieldMm } = readMachine(machine ?? readProfile(profile!, shop).machine, shop);
  const wide = fieldMm[0] >= fieldMm[1];
  const { long, short } = LARGEST_FIELD_MM;
  const most = wide ? [long, short] : [short, long];
  return { widthMm: Math.min(fieldMm[0], most[0]!), heightMm: Math.min(fieldMm[1], most[1]!), cornerRadiusMm: 0 };
}

/** Where a chart of a field lies in it. @throws AppError size-exceeds-field, option-invalid for another kind */
function placeInField(
  { kind, at }: ChartRequest,
  { machine, profile }: ResolvedChart,
  size: SizeMm,
): PlaceInField | undefined {
  if (!CHART_KINDS[kind].coversField) {
    if (at === undefined) return undefined;
    throw new AppError('option-invalid', `at: found a place for a ${kind} chart, needed a field chart`);
  }
  const [widthMm, heightMm] = machine.fieldMm;
  const middle = at ?? { xMm: widthMm / 2, yMm: heightMm / 2 };
  const [xMm, yMm] = [middle.xMm - size.widthMm / 2, middle.yMm - size.heightMm / 2];
  if (xMm < -1e-6 || yMm < -1e-6 || xMm + size.widthMm > widthMm + 1e-6 || yMm + size.heightMm > heightMm + 1e-6) {
    throw new AppError(
      'size-exceeds-field',
      `found a chart of ${size.widthMm} × ${size.heightMm} mm with its middle at ${middle.xMm}, ${middle.yMm} mm, needed it within the ${widthMm} × ${heightMm} mm of ${machine.name}`,
      { at: middle, fieldMm: machine.fieldMm },
    );
  }
  return { xMm: round6(xMm), yMm: round6(yMm), widthMm, heightMm, profile: profile!.name };
}

/** A millionth of a millimetre: sums of decimal numbers stay decimal numbers. */
const round6 = (value: number) => Math.round(value * 1e6) / 1e6 + 0;

interface ResolvedChart {
  readonly machine: Machine;
  readonly material: Material | undefined;
  readonly profile: Profile | undefined;
  /** The profile as the shop keeps it, with its road of levels; `profile` is the road that is taken. */
  readonly levelled: Profile | undefined;
  /** The profile's tone curve for this screen and grid. */
  readonly points: readonly TonePoint[] | undefined;
  readonly curve: 'measured' | 'predicted';
  readonly direction: MarkDirection;
  readonly settings: BurnSettings;
  readonly grid: ChartOptions['grid'];
  readonly gridOrigin: ChartSpec['gridOrigin'];
  readonly screen: { readonly name: ScreenName; readonly options: Readonly<Record<string, string | number>> };
  readonly notices: Notice[];
  readonly side?: SideSpec;
}

/** Charts from whose tones a profile is learned, or compared: those are looked at as pieces are. */
const bearsTones = (kind: ChartRequest['kind']) => ['profile', 'drift'].includes(CHART_KINDS[kind].gives);

interface ChartContext {
  readonly shop: Shop;
  readonly refused: readonly RefusedMaterial[];
}

/** Everything as the profile has it, as for a photo that is prepared through it. */
function resolveLearned(
  request: ChartRequest,
  { size, ...known }: ChartContext & { readonly size: SizeMm },
): ResolvedChart {
  const { kind, direction, settings, vary: _v, seed: _s, steps: _t, replicates: _r, at: _a, levels, ...rest } = request;
  const levelled = readProfile(request.profile!, known.shop);
  // A tone chart has both roads, and its levels patches of their own.
  const burned = levels === undefined || CHART_KINDS[kind].gives === 'profile' ? 2 : levels;
  if (burned > 2) refuseUnlearned(levelled, burned);
  // A chart tests the curve that was measured: with the profile's own screen, its dots not counted as marks. One of the
  // field tests no curve but says what pieces come out like, so it has the dots that they have.
  const isAsPieces = CHART_KINDS[kind].coversField === true && burned === 2;
  const screen = request.screen ?? (isAsPieces ? undefined : takeRoad(levelled, burned).screen.name);
  const asked = {
    ...rest,
    ...(screen === undefined ? {} : { screen }),
    size: `${size.widthMm}x${size.heightMm}`,
    ...(burned > 2 ? { levels: burned } : {}),
  };
  const job = resolveJob(asked, known);
  if (direction !== undefined && direction !== job.profile.direction) {
    throw new AppError(
      'option-invalid',
      `direction: found ${direction}, but the profile "${job.profile.name}" marks ${job.profile.direction}`,
    );
  }
  const record = tryMaterial(request.material ?? job.profile.material, known.shop);
  return {
    machine: job.machine,
    material: record,
    profile: job.profile,
    levelled,
    points: job.curve === 'predicted' ? predictPoints(job) : job.profile.points,
    curve: job.curve,
    direction: job.profile.direction,
    settings: { ...job.settings, ...settleGiven(settings, job.machine) },
    grid: job.grid,
    gridOrigin: job.gridOrigin,
    screen: job.screen,
    notices: [...job.warnings],
    ...(job.side ? { side: job.side } : {}),
  };
}

/** @throws AppError profile-unusable: nothing is there to verify */
function refuseUnlearned({ name, levels }: Profile, asked: number): void {
  if (levels) return;
  throw new AppError(
    'profile-unusable',
    `${name}: found a profile of dots that fire or not, needed one that has learned levels of power: burn a tone chart with ${asked} levels and learn it`,
    { levels: asked, options: ['levels', 'profile'] },
  );
}

function resolveUnlearned(request: ChartRequest, { shop }: ChartContext): ResolvedChart {
  if (request.machine === undefined) {
    throw new AppError('option-invalid', 'found neither a machine nor a profile, needed at least one of the two', {
      options: ['machine', 'profile'],
    });
  }
  const machine = readMachine(request.machine, shop);
  if (request.material === undefined && request.direction === undefined) {
    throw new AppError(
      'option-invalid',
      'found neither a material nor a direction, needed a known material or whether it marks lighter or darker',
      { options: ['material', 'direction'] },
    );
  }
  // With a direction, the material may be one that the shop has no record of.
  const recorded =
    request.direction === undefined
      ? findMaterial(request.material, shop)
      : request.material === undefined
        ? undefined
        : tryMaterial(request.material, shop);
  const { material, side } = resolveSide(request, { machine, material: recorded, learned: undefined });
  const mark = material && findMark(material, machine.wavelengthNm);
  const direction = request.direction ?? mark?.direction;
  if (direction === undefined) {
    throw new AppError(
      'option-invalid',
      `${material!.title}: found no known mark at ${machine.wavelengthNm} nm (${machine.name}), needed to be told whether it marks lighter or darker`,
      { wavelengthNm: machine.wavelengthNm, options: ['direction'] },
    );
  }
  const notices: Notice[] = [];
  if (mark && request.direction !== undefined && mark.direction !== request.direction) {
    const { title } = material;
    const { wavelengthNm } = machine;
    notices.push(notice('direction-doubt', { title, known: mark.direction, wavelengthNm, drawn: request.direction }));
  }
  const grid = resolveGrid(request, { machine, learned: undefined });
  const settings = startSettings(machine, { grid, given: settleGiven(request.settings, machine) });
  const { levels } = JOB_DEFAULTS;
  const { name, options } =
    (request.screen ?? JOB_DEFAULTS.screen) === 'auto'
      ? findScreen('auto', { machine, settings, grid, learned: undefined, levels })
      : { name: resolveScreen(request.screen!), options: {} };
  const asked = { size: '', screenOptions: { ...options, ...request.screenOptions } };
  return {
    machine,
    material,
    profile: undefined,
    levelled: undefined,
    points: undefined,
    curve: 'measured',
    direction,
    settings,
    grid: { pitchMm: grid.pitchMm, lineSpacingMm: grid.lineSpacingMm },
    gridOrigin: grid.origin,
    screen: {
      name,
      options: screenOptionsOf(name, { request: asked, learned: undefined, levels }),
    },
    notices,
    ...(side ? { side } : {}),
  };
}

/** What a curve must not be learned with unsaid: dots without a pulse of their own, or of changing size. */
function listBeats({ machine, settings, grid }: ResolvedChart): Notice[] {
  return describeOptics(machine, { ...settings, ...grid })
    .warnings.filter(({ about }) => about === 'pulsesPerDot' || about === 'pulseOverlap')
    .map(noticeOfOptics);
}

function resolveAxes(
  { vary = [] }: ChartRequest,
  around: { readonly machine: Machine; readonly settings: BurnSettings },
): DoseAxes {
  const axes = chooseAxes(vary, around);
  const topW = powerForAllDots(axes, around);
  if (topW === undefined) return { axes };
  const { levels } = around.machine;
  return { axes: [inLevels(axes[0], { topW, levels }), inLevels(axes[1], { topW, levels })], topW };
}

/**
 * Cells whose place an empty field takes; counts, since their values are burned by nobody. Assumed: as large as a card
 * leaves beside tags and references.
 */
const ROOM_OF_FIELD: DoseAxes['axes'] = [
  { setting: 'powerW', values: [1, 2, 3, 4, 5, 6] },
  { setting: 'speedMmPerS', values: [1, 2, 3, 4] },
];

interface DoseAxes {
  readonly axes: readonly [DoseAxis, DoseAxis];
  /** Power that is typed once where every dot has its own share of it, W. */
  readonly topW?: number;
}

function chooseAxes(
  vary: readonly string[],
  { machine, settings }: { readonly machine: Machine; readonly settings: BurnSettings },
): readonly [DoseAxis, DoseAxis] {
  const around = { machine, settings };
  if (vary.length === 0) return machine.levels > 2 ? powerLadder(around) : defaultDoseAxes(machine, settings);
  if (vary.length === 1) return ladderAxes(parseDoseAxis(vary[0]!, around), settings);
  if (vary.length > 2) {
    throw new AppError(
      'option-invalid',
      `vary: found ${vary.length}, needed one setting such as power=10%:60%:8, or two such as power=0.5:3:4 and speed=500:2000:3`,
    );
  }
  const words = vary.map((text) => text.trim()).sort();
  if (words[0] === 'power' && words[1] === 'speed') return defaultDoseAxes(machine, settings);
  return [parseDoseAxis(vary[0]!, around), parseDoseAxis(vary[1]!, around)];
}
