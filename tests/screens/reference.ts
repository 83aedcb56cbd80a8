import { createRandom } from '../../src/numeric/index.ts';
import { createDots, type Dots, ONE, type Plane } from '../../src/plane/index.ts';
import type { DiffusionKernel } from '../../src/screens/kernels.ts';
import { type VariableKernel, weightsAt } from '../../src/screens/variable-kernels.ts';

export interface ReferenceOptions {
  readonly scan: 'raster' | 'serpentine';
  readonly levels: number;
  /** Full scale: ONE, or another to meet a library's arithmetic. */
  readonly one?: number;
  /** Keep what is owed within 0 … full scale, as some libraries do; never in this project's screens. */
  readonly clamp?: boolean;
}

/** Error diffusion as the definition says it: every dot asks every tap who sends it how much. */
export function diffuseFixedPlainly(
  { width, height, data }: Plane<'coverage'>,
  { kernel, scan, levels, one = ONE, clamp = false }: ReferenceOptions & { kernel: DiffusionKernel },
): Dots {
  const dots = createDots(width, height, levels);
  const errors = new Float64Array(width * height);
  const stepOf = (y: number) => (scan === 'serpentine' && y % 2 === 1 ? -1 : 1);
  for (let y = 0; y < height; y++) {
    for (let i = 0; i < width; i++) {
      const x = stepOf(y) > 0 ? i : width - 1 - i;
      let received = 0;
      for (const [ahead, below, share] of kernel.taps) {
        const fromY = y - below;
        const fromX = x - ahead * stepOf(fromY);
        if (fromY >= 0 && fromX >= 0 && fromX < width) received += share * errors[fromY * width + fromX];
      }
      const at = y * width + x;
      let owed = data[at] + Math.floor((received + kernel.divisor / 2) / kernel.divisor);
      if (clamp) owed = Math.max(0, Math.min(one, owed));
      let level = Math.floor((owed * (levels - 1) + (one + 1) / 2) / (one + 1));
      level = Math.max(0, Math.min(levels - 1, level));
      if (data[at] === 0) level = 0;
      if (data[at] === one) level = levels - 1;
      dots.data[at] = level;
      errors[at] = owed - Math.round((level * one) / (levels - 1));
    }
  }
  return dots;
}

/** Variable-coefficient diffusion as the definition says it, pushing shares of 1/16384. */
export function diffuseVariablePlainly(
  { width, height, data }: Plane<'coverage'>,
  { kernel, scan, levels, seed }: ReferenceOptions & { kernel: VariableKernel; seed: number },
): { dots: Dots; largestError: number } {
  const dots = createDots(width, height, levels);
  const owed = Float64Array.from(data);
  const random = createRandom(seed);
  const isModulated = kernel.modulation.some(([, percent]) => percent > 0);
  let largestError = 0;
  const give = (x: number, y: number, amount: number) => {
    if (x >= 0 && x < width && y < height) owed[y * width + x] += amount;
  };
  for (let y = 0; y < height; y++) {
    const step = scan === 'serpentine' && y % 2 === 1 ? -1 : 1;
    for (let i = 0; i < width; i++) {
      const x = step > 0 ? i : width - 1 - i;
      const at = y * width + x;
      const between = (data[at] * (levels - 1)) % ONE;
      const weights = weightsAt(kernel, Math.round((between * 255) / ONE));
      const strength = Math.round(weights.modulation * 16384);
      const lift = isModulated ? Math.floor((Math.floor(random.nextUint32() / 2 ** 18) * strength) / 16384) : 0;
      let level = Math.floor((owed[at] * (levels - 1) + 16384 - lift) / 32768);
      level = Math.max(0, Math.min(levels - 1, level));
      if (data[at] === 0) level = 0;
      if (data[at] === ONE) level = levels - 1;
      dots.data[at] = level;
      const error = owed[at] - Math.round((level * ONE) / (levels - 1));
      largestError = Math.max(largestError, Math.abs(error));
      const shareOf = (weight: number) => Math.floor((error * Math.round(weight * 16384) + 8192) / 16384);
      const ahead = shareOf(weights.ahead);
      const behind = shareOf(weights.belowBehind);
      give(x + step, y, ahead);
      give(x - step, y + 1, behind);
      give(x, y + 1, error - ahead - behind);
    }
  }
  return { dots, largestError };
}
