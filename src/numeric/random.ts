/** A seeded stream of chance: the same seed gives the same numbers on every engine. */
export interface Random {
  /** Next whole number 0 … 2³² − 1. */
  nextUint32(): number;
  /** Next number 0 ≤ x < 1, in steps of 2⁻³². */
  nextUnit(): number;
  /** Next whole number 0 ≤ n < limit, without bias. @throws RangeError when the limit is not 1 … 2³². */
  nextBelow(limit: number): number;
}

/** Number of values that a 32-bit word has, a count. Exact: 2³² by definition. */
const TWO_32 = 2 ** 32;

/**
 * Generator xoshiro128** (source: 'blackmanVigna2021', figure 1 with 32-bit words, scrambler `rotl(s1 · 5, 7) · 9`).
 * Chosen over the one-word generators common in JavaScript because these repeat within a 24-megapixel picture's worth
 * of numbers for some seeds or never give some values; this one has period 2¹²⁸ − 1 and costs about as much.
 * @param state four 32-bit words, not all 0.
 * @throws RangeError when all words are 0: the stream would stay at 0.
 */
export function createRandomFromState(state: readonly [number, number, number, number]): Random {
  let [s0, s1, s2, s3] = state.map((word) => word | 0) as [number, number, number, number];
  if ((s0 | s1 | s2 | s3) === 0) throw new RangeError('the generator needs a state that is not 0 0 0 0');
  function nextUint32(): number {
    const fifth = Math.imul(s1, 5);
    const result = Math.imul((fifth << 7) | (fifth >>> 25), 9);
    const shifted = s1 << 9;
    s2 ^= s0;
    s3 ^= s1;
    s1 ^= s2;
    s0 ^= s3;
    s2 ^= shifted;
    s3 = (s3 << 11) | (s3 >>> 21);
    return result >>> 0;
  }
  return {
    nextUint32,
    nextUnit: () => nextUint32() / TWO_32,
    nextBelow(limit) {
      if (!Number.isInteger(limit) || limit < 1 || limit > TWO_32) {
        throw new RangeError(`the limit must be a whole number 1 … 2³², got ${limit}`);
      }
      // Values past the last whole multiple of the limit would favour small results: draw again.
      const end = TWO_32 - (TWO_32 % limit);
      for (;;) {
        const drawn = nextUint32();
        if (drawn < end) return drawn % limit;
      }
    },
  };
}

/**
 * Generator from one number; neighbouring seeds give unrelated streams, since the state is filled by the finaliser of
 * MurmurHash3 over a Weyl sequence.
 * @param seed any finite number; whole numbers below 2³² all differ.
 * @throws RangeError when the seed is not finite.
 */
export function createRandom(seed: number): Random {
  if (!Number.isFinite(seed)) throw new RangeError(`a seed must be a finite number, got ${seed}`);
  let weyl = seed | 0;
  const nextWord = () => {
    weyl = (weyl + 0x9e3779b9) | 0;
    let word = Math.imul(weyl ^ (weyl >>> 16), 0x85ebca6b);
    word = Math.imul(word ^ (word >>> 13), 0xc2b2ae35);
    return word ^ (word >>> 16);
  };
  return createRandomFromState([nextWord(), nextWord(), nextWord(), nextWord()]);
}
