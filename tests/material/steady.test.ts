import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { type Profile, parseProfile, steadyProfile } from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';

const PROFILE = parseProfile(JSON.parse(readFileSync('shared/shop/profiles/slate-coaster.json', 'utf8')), 'slate');

/** Every number off by up to a share of itself, as another engine's arithmetic leaves it. */
function disturb<T>(value: T, by: () => number): T {
  if (typeof value === 'number') return (value * (1 + by())) as T;
  if (Array.isArray(value)) return value.map((one) => disturb(one, by)) as T;
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, disturb(one, by)])) as T;
}

test('a profile does not depend on the last digits of what computed it', () => {
  const steady = JSON.stringify(steadyProfile(PROFILE));
  for (let seed = 0; seed < 50; seed++) {
    const random = createRandom(seed);
    const other = disturb(PROFILE, () => 1e-12 * (random.nextUnit() - 0.5));
    expect(JSON.stringify(other)).not.toBe(JSON.stringify(PROFILE));
    expect(JSON.stringify(steadyProfile(other))).toBe(steady);
  }
});

test('points that rounding makes equal become one, and the curve stays one that can be read', () => {
  const { points } = PROFILE;
  const [first, second] = points as [Profile['points'][number], Profile['points'][number]];
  const near = { ...first, coverage: first.coverage + 1e-12, lightness: first.lightness + 1e-12 };
  const steady = steadyProfile({ ...PROFILE, points: [first, near, second, ...points.slice(2)] });
  expect(steady.points).toHaveLength(points.length);
  expect(parseProfile(JSON.parse(JSON.stringify(steady)), 'steady')).toEqual(steady);
  for (const [at, point] of steady.points.entries()) {
    expect(Math.abs(point.lightness - points[at]!.lightness)).toBeLessThan(1e-5);
  }
});
