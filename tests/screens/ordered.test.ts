import { describe, expect, test } from 'vitest';
import { radialPower } from '../../benchmarks/common/spectrum.ts';
import { createRandom, mean } from '../../src/numeric/index.ts';
import { ONE } from '../../src/plane/index.ts';
import { generateBayer } from '../../src/screens/bayer.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { applyMask, createMask } from '../../src/screens/threshold-mask.ts';
import {
  createFilter,
  generateVoidAndCluster,
  type VoidAndClusterOptions,
} from '../../src/screens/void-and-cluster.ts';
import { constantPlane, drawDots, mixedPlane } from './planes.ts';

const rowsOf = (ranks: ArrayLike<number>, size: number) =>
  Array.from({ length: size }, (_, y) => Array.from({ length: size }, (_, x) => ranks[y * size + x]!));

describe('bayer', () => {
  // source: 'bayer1973' for the recursion, as read in public code with these matrices.
  test('2 × 2, 4 × 4 and the first rows of 8 × 8 are the published ones', () => {
    expect(rowsOf(generateBayer(2), 2)).toEqual([
      [0, 2],
      [3, 1],
    ]);
    expect(rowsOf(generateBayer(4), 4)).toEqual([
      [0, 8, 2, 10],
      [12, 4, 14, 6],
      [3, 11, 1, 9],
      [15, 7, 13, 5],
    ]);
    expect(rowsOf(generateBayer(8), 8).slice(0, 2)).toEqual([
      [0, 32, 8, 40, 2, 34, 10, 42],
      [48, 16, 56, 24, 50, 18, 58, 26],
    ]);
  });

  test.each([1, 2, 4, 8, 16, 32, 64, 128, 256])(
    '%i × itself is a permutation made of four of the half size',
    (size) => {
      const ranks = generateBayer(size);
      expect(isPermutation(ranks)).toBe(true);
      if (size === 1) return;
      const half = size / 2;
      const smaller = generateBayer(half);
      const added = [0, 2, 3, 1];
      const wrong = ranks.findIndex((rank, at) => {
        const [x, y] = [at % size, Math.floor(at / size)];
        return rank !== 4 * smaller[(y % half) * half + (x % half)] + added[2 * +(y >= half) + +(x >= half)]!;
      });
      expect(wrong).toBe(-1);
    },
  );

  test('a quarter of coverage in 4 × 4 fires the four lowest ranks', () => {
    const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
    expect(drawDots(applyScreen(constantPlane(0.25, 4), { name: 'bayer', size: 4, grid }))).toEqual([
      '#.#.',
      '....',
      '#.#.',
      '....',
    ]);
  });

  test('other sides are refused', () => {
    for (const size of [0, 3, 512, 2.5]) expect(() => generateBayer(size)).toThrow(RangeError);
  });
});

describe('a threshold mask', () => {
  test('the fast comparison gives the dots of the plain one, for any mask, plane and levels', () => {
    const random = createRandom(4);
    for (const [width, height, maskWidth, maskHeight] of [
      [1, 1, 8, 8],
      [40, 30, 7, 5],
      [33, 9, 33, 2],
      [20, 20, 64, 64],
    ] as const) {
      const order = Array.from({ length: maskWidth * maskHeight }, () => random.nextUnit());
      const sorted = [...order].sort((a, b) => a - b);
      const mask = createMask(
        maskWidth,
        maskHeight,
        order.map((value) => sorted.indexOf(value)),
      );
      const plane = mixedPlane(width, height, 3);
      for (const levels of [2, 3, 16, 256]) {
        const expected = Array.from(plane.data, (wanted, at) => {
          const [x, y] = [at % width, Math.floor(at / width)];
          const threshold = mask.thresholds[(y % maskHeight) * maskWidth + (x % maskWidth)];
          const position = wanted * (levels - 1);
          return Math.floor(position / ONE) + (position % ONE >= threshold ? 1 : 0);
        });
        expect(Array.from(applyMask(plane, { mask, levels }).data)).toEqual(expected);
      }
    }
  });

  test('rank r of n fires above a coverage of (r + ½)/n', () => {
    const { thresholds } = createMask(2, 2, [0, 1, 2, 3]);
    expect(Array.from(thresholds)).toEqual([0.125, 0.375, 0.625, 0.875].map((share) => Math.floor(share * ONE) + 1));
  });
});

/** The paper's three phases as they read: every dot looked at for every rank, and zeros in the third phase. */
function voidAndClusterPlainly({ size, sigmaX, sigmaY, seed }: VoidAndClusterOptions): Uint16Array {
  const count = size * size;
  const { radiusX, radiusY, weights } = createFilter(size, sigmaX, sigmaY);
  /** Bits with, for each dot, the filter's sum over its surroundings' zeros and over their ones. */
  const createPattern = () => {
    const bits = new Uint8Array(count);
    const total = weights.reduce((sum, weight) => sum + weight, 0);
    const energies = [new Float64Array(count).fill(total), new Float64Array(count)] as const;
    return { bits, energies };
  };
  type Pattern = ReturnType<typeof createPattern>;
  const setBit = ({ bits, energies }: Pattern, at: number, bit: 0 | 1) => {
    bits[at] = bit;
    for (let dy = -radiusY, w = 0; dy <= radiusY; dy++) {
      for (let dx = -radiusX; dx <= radiusX; dx++, w++) {
        const near = (((at % size) + dx + size) % size) + ((Math.floor(at / size) + dy + size) % size) * size;
        energies[bit][near] += weights[w];
        energies[bit === 0 ? 1 : 0][near] -= weights[w];
      }
    }
  };
  /** Among dots that are `among`, the one whose surroundings hold most (or least) of `of`; the first of equal ones. */
  const extreme = ({ bits, energies }: Pattern, among: 0 | 1, of: 0 | 1, most: boolean) => {
    let best = -1;
    for (let at = 0; at < count; at++) {
      if (bits[at] !== among) continue;
      const difference = energies[of][at] - energies[of][best];
      if (best < 0 || (most ? difference > 0 : difference < 0)) best = at;
    }
    return best;
  };
  const pattern = createPattern();
  const random = createRandom(seed);
  let ones = 0;
  while (ones < Math.floor(count * 0.1)) {
    const at = random.nextBelow(count);
    if (pattern.bits[at] === 1) continue;
    setBit(pattern, at, 1);
    ones++;
  }
  for (;;) {
    const cluster = extreme(pattern, 1, 1, true);
    setBit(pattern, cluster, 0);
    const hole = extreme(pattern, 0, 1, false);
    setBit(pattern, hole, 1);
    if (hole === cluster) break;
  }
  const ranks = new Uint16Array(count);
  const first = {
    bits: pattern.bits.slice(),
    energies: [pattern.energies[0].slice(), pattern.energies[1].slice()] as const,
  };
  for (let rank = ones - 1; rank >= 0; rank--) {
    const cluster = extreme(first, 1, 1, true);
    setBit(first, cluster, 0);
    ranks[cluster] = rank;
  }
  for (let rank = ones; rank < count; rank++) {
    const hole = rank < count / 2 ? extreme(pattern, 0, 1, false) : extreme(pattern, 0, 0, true);
    setBit(pattern, hole, 1);
    ranks[hole] = rank;
  }
  return ranks;
}

function isPermutation(ranks: ArrayLike<number>): boolean {
  const seen = new Uint8Array(ranks.length);
  for (let i = 0; i < ranks.length; i++) seen[ranks[i]] = 1;
  return seen.every((value) => value === 1);
}

describe('void and cluster', () => {
  test.each([
    { size: 16, sigmaX: 1.5, sigmaY: 1.5, seed: 1 },
    { size: 16, sigmaX: 1.1, sigmaY: 2.05, seed: 2 },
    { size: 32, sigmaX: 1.9, sigmaY: 1.2, seed: 3 },
    { size: 64, sigmaX: 1.5, sigmaY: 1.5, seed: 4 },
  ])('the fast version gives the ranks of the paper’s three phases, %o', (options) => {
    expect(generateVoidAndCluster(options)).toEqual(voidAndClusterPlainly(options));
  });

  test.each([32, 64, 128])('%i × itself is a permutation', (size) => {
    expect(isPermutation(generateVoidAndCluster({ size, sigmaX: 1.5, sigmaY: 1.5, seed: 1 }))).toBe(true);
  });

  test('an option out of range is refused', () => {
    const fine = { size: 32, sigmaX: 1.5, sigmaY: 1.5, seed: 1 };
    for (const wrong of [{ size: 24 }, { size: 512 }, { sigmaX: 0 }, { sigmaX: 30, sigmaY: 10 }]) {
      expect(() => generateVoidAndCluster({ ...fine, ...wrong })).toThrow(RangeError);
    }
  });

  // Principal frequency √g: source: 'ulichney1987', from memory; power relative to white noise, g(1 − g).
  test.each([1 / 16, 1 / 8, 1 / 4])(
    'at a coverage of %d the noise is blue, around the principal frequency',
    (share) => {
      const size = 128;
      const ranks = generateVoidAndCluster({ size, sigmaX: 1.5, sigmaY: 1.5, seed: 1 });
      const { rings, ringWidth } = radialPower(
        ranks.map((rank) => (rank < share * size * size ? 1 : 0)),
        size,
      );
      const principal = Math.sqrt(share);
      const low = rings.slice(0, Math.floor(principal / 2 / ringWidth));
      const peak = (rings.indexOf(Math.max(...rings)) + 0.5) * ringWidth;
      expect(mean(low)).toBeLessThan(0.1);
      expect(peak / principal).toBeGreaterThan(0.8);
      expect(peak / principal).toBeLessThan(1.2);
    },
  );

  test('tall dots get noise that is even on the work: neighbours keep further apart, in dots, along the short side', () => {
    const nearestFor = (lineSpacingMm: number) => {
      const grid = { pitchMm: 0.02, lineSpacingMm };
      const { data, width } = applyScreen(constantPlane(1 / 16, 128), { name: 'blue-noise', grid });
      return { along: nearest(data, 1), across: nearest(data, width) };
    };
    expect(nearestFor(0.02)).toEqual({ along: 3, across: 3 });
    expect(nearestFor(0.04)).toEqual({ along: 4, across: 2 });
    expect(nearestFor(0.01)).toEqual({ along: 2, across: 4 });
  });
});

/** Least distance between two firing dots in one direction, dots. */
function nearest(data: Uint8Array, step: number): number {
  for (let k = 1; ; k++) {
    for (let at = 0; at + k * step < data.length; at++) if (data[at] === 1 && data[at + k * step] === 1) return k;
  }
}
