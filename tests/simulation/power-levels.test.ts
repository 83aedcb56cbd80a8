import { readdirSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { createDots } from '../../src/plane/index.ts';
import { engrave, parsePowerModel, powerAt } from '../../src/simulation/index.ts';
import { PLAIN } from './models.ts';

const FOLDER = 'shared/simulation/levels';
const models = readdirSync(FOLDER).map((file) =>
  parsePowerModel(JSON.parse(readFileSync(`${FOLDER}/${file}`, 'utf8'))),
);

test('without a model power is in proportion', () => {
  for (const level of [0, 0.3, 1]) expect(powerAt(undefined, level)).toBe(level);
});

test.each(models)('$title: rises from nothing to all', (model) => {
  expect(powerAt(model, 0)).toBe(0);
  expect(powerAt(model, 1)).toBeCloseTo(1, 12);
  for (let at = 1; at <= 100; at++) {
    expect(powerAt(model, at / 100)).toBeGreaterThanOrEqual(powerAt(model, (at - 1) / 100));
  }
  expect(powerAt(model, model.threshold)).toBe(0);
});

test('a level burns as the share of power does that the model gives it', () => {
  const model = { ...PLAIN, law: { ...PLAIN.law, kind: 'gradual' } } as const;
  const grid = model.reference;
  const levels = {
    schema: 'tonewright-simulation-levels/1',
    title: 'square',
    threshold: 0,
    exponent: 2,
    saturation: 0,
  } as const;
  const even = (value: number, count: number) => {
    const dots = createDots(20, 20, count);
    dots.data.fill(value);
    return dots;
  };
  const bent = engrave(even(2, 5), { grid, model, seed: 1, levels });
  const plain = engrave(even(1, 5), { grid, model, seed: 1 });
  expect(bent.rgb).toEqual(plain.rgb);
});
