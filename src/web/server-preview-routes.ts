import type { Hono } from 'hono';
import * as v from 'valibot';
import { keepSubjectMask, readSubjectMask } from '../tasks/index.ts';
import type { PreviewRequestJson } from './protocol.ts';
import { picture } from './server-answers.ts';
import { LIMITS } from './server-limits.ts';
import { parsePhotoSettings, parseWith } from './server-photo-settings.ts';
import type { Previews, Subject } from './server-previews.ts';
import { receiveBytes, receiveJson } from './server-receive.ts';

/** Pixels along a side of what is seen from near. A count. Assumed: a large screen, and some beyond its edges. */
const MOST_LOUPE_PX = 2400;
/** Pixels along a dot, or dots along a pixel. Counts. Assumed: more of the first look no rounder. */
const MOST_TIMES = 12;

const wholeNumber = (most: number) => v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(most));
const LOUPE_REQUEST = v.pipe(
  v.strictObject({
    x: v.pipe(v.number(), v.finite()),
    y: v.pipe(v.number(), v.finite()),
    width: wholeNumber(MOST_LOUPE_PX * MOST_TIMES),
    height: wholeNumber(MOST_LOUPE_PX * MOST_TIMES),
    as: v.picklist(['dots', 'surface']),
    samples: wholeNumber(MOST_TIMES),
    average: wholeNumber(MOST_TIMES),
  }),
  v.check(
    ({ width, height, samples, average }) => (Math.max(width, height) * samples) / average <= MOST_LOUPE_PX,
    `more than ${MOST_LOUPE_PX} pixels along a side`,
  ),
);

const WINDOW = v.pipe(v.string(), v.regex(/^[0-9a-f-]{8,40}$/));
const PREVIEW_REQUEST = v.strictObject({
  wish: v.unknown(),
  showClipped: v.boolean(),
  window: WINDOW,
  longSidePx: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(20_000)),
});

function parsePreviewRequest(json: unknown): PreviewRequestJson {
  const { wish, ...rest } = parseWith(PREVIEW_REQUEST, json);
  return { ...rest, wish: parsePhotoSettings(wish) };
}

interface PreviewPlace {
  readonly previews: Previews;
  readonly subjectOf: (parameters: Readonly<Record<string, string>>) => Subject;
}

/** Drafts, proofs and loupes of whatever has a photo, under its address. */
export function addPreviewRoutes(app: Hono, base: string, { previews, subjectOf }: PreviewPlace): void {
  app.post(`${base}/draft`, async (c) => {
    const jpeg = await previews.draft(
      subjectOf(c.req.param()),
      parsePreviewRequest(await receiveJson(c.req.raw, LIMITS.json)),
    );
    return jpeg ? picture(jpeg, 'image/jpeg') : c.body(null, 204);
  });
  app.post(`${base}/look`, async (c) => {
    const { raw } = c.req;
    const found = await previews.look(
      subjectOf(c.req.param()),
      parsePreviewRequest(await receiveJson(raw, LIMITS.json)),
      raw.signal,
    );
    if (!found) return c.body(null, 204);
    // The picture is sent as soon as it is there, what it foretells after it: they never belong to different wishes.
    const size = Buffer.alloc(4);
    size.writeUInt32LE(found.jpeg.length);
    const body = new ReadableStream<Uint8Array>({
      async start(controller) {
        controller.enqueue(Buffer.concat([size, found.jpeg]));
        try {
          const facts = await found.facts;
          if (facts) controller.enqueue(Buffer.from(JSON.stringify(facts)));
          controller.close();
        } catch (error) {
          controller.error(error);
        }
      },
    });
    return new Response(body, { headers: { 'content-type': 'application/octet-stream' } });
  });
  app.get(`${base}/look/share`, (c) => {
    const window = parseWith(WINDOW, c.req.query('window'));
    return c.json({ share: previews.shareDone(subjectOf(c.req.param()), window) });
  });
  app.get(`${base}/previews/:look/loupe`, async (c) => {
    const { x, y, width, height, as, samples = 1, average = 1 } = c.req.query();
    const ask = parseWith(LOUPE_REQUEST, {
      x: Number(x),
      y: Number(y),
      width: Number(width),
      height: Number(height),
      as,
      samples: Number(samples),
      average: Number(average),
    });
    return picture(await previews.loupe(subjectOf(c.req.param()).key, c.req.param('look') ?? '', ask), 'image/png');
  });
  app.post(`${base}/subject`, async (c) => {
    const wish = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    return picture(await previews.mask(subjectOf(c.req.param()), wish), 'image/png');
  });
  app.post(`${base}/masks`, async (c) => {
    const { folder } = subjectOf(c.req.param());
    return c.json({ name: await keepSubjectMask(folder, await receiveBytes(c.req.raw, LIMITS.list)) }, 201);
  });
  app.get(`${base}/masks/:mask`, (c) => {
    return picture(readSubjectMask(subjectOf(c.req.param()).folder, c.req.param('mask') ?? ''), 'image/png');
  });
}
