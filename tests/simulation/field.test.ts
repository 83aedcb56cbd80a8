import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { beamAt, engrave, meanLightness, parseFieldModel } from '../../src/simulation/index.ts';
import { drawDots, PLAIN } from './models.ts';

const LENS = parseFieldModel(JSON.parse(readFileSync('shared/simulation/fields/scan-lens.json', 'utf8')));
const GANTRY = parseFieldModel(JSON.parse(readFileSync('shared/simulation/fields/gantry.json', 'utf8')));
const MODEL = { ...PLAIN, law: { ...PLAIN.law, kind: 'gradual', halfDoseJPerCm2: 15 } } as const;
const SOLID = drawDots(60, 60, () => 1);

const burn = (dots = SOLID, field?: Parameters<typeof engrave>[1]['field']) =>
  engrave(dots, { grid: MODEL.reference, model: MODEL, seed: 1, ...(field ? { field } : {}) });

test('a lens is as it was on its axis, and weaker and wider by what the model says at a corner', () => {
  expect(beamAt(LENS, 55, 55)).toEqual({ dose: 1, width: 1 });
  expect(beamAt(LENS, 0, 110).dose).toBeCloseTo(1 - LENS.cornerLoss, 12);
  expect(beamAt(LENS, 110, 110).width).toBeCloseTo(1 + LENS.cornerGrowth, 12);
  expect(beamAt(GANTRY, 0, 0)).toEqual({ dose: 1, width: 1 });
  expect(beamAt(GANTRY, 400, 400).dose).toBeCloseTo(1 - GANTRY.travelLoss, 12);
});

test('a field that is even everywhere burns the very bits of none', () => {
  const even = { ...LENS, cornerLoss: 0, cornerGrowth: 0 };
  expect(burn(SOLID, { model: even, xMm: 10, yMm: 20 }).rgb).toEqual(burn().rgb);
});

test('a solid at a corner of the field is what that share of the power burns in its middle', () => {
  const corner = { model: { ...LENS, cornerGrowth: 0 }, xMm: 0, yMm: 0 };
  const rect = { xMm: 1, yMm: 1, widthMm: 1, heightMm: 1 };
  const there = meanLightness(burn(SOLID, corner), rect);
  const { dose } = beamAt(corner.model, 1.5, 1.5);
  const settings = { ...MODEL.settings, powerW: MODEL.settings.powerW * dose };
  const weaker = engrave(SOLID, { grid: MODEL.reference, model: MODEL, seed: 1, settings });
  expect(there).toBeCloseTo(meanLightness(weaker, rect), 1);
  expect(there).toBeLessThan(meanLightness(burn(), rect) - 2);
});

test('a wider spot keeps its energy: the dose of a solid stays, lone lines lose their peak', () => {
  const wide = { model: { ...LENS, cornerLoss: 0, cornerGrowth: 0.3 }, xMm: 0, yMm: 0 };
  const rect = { xMm: 1, yMm: 1, widthMm: 1, heightMm: 1 };
  expect(meanLightness(burn(SOLID, wide), rect)).toBeCloseTo(meanLightness(burn(), rect), 1);
  const lines = drawDots(60, 60, (_x, y) => Number(y % 4 === 0));
  expect(meanLightness(burn(lines, wide), rect)).toBeLessThan(meanLightness(burn(lines), rect) - 0.2);
});
