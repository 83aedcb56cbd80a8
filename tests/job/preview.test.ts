import { describe, expect, test } from 'vitest';
import {
  coarsenTaken,
  drawDots,
  drawDraft,
  enlargeDots,
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

/** Mean light of a picture's greens, 0 … 1: averaged as light, not as codes. */
const meanLight = ({ rgb }: { readonly rgb: Uint8Array }) => {
  let sum = 0;
  for (let i = 1; i < rgb.length; i += 3) sum += (rgb[i]! / 255) ** 2.2;
  return sum / (rgb.length / 3);
};

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

  test('has the pixels of a small screen, their mean light that of all dots, and the same figures', async () => {
    const spec = specOf();
    const prepared = await takeImage(photo, spec);
    const all = (await drawDots(prepared, { spec }))!;
    const small = (await drawDots(prepared, { spec, longSidePx: 500 }))!;
    expect([small.image.width, small.image.height]).toEqual([500, 333]);
    expect(Math.abs(meanLight(small.image) - meanLight(all.image))).toBeLessThan(0.003);
    // What a browser would show of the larger one: means of codes.
    const codes = (all.image.rgb.reduce((sum, code) => sum + code, 0) / all.image.rgb.length / 255) ** 2.2;
    expect(meanLight(all.image) - codes).toBeGreaterThan(0.02);
    const names = { spec, name: 'cat', version: '1' };
    expect(predictJob(prepared, small, names)).toEqual(predictJob(prepared, all, names));
  });

  test('is seen from near as round marks, from afar as their mean light', async () => {
    const spec = specOf({ size: '6x4', cornerRadiusMm: 0 });
    const { dots } = (await drawDots(await takeImage(photo, spec), { spec }))!;
    const part = { x: 60, y: 40, width: 80, height: 60 };
    const seen = (how: { readonly samples?: number; readonly average?: number }) =>
      enlargeDots(dots, { spec, part, as: 'surface', ...how });
    const plain = seen({});
    expect([plain.width, plain.height]).toEqual([80, 60]);
    for (const [how, width, height] of [
      [{ samples: 3 }, 240, 180],
      [{ samples: 12 }, 960, 720],
      [{ average: 2 }, 40, 30],
      [{ average: 5 }, 16, 12],
    ] as const) {
      const image = seen(how);
      expect([image.width, image.height]).toEqual([width, height]);
      expect(Math.abs(meanLight(image) - meanLight(plain)), JSON.stringify(how)).toBeLessThan(0.006);
    }
    // Within one dot's cell the mark is not one colour, as a square would be.
    const { rgb, width } = seen({ samples: 12 });
    let edged = 0;
    for (let y = 0; y < 60; y++) {
      for (let x = 0; x < 80; x++) {
        const middle = rgb[3 * ((12 * y + 6) * width + 12 * x + 6)]!;
        const corner = rgb[3 * (12 * y * width + 12 * x)]!;
        if (middle - corner > 60) edged++;
      }
    }
    expect(edged).toBeGreaterThan(200);
    // A part at the edge is cut off there.
    const edge = enlargeDots(dots, {
      spec,
      part: { x: 290, y: 190, width: 80, height: 60 },
      as: 'surface',
      samples: 4,
    });
    expect([edge.width, edge.height]).toEqual([40, 40]);
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
    'has about the %d pixels that are seen, or all dots, and less than twice as many',
    async (longSidePx) => {
      const spec = specOf();
      const prepared = await takeImage(photo, spec);
      const { image } = drawDraft(coarsenTaken(prepared, { spec, longSidePx }), { spec });
      expect(image.width).toBeGreaterThanOrEqual(0.85 * longSidePx);
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
