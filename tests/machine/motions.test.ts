import { describe, expect, test } from 'vitest';
import { applyMotionParameters, estimateTime, listMotionParameters, type Motion } from '../../src/machine/index.ts';
import { MOTIONS } from '../../src/machine/motions/register.ts';
import { withBareHandling } from '../../src/machine/parameters.ts';
import { createDots } from '../../src/plane/index.ts';

const EXAMPLES: Readonly<Record<Motion['kind'], Motion>> = {
  galvo: {
    ...{ kind: 'galvo', jumpSpeedMmPerS: 2000, accelerationMmPerS2: 1e6, jumpDelayUs: 300, settlingUs: 40 },
    ...{ lineDelayUs: 200, beamOnDelayUs: 50, beamOffDelayUs: 150, jobOverheadS: 1 },
  },
  gantry: {
    ...{ kind: 'gantry', accelerationMmPerS2: 2000, accelerationRiseMs: 12, travelSpeedMmPerS: 100 },
    ...{ overtravelMm: 1, turnDelayMs: 5, jobOverheadS: 2 },
  },
};
const WAYS = ['skipped', 'line-ends-scanned', 'all-scanned', 'dot-by-dot'] as const;

/** Every kind in every way with bare places that it has. */
const MOTIONS_IN_WAYS = Object.entries(MOTIONS).flatMap(([kind, { dotByDot }]) =>
  WAYS.filter((bare) => bare !== 'dot-by-dot' || dotByDot).map(
    (bare) => [kind, bare, withBareHandling(EXAMPLES[kind as Motion['kind']], bare)] as const,
  ),
);

describe.each(MOTIONS_IN_WAYS)('a %s, %s', (kind, bare, motion) => {
  test('takes the values of its unknowns and gives them back', () => {
    const before = listMotionParameters(motion);
    const values = before.map(({ scale }, k) => scale * (1.5 + k / 10));
    const changed = applyMotionParameters(motion, values);
    const after = listMotionParameters(changed);
    expect(new Set(after.map(({ name }) => name)).size).toBe(after.length);
    for (const [k, { value }] of after.entries()) expect(value / values[k]!).toBeCloseTo(1, 10);
    expect(changed).toMatchObject({ kind, bare });
  });

  test('has no unknown that the time of a job does not feel', () => {
    const dots = createDots(40, 8);
    for (let x = 0; x < 40; x += 3) for (let y = 1; y < 7; y += 2) dots.data[y * 40 + x] = 1;
    const settings = { powerW: 1, speedMmPerS: 200, scan: 'one-way', passes: 2 } as const;
    const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
    const secondsOf = (of: Motion) => estimateTime(dots, { motion: of, settings, grid }).seconds;
    const parameters = listMotionParameters(motion);
    const values = parameters.map(({ value }) => value);
    for (const [k, { name, scale }] of parameters.entries()) {
      const slower = applyMotionParameters(motion, values.with(k, values[k]! + scale));
      // From dot to dot there are no run-ups; whatever else is slower takes longer.
      if (name === 'rampS2PerMm' || name === 'riseS')
        expect(secondsOf(slower)).toBeGreaterThanOrEqual(secondsOf(motion));
      else expect(secondsOf(slower), name).toBeGreaterThan(secondsOf(motion));
    }
  });

  test('says its numbers and its formula to a person', () => {
    const rows = MOTIONS[kind as Motion['kind']].listRows(motion);
    const said = new Set(rows.flatMap(({ values }) => values));
    for (const value of Object.values(motion).filter((value) => typeof value === 'number'))
      expect(said).toContain(value);
    const { formula } = estimateTime(createDots(4, 4), {
      motion,
      settings: { powerW: 1, speedMmPerS: 200, scan: 'one-way', passes: 1 },
      grid: { pitchMm: 0.1, lineSpacingMm: 0.1 },
    });
    for (const word of ['Marking:', 'Moving:', 'Waiting:']) expect(formula).toContain(word);
  });
});

test('a kind that does not burn dot by dot refuses to', () => {
  expect(() => withBareHandling(EXAMPLES.gantry, 'dot-by-dot')).toThrow('a gantry does not burn dot by dot');
});
