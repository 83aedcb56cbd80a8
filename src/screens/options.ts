import { AppError } from '../errors.ts';
import type { ScreenOptions } from './types.ts';

/** Longest shortest run, dots. Assumed: beyond it a photograph is lost. */
export const MAX_RUN = 32;

/** What an option takes: one of some words, or a number in a range (with one word that stands for "choose for me"). */
export type OptionRule =
  | { readonly title: string; readonly values: readonly string[] }
  | {
      readonly title: string;
      readonly min: number;
      readonly max: number;
      readonly kind: 'whole' | 'real' | 'power-of-two';
      readonly word?: string;
    };

/**
 * Labels and ranges of the screens' options, for the check, the command's help and the page. Units are in each title.
 * Assumed: the ends are where a screen still is one; 256 levels are what 8 bits tell.
 */
export const SCREEN_OPTIONS: Readonly<Record<keyof ScreenOptions, OptionRule>> = {
  scan: { title: 'scan of error diffusion', values: ['serpentine', 'raster'] },
  levels: { title: 'dose levels per dot', min: 2, max: 256, kind: 'whole' },
  seed: { title: 'random seed', min: 0, max: 2 ** 32 - 1, kind: 'whole' },
  linesPerCm: { title: 'screen ruling, lines per cm', min: 0.1, max: 10_000, kind: 'real', word: 'auto' },
  angleDeg: { title: 'screen angle, degrees clockwise from the scan line', min: -360, max: 360, kind: 'real' },
  shape: { title: 'dot shape', values: ['round', 'ellipse', 'square', 'diamond'] },
  size: { title: 'side of the threshold matrix, dots', min: 2, max: 256, kind: 'power-of-two' },
  errorOf: { title: 'what the error passed on is of', values: ['dots', 'marks'] },
  edges: { title: 'strength of edge-aware thresholds', min: 0, max: 4, kind: 'real' },
  run: { title: 'shortest run along a scan line, dots', min: 1, max: MAX_RUN, kind: 'whole' },
  dotSize: { title: 'mark diameter for blue noise, dots', min: 0, max: 3, kind: 'real' },
  cluster: { title: 'smallest cluster, dots', min: 1, max: 64, kind: 'whole' },
  response: { title: 'what dots are taken to leave', values: ['table', 'linear'] },
  viewingDistanceMm: { title: 'distance from which the work is looked at, mm', min: 50, max: 10_000, kind: 'real' },
};

/**
 * Values where neither the caller nor the screen's record says otherwise. Units as in `SCREEN_OPTIONS`: dots, degrees,
 * mm, and counts. Assumed: bits, a 45° ruling that the eye sees least, the usual mask, and a piece held at 300 mm.
 */
export const DEFAULT_OPTIONS: ScreenOptions = {
  scan: 'serpentine',
  levels: 2,
  seed: 1,
  linesPerCm: 'auto',
  angleDeg: 45,
  shape: 'round',
  size: 128,
  errorOf: 'dots',
  edges: 0,
  run: 1,
  dotSize: 0,
  cluster: 4,
  response: 'linear',
  viewingDistanceMm: 300,
};

/**
 * Values that leave a screen as it is without the option; records of a screen need not name them. Counts and dots.
 * Exact: with these the code of the option changes nothing.
 */
export const NEUTRAL_OPTIONS = {
  levels: 2,
  errorOf: 'dots',
  edges: 0,
  run: 1,
  dotSize: 0,
} as const satisfies Partial<ScreenOptions>;

const NEEDED = { whole: 'a whole number', real: 'a number', 'power-of-two': 'a power of two' } as const;

function describeRule(rule: OptionRule): string {
  if ('values' in rule) return `one of ${rule.values.join(', ')}`;
  return `${NEEDED[rule.kind]} ${rule.min} … ${rule.max}${rule.word === undefined ? '' : `, or ${rule.word}`}`;
}

function followsRule(value: unknown, rule: OptionRule): boolean {
  if ('values' in rule) return rule.values.includes(value as string);
  if (rule.word !== undefined && value === rule.word) return true;
  if (typeof value !== 'number' || !(value >= rule.min && value <= rule.max)) return false;
  return rule.kind === 'real' || (Number.isInteger(value) && (rule.kind === 'whole' || (value & (value - 1)) === 0));
}

/**
 * Options as a screen reads them: the caller's over the screen's over the general defaults.
 * @throws AppError option-invalid when a value is outside its range.
 */
export function fillOptions(given: Partial<ScreenOptions>, defaults: Partial<ScreenOptions>): ScreenOptions {
  const filled: Record<string, unknown> = {};
  for (const name of Object.keys(SCREEN_OPTIONS) as (keyof ScreenOptions)[]) {
    const value = given[name] ?? defaults[name] ?? DEFAULT_OPTIONS[name];
    const rule = SCREEN_OPTIONS[name];
    if (!followsRule(value, rule)) {
      throw new AppError('option-invalid', `${rule.title}: found ${String(value)}, needed ${describeRule(rule)}`, {
        option: name,
        found: value,
      });
    }
    filled[name] = value;
  }
  return filled as unknown as ScreenOptions;
}
