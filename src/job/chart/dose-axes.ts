import type { DoseAxis } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import type { Machine, Range } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';

type Setting = DoseAxis['setting'];

interface SettingFacts {
  readonly setting: Setting;
  readonly label: string;
  readonly unit: string;
  readonly whole?: boolean;
}

/** Settings that a dose chart may sweep, by the word that is typed. */
const DOSE_SETTINGS: Readonly<Record<string, SettingFacts>> = {
  power: { setting: 'powerW', label: 'power', unit: 'W' },
  speed: { setting: 'speedMmPerS', label: 'speed', unit: 'mm/s' },
  rate: { setting: 'rateKHz', label: 'pulse rate', unit: 'kHz' },
  pulse: { setting: 'pulseNs', label: 'pulse duration', unit: 'ns' },
  passes: { setting: 'passes', label: 'passes', unit: '', whole: true },
  spacing: { setting: 'lineSpacingMm', label: 'line spacing', unit: 'mm' },
};

/** Label and unit of a swept setting. */
export function describeSetting(setting: Setting): { readonly label: string; readonly unit: string } {
  return Object.values(DOSE_SETTINGS).find((one) => one.setting === setting)!;
}

/** Most values of one axis, a count. Assumed: more leave no room for a patch on any chart. */
const VALUES_MAX = 40;

/**
 * A swept setting from `power=0.5:3:6` (from, to, how many, evenly), `speed=500:2000:5:log` (in equal ratios) or
 * `passes=1,2,4` (as listed).
 * @throws AppError option-invalid, also for values outside the machine's range
 */
export function parseDoseAxis(text: string, machine: Machine): DoseAxis {
  const refuse = (found: string, needed: string): never => {
    throw new AppError('option-invalid', `vary: ${text}: found ${found}, needed ${needed}`, { text });
  };
  const [word = '', list = '', more] = text.split('=').map((part) => part.trim());
  const facts = Object.hasOwn(DOSE_SETTINGS, word) ? DOSE_SETTINGS[word]! : undefined;
  if (!facts || more !== undefined) {
    return refuse(
      word === '' ? 'no setting' : `"${word}"`,
      `one of ${Object.keys(DOSE_SETTINGS).join(', ')}, such as power=0.5:3:6`,
    );
  }
  const values = (list.includes(':') ? sweep(list, refuse) : list.split(',').map(toNumber)).map(roundToType);
  if (values.length < 1 || values.length > VALUES_MAX || !values.every((value) => value > 0)) {
    return refuse(`"${list}"`, `1 to ${VALUES_MAX} values above 0, such as 0.5:3:6 (from, to, how many) or 1,2,4`);
  }
  if (facts.whole && !values.every(Number.isInteger)) return refuse(values.join(', '), 'whole numbers');
  if (new Set(values).size !== values.length) return refuse(values.join(', '), 'values that differ');
  const range = rangeOf(facts.setting, machine);
  if (range === 'none') return refuse(facts.label, `a setting that ${machine.name} has`);
  const outside = range && values.find((value) => value < range.min || value > range.max);
  if (range && outside !== undefined) {
    return refuse(
      `${outside} ${facts.unit}`,
      `${range.min} to ${range.max} ${facts.unit}, the range of ${machine.name}`,
    );
  }
  return { setting: facts.setting, values };
}

function sweep(list: string, refuse: (found: string, needed: string) => never): number[] {
  const [from, to, count, way, ...more] = list.split(':').map((part) => part.trim());
  const [first, last, steps] = [from, to, count].map((part) => toNumber(part ?? ''));
  const known = way === undefined || way === 'log' || way === 'even';
  if (!(first! > 0 && last! > 0 && Number.isInteger(steps) && steps! >= 2) || !known || more.length > 0) {
    return refuse(`"${list}"`, 'FROM:TO:HOW MANY above 0, at least 2 values, with :log for equal ratios');
  }
  return Array.from({ length: steps! }, (_, at) => {
    const share = at / (steps! - 1);
    return way === 'log' ? first! * (last! / first!) ** share : first! + (last! - first!) * share;
  });
}

const toNumber = (text: string) => (text.trim() === '' ? Number.NaN : Number(text));
/** Numbers that a person can type: four significant digits. */
const roundToType = (value: number) => Number(value.toPrecision(4));

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
 * Steps of the sweep that is made when none is asked for. Counts. Assumed: 30 patches fill a card and are told apart.
 */
const DEFAULT_STEPS = { columns: 6, rows: 5 } as const;
/**
 * From half to twice what the chart would burn with, within the machine's range. A factor. Assumed: materials differ by
 * about as much from what a machine starts with.
 */
const DEFAULT_REACH = 2;

/** Power across, speed down, in equal ratios around the settings: a range of doses of 16 to 1. */
export function defaultDoseAxes(machine: Machine, settings: BurnSettings): readonly [DoseAxis, DoseAxis] {
  const around = (setting: 'powerW' | 'speedMmPerS', value: number, count: number): DoseAxis => {
    const { min, max } = machine[setting];
    const low = Math.max(min, value / DEFAULT_REACH);
    const high = Math.min(max, value * DEFAULT_REACH);
    const values = Array.from({ length: count }, (_, at) => roundToType(low * (high / low) ** (at / (count - 1))));
    return { setting, values: [...new Set(values)] };
  };
  return [
    around('powerW', settings.powerW, DEFAULT_STEPS.columns),
    around('speedMmPerS', settings.speedMmPerS, DEFAULT_STEPS.rows),
  ];
}
