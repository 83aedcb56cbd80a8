import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, expect, test } from 'vitest';
import { type JobRequest, resolveJob, takePicture } from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { readPhoto } from '../../src/plane/index.ts';

const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const folder = mkdtempSync(join(tmpdir(), 'tonewright-bars-'));
const path = join(folder, 'screenshot.png');
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** The cup, 600 × 400, on a screen of 600 × 1200. */
async function take(request: Partial<JobRequest>) {
  await sharp('images/photos/cup.png').extend({ top: 300, bottom: 500, background: '#000' }).toFile(path);
  const spec = resolveJob({ size: '30x20', profile: 'anodised-black', ...request }, { shop, refused: [] });
  const picture = await takePicture(() => readPhoto(path), { spec, withThumbnail: false });
  const { y, height } = picture.frame.crop;
  return { ...picture, top: y, bottom: y + height, codes: picture.notices.map(({ code }) => code) };
}

test.each(['30x20', '20x20', '20x50', 'ID-1'])(
  'the crop of %s leaves bars out by itself, and says so',
  async (size) => {
    const { top, bottom, codes } = await take({ size });
    expect(top).toBeGreaterThanOrEqual(299);
    expect(bottom).toBeLessThanOrEqual(701);
    expect(codes).toContain('bars-left-out');
    expect(codes).not.toContain('bars-seen');
  },
);

test('a crop by hand shows what it is asked to, and says which one takes the picture alone', async () => {
  const { top, codes, notices, alone } = await take({ size: '20x20', zoom: 1, focus: { x: 0.5, y: 0.1 } });
  expect(top).toBe(0);
  expect(codes).toContain('bars-seen');
  expect(notices.map(({ text }) => text).join(' ')).toContain(
    `25 % above, 42 % below), and this crop shows them: let the photo fill the piece with ${alone!.focus.x},${alone!.focus.y} in sight at zoom ${alone!.zoom}`,
  );
  const told = await take({ size: '20x20', ...alone! });
  expect(told.top).toBeGreaterThanOrEqual(298);
  expect(told.bottom).toBeLessThanOrEqual(702);
  expect(told.codes.filter((code) => code.startsWith('bars'))).toEqual([]);
});

test('the photo shown whole keeps its bars, and they are told of', async () => {
  const { codes, frame } = await take({ fit: 'contain' });
  expect(codes).toContain('bars-seen');
  expect(frame.crop.height).toBe(1200);
});

test('a piece of a named size lies as suits the picture, not its bars', async () => {
  const { framing } = await take({ size: 'ID-1' });
  expect(framing.widthMm).toBeGreaterThan(framing.heightMm);
});
