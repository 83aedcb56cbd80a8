import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { createDots, type Dots } from '../../src/plane/index.ts';
import {
  engrave,
  engraveCone,
  meanLightness,
  parseMaterialModel,
  type Surface,
  unrollPiece,
  viewPiece,
} from '../../src/simulation/index.ts';

const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
const read = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/stainless.json', 'utf8')));
const still = { ...read.beam, lineEnergySd: 0, dotEnergySd: 0, jitterUm: 0, lineWobbleUm: 0 };
// Spots so wide that lines of 0.1 mm are even, and without heat, so that only the girth tells.
const model = {
  ...{ ...read, grain: [], heat: { ...read.heat, gainAlong: 0, gainAcross: 0 } },
  law: { ...read.law, accumulation: 1 },
  beam: { ...still, spotDiameterXUm: 200, spotDiameterYUm: 200 },
};
const settings = { ...model.settings, powerW: model.settings.powerW * 4 };
const shared = { grid, model, settings, seed: 1, pixelUm: 60 };
const solid = (width: number, height: number) => createDots(width, height, 2, new Uint8Array(width * height).fill(1));
const at = (surface: Surface, xMm: number, yMm: number) =>
  meanLightness(surface, { xMm: xMm - 0.4, yMm: yMm - 0.4, widthMm: 0.8, heightMm: 0.8 });
/** One dot in white is paper. */
const isPaper = ({ rgb, width, pixelWidthMm, pixelHeightMm }: Surface, xMm: number, yMm: number) =>
  rgb[3 * (Math.floor(yMm / pixelHeightMm) * width + Math.floor(xMm / pixelWidthMm))] === 1;

test('a tube unrolls to what the flat piece shows', () => {
  const dots = solid(100, 120);
  const tube = unrollPiece(engraveCone(dots, { ...shared, coneDiametersMm: [10, 10] }), { pixelUm: 60 });
  expect(tube.widthMm).toBeCloseTo(31.416, 3);
  expect(tube.heightMm).toBeCloseTo(10, 6);
  const flat = engrave(dots, shared);
  expect(at(tube, 15.7, 5)).toBeCloseTo(at(flat, 5, 6), 1);
  expect(at(tube, 15.7 - 5, 5)).toBeCloseTo(at(flat, 5, 6), 1);
  // Lines took 12 of 31.4 mm.
  expect(at(tube, 15.7 - 7, 5)).toBeCloseTo(at(tube, 3, 5), 3);
  expect(Math.abs(at(tube, 15.7 - 7, 5) - at(tube, 15.7 - 5, 5))).toBeGreaterThan(3);
});

test.each([
  [14, 10],
  [10, 14],
])('a cone of %d and %d mm is burned with as much less dose as it is thicker', (upper, lower) => {
  const lengthMm = 12;
  const piece = engraveCone(solid(120, 200), { ...shared, coneDiametersMm: [upper, lower] });
  const skin = unrollPiece(piece, { pixelUm: 60 });
  // Its front stands upright in the middle: above it the skin's highest line, or below it its lowest.
  const topMm = upper > lower ? 0 : skin.heightMm - lengthMm;
  for (const downMm of [1, 6, 11]) {
    const girth = (upper + (downMm / lengthMm) * (lower - upper)) / 12;
    const powerW = settings.powerW / girth;
    const flat = engrave(solid(60, 60), { ...shared, settings: { ...settings, powerW } });
    expect(Math.abs(at(skin, skin.widthMm / 2, topMm + downMm) - at(flat, 3, 3))).toBeLessThan(0.4);
  }
  expect(Math.abs(at(skin, skin.widthMm / 2, topMm + 1) - at(skin, skin.widthMm / 2, topMm + 11))).toBeGreaterThan(1);
});

test('a square of the skin keeps its sides where it lies flat, its upper edge above and its lines to the right', () => {
  // A mark of 2 × 2 mm half-way, 3 mm to the right of the front and 2 mm above half-way: lines run up the piece.
  const dots = solid(100, 100);
  dots.data.fill(0);
  for (let line = 70; line < 90; line++) dots.data.fill(1, line * 100 + 60, line * 100 + 80);
  const skin = unrollPiece(engraveCone(dots, { ...shared, coneDiametersMm: [20, 20] }), { pixelUm: 60 });
  const bare = at(skin, 5, 5);
  // The bitmap's middle is the front; 20 lines later lies 2 … 4 mm to its right, 6 … 8 mm up of 10.
  const inside = at(skin, skin.widthMm / 2 + 3, 3);
  expect(Math.abs(inside - bare)).toBeGreaterThan(3);
  for (const [x, y] of [
    [-3, 3],
    [3, 7],
    [-3, 7],
  ] as const) {
    expect(at(skin, skin.widthMm / 2 + x, y)).toBeCloseTo(bare, 1);
  }
});

test('lines that go all around meet; what turns further lies over the beginning', () => {
  const turnMm = Math.PI * 10;
  const burned = (count: number, degreesPerLine: number) =>
    engraveCone(solid(60, count), { ...shared, coneDiametersMm: [10, 10], degreesPerLine });
  const seam = ({ rgb, rows, columns }: { rgb: Float32Array; rows: number; columns: number }, row: number) => {
    const from = 3 * (((row + rows) % rows) * columns + Math.floor(columns / 2));
    return rgb[from]!;
  };
  const closed = burned(314, 360 / 314);
  for (const row of [-2, -1, 0, 1]) expect(seam(closed, row)).toBeCloseTo(seam(closed, 100), 2);
  const gap = burned(294, 360 / 314);
  expect(gap.coveredDeg).toBeCloseTo((360 * 294) / 314, 6);
  expect(Math.abs(seam(gap, 0) - seam(gap, 100))).toBeGreaterThan(0.02);
  const over = burned(334, 360 / 314);
  expect(over.coveredDeg).toBeGreaterThan(360);
  expect(Math.abs(seam(over, 0) - seam(over, 100))).toBeGreaterThan(0.005);
  expect(turnMm / closed.rows).toBeCloseTo(0.06, 3);
});

test('from a side a cone is as wide as it is thick, and paper is beside it', () => {
  const piece = engraveCone(solid(100, 100), { ...shared, coneDiametersMm: [20, 12] });
  const front = viewPiece(piece, { fromDeg: 0, pixelUm: 60 });
  expect(front.widthMm).toBe(20);
  expect(front.heightMm).toBeCloseTo(Math.sqrt(100 - 16), 6);
  expect(isPaper(front, 0.3, front.heightMm - 0.3)).toBe(true);
  expect(isPaper(front, 0.3, 0.1)).toBe(false);
  expect(isPaper(front, 4.5, front.heightMm - 0.3)).toBe(false);
  // Lines took 71 degrees: the back is bare, the front is not.
  const back = viewPiece(piece, { fromDeg: 180, pixelUm: 60 });
  expect(Math.abs(at(front, 10, 4) - at(back, 10, 4))).toBeGreaterThan(3);
});

test('two-way lines that lie on the seam again run as they did', () => {
  const later = { ...model, beam: { ...model.beam, returnOffsetUm: 0 } };
  const options = { ...shared, model: later, settings: { ...settings, scan: 'two-way' as const } };
  const piece = engraveCone(solid(40, 313), { ...options, coneDiametersMm: [10, 10], degreesPerLine: 360 / 313 });
  expect(piece.rgb.every(Number.isFinite)).toBe(true);
});

test.each([[{ coneDiametersMm: [0, 10] as const }], [{ coneDiametersMm: [10, 10] as const, degreesPerLine: 200 }]])(
  'what is no cone is refused: %o',
  (wrong) => {
    const dots: Dots = solid(10, 10);
    expect(() => engraveCone(dots, { ...shared, ...wrong })).toThrow(RangeError);
  },
);
