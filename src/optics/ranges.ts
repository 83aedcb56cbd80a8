import type { BurnSettings } from './settings.ts';

export interface Limits {
  readonly min: number;
  readonly max: number;
}

/** What a machine can be set to; absent where it does not apply. */
export interface SettingRanges {
  readonly powerW: Limits;
  readonly speedMmPerS: Limits;
  readonly rateKHz?: Limits;
  readonly pulseNs?: Limits;
}

/** A setting that the machine cannot give. */
export interface SettingBeyond extends Limits {
  readonly about: keyof SettingRanges;
  readonly what: string;
  readonly unit: string;
  readonly value: number;
}

const NAMES: Readonly<Record<keyof SettingRanges, readonly [what: string, unit: string]>> = {
  powerW: ['power', 'W'],
  speedMmPerS: ['speed', 'mm/s'],
  rateKHz: ['pulse rate', 'kHz'],
  pulseNs: ['pulse duration', 'ns'],
};

/**
 * Rounding that a setting may carry from its computation, share of the limit. Assumed: a few roundings of double
 * numbers, far below what a setting can be set to.
 */
const ROUNDING = 1e-9;

/**
 * Which settings lie beyond what the machine gives, in the order of `SettingRanges`: the only judge of this question.
 */
export function listBeyond(
  settings: Partial<Pick<BurnSettings, keyof SettingRanges>>,
  ranges: SettingRanges,
): readonly SettingBeyond[] {
  return (Object.keys(NAMES) as (keyof SettingRanges)[]).flatMap((about) => {
    const value = settings[about];
    const range = ranges[about];
    if (value === undefined || range === undefined) return [];
    if (value >= range.min * (1 - ROUNDING) && value <= range.max * (1 + ROUNDING)) return [];
    const [what, unit] = NAMES[about];
    return [{ about, what, unit, value, min: range.min, max: range.max }];
  });
}

/** Whether a field of a report is a setting that the machine has a range of. */
export const isSetting = (about: string): about is keyof SettingRanges => Object.hasOwn(NAMES, about);

/** `a power of 60 W, needed 0.1 to 8 W`: found and needed, for a sentence about the machine. */
export function sayBeyond({ what, unit, value, min, max }: SettingBeyond): string {
  return `a ${what} of ${show(value)} ${unit}, needed ${show(min)} to ${show(max)} ${unit}`;
}

/** Four significant digits. */
const show = (value: number) => String(Number(value.toPrecision(4)));
