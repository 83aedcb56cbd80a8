import { describe, expect, test } from 'vitest';
import { STRANGERS, tryStranger } from '../../benchmarks/common/strange-machines.ts';
import { findUnfit, type MotionFit } from '../../src/machine/index.ts';
import { createRandom } from '../../src/numeric/index.ts';

/** Unsteady: twice what the fit expects of a hand. */
const HAND_S = 0.5;

const trials = Object.entries(STRANGERS).map(([name, draw]) => ({
  name,
  tries: [0, 1, 2].map((seed) => {
    const random = createRandom(7000 + seed);
    return tryStranger(draw, { chance: () => random.nextUnit(), handS: HAND_S, jobs: 6 });
  }),
}));
const triesOf = (name: keyof typeof STRANGERS) => trials.find((trial) => trial.name === name)!.tries;
const isWritten = ({ fit }: { readonly fit: MotionFit }) => findUnfit(fit) === undefined;

describe('readings of machines whose physics the motion does not have', () => {
  test('that are fitted predict unseen jobs within their 95 % intervals nine times in ten', () => {
    const jobs = trials.flatMap(({ tries }) => tries.filter(isWritten).flatMap(({ unseen }) => unseen));
    const inside = jobs.filter(({ interval, truthS }) => truthS >= interval.lowS && truthS <= interval.highS).length;
    expect(jobs.length).toBeGreaterThan(60);
    expect(inside / jobs.length).toBeGreaterThanOrEqual(0.9);
  });

  test.each([
    'a galvo that settles as c + k√d',
    'a gantry with buffer pauses',
    'a gantry whose overscan grows with the speed',
  ] as const)('of %s are believed, every one, and written', (name) => {
    for (const trial of triesOf(name)) {
      expect([trial.fit.uncertainty.leftOut, isWritten(trial)]).toEqual([0, true]);
      for (const { seconds, truthS } of trial.unseen) {
        if (truthS >= 40) expect(Math.abs(seconds / truthS - 1)).toBeLessThan(0.05);
      }
    }
  });

  test.each([
    'a galvo that burns dot by dot with quick skips',
    'a galvo that burns dot by dot with slow skips',
  ] as const)('of %s tell so, and none of them is blamed', (name) => {
    for (const trial of triesOf(name)) {
      expect(trial.fit.bare).toEqual({ handling: 'dot-by-dot', decided: true });
      expect([trial.fit.uncertainty.leftOut, isWritten(trial)]).toEqual([0, true]);
      const off = trial.unseen.map(({ seconds, truthS }) => (seconds / truthS - 1) ** 2);
      expect(Math.sqrt(off.reduce((sum, square) => sum + square, 0) / off.length)).toBeLessThan(0.08);
    }
  });

  test('of a galvo that flashes each dot are explained by no motion, and refused', () => {
    for (const { fit } of triesOf('a galvo that flashes each dot')) expect(findUnfit(fit)?.reason).toBe('scatter');
  });

  test('of a gantry that meets its cap on dots a second are refused', () => {
    for (const { fit } of triesOf('a gantry with a cap on dots a second')) expect(findUnfit(fit)).toBeDefined();
  });
});
