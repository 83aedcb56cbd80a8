import type { ViewingOptions } from '../optics/index.ts';
import {
  createPlane,
  type DotGrid,
  type Dots,
  type DotTable,
  giveBackKernels,
  isWhole,
  type Kernels,
  loadKernels,
  meanOver,
  ONE,
  type Plane,
  reserveBuffers,
} from '../plane/index.ts';
import { createAverager } from './average.ts';
import { convertToLightness, type EyeOptions, filterByEye, planEyeCells } from './eye.ts';
import { predictReflectance } from './predict.ts';

/** |ΔL*| between what was wanted and what is predicted. */
export interface ToneError {
  readonly mean: number;
  /** 95 of 100 cells are nearer than this (to 0.01). */
  readonly p95: number;
  readonly worst: number;
}

export interface ErrorOptions {
  readonly predicted: Plane<'lightness'>;
  /** Share of each cell that counts, 0 … 1; all of it when absent. Cells below half do not enter the worst. */
  readonly weights?: ArrayLike<number>;
}

/** @throws RangeError when sizes differ. */
export function predictError(wanted: Plane<'lightness'>, { predicted, weights }: ErrorOptions): ToneError {
  const { data } = wanted;
  if (data.length !== predicted.data.length || (weights && weights.length !== data.length)) {
    throw new RangeError(`wanted, predicted and weights differ in size: ${data.length}, ${predicted.data.length}`);
  }
  // A histogram instead of sorting: half a million cells, and a hundredth of L* is finer than anything here is true.
  const bins = new Float64Array(10001);
  let sum = 0;
  let all = 0;
  let worst = 0;
  for (let i = 0; i < data.length; i++) {
    const difference = Math.abs(data[i] - predicted.data[i]);
    const weight = weights ? weights[i] : 1;
    sum += weight * difference;
    all += weight;
    bins[Math.min(10000, Math.ceil(difference * 100))] += weight;
    if (difference > worst && weight >= 0.5) worst = difference;
  }
  if (all === 0) return { mean: 0, p95: 0, worst: 0 };
  let seen = 0;
  let bin = 0;
  for (; bin < bins.length; bin++) {
    seen += bins[bin];
    if (seen >= 0.95 * all * (1 - 1e-12)) break;
  }
  return { mean: sum / all, p95: bin / 100, worst };
}

export interface WantedOptions {
  /** Wanted reflectance on the work for each luminance value 0 … ONE. */
  readonly reflectance: Float32Array;
  readonly bareLuminance: number;
  /** Share of each dot that may be marked; the rest is wanted bare. */
  readonly mask?: Plane<'mask'>;
  readonly width: number;
  readonly height: number;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/** Wanted reflectance on the work, area-averaged in linear light. @throws RangeError when sizes do not fit. */
export function averageWanted(luminance: Plane<'luminance'>, options: WantedOptions): Plane<'reflectance'> {
  const { reflectance, bareLuminance, mask, width, height, arithmetic = 'simd' } = options;
  if (reflectance.length !== ONE + 1 || (mask && mask.data.length !== luminance.data.length)) {
    throw new RangeError('the wanted reflectance needs one value a level, and the mask the size of the picture');
  }
  const averager = createAverager({ from: luminance, to: { width, height } });
  const { data } = luminance;
  const kernels = arithmetic === 'scalar' ? undefined : loadKernels();
  const addPlainRow = kernels ? startFastRows(kernels, { width: luminance.width, reflectance }) : addRow;
  for (let y = 0; y < luminance.height; y++) {
    const from = y * luminance.width;
    const row = data.subarray(from, from + luminance.width);
    const share = mask?.data.subarray(from, from + luminance.width);
    averager.add((target) =>
      share && !isWhole(share)
        ? addMaskedRow(target, { row, reflectance, share, bareLuminance })
        : addPlainRow(target, { row, reflectance }),
    );
  }
  giveBackKernels(kernels);
  return createPlane('reflectance', width, height, averager.means);
}

interface WantedRow {
  readonly row: Uint16Array;
  readonly reflectance: Float32Array;
}

/** Functions of their own and not closures: captured variables cost a third of the loop's time. */
function addRow(target: Float32Array, { row, reflectance }: WantedRow): void {
  for (let x = 0; x < row.length; x++) target[x] += reflectance[row[x]];
}

/** The same by the kernel. */
function startFastRows(
  kernels: Kernels,
  { width, reflectance }: { readonly width: number; readonly reflectance: Float32Array },
): typeof addRow {
  const [rowAt, tableAt, sumAt] = reserveBuffers(kernels, [2 * width, reflectance.byteLength, 4 * width]);
  const { buffer } = kernels.memory;
  const values = new Uint16Array(buffer, rowAt, width);
  const sum = new Float32Array(buffer, sumAt, width);
  new Float32Array(buffer, tableAt, reflectance.length).set(reflectance);
  return (target, { row }) => {
    values.set(row);
    sum.set(target);
    kernels.addMapped(rowAt, tableAt, sumAt, width);
    target.set(sum);
  };
}

function addMaskedRow(
  target: Float32Array,
  {
    row,
    reflectance,
    share,
    bareLuminance,
  }: WantedRow & { readonly share: Uint8Array; readonly bareLuminance: number },
): void {
  for (let x = 0; x < row.length; x++) {
    target[x] += bareLuminance + (share[x] / 255) * (reflectance[row[x]] - bareLuminance);
  }
}

export interface AssessOptions extends Pick<EyeOptions, 'viewingDistanceMm' | 'luminanceCdPerM2'> {
  readonly table: DotTable;
  readonly grid: DotGrid;
  readonly luminance: Plane<'luminance'>;
  readonly reflectance: Float32Array;
  readonly mask?: Plane<'mask'>;
  /** Share of each of the eye's cells that the mask leaves, see `weighCells`, where it is known already. */
  readonly weights?: Float32Array;
  /** What `predictReflectance` gave for these dots already, at 0.1 mm a cell or finer: saves predicting them again. */
  readonly shown?: Plane<'reflectance'>;
}

export interface ToneAssessment extends ToneError {
  /** What was wanted and what is predicted, as the eye would see both. */
  readonly wanted: Plane<'lightness'>;
  readonly predicted: Plane<'lightness'>;
}

/**
 * Predicted error of tone: wanted and predicted reflectance, both averaged to cells that the eye cannot tell apart and
 * both blurred as the eye does, compared in L*.
 */
export function assessTone(dots: Dots, options: AssessOptions): ToneAssessment {
  const { table, grid, luminance, reflectance, mask, weights: known, shown, ...viewing } = options;
  const cells = planEyeCells(dots, { grid, ...viewing });
  const size = { width: cells.width, height: cells.height };
  const eye = { cellXMm: cells.cellXMm, cellYMm: cells.cellYMm, ...viewing };
  const masked = mask ? { mask } : {};
  const aim = averageWanted(luminance, { reflectance, bareLuminance: table.bareLuminance, ...masked, ...size });
  const wanted = convertToLightness(filterByEye(aim, eye));
  const fine = shown !== undefined && shown.width >= size.width && shown.height >= size.height;
  const seen = fine
    ? createPlane('reflectance', size.width, size.height, meanOver(shown, size).data)
    : predictReflectance(dots, { table, ...size });
  const predicted = convertToLightness(filterByEye(seen, eye));
  const weights = known ?? (mask && weighCells(mask, { grid, ...viewing }));
  return { ...predictError(wanted, { predicted, ...(weights ? { weights } : {}) }), wanted, predicted };
}

/** How much of each of the eye's cells may be marked, 0 … 1: what its error counts for in `assessTone`. */
export function weighCells(mask: Plane<'mask'>, options: { readonly grid: DotGrid } & ViewingOptions): Float32Array {
  return meanOver(mask, planEyeCells(mask, options)).data;
}
