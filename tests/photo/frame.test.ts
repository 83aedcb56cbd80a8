import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { type FrameOptions, framePhoto, resolutionWarning } from '../../src/photo/index.ts';
import { NAMED_SIZES, parseSizeMm } from '../../src/units.ts';

const square20 = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const card = { widthMm: 85.6, heightMm: 54, grid: square20 };

/** Photos, sizes and grids as a shop meets them, and a little beyond. */
const anyCase = fc.record({
  photo: fc.record({ width: fc.integer({ min: 1, max: 9000 }), height: fc.integer({ min: 1, max: 9000 }) }),
  options: fc.record({
    widthMm: fc.double({ min: 5, max: 400, noNaN: true }),
    heightMm: fc.double({ min: 5, max: 400, noNaN: true }),
    grid: fc.record({
      pitchMm: fc.double({ min: 0.01, max: 0.3, noNaN: true }),
      lineSpacingMm: fc.double({ min: 0.01, max: 0.3, noNaN: true }),
    }),
    fit: fc.constantFrom('cover', 'contain'),
    focus: fc.record({ x: fc.double({ min: 0, max: 1, noNaN: true }), y: fc.double({ min: 0, max: 1, noNaN: true }) }),
    safeMarginMm: fc.double({ min: 0, max: 2, noNaN: true }),
  }) satisfies fc.Arbitrary<FrameOptions>,
});
const fits = ({ options: { widthMm, heightMm, grid } }: { readonly options: FrameOptions }) =>
  (widthMm / grid.pitchMm) * (heightMm / grid.lineSpacingMm) < 4e8;

describe('size in dots', () => {
  // ISO/IEC 7810 ID-1: 85.60 × 53.98 mm; source iso7810. In dots: own arithmetic.
  test('an ID-1 card at 0.02 mm is 4280 × 2699 dots', () => {
    const frame = framePhoto({ width: 6000, height: 4000 }, { ...NAMED_SIZES['id-1']!, grid: square20 });
    expect([frame.width, frame.height]).toEqual([4280, 2699]);
    expect(frame.widthMm).toBeCloseTo(85.6, 9);
    expect(frame.heightMm).toBeCloseTo(53.98, 9);
    expect(frame.cornerRadiusMm).toBe(3.18);
  });

  test('85.6 × 54 mm at 0.02 mm is 4280 × 2700 dots', () => {
    const frame = framePhoto({ width: 6000, height: 4000 }, { ...parseSizeMm('85.6x54', 'size'), grid: square20 });
    expect([frame.width, frame.height]).toEqual([4280, 2700]);
  });

  test('pitch and line spacing may differ, and the real size is the whole dots', () => {
    const frame = framePhoto(
      { width: 100, height: 100 },
      { widthMm: 10, heightMm: 10, grid: { pitchMm: 0.03, lineSpacingMm: 0.07 } },
    );
    expect([frame.width, frame.height]).toEqual([333, 143]);
    expect(frame.widthMm).toBeCloseTo(9.99, 9);
    expect(frame.heightMm).toBeCloseTo(10.01, 9);
  });
});

describe('cover', () => {
  test('a wide photo on a square piece is cut at the sides, about the focus', () => {
    const piece = { widthMm: 10, heightMm: 10, grid: { pitchMm: 0.1, lineSpacingMm: 0.1 } };
    expect(framePhoto({ width: 400, height: 200 }, piece).crop).toEqual({ x: 100, y: 0, width: 200, height: 200 });
    expect(framePhoto({ width: 400, height: 200 }, { ...piece, focus: { x: 0.3, y: 0.9 } }).crop.x).toBe(20);
  });

  test('the focus is followed only as far as the edges allow', () => {
    const piece = { widthMm: 10, heightMm: 10, grid: { pitchMm: 0.1, lineSpacingMm: 0.1 } };
    expect(framePhoto({ width: 400, height: 200 }, { ...piece, focus: { x: 0, y: 0 } }).crop.x).toBe(0);
    expect(framePhoto({ width: 400, height: 200 }, { ...piece, focus: { x: 1, y: 1 } }).crop.x).toBe(200);
  });

  test('unequal pitch and line spacing do not stretch the picture', () => {
    const frame = framePhoto(
      { width: 3000, height: 2000 },
      { widthMm: 60, heightMm: 30, grid: { pitchMm: 0.02, lineSpacingMm: 0.05 } },
    );
    expect([frame.width, frame.height]).toEqual([3000, 600]);
    expect(frame.crop.width / frame.crop.height).toBeCloseTo(2, 6);
  });
});

describe('contain', () => {
  test('the whole photo is shown, in the middle, the rest stays bare', () => {
    const frame = framePhoto({ width: 1000, height: 1000 }, { ...card, fit: 'contain' });
    expect(frame.crop).toEqual({ x: 0, y: 0, width: 1000, height: 1000 });
    expect(frame.place).toEqual({ x: 790, y: 0, width: 2700, height: 2700 });
  });

  test('a safe margin makes the picture smaller instead of cutting it', () => {
    const frame = framePhoto({ width: 1000, height: 1000 }, { ...card, fit: 'contain', safeMarginMm: 2 });
    expect(frame.place).toEqual({ x: 890, y: 100, width: 2500, height: 2500 });
  });
});

describe('for any photo, size and grid', () => {
  test('the crop lies inside the photo and the place inside the piece', () => {
    fc.assert(
      fc.property(anyCase.filter(fits), ({ photo, options }) => {
        const { crop, place, width, height } = framePhoto(photo, options);
        expect(crop.x).toBeGreaterThanOrEqual(0);
        expect(crop.y).toBeGreaterThanOrEqual(0);
        expect(crop.width).toBeGreaterThan(0);
        expect(crop.height).toBeGreaterThan(0);
        expect(crop.x + crop.width).toBeLessThanOrEqual(photo.width);
        expect(crop.y + crop.height).toBeLessThanOrEqual(photo.height);
        expect(place.x).toBeGreaterThanOrEqual(0);
        expect(place.y).toBeGreaterThanOrEqual(0);
        expect(place.x + place.width).toBeLessThanOrEqual(width);
        expect(place.y + place.height).toBeLessThanOrEqual(height);
      }),
      { seed: 7, numRuns: 500 },
    );
  });

  test('the picture keeps its proportions on the work within one dot', () => {
    fc.assert(
      fc.property(anyCase.filter(fits), ({ photo, options }) => {
        const { crop, place, grid } = framePhoto(photo, options);
        // Width in dots that the crop's height would call for, against the width that it gets; or the same the other
        // way.
        const mmPerPixelX = (place.width * grid.pitchMm) / crop.width;
        const mmPerPixelY = (place.height * grid.lineSpacingMm) / crop.height;
        const offX = Math.abs((crop.width * mmPerPixelY) / grid.pitchMm - place.width);
        const offY = Math.abs((crop.height * mmPerPixelX) / grid.lineSpacingMm - place.height);
        expect(Math.min(offX, offY)).toBeLessThanOrEqual(1);
      }),
      { seed: 8, numRuns: 500 },
    );
  });

  test('cover uses the photo to its edge in one direction, and contain all of it', () => {
    fc.assert(
      fc.property(anyCase.filter(fits), ({ photo, options }) => {
        const { crop } = framePhoto(photo, options);
        const missing = [photo.width - crop.width, photo.height - crop.height];
        expect(Math.min(...missing)).toBeLessThan(1e-5);
        if (options.fit === 'contain') expect(missing).toEqual([0, 0]);
      }),
      { seed: 9, numRuns: 300 },
    );
  });
});

describe('resolution', () => {
  test('a photo with a pixel for every visible cell passes without a warning', () => {
    expect(resolutionWarning(framePhoto({ width: 6000, height: 4000 }, card))).toBeUndefined();
    // One minute of arc at 300 mm is 0.0873 mm: 981 × 619 pixels for a card.
    expect(resolutionWarning(framePhoto({ width: 982, height: 620 }, card))).toBeUndefined();
  });

  test('a photo with too few is named with both numbers', () => {
    const warning = resolutionWarning(framePhoto({ width: 512, height: 323 }, card));
    expect(warning).toMatch(/has 512 × \d+ pixels/);
    expect(warning).toMatch(/981 × 619 are needed/);
    expect(warning).toMatch(/at most 44\.68 mm wide/);
  });

  test('where dots are coarser than the eye, the dots decide', () => {
    const grid = { pitchMm: 0.2, lineSpacingMm: 0.2 };
    const frame = framePhoto({ width: 100, height: 100 }, { widthMm: 30, heightMm: 30, grid });
    expect(frame.pixelsNeeded).toEqual({ width: 150, height: 150 });
    expect(resolutionWarning(frame)).toMatch(/one per 0\.2 mm, the distance of dots and lines/);
  });

  test('where only the lines are coarser than the eye, each way has its own reason', () => {
    const grid = { pitchMm: 0.02, lineSpacingMm: 0.2 };
    const frame = framePhoto({ width: 100, height: 100 }, { widthMm: 30, heightMm: 30, grid });
    // One minute of arc at 300 mm is 0.0873 mm.
    expect(resolutionWarning(frame)).toMatch(
      /one per 0\.087 mm across, what the eye separates at 300 mm, and one per 0\.2 mm down, the distance of the lines/,
    );
  });

  test('only the crop counts, not what is cut away', () => {
    const frame = framePhoto({ width: 5000, height: 500 }, card);
    expect(frame.pixelsHave.width).toBeCloseTo((500 * 85.6) / 54, 3);
    expect(resolutionWarning(frame)).toBeDefined();
  });
});

describe('what cannot be framed', () => {
  test.each<[string, Partial<FrameOptions>, RegExp]>([
    ['a size of no dots', { widthMm: 0.005 }, /0 × 2700 dots/],
    ['more dots than memory', { widthMm: 8000, heightMm: 8000 }, /400000 × 400000 dots/],
    ['a margin that leaves nothing', { safeMarginMm: 27 }, /safe margin: found 27 mm/],
    ['a corner larger than the piece', { cornerRadiusMm: 30 }, /corner radius: found 30 mm/],
    ['a focus outside the photo', { focus: { x: 0.5, y: 1.2 } }, /focus y: found 1\.2/],
    ['a pitch of zero', { grid: { pitchMm: 0, lineSpacingMm: 0.02 } }, /pitch: found 0 mm/],
    ['a width that is no number', { widthMm: Number.NaN }, /width: found NaN mm/],
  ])('%s is refused with what was found', (_, options, message) => {
    const frame = () => framePhoto({ width: 100, height: 100 }, { ...card, ...options });
    expect(frame).toThrow(AppError);
    expect(frame).toThrow(message);
  });

  test('a photo of one pixel has a frame, and its warning', () => {
    const frame = framePhoto({ width: 1, height: 1 }, card);
    expect(frame.crop.width).toBe(1);
    expect(resolutionWarning(frame)).toMatch(/has 1 × 1 pixels/);
  });
});
