import { expect, test } from 'vitest';
import { createRandom, createRandomFromState } from '../../src/numeric/index.ts';

test('the generator gives the numbers of its authors’ C program', () => {
  // source: 'blackmanVigna2021'; vector made with the authors' C code by github.com/edorfaus/xoshiro-6502,
  // test-rom/testdata.asm: seed bytes and third column of VerifyValuesXoshiro128.
  const random = createRandomFromState([0x964d4a0c, 0xd40ab895, 0xad7fdecb, 0x3006f0f0]);
  expect([1, 2, 3, 4].map(() => random.nextUint32())).toEqual([0xf1391922, 0x6fe53806, 0xa5be2840, 0xf510ee70]);
});

test('a seed decides the stream, and neighbouring seeds share nothing', () => {
  const draw = (seed: number) => Array.from({ length: 1000 }, createRandom(seed).nextUint32);
  expect(draw(7)).toEqual(draw(7));
  const [a, b] = [new Set(draw(7)), draw(8)];
  expect(b.filter((value) => a.has(value)).length).toBeLessThan(3);
});

test('drawn numbers are even over their range', () => {
  const random = createRandom(1);
  const counts = new Array<number>(10).fill(0);
  for (let i = 0; i < 100_000; i++) counts[random.nextBelow(10)]++;
  // 99.9 % quantile of chi squared with 9 degrees of freedom, from memory.
  expect(counts.reduce((sum, count) => sum + (count - 10_000) ** 2 / 10_000, 0)).toBeLessThan(27.9);
  let sum = 0;
  for (let i = 0; i < 100_000; i++) sum += random.nextUnit();
  expect(sum / 100_000).toBeCloseTo(0.5, 2);
});

test('a state of zeros, a seed that is no number and an empty range are refused', () => {
  expect(() => createRandomFromState([0, 0, 0, 0])).toThrow(RangeError);
  expect(() => createRandom(Number.NaN)).toThrow(RangeError);
  expect(() => createRandom(1).nextBelow(0)).toThrow(RangeError);
});
