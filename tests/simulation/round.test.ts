import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { createDots } from '../../src/plane/index.ts';
import { engrave, engraveRound, meanLightness, parseMaterialModel } from '../../src/simulation/index.ts';

const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
const read = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/anodised-black.json', 'utf8')));
const model = { ...read, grain: [], beam: { ...read.beam, lineEnergySd: 0, dotEnergySd: 0, jitterUm: 0 } };
const dots = createDots(200, 20, 2, new Uint8Array(4000).fill(1));
const at = (xMm: number) => ({ xMm: xMm - 0.4, yMm: 0.3, widthMm: 0.8, heightMm: 0.4 });
// Always in focus, so that only the slant is left; below the full mark, where dose shows.
const sharp = { ...model, beam: { ...model.beam, rayleighLengthMm: 1e6 } };
const settings = { ...sharp.settings, powerW: sharp.settings.powerW * 0.55 };

test('a piece of a kilometre is flat', () => {
  const options = { grid, model, seed: 1, pixelUm: 50 };
  const round = engraveRound(dots, { ...options, roundDiameterMm: 1e6 });
  const flat = engrave(dots, options);
  for (const xMm of [1.5, 5, 8.5]) expect(meanLightness(round, at(xMm))).toBeCloseTo(meanLightness(flat, at(xMm)), 1);
});

test.each([
  ['upright rays', undefined],
  ['rays from a point', 40],
])('a slanted place looks as the flat piece does with as much less power: %s', (_, pupilMm) => {
  const pupil = pupilMm === undefined ? {} : { pupilMm };
  const shared = { grid, model: sharp, seed: 1, pixelUm: 50 };
  const round = engraveRound(dots, { ...shared, settings, roundDiameterMm: 12, ...pupil });
  for (const xMm of [5.5, 7.5, 8.5]) {
    // The ray's end by the circle and the line from the point, walked down in small steps.
    const off = xMm - 5;
    const widen = (z: number) => (pupilMm === undefined ? 1 : 1 + z / pupilMm);
    let z = 0;
    while (Math.hypot(off * widen(z), 6 - z) > 6) z += 1e-4;
    const slant = Math.asin((off * widen(z)) / 6);
    const ray = pupilMm === undefined ? 0 : Math.atan(off / pupilMm);
    const share = Math.cos(slant + ray) / (Math.cos(ray) * widen(z) ** 2);
    const less = engrave(dots, { ...shared, settings: { ...settings, powerW: settings.powerW * share } });
    expect(Math.abs(meanLightness(round, at(xMm)) - meanLightness(less, at(5)))).toBeLessThan(1.5);
  }
  expect(Math.abs(meanLightness(round, at(5)) - meanLightness(round, at(8.5)))).toBeGreaterThan(2);
});

test('what is wider than the piece is refused', () => {
  expect(() => engraveRound(dots, { grid, model, seed: 1, roundDiameterMm: 9 })).toThrow(RangeError);
});
