/** Power spectrum |F|²/n of a real plane that repeats, by plain transforms of rows and columns; index ky · width + kx. */
export function powerSpectrum(values: ArrayLike<number>, width: number, height: number): Float64Array {
  const re = new Float64Array(width * height);
  const im = new Float64Array(width * height);
  const wave = (n: number) =>
    Array.from({ length: n }, (_, k) => [Math.cos, Math.sin].map((f) => f((2 * Math.PI * k) / n)));
  const waveX = wave(width);
  const waveY = wave(height);
  for (let y = 0; y < height; y++) {
    for (let k = 0; k < width; k++) {
      for (let x = 0; x < width; x++) {
        const [cos, sin] = waveX[(k * x) % width]! as [number, number];
        re[y * width + k] += values[y * width + x] * cos;
        im[y * width + k] -= values[y * width + x] * sin;
      }
    }
  }
  const power = new Float64Array(width * height);
  for (let kx = 0; kx < width; kx++) {
    for (let ky = 0; ky < height; ky++) {
      let a = 0;
      let b = 0;
      for (let y = 0; y < height; y++) {
        const [cos, sin] = waveY[(ky * y) % height]! as [number, number];
        const r = re[y * width + kx];
        const i = im[y * width + kx];
        a += r * cos + i * sin;
        b += i * cos - r * sin;
      }
      power[ky * width + kx] = (a * a + b * b) / (width * height);
    }
  }
  return power;
}

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
