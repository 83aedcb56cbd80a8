import type { Plane } from '../../src/plane/index.ts';

/**
 * K1 and K2 of the paper, a window of 11 × 11 with σ 1.5 (source: Z. Wang et al., IEEE Trans. Image Processing 13
 * (2004) 600–612).
 */
const SSIM = { k1: 0.01, k2: 0.03, radius: 5, sigma: 1.5 } as const;

/**
 * Mean structural similarity of two planes of L*, whose full scale is 100; 1 for equal ones. Planes smaller than the
 * window have none.
 */
export function structuralSimilarity(a: Plane<'lightness'>, b: Plane<'lightness'>): number {
  const { width, height } = a;
  const side = 2 * SSIM.radius + 1;
  if (width < side || height < side) return Number.NaN;
  const weights = Array.from({ length: side }, (_, i) => Math.exp(-((i - SSIM.radius) ** 2) / (2 * SSIM.sigma ** 2)));
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  const taps = weights.map((weight) => weight / total);
  const blur = (of: (i: number) => number) => {
    const wide = width - side + 1;
    const rows = new Float64Array(wide * height);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < wide; x++) {
        let sum = 0;
        for (let i = 0; i < side; i++) sum += taps[i]! * of(y * width + x + i);
        rows[y * wide + x] = sum;
      }
    }
    const out = new Float64Array(wide * (height - side + 1));
    for (let at = 0; at < out.length; at++) {
      let sum = 0;
      for (let i = 0; i < side; i++) sum += taps[i]! * rows[at + i * wide]!;
      out[at] = sum;
    }
    return out;
  };
  const [x, y] = [a.data, b.data];
  const meanX = blur((i) => x[i]!);
  const meanY = blur((i) => y[i]!);
  const squareX = blur((i) => x[i]! ** 2);
  const squareY = blur((i) => y[i]! ** 2);
  const product = blur((i) => x[i]! * y[i]!);
  const c1 = (SSIM.k1 * 100) ** 2;
  const c2 = (SSIM.k2 * 100) ** 2;
  let sum = 0;
  for (let i = 0; i < meanX.length; i++) {
    const [mx, my] = [meanX[i]!, meanY[i]!];
    const [vx, vy, cov] = [squareX[i]! - mx * mx, squareY[i]! - my * my, product[i]! - mx * my];
    sum += ((2 * mx * my + c1) * (2 * cov + c2)) / ((mx * mx + my * my + c1) * (vx + vy + c2));
  }
  return sum / meanX.length;
}
