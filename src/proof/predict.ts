import { createPlane, type Dots, lightnessOfReflectance, type Plane } from '../plane/index.ts';
import { createAverager } from './average.ts';
import { openStrength } from './strength.ts';
import type { DotTable } from './types.ts';

export interface PredictOptions {
  readonly table: DotTable;
  /** Size of the result, at most that of the dots; one value a dot when absent. */
  readonly width?: number;
  readonly height?: number;
}

/**
 * Reflectance that the dots will show, averaged to a smaller size.
 * Strength is averaged over each cell of the result first and mixed by Yule and Nielsen after (source:
 * 'yuleNielsen1951'), because light spreads over more than one dot: cells of a tenth of a millimetre are right for that,
 * and at one value a dot a spread above n = 1 is left out between dots.
 * @throws RangeError when the result is larger than the dots.
 */
export function predictReflectance(dots: Dots, options: PredictOptions): Plane<'reflectance'> {
  const { table, width = dots.width, height = dots.height } = options;
  const averager = createAverager({ from: dots, to: { width, height } });
  const addRow = openStrength(dots, table);
  for (let y = 0; y < dots.height; y++) averager.add(addRow);
  const data = averager.means;
  mixAll(data, createMixer(table));
  return createPlane('reflectance', width, height, data);
}

/** Steps of strength between which mixing is straight: off by less than a 32-bit float's own rounding. */
const MIX_STEPS = 1 << 14;

/** Powers are slow, so a picture's worth of strengths goes through a table of them. */
function mixAll(strengths: Float32Array, mix: (strength: number) => number): void {
  const table = Float64Array.from({ length: MIX_STEPS + 2 }, (_, step) => mix(step / MIX_STEPS));
  for (let i = 0; i < strengths.length; i++) {
    const at = Math.min(1, Math.max(0, strengths[i])) * MIX_STEPS;
    const step = at | 0;
    strengths[i] = table[step] + (at - step) * (table[step + 1] - table[step]);
  }
}

export interface MeanLightnessOptions {
  readonly table: DotTable;
  /** The part to average, in dots; everything when absent. */
  readonly rect?: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
}

/** CIE L* of a field of dots as a reading of it would show: mean strength, mixed, as lightness. */
export function predictLightness(dots: Dots, options: MeanLightnessOptions): number {
  const { table, rect = { x: 0, y: 0, width: dots.width, height: dots.height } } = options;
  const addRow = openStrength(dots, table);
  const before = new Float32Array(dots.width);
  for (let y = 0; y < rect.y; y++) addRow(before);
  const columns = new Float32Array(dots.width);
  for (let y = 0; y < rect.height; y++) addRow(columns);
  let sum = 0;
  for (let x = rect.x; x < rect.x + rect.width; x++) sum += columns[x];
  return lightnessOfReflectance(createMixer(table)(sum / (rect.width * rect.height)));
}

/** Reflectance of mean strength a: R^(1/n) = a·Rfull^(1/n) + (1−a)·Rbare^(1/n). source: 'yuleNielsen1951'. */
function createMixer({ bareLuminance, fullLuminance, yuleNielsenN: n }: DotTable): (strength: number) => number {
  if (n === 1) return (a) => Math.max(0, bareLuminance + a * (fullLuminance - bareLuminance));
  const bare = bareLuminance ** (1 / n);
  const full = fullLuminance ** (1 / n);
  return (a) => Math.max(0, bare + a * (full - bare)) ** n;
}
