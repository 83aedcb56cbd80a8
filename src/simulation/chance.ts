/**
 * Seeded chance for the virtual shop: the same seed gives the same piece and the same picture, on every engine,
 * because only 32-bit integer arithmetic decides.
 */

/** Scrambles up to three whole numbers into 32 bits (two rounds of multiply and xor-shift on each). */
export function hash32(seed: number, a = 0, b = 0): number {
  let h = (seed ^ 0x9e3779b9) | 0;
  for (const part of [a, b]) {
    h = Math.imul(h ^ part, 0x85ebca6b);
    h = Math.imul(h ^ (h >>> 15), 0xc2b2ae35);
    h ^= h >>> 13;
  }
  return h >>> 0;
}

/** 65 536 quantiles of the normal distribution, mean 0 and variance 1, to be drawn from with 16 random bits. */
const NORMAL = buildNormalTable();

function buildNormalTable(): Float32Array {
  const table = new Float32Array(65536);
  // Equal steps of probability, found by integrating the density with steps much finer than the table's.
  const step = 1e-4;
  const half = table.length / 2;
  let probability = 0;
  let x = 0;
  for (let i = 0; i < half; i++) {
    const wanted = (i + 0.5) / table.length;
    while (probability < wanted) {
      const middle = x + step / 2;
      probability += (step * Math.exp(-(middle * middle) / 2)) / Math.sqrt(2 * Math.PI);
      x += step;
      if (x > 5) break;
    }
    table[half + i] = x;
    table[half - 1 - i] = -x;
  }
  let sum = 0;
  for (const value of table) sum += value * value;
  const scale = 1 / Math.sqrt(sum / table.length);
  return table.map((value) => value * scale);
}

export interface Chance {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Normal with mean 0 and variance 1, cut at about four standard deviations. */
  normal(): number;
}

/** A stream of chance from a seed: a Weyl sequence, each term scrambled. */
export function createChance(seed: number): Chance {
  let state = hash32(seed);
  const next = () => {
    state = (state + 0x6d2b79f5) | 0;
    let h = Math.imul(state ^ (state >>> 15), state | 1);
    h ^= h + Math.imul(h ^ (h >>> 7), h | 61);
    return (h ^ (h >>> 14)) >>> 0;
  };
  return {
    uniform: () => next() / 4294967296,
    normal: () => NORMAL[next() >>> 16],
  };
}

/** The first values of a stream's `normal()`, as many as there is room for. */
export function fillNormal(into: Float32Array, seed: number): void {
  let state = hash32(seed);
  for (let i = 0; i < into.length; i++) {
    state = (state + 0x6d2b79f5) | 0;
    let h = Math.imul(state ^ (state >>> 15), state | 1);
    h ^= h + Math.imul(h ^ (h >>> 7), h | 61);
    into[i] = NORMAL[((h ^ (h >>> 14)) >>> 0) >>> 16];
  }
}

/** One normal value for a place, without a stream: the same place always has the same value. */
export function normalAt(seed: number, a: number, b: number): number {
  return NORMAL[hash32(seed, a, b) >>> 16];
}
