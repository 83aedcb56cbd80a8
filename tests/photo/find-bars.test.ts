import { readdirSync } from 'node:fs';
import sharp, { type Sharp } from 'sharp';
import { describe, expect, test } from 'vitest';
import { findBars } from '../../src/photo/index.ts';
import { decodePhoto, readPhoto } from '../../src/plane/index.ts';

const PHOTO = 'images/photos/portrait.png';

async function bars(picture: Sharp) {
  return findBars(await decodePhoto(await picture.toBuffer(), 'photo'));
}

const extended = (sides: object, background: string) =>
  sharp(PHOTO)
    .resize(600, 400)
    .extend({ ...sides, background });

describe('bars around a picture', () => {
  test.each([
    ['black, above and below', { top: 250, bottom: 250 }, '#000', { above: 250 / 900, below: 250 / 900 }],
    ['white, unequal', { top: 60, bottom: 180 }, '#fff', { above: 60 / 640, below: 180 / 640 }],
    ['grey, beside', { left: 120, right: 120 }, '#777', { left: 120 / 840, right: 120 / 840 }],
    [
      'all around',
      { left: 100, right: 100, top: 50, bottom: 50 },
      '#fafafa',
      { left: 100 / 800, right: 100 / 800, above: 0.1, below: 0.1 },
    ],
  ] as const)('%s are found to a line, also in a JPEG', async (_, sides, colour, wanted) => {
    for (const picture of [
      extended(sides, colour).png(),
      extended(sides, colour).jpeg({ quality: 75 }),
      extended(sides, colour).toColourspace('rgb16').png(),
    ]) {
      const found = await bars(picture);
      for (const side of ['above', 'below', 'left', 'right'] as const) {
        const share = (wanted as Readonly<Partial<Record<string, number>>>)[side] ?? 0;
        expect(Math.abs(found![side] - share), side).toBeLessThan(0.005);
      }
      expect(found!.picture.width).toBeCloseTo(1 - found!.left - found!.right, 6);
    }
  });

  test('a line of status with a clock and signs is one, without anything opposite; a plain strip is not', async () => {
    const box = (width: number, height: number, background: string) =>
      sharp({ create: { width, height, channels: 3, background } })
        .png()
        .toBuffer();
    const clock = [
      { input: await box(60, 16, '#fff'), left: 20, top: 12 },
      { input: await box(26, 14, '#fff'), left: 500, top: 12 },
      { input: await box(40, 20, '#fff'), left: 540, top: 10 },
    ];
    const strip = await extended({ top: 40 }, '#111').png().toBuffer();
    expect((await bars(sharp(strip).composite(clock)))!.above).toBeCloseTo(40 / 440, 2);
    expect(await bars(sharp(strip))).toBeUndefined();
  });

  test('none are seen in photographs, nor in a subject before a plain ground', async () => {
    for (const name of readdirSync('images/photos').filter((file) => /\.(png|jpg)$/.test(file))) {
      expect(findBars(await readPhoto(`images/photos/${name}`)), name).toBeUndefined();
    }
    const drawn = (isDark: (x: number, y: number) => boolean) => {
      const grey = Buffer.from(
        Uint8Array.from({ length: 600 * 400 }, (_, at) => (isDark(at % 600, Math.floor(at / 600)) ? 50 : 255)),
      );
      return bars(sharp(grey, { raw: { width: 600, height: 400, channels: 1 } }).png());
    };
    expect(await drawn((x, y) => Math.hypot(x - 300, y - 200) < 150)).toBeUndefined();
    // A sky above a level sea, both plain: what is above ends at once, and there is nothing opposite.
    expect(await drawn((_x, y) => y > 150)).toBeUndefined();
  });
});
