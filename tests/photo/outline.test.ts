import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { type Frame, framePhoto, outlineMask } from '../../src/photo/index.ts';

const GRID = { pitchMm: 0.05, lineSpacingMm: 0.08 };

function frameOf(widthMm: number, heightMm: number, safeMarginMm = 0): Frame {
  const photo = { width: 1000, height: Math.round((1000 * heightMm) / widthMm) };
  return framePhoto(photo, { widthMm, heightMm, cornerRadiusMm: 0, safeMarginMm, grid: GRID, fit: 'cover' });
}

const areaMm2 = ({ data }: { data: Uint8Array }) =>
  (data.reduce((sum, share) => sum + share, 0) / 255) * GRID.pitchMm * GRID.lineSpacingMm;

describe('the outline of a picture', () => {
  // Areas by closed form.
  test.each([
    ['circle', 40, 30, 0, Math.PI * 15 ** 2],
    ['circle', 40, 30, 2, Math.PI * 13 ** 2],
    ['oval', 40, 30, 0, Math.PI * 20 * 15],
    ['oval', 30, 60, 1, Math.PI * 14 * 29],
    ['arch', 30, 50, 0, 30 * 35 + (Math.PI * 15 ** 2) / 2],
    ['arch', 60, 20, 0, (Math.PI * 20 ** 2) / 2],
  ] as const)('%s on %d × %d mm with a margin of %d mm has its area', (outline, width, height, margin, area) => {
    const mask = outlineMask(frameOf(width, height, margin), { outline, vignetteMm: 0 })!;
    expect(areaMm2(mask) / area).toBeCloseTo(1, 2.7);
  });

  test('an oval lies where a general library draws it', async () => {
    const { width, height, ...frame } = frameOf(40, 30);
    const drawing = `<svg width="${width}" height="${height}"><ellipse cx="${width / 2}" cy="${height / 2}" rx="${width / 2}" ry="${height / 2}" fill="white"/></svg>`;
    const theirs = await sharp({ create: { width, height, channels: 3, background: 'black' } })
      .composite([{ input: Buffer.from(drawing) }])
      .extractChannel(0)
      .raw()
      .toBuffer();
    const { data } = outlineMask({ width, height, ...frame }, { outline: 'oval', vignetteMm: 0 })!;
    const far = data.filter((share, at) => Math.abs(share - theirs[at]!) > 100).length;
    expect(far / (width + height)).toBeLessThan(0.02);
  });

  test('a vignette rises from the outline to all of the picture over its width, half way at half', () => {
    const frame = frameOf(40, 30, 1);
    const { data } = outlineMask(frame, { outline: 'rectangle', vignetteMm: 4 })!;
    const middle = Math.floor(frame.height / 2) * frame.width;
    const at = (mm: number) => data[middle + Math.round(mm / GRID.pitchMm)]!;
    expect([at(0.5), at(0.95), at(5.1), at(20)]).toEqual([0, 0, 255, 255]);
    expect(at(3) / 255).toBeCloseTo(0.5, 1.5);
    for (let mm = 1; mm < 5; mm += 0.1) expect(at(mm + 0.1)).toBeGreaterThanOrEqual(at(mm));
  });

  test('a whole rectangle needs no mask', () => {
    expect(outlineMask(frameOf(40, 30), { outline: 'rectangle', vignetteMm: 0 })).toBeUndefined();
  });
});
