import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type JobRequest, resolveJob, takePicture } from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { readPhoto } from '../../src/plane/index.ts';
import { openRandom } from '../subject/noise.ts';

const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const folder = mkdtempSync(join(tmpdir(), 'tonewright-print-'));
const path = join(folder, 'print.png');
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A print of the raccoon with a white border on a grained table; its edges at 60, 50 and 540, 400 of 600 × 450. */
beforeAll(async () => {
  const next = openRandom(9);
  const grain = Buffer.from(Uint8Array.from({ length: 3 * 600 * 450 }, (_, i) => [110, 86, 64][i % 3]! + 14 * next()));
  const print = await sharp('images/photos/raccoon.jpg')
    .resize(456, 326, { fit: 'cover' })
    .modulate({ brightness: 0.75 })
    .extend({ top: 12, bottom: 12, left: 12, right: 12, background: '#d8d6d0' })
    .toBuffer();
  await sharp(grain, { raw: { width: 600, height: 450, channels: 3 } })
    .composite([{ input: print, left: 60, top: 50 }])
    .png()
    .toFile(path);
});

async function take(request: Partial<JobRequest>) {
  const spec = resolveJob(
    { size: '30x20', profile: 'anodised-black', subject: 'none', ...request },
    { shop, refused: [] },
  );
  const picture = await takePicture(() => readPhoto(path), { spec, withThumbnail: false });
  return { ...picture, codes: picture.notices.map(({ code }) => code) };
}

test('a photo of a print is told of, with the crop that takes the print alone', async () => {
  const { codes, notices, alone } = await take({});
  expect(codes).toContain('print-seen');
  expect(notices.map(({ text }) => text).join(' ')).toContain(
    `let the photo fill the piece with ${alone!.focus.x},${alone!.focus.y} in sight at zoom ${alone!.zoom}`,
  );
  const told = await take({ ...alone! });
  const { x, y, width, height } = told.frame.crop;
  expect(x).toBeGreaterThanOrEqual(59);
  expect(x + width).toBeLessThanOrEqual(541);
  expect(y).toBeGreaterThanOrEqual(49);
  expect(y + height).toBeLessThanOrEqual(401);
  expect(told.codes).not.toContain('print-seen');
});
