import { tabulate } from '../numeric/index.ts';
import { giveBackKernels, type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';

/** Numbers of cells, row-major. */
export interface Cells {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

export interface BlurOptions {
  /** Standard deviation of the Gaussian along and across, cells. */
  readonly sigmaX: number;
  readonly sigmaY: number;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/** A Gaussian blur. Beyond the border nothing is assumed: weights are renormalised. */
export function blurCells(cells: Cells, { sigmaX, sigmaY, arithmetic = 'simd' }: BlurOptions): Float32Array {
  const { width, height } = cells;
  const along = gaussianTaps(sigmaX);
  const across = gaussianTaps(sigmaY);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const blur = kernels ? startFastBlur(kernels, { width, along, across }) : startPlainBlur(along);
  const wide = new Float32Array(cells.data.length);
  const nearX = weightInside(width, along);
  for (let y = 0; y < height; y++) {
    const row = cells.data.subarray(y * width, (y + 1) * width);
    const out = wide.subarray(y * width, (y + 1) * width);
    blur.alongInside(row, out);
    blurEnds(row, { out, taps: along, near: nearX });
  }
  const data = new Float32Array(wide.length);
  const nearY = weightInside(height, across);
  const radius = across.length - 1;
  for (let y = 0; y < height; y++) {
    const first = Math.max(0, y - radius);
    const end = Math.min(height, y + radius + 1);
    const rows = Array.from({ length: end - first }, (_, i) =>
      wide.subarray((first + i) * width, (first + i + 1) * width),
    );
    const taps = Float64Array.from(rows, (_, i) => across[Math.abs(first + i - y)] / nearY[y]);
    blur.across(rows, taps, data.subarray(y * width, (y + 1) * width));
  }
  giveBackKernels(kernels);
  return data;
}

function gaussianTaps(sigmaCells: number): Float64Array {
  const radius = Math.ceil(3 * sigmaCells);
  const taps = tabulate(new Float64Array(radius + 1), (i) =>
    sigmaCells > 0 ? Math.exp(-(i * i) / (2 * sigmaCells * sigmaCells)) : 1,
  );
  const sum = taps.reduce((total, tap, i) => total + (i === 0 ? tap : 2 * tap), 0);
  return taps.map((tap) => tap / sum);
}

interface Blur {
  /** Along a row, where the taps reach over neither end. */
  readonly alongInside: (row: Float32Array, out: Float32Array) => void;
  /** Sum of neighbouring rows, each with its weight. */
  readonly across: (rows: readonly Float32Array[], taps: Float64Array, out: Float32Array) => void;
}

function startPlainBlur(along: Float64Array): Blur {
  const radius = along.length - 1;
  return {
    alongInside(row, out) {
      for (let x = radius; x + radius < row.length; x++) {
        let sum = along[0] * row[x];
        for (let i = 1; i <= radius; i++) sum += along[i] * (row[x - i] + row[x + i]);
        out[x] = sum;
      }
    },
    across(rows, taps, out) {
      for (let x = 0; x < out.length; x++) {
        let sum = 0;
        for (let i = 0; i < rows.length; i++) sum += taps[i] * rows[i][x];
        out[x] = sum;
      }
    },
  };
}

/** The same by the kernels. Rows for `across` lie in a ring, so that each is handed over once. */
function startFastBlur(
  kernels: Kernels,
  { width, along, across }: { width: number; along: Float64Array; across: Float64Array },
): Blur {
  const radius = along.length - 1;
  const inside = Math.max(0, width - 2 * radius);
  const kept = 2 * across.length - 1;
  const rowBytes = 4 * width + 12;
  const sizes = [rowBytes, rowBytes, along.byteLength, 8 * kept, 4 * kept, kept * rowBytes];
  const [rowAt, outAt, alongAt, acrossAt, addressesAt, ringAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  const given = new Float32Array(buffer, rowAt, width);
  const made = new Float32Array(buffer, outAt, width);
  new Float64Array(buffer, alongAt, along.length).set(along);
  const weights = new Float64Array(buffer, acrossAt, kept);
  const addresses = new Int32Array(buffer, addressesAt, kept);
  /** By place in the ring: where the row that lies there begins in its plane. */
  const held = new Float64Array(kept).fill(-1);
  const hold = (row: Float32Array): number => {
    const place = Math.round(row.byteOffset / row.byteLength) % kept;
    const at = ringAt + place * rowBytes;
    if (held[place] !== row.byteOffset) {
      held[place] = row.byteOffset;
      new Float32Array(buffer, at, width).set(row);
    }
    return at;
  };
  return {
    alongInside(row, out) {
      if (inside === 0) return;
      given.set(row);
      kernels.blurAlong(rowAt + 4 * radius, alongAt, radius, outAt, inside);
      out.set(made.subarray(0, inside), radius);
    },
    across(rows, taps, out) {
      for (let i = 0; i < rows.length; i++) addresses[i] = hold(rows[i]);
      weights.set(taps);
      kernels.blurAcross(addressesAt, acrossAt, rows.length, outAt, width);
      out.set(made);
    },
  };
}

/** The places of a row where the taps reach over an end. */
function blurEnds(
  row: Float32Array,
  { out, taps, near }: { out: Float32Array; taps: Float64Array; near: Float64Array },
): void {
  const radius = taps.length - 1;
  for (let x = 0; x < row.length; x++) {
    if (x === radius && row.length > 2 * radius) x = row.length - radius;
    if (x >= row.length) return;
    let sum = taps[0] * row[x];
    for (let i = 1; i <= radius; i++) {
      if (x >= i) sum += taps[i] * row[x - i];
      if (x + i < row.length) sum += taps[i] * row[x + i];
    }
    out[x] = sum / near[x];
  }
}

/** Sum of the weights that fall inside, for each place along a side. */
function weightInside(length: number, taps: Float64Array): Float64Array {
  return Float64Array.from({ length }, (_, x) => {
    let sum = taps[0];
    for (let i = 1; i < taps.length; i++) sum += (x >= i ? taps[i] : 0) + (x + i < length ? taps[i] : 0);
    return sum;
  });
}
