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
  const mix = createMixer(table);
  for (let i = 0; i < data.length; i++) data[i] = mix(data[i]);
  return createPlane('reflectance', width, height, data);
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
