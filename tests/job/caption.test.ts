import { resolve } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { type JobRequest, prepareJob, resolveJob } from '../../src/job/index.ts';
import { decodeDotsBytes, readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const PIECE = { size: '40x30', profile: 'slate-coaster', focus: { x: 0.5, y: 0.5 } } as const;
const DRAWING = resolve('images', 'mark.svg');

async function make(request: Partial<JobRequest>) {
  const spec = resolveJob({ ...PIECE, ...request }, { shop: SHOP, refused: REFUSED });
  const facts = { spec, name: 'cup', photoFile: 'cup.png', version: 'test', only: 'everything' } as const;
  const job = await prepareJob(() => readPhoto('images/photos/cup.png'), facts);
  const { dots } = await decodeDotsBytes(Buffer.from(job.files[0]!.bytes as Uint8Array), 'made');
  const page = String(job.files.find(({ name }) => name.endsWith('.html'))!.bytes);
  return { ...job, dots, page, spec };
}

const rowOf = ({ dots }: { dots: { width: number; data: Uint8Array } }, y: number) =>
  dots.data.subarray(y * dots.width, (y + 1) * dots.width);

/** First row that differs between two bitmaps of one size. */
function firstChange(a: { dots: { width: number; data: Uint8Array } }, b: typeof a): number {
  return Math.floor(a.dots.data.findIndex((value, at) => value !== b.dots.data[at]) / a.dots.width);
}

let plain: Awaited<ReturnType<typeof make>>;
beforeAll(async () => {
  plain = await make({});
});

describe('a caption', () => {
  test('on a band or on the picture leaves every dot elsewhere as it is', async () => {
    const band = await make({ caption: { text: 'Mia', place: 'band' } });
    const on = await make({ caption: { text: 'Mia', place: 'picture', ink: 'bare' } });
    const top = firstChange(plain, band);
    expect(top).toBeGreaterThan(200);
    // The band is bare but for the letters, whose dots are solid.
    expect(rowOf(band, top + 2).every((dot) => dot === 0)).toBe(true);
    const left = rowOf(band, 299).subarray(0, 100);
    expect(left.every((dot) => dot === 0)).toBe(true);
    expect(firstChange(plain, on)).toBeGreaterThan(top);
    const changed = on.dots.data.filter((dot, at) => dot !== plain.dots.data[at]);
    expect(changed.length).toBeGreaterThan(50);
    expect(changed.every((dot) => dot === 0)).toBe(true);
    // Its tones are told of the picture alone, up to where the eye takes letters into them.
    for (const { ticket } of [band, on]) {
      expect(ticket!.prediction.worstDeltaL).toBeLessThan(plain.ticket!.prediction.worstDeltaL + 0.5);
    }
    expect(band.ticket!.time.seconds).not.toBe(plain.ticket!.time.seconds);
    expect(band.ticket!.bitmap.firing).toBeLessThan(plain.ticket!.bitmap.firing);
  });

  test('below the picture takes a strip of its own: the picture is that of a piece as high as is left', async () => {
    const below = await make({ caption: { text: 'Mia & Juno', text2: '2026', place: 'below' } });
    const rows = below.ticket!.frame.place.height;
    const lower = await make({ size: `40x${rows / 10}` });
    expect(lower.dots.data.every((dot, at) => dot === below.dots.data[at])).toBe(true);
    expect(rowOf(below, rows + 1).every((dot) => dot === 0)).toBe(true);
    expect(below.ticket!.lettering!.caption).toMatchObject({
      lines: [{ text: 'Mia & Juno', heightMm: 3 }, { text: '2026' }],
      font: 'Noto Sans',
      place: 'below',
    });
    expect(below.page).toContain('“Mia &amp; Juno”, capitals 3 mm; “2026”');
    // What is said of the tones is said of the picture alone.
    const [with_, without] = [below.ticket!.prediction, lower.ticket!.prediction];
    expect(with_.meanDeltaL).toBeCloseTo(without.meanDeltaL, 1);
    expect(with_.worstDeltaL).toBeLessThan(without.worstDeltaL + 1);
  });

  test('stands on the bare edge of a photo that is shown whole, which stays as it is', async () => {
    const tall = { size: '30x60', fit: 'contain' } as const;
    const whole = await make(tall);
    const lettered = await make({ ...tall, caption: { text: 'Mia', place: 'edge' } });
    expect(lettered.ticket!.frame).toEqual(whole.ticket!.frame);
    const { y, height } = whole.ticket!.frame.place;
    expect(firstChange(whole, lettered)).toBeGreaterThan(y + height);
    await expect(make({ caption: { text: 'Mia', place: 'edge' } })).rejects.toThrow(
      expect.objectContaining({ code: 'caption-too-large' }),
    );
  });

  test('finer than any mark says so, and still comes out', async () => {
    const { warnings, dots, ticket } = await make({ caption: { text: 'Mia', font: 'script', heightMm: 0.6 } });
    expect(warnings.filter((text) => text.startsWith('Too fine for this mark'))).toHaveLength(1);
    const strip = dots.data.subarray(ticket!.frame.place.height * dots.width);
    expect(strip.reduce((sum, dot) => sum + dot, 0)).toBeGreaterThan(20);
  });
});

describe('a drawing', () => {
  test('is drawn solid where it is dark, at its size and place, and cut off where the piece ends', async () => {
    const drawn = await make({ artwork: { name: DRAWING, widthMm: 8, at: { xMm: 2, yMm: 3 } } });
    // A ring of 8 mm whose middle is a bar: the middle row of the bar.
    const row = rowOf(drawn, 70);
    expect(row.subarray(40, 80).every((dot) => dot === 1)).toBe(true);
    expect(firstChange(plain, drawn)).toBeGreaterThanOrEqual(29);
    expect(drawn.ticket!.lettering!.artwork).toEqual({
      ...{ file: 'mark.svg', xMm: 2, yMm: 3, widthMm: 8, heightMm: 8, ink: 'solid' },
    });
    const cut = await make({ artwork: { name: DRAWING, widthMm: 8, at: { xMm: 36, yMm: 3 } } });
    expect(cut.warnings.some((text) => /lies beyond the piece/.test(text))).toBe(true);
    await expect(make({ artwork: { name: DRAWING, at: { xMm: 90, yMm: 3 } } })).rejects.toThrow(/beyond the piece/);
  });
});
