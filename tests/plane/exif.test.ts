import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { decodePhoto, readExifFacts } from '../../src/plane/index.ts';

const jpegWith = (fields: Record<string, string>) =>
  sharp({ create: { width: 16, height: 16, channels: 3, background: '#888' } })
    .withExif({ IFD2: fields })
    .jpeg()
    .toBuffer();

describe('what a camera says about the taking', () => {
  test.each([
    [
      'that its flash fired',
      { Flash: '25' },
      { flashFired: true, digitalZoom: 1, customRendered: false, isExposed: false },
    ],
    [
      'that its flash did not',
      { Flash: '16' },
      { flashFired: false, digitalZoom: 1, customRendered: false, isExposed: false },
    ],
    [
      'that it zoomed',
      { DigitalZoomRatio: '5/2' },
      { flashFired: false, digitalZoom: 2.5, customRendered: false, isExposed: false },
    ],
    [
      'that it did not',
      { DigitalZoomRatio: '0/1' },
      { flashFired: false, digitalZoom: 1, customRendered: false, isExposed: false },
    ],
    [
      'how it exposed',
      { FNumber: '18/10' },
      { flashFired: false, digitalZoom: 1, customRendered: false, isExposed: true },
    ],
    [
      'that it composed',
      { CustomRendered: '1' },
      { flashFired: false, digitalZoom: 1, customRendered: true, isExposed: false },
    ],
  ])('is read %s, as another program wrote it', async (_name, fields, expected) => {
    const { facts } = await decodePhoto(await jpegWith(fields), 'photo');
    expect(facts.exif).toEqual(expected);
  });

  test('is nothing where nothing is said', async () => {
    const plain = await sharp({ create: { width: 16, height: 16, channels: 3, background: '#888' } })
      .jpeg()
      .toBuffer();
    expect((await decodePhoto(plain, 'photo')).facts.exif).toBeUndefined();
  });

  test('is read in both orders of bytes', () => {
    // One directory with a pointer to another, which holds Flash = 1.
    const big = [0x4d, 0x4d, 0, 42, 0, 0, 0, 8, 0, 1, 0x87, 0x69, 0, 4, 0, 0, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0];
    const own = [0, 1, 0x92, 0x09, 0, 3, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0];
    expect(readExifFacts(Uint8Array.from([...big, ...own]))?.flashFired).toBe(true);
  });

  test('is left alone when it is cut off or something else', () => {
    expect(readExifFacts(Uint8Array.of())).toBeUndefined();
    expect(readExifFacts(Uint8Array.of(1, 2, 3, 4, 5, 6, 7, 8))).toBeUndefined();
    expect(readExifFacts(Uint8Array.of(0x49, 0x49, 42, 0, 8, 0, 0, 0))).toBeUndefined();
    expect(readExifFacts(Uint8Array.of(0x49, 0x49, 42, 0, 255, 255, 255, 255, 9))).toBeUndefined();
  });
});
