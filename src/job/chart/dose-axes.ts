import type { DoseAxis } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { controlOf, type Machine, type Range, roundTyped } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { recommendStartSpacingMm } from '../request/grid.ts';

type Setting = DoseAxis['setting'];

interface SettingFacts {
  readonly setting: Setting;
  readonly label: string;
  readonly unit: string;
  readonly whole?: boolean;
  /** Units that may stand behind a value; a number alone is in `unit`. */
  readonly units: Readonly<Record<string, (value: number, machine: Machine) => number>>;
}

/** What a setting's own unit is of another. Exact: SI prefixes and by definition; percent are of the full power. */
const times = (factor: number) => (value: number) => value * factor;

/** Settings that a dose chart may sweep, by the word that is typed. */
const DOSE_SETTINGS: Readonly<Record<string, SettingFacts>> = {
  power: {
    setting: 'powerW',
    label: 'power',
    unit: 'W',
    units: {
      kW: times(1000),
      W: times(1),
      '%': (value, machine) => (value / 100) * (controlOf(machine)?.fullPowerW ?? machine.powerW.max),
    },
  },
  speed: {
    setting: 'speedMmPerS',
    label: 'speed',
    unit: 'mm/s',
    units: { 'mm/min': times(1 / 60), 'mm/s': times(1), 'm/s': times(1000) },
  },
  rate: {
    setting: 'rateKHz',
    label: 'pulse rate',
    unit: 'kHz',
    units: { MHz: times(1000), kHz: times(1), us: (value) => 1000 / value, µs: (value) => 1000 / value },
  },
  pulse: { setting: 'pulseNs', label: 'pulse duration', unit: 'ns', units: { ns: times(1) } },
  passes: { setting: 'passes', label: 'passes', unit: '', whole: true, units: {} },
  spacing: { setting: 'lineSpacingMm', label: 'line spacing', unit: 'mm', units: { um: times(0.001), mm: times(1) } },
};

/** Label and unit of a swept setting. */
export function describeSetting(setting: Setting): { readonly label: string; readonly unit: string } {
  return Object.values(DOSE_SETTINGS).find((one) => one.setting === setting)!;
}

/** Most values of one axis, a count. Assumed: more leave no room for a patch on any chart. */
const VALUES_MAX = 40;

/**
 * A swept setting from `power=0.5:3:6` (from, to, how many, evenly), `speed=500:2000:5:log` (in equal ratios),
 * `passes=1,2,4` (as listed), `power=10%:60%:6` (in other units), or `power` (a ladder around the settings).
 * @throws AppError option-invalid, also for values outside the machine's range
 */
export function parseDoseAxis(
  text: string,
  { machine, settings }: { readonly machine: Machine; readonly settings: BurnSettings },
): DoseAxis {
  const refuse: Refuse = (found, needed) => {
    throw new AppError('option-invalid', `vary: ${text}: found ${found}, needed ${needed}`, { text });
  };
  const [word = '', list, more] = text.split('=').map((part) => part.trim());
  const facts = Object.hasOwn(DOSE_SETTINGS, word) ? DOSE_SETTINGS[word]! : undefined;
  if (!facts || more !== undefined) {
    return refuse(
      word === '' ? 'no setting' : `"${word}"`,
      `one of ${Object.keys(DOSE_SETTINGS).join(', ')}, such as power=0.5:3:6`,
    );
  }
  const range = rangeOf(facts.setting, machine);
  if (range === 'none') return refuse(facts.label, `a setting that ${machine.name} has`);
  if (list === undefined) return ladderOf(facts.setting, { machine, settings, steps: LADDER_STEPS });
  const values = readValues(list, { facts, machine, refuse });
  if (values.length < 1 || values.length > VALUES_MAX || !values.every((value) => value > 0)) {
    return refuse(`"${list}"`, `1 to ${VALUES_MAX} values above 0, such as 0.5:3:6 (from, to, how many) or 1,2,4`);
  }
  if (facts.whole && !values.every(Number.isInteger)) return refuse(values.join(', '), 'whole numbers');
  if (new Set(values).size !== values.length) return refuse(values.join(', '), 'values that differ');
  const outside = range && values.find((value) => value < range.min || value > range.max);
  if (range && outside !== undefined) {
    return refuse(
      `${outside} ${facts.unit}`,
      `${range.min} to ${range.max} ${facts.unit}, the range of ${machine.name}`,
    );
  }
  return { setting: facts.setting, values };
}

type Refuse = (found: string, needed: string) => never;

/** Significant digits of what is swept as asked, in the units of the control software. A count. Assumed: as typed. */
const SWEPT_DIGITS = 4;

function readValues(
  list: string,
  { facts, machine, refuse }: { readonly facts: SettingFacts; readonly machine: Machine; readonly refuse: Refuse },
): number[] {
  const isSweep = list.includes(':');
  const parts = list.split(isSweep ? ':' : ',').map((part) => part.trim());
  // The longest first: `m/s` ends `mm/s`, too. A unit behind one of the values is that of all.
  const units = Object.keys(facts.units).sort((a, b) => b.length - a.length);
  const unitOf = (part: string) => units.find((unit) => part.toLowerCase().endsWith(unit.toLowerCase()));
  const values = isSweep ? parts.slice(0, 2) : parts;
  const shared = values.map(unitOf).find((unit) => unit !== undefined);
  const read = (part: string): number => {
    const unit = unitOf(part);
    const value = toNumber(unit === undefined ? part : part.slice(0, -unit.length));
    const own = unit ?? shared;
    return own === undefined ? value : facts.units[own]!(value, machine);
  };
  if (!isSweep) return values.map((part) => toSignificant(read(part)));
  return sweep(list, { parts, ends: [read(parts[0]!), read(parts[1]!)], refuse }).map((value) =>
    roundSetting(facts.setting, value, { machine, digits: SWEPT_DIGITS }),
  );
}

function sweep(
  list: string,
  {
    parts: [, , count = '', way, ...more],
    ends: [first, last],
    refuse,
  }: {
    readonly parts: readonly string[];
    readonly ends: readonly [number, number];
    readonly refuse: Refuse;
  },
): number[] {
  const steps = toNumber(count);
  const known = way === undefined || way === 'log' || way === 'even';
  if (!(first > 0 && last > 0 && Number.isInteger(steps) && steps >= 2) || !known || more.length > 0) {
    return refuse(`"${list}"`, 'FROM:TO:HOW MANY above 0, at least 2 values, with :log for equal ratios');
  }
  return Array.from({ length: steps }, (_, at) => {
    const share = at / (steps - 1);
    return way === 'log' ? first * (last / first) ** share : first + (last - first) * share;
  });
}

const toNumber = (text: string) => (text.trim() === '' ? Number.NaN : Number(text));
/** Without what a change of units adds in the last digits. */
const toSignificant = (value: number) => Number(value.toPrecision(12));

/** A value as it is typed in the units of the control software, in the record's own unit. */
function roundSetting(
  setting: Setting,
  value: number,
  { machine, digits }: { readonly machine: Machine; readonly digits: number },
): number {
  if (setting === 'lineSpacingMm') return Number(value.toPrecision(digits));
  return roundTyped(setting, value, { control: controlOf(machine), digits });
}

function rangeOf(setting: Setting, machine: Machine): Range | 'none' | undefined {
  switch (setting) {
    case 'powerW':
      return machine.powerW;
    case 'speedMmPerS':
      return machine.speedMmPerS;
    case 'rateKHz':
      return machine.rateKHz ?? 'none';
    case 'pulseNs':
      return machine.pulseNs ?? 'none';
    default:
      return undefined;
  }
}

/**
 * Steps of the sweeps that are made when none is asked for: a grid of power and speed, or a ladder. Counts. Assumed: as
 * many jobs as a person types by hand, and enough to see where the mark is strongest.
 */
const DEFAULT_STEPS = { columns: 4, rows: 3 } as const;
const LADDER_STEPS = 8;
/** Significant digits of their values in the units of the control software. A count. Assumed: typed at a glance. */
const TYPED_DIGITS = 2;
/**
 * A grid reaches from half to twice what the chart would burn with, a ladder from a quarter to twice, within the
 * machine's range. Factors. Assumed: materials differ by about as much from what a machine starts with, and a ladder
 * has one setting for what a grid has two for.
 */
const DEFAULT_REACH = 2;
const LADDER_REACH = { down: 4, up: 2 } as const;
/** Passes of a ladder. Counts. Assumed: doublings and the steps between, as far as anybody waits. */
const LADDER_PASSES: readonly number[] = [1, 2, 3, 4, 6, 8];

interface Around {
  readonly machine: Machine;
  readonly settings: BurnSettings;
}

/** Power across, speed down, in equal ratios around the settings, rounded as they are typed: doses of about 16 to 1. */
export function defaultDoseAxes(machine: Machine, settings: BurnSettings): readonly [DoseAxis, DoseAxis] {
  const reach = { down: DEFAULT_REACH, up: DEFAULT_REACH };
  return [
    stepAround('powerW', { machine, settings, reach, steps: DEFAULT_STEPS.columns }),
    stepAround('speedMmPerS', { machine, settings, reach, steps: DEFAULT_STEPS.rows }),
  ];
}

/** One setting in equal ratios around what the chart would burn with, the other as it is. */
export function ladderAxes(axis: DoseAxis, settings: BurnSettings): readonly [DoseAxis, DoseAxis] {
  const kept = axis.setting === 'powerW' ? 'speedMmPerS' : 'powerW';
  return [axis, { setting: kept, values: [settings[kept]] }];
}

/** @param steps of the ladder, 2 or more */
function ladderOf(setting: Setting, { steps, ...around }: Around & { readonly steps: number }): DoseAxis {
  if (setting === 'passes') return { setting, values: LADDER_PASSES };
  return stepAround(setting, { ...around, reach: LADDER_REACH, steps });
}

/** A ladder of power for a machine that takes the power of every dot from the bitmap: one bitmap, nothing to type. */
export function powerLadder(around: Around): readonly [DoseAxis, DoseAxis] {
  return ladderAxes(ladderOf('powerW', { ...around, steps: LADDER_STEPS }), around.settings);
}

function stepAround(
  setting: Exclude<Setting, 'passes'>,
  {
    machine,
    settings,
    reach,
    steps,
  }: Around & { readonly reach: { readonly down: number; readonly up: number }; readonly steps: number },
): DoseAxis {
  const range = rangeOf(setting, machine);
  const { min, max } = range === undefined || range === 'none' ? { min: 0, max: Number.POSITIVE_INFINITY } : range;
  const value = setting === 'lineSpacingMm' ? recommendStartSpacingMm(machine) : settings[setting]!;
  const low = Math.max(min, value / reach.down);
  const high = Math.min(max, value * reach.up);
  const values = Array.from({ length: steps }, (_, at) => {
    const rounded = roundSetting(setting, low * (high / low) ** (at / (steps - 1)), { machine, digits: TYPED_DIGITS });
    return Math.min(max, Math.max(min, rounded));
  });
  return { setting, values: [...new Set(values)] };
}

/**
 * The power that a machine with a power for every dot is told once, W, where a bitmap alone can say all of a chart's
 * powers: nothing but power differs between its cells. Undefined where it cannot.
 */
export function powerForAllDots(
  [columns, rows]: readonly [DoseAxis, DoseAxis],
  { machine, settings }: Around,
): number | undefined {
  if (machine.levels <= 2) return undefined;
  const [swept, kept] = columns.setting === 'powerW' ? [columns, rows] : [rows, columns];
  if (swept.setting !== 'powerW' || kept.setting === 'lineSpacingMm') return undefined;
  if (kept.values.length !== 1 || kept.values[0] !== settings[kept.setting]) return undefined;
  return Math.max(settings.powerW, ...swept.values);
}

/** The axis with its powers as levels of dots give them. */
export function inLevels(
  axis: DoseAxis,
  { topW, levels }: { readonly topW: number; readonly levels: number },
): DoseAxis {
  if (axis.setting !== 'powerW') return axis;
  const values = axis.values.map((powerW) =>
    toSignificant(powerOfLevel(levelOfPower(powerW, { topW, levels }), { topW, levels })),
  );
  return { ...axis, values: [...new Set(values)] };
}

/** The level of a dot that fires with this power where the full one is `topW`; at least 1. */
export function levelOfPower(
  powerW: number,
  { topW, levels }: { readonly topW: number; readonly levels: number },
): number {
  return Math.max(1, Math.round(((levels - 1) * powerW) / topW));
}

const powerOfLevel = (level: number, { topW, levels }: { readonly topW: number; readonly levels: number }) =>
  (level * topW) / (levels - 1);
