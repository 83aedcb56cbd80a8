import { describe, expect, test } from 'vitest';
import { framePhoto, maskCoverage, multiplyMasks, pieceMask, placeOnPiece } from '../../src/photo/index.ts';
import { createPlane, ONE, type Plane } from '../../src/plane/index.ts';

const photo = { width: 3000, height: 2000 };
const areaMm2 = (mask: Plane<'mask'>, dotMm2: number) =>
  mask.data.reduce((sum, share) => sum + share / 255, 0) * dotMm2;
const draw = (mask: Plane<'mask'>) =>
  Array.from({ length: mask.height }, (_, y) =>
    Array.from(
      mask.data.subarray(y * mask.width, (y + 1) * mask.width),
      (share) => '.:+#'[Math.round((share / 255) * 3)],
    ).join(''),
  );

describe('outline of the piece', () => {
  test('square corners and no margin need no mask', () => {
    const frame = framePhoto(photo, { widthMm: 20, heightMm: 10, grid: { pitchMm: 0.1, lineSpacingMm: 0.1 } });
    expect(pieceMask(frame)).toBeUndefined();
  });

  test('a small rounded piece, drawn', () => {
    const frame = framePhoto(photo, {
      widthMm: 10,
      heightMm: 6,
      cornerRadiusMm: 3,
      grid: { pitchMm: 1, lineSpacingMm: 1 },
    });
    expect(draw(pieceMask(frame)!)).toEqual([
      '.+######+.',
      '+########+',
      '##########',
      '##########',
      '+########+',
      '.+######+.',
    ]);
  });

  test('a margin is bare to the fraction of a dot', () => {
    const grid = { pitchMm: 1, lineSpacingMm: 2 };
    const mask = pieceMask(framePhoto(photo, { widthMm: 6, heightMm: 10, safeMarginMm: 1.5, grid }))!;
    expect(Array.from(mask.data.subarray(12, 18))).toEqual([0, 128, 255, 255, 128, 0]);
    // A quarter of the first row lies inside: 0.5 of 2 mm.
    expect(Array.from(mask.data.subarray(0, 6))).toEqual([0, 32, 64, 64, 32, 0]);
  });

  test.each([
    ['a card', { widthMm: 85.6, heightMm: 53.98, cornerRadiusMm: 3.18, safeMarginMm: 0 }, 0.05, 0.05],
    ['a card with a margin', { widthMm: 85.6, heightMm: 53.98, cornerRadiusMm: 3.18, safeMarginMm: 1.5 }, 0.05, 0.08],
    ['a margin wider than the corner', { widthMm: 30, heightMm: 20, cornerRadiusMm: 2, safeMarginMm: 3.3 }, 0.1, 0.1],
    ['a disc', { widthMm: 30, heightMm: 30, cornerRadiusMm: 15, safeMarginMm: 0 }, 0.1, 0.1],
    ['a coarse disc', { widthMm: 10, heightMm: 10, cornerRadiusMm: 5, safeMarginMm: 0 }, 0.5, 0.5],
  ])('%s covers its exact area within 0.5 %%', (_, size, pitchMm, lineSpacingMm) => {
    const frame = framePhoto(photo, { ...size, grid: { pitchMm, lineSpacingMm } });
    const width = frame.widthMm - 2 * size.safeMarginMm;
    const height = frame.heightMm - 2 * size.safeMarginMm;
    const radius = Math.max(0, size.cornerRadiusMm - size.safeMarginMm);
    const exact = width * height - (4 - Math.PI) * radius * radius;
    const area = areaMm2(pieceMask(frame)!, pitchMm * lineSpacingMm);
    expect(Math.abs(area / exact - 1)).toBeLessThan(0.005);
  });

  test('it is the same from the left and the right, from above and below', () => {
    const frame = framePhoto(photo, {
      widthMm: 23,
      heightMm: 17,
      cornerRadiusMm: 4,
      safeMarginMm: 0.7,
      grid: { pitchMm: 0.13, lineSpacingMm: 0.11 },
    });
    const mask = pieceMask(frame)!;
    const turned = mask.data.slice().reverse();
    const worst = mask.data.reduce((most, share, i) => Math.max(most, Math.abs(share - turned[i])), 0);
    expect(worst).toBeLessThanOrEqual(1);
  });
});

describe('masking', () => {
  const mask = createPlane('mask', 4, 1, Uint8Array.of(0, 64, 128, 255));

  test('masked places end bare, open places keep their coverage', () => {
    const coverage = createPlane('coverage', 4, 1, Uint16Array.of(ONE, ONE, ONE, 12345));
    expect(Array.from(maskCoverage(coverage, mask).data)).toEqual([0, 8224, 16448, 12345]);
    expect(Array.from(coverage.data)).toEqual([ONE, ONE, ONE, 12345]);
  });

  test('transparency multiplies into the outline', () => {
    const alpha = createPlane('mask', 4, 1, Uint8Array.of(255, 255, 128, 10));
    expect(Array.from(multiplyMasks(mask, alpha).data)).toEqual([0, 64, 64, 10]);
  });

  test('planes of another size are a mistake', () => {
    expect(() => maskCoverage(createPlane('coverage', 2, 2), mask)).toThrow(RangeError);
    expect(() => multiplyMasks(createPlane('mask', 1, 4), mask)).toThrow(RangeError);
  });
});

describe('placing', () => {
  const grid = { pitchMm: 1, lineSpacingMm: 1 };

  test('a contained picture lies in the middle of bare material', () => {
    const frame = framePhoto({ width: 2, height: 2 }, { widthMm: 4, heightMm: 2, grid, fit: 'contain' });
    const picture = createPlane('coverage', 2, 2, Uint16Array.of(1, 2, 3, 4));
    expect(Array.from(placeOnPiece(picture, frame).data)).toEqual([0, 1, 2, 0, 0, 3, 4, 0]);
  });

  test('a picture that fills the piece is passed on as it is', () => {
    const frame = framePhoto({ width: 2, height: 2 }, { widthMm: 2, heightMm: 2, grid });
    const picture = createPlane('mask', 2, 2);
    expect(placeOnPiece(picture, frame)).toBe(picture);
    expect(() => placeOnPiece(createPlane('mask', 3, 2), frame)).toThrow(RangeError);
  });
});
