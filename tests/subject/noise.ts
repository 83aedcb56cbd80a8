/** Numbers from −1 to 1, the same ones for a seed: a linear congruential generator, good enough to fill a picture. */
export function openRandom(seed: number): () => number {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  };
}
