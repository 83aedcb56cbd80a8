import { describe, expect, test } from 'vitest';
import {
  coarsenTaken,
  drawDots,
  drawDraft,
  type JobRequest,
  predictJob,
  prepareJob,
  resolveJob,
  takeImage,
} from '../../src/job/index.ts';
import { decodeDotsBytes, type Photo, readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const card: JobRequest = { size: '24x16', cornerRadiusMm: 3, profile: 'anodised-black', toneValues: { contrast: 0.2 } };
const specOf = (request: Partial<JobRequest> = {}) =>
  resolveJob({ ...card, ...request }, { shop: SHOP, refused: REFUSED });
const photo: Photo = await readPhoto('images/photos/cat.png');

describe('a look at a job', () => {
  test.each<[string, Partial<JobRequest>]>([
    ['a card', {}],
    ['shown whole, with a margin', { fit: 'contain', safeMarginMm: 1 }],
    ['of searched dots', { size: '6x4', cornerRadiusMm: 1, screen: 'direct-search' }],
  ])('%s has the dots and the ticket of its files', async (_, request) => {
    const spec = specOf(request);
    const prepared = await takeImage(photo, spec);
    const room = new Uint16Array(prepared.picture.light.data.length).fill(7);
    const look = (await drawDots(prepared, { spec, room }))!;
    const options = { spec, name: 'cat', photoFile: 'cat.png', version: '1', only: 'everything' } as const;
    const { files, ticket } = await prepareJob(async () => photo, options);
    const { dots } = await decodeDotsBytes(Buffer.from(files[0]!.bytes as Uint8Array), 'made');
    expect(Buffer.from(look.dots.data).equals(Buffer.from(dots.data))).toBe(true);
    const { speaking, ...told } = predictJob(prepared, look, { spec, name: 'cat', version: '1' });
    const { photo: _photo, bitmap, ...rest } = ticket!;
    const { width, height, firing } = bitmap;
    expect(told).toEqual({ ...rest, bitmap: { width, height, firing } });
    expect(speaking.map(({ text }) => text)).toEqual(rest.warnings);
  });

  test.each(['floyd-steinberg', 'direct-search'])('with %s ends where nobody waits for it any more', async (screen) => {
    const spec = specOf({ size: '6x4', cornerRadiusMm: 1, screen });
    const prepared = await takeImage(photo, spec);
    let asked = 0;
    const count = () => {
      asked++;
      return false;
    };
    expect(await drawDots(prepared, { spec, isStale: count })).toBeDefined();
    for (const last of [1, 2, asked]) {
      let left = last;
      expect(await drawDots(prepared, { spec, isStale: () => --left === 0 })).toBeUndefined();
    }
  });
});

describe('a draft', () => {
  test.each([160, 300, 500, 1100])(
    'has the %d pixels that are seen, or all dots, and less than twice as many',
    async (longSidePx) => {
      const spec = specOf();
      const prepared = await takeImage(photo, spec);
      const { image } = drawDraft(coarsenTaken(prepared, { spec, longSidePx }), { spec });
      expect(image.width).toBeGreaterThanOrEqual(longSidePx);
      expect(image.width).toBeLessThan(2 * longSidePx);
      expect(image.width / image.height).toBeCloseTo(1.5, 1);
    },
  );

  test.each([
    ['anodised-black', '24x16'],
    ['glass-tumbler', '24x16'],
    ['birch-sign', '60x40'],
  ])('on %s is as light as the proof, all over and in its quarters', async (profile, size) => {
    const spec = specOf({ profile, size });
    const prepared = await takeImage(photo, spec);
    const draft = drawDraft(coarsenTaken(prepared, { spec, longSidePx: 300 }), { spec }).image;
    const proof = (await drawDots(prepared, { spec }))!.image;
    const mean = ({ width, height, rgb }: typeof draft, quarter: number) => {
      let sum = 0;
      let count = 0;
      for (let y = (quarter >> 1) * (height >> 1), end = y + (height >> 1); y < end; y++) {
        for (let x = (quarter & 1) * (width >> 1), stop = x + (width >> 1); x < stop; x++, count++) {
          // Dots are averaged as light, not as codes.
          sum += (rgb[3 * (y * width + x) + 1]! / 255) ** 2.2;
        }
      }
      return 255 * (sum / count) ** (1 / 2.2);
    };
    for (const quarter of [0, 1, 2, 3]) expect(Math.abs(mean(draft, quarter) - mean(proof, quarter))).toBeLessThan(2);
  });
});
