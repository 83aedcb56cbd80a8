/**
 * Power spectrum |F|²/n of a real plane that repeats, by plain transforms of rows, then columns; index ky · width + kx.
 */
export function powerSpectrum(values: ArrayLike<number>, width: number, height: number): Float64Array {
  const power = new Float64Array(width * height);
  const [cosX, sinX] = [Math.cos, Math.sin].map((f) => waveOf(f, width)) as [Float64Array, Float64Array];
  const [cosY, sinY] = [Math.cos, Math.sin].map((f) => waveOf(f, height)) as [Float64Array, Float64Array];
  const re = new Float64Array(height);
  const im = new Float64Array(height);
  // The plane is real: the bin opposite to each one has the same power.
  for (let kx = 0; kx <= width / 2; kx++) {
    for (let y = 0; y < height; y++) {
      let a = 0;
      let b = 0;
      for (let x = 0, phase = 0; x < width; x++) {
        a += values[y * width + x] * cosX[phase];
        b -= values[y * width + x] * sinX[phase];
        phase += kx;
        if (phase >= width) phase -= width;
      }
      re[y] = a;
      im[y] = b;
    }
    for (let ky = 0; ky < height; ky++) {
      let a = 0;
      let b = 0;
      for (let y = 0, phase = 0; y < height; y++) {
        a += re[y] * cosY[phase] + im[y] * sinY[phase];
        b += im[y] * cosY[phase] - re[y] * sinY[phase];
        phase += ky;
        if (phase >= height) phase -= height;
      }
      const value = (a * a + b * b) / (width * height);
      power[ky * width + kx] = value;
      power[((height - ky) % height) * width + ((width - kx) % width)] = value;
    }
  }
  return power;
}

const waveOf = (f: (x: number) => number, n: number) =>
  Float64Array.from({ length: n }, (_, k) => f((2 * Math.PI * k) / n));

/** Signed frequency of a bin, cycles per dot. */
export const frequencyOf = (bin: number, size: number) => (bin < size / 2 ? bin : bin - size) / size;

export interface RadialPower {
  /** Mean power per ring, the constant left out, relative to white noise of the same tone, g(1 − g). */
  readonly rings: readonly number[];
  /** Width of a ring, cycles per dot. */
  readonly ringWidth: number;
}

/** Radially averaged power spectrum of bits. source: 'ulichney1987', ch. 3, from memory. */
export function radialPower(bits: ArrayLike<number>, size: number, ringWidth = 1 / 64): RadialPower {
  let ones = 0;
  for (let i = 0; i < bits.length; i++) ones += bits[i];
  const share = ones / bits.length;
  const power = powerSpectrum(bits, size, size);
  const sums = new Array<number>(Math.ceil(Math.SQRT1_2 / ringWidth) + 1).fill(0);
  const counts = sums.slice();
  for (let ky = 0; ky < size; ky++) {
    for (let kx = 0; kx < size; kx++) {
      if (kx === 0 && ky === 0) continue;
      const ring = Math.floor(Math.hypot(frequencyOf(kx, size), frequencyOf(ky, size)) / ringWidth);
      sums[ring] += power[ky * size + kx];
      counts[ring]++;
    }
  }
  return { rings: sums.map((sum, i) => sum / Math.max(1, counts[i]!) / (share * (1 - share))), ringWidth };
}
