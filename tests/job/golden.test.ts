import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import pixelmatch from 'pixelmatch';
import sharp from 'sharp';
import { expect, test } from 'vitest';
import { prepareJob, resolveJob } from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { decodeDotsBytes, readPhoto } from '../../src/plane/index.ts';

/**
 * Golden results that double as the gallery: the bits of whole jobs, compared exactly, and their proofs.
 * UPDATE_GOLDEN=1 rewrites them (npm run golden); a difference leaves the new picture as *-changed.png beside the old.
 * The photos are PNG files, so that no JPEG decoder's rounding enters.
 */
const GALLERY = 'images/gallery';
const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const JOBS = [
  { name: 'cat-anodised', photo: 'cat', request: { size: '40x25', profile: 'anodised-black', cornerRadiusMm: 2 } },
  {
    name: 'portrait-glass',
    photo: 'portrait',
    request: { size: '36x36', profile: 'glass-tumbler', screen: 'floyd-steinberg' },
  },
  {
    name: 'photographer-stainless',
    photo: 'photographer',
    request: { size: '54x36', profile: 'stainless-card', screen: 'blue-noise' },
  },
  { name: 'cup-birch', photo: 'cup', request: { size: '90x60', profile: 'birch-sign', screen: 'ostromoukhov' } },
  {
    name: 'cat-leather',
    photo: 'cat',
    request: { size: '70x46', profile: 'leather-patch', fit: 'contain', safeMarginMm: 3 },
  },
  {
    name: 'portrait-slate',
    photo: 'portrait',
    request: { size: '90x90', profile: 'slate-coaster', screen: 'clustered-dot', tone: 'plain' },
  },
] as const;

test.each(JOBS)('$name has the bits and the proof of the gallery', async ({ name, photo, request }) => {
  const spec = resolveJob(request, { shop, refused: [] });
  const file = `images/photos/${photo}.png`;
  const { files } = await prepareJob(() => readPhoto(file), {
    spec,
    name,
    photoFile: `${photo}.png`,
    version: 'golden',
    only: 'everything',
  });
  const [bitmap, proof] = files.map(({ bytes }) => Buffer.from(bytes as Uint8Array));
  const golden = join(GALLERY, `${name}.png`);
  const goldenProof = join(GALLERY, `${name}.proof.png`);
  if (process.env.UPDATE_GOLDEN) {
    mkdirSync(GALLERY, { recursive: true });
    writeFileSync(golden, bitmap!);
    writeFileSync(goldenProof, proof!);
  }
  expect(existsSync(golden), `${golden} is there`).toBe(true);

  const [made, kept] = [await decodeDotsBytes(bitmap!, 'made'), await decodeDotsBytes(readFileSync(golden), golden)];
  const same = Buffer.from(made.dots.data).equals(Buffer.from(kept.dots.data));
  keepChange(golden, bitmap!, same);
  expect(same, 'the same dots').toBe(true);
  expect(made.grid!.pitchMm).toBeCloseTo(spec.grid.pitchMm, 6);

  const [left, right] = await Promise.all(
    [proof!, readFileSync(goldenProof)].map((bytes) =>
      sharp(bytes).ensureAlpha().raw().toBuffer({ resolveWithObject: true }),
    ),
  );
  expect([left!.info.width, left!.info.height]).toEqual([right!.info.width, right!.info.height]);
  const different = pixelmatch(left!.data, right!.data, undefined, left!.info.width, left!.info.height, {
    threshold: 0.05,
  });
  keepChange(goldenProof, proof!, different === 0);
  expect(different, 'pixels of the proof that differ').toBe(0);
});

function keepChange(golden: string, bytes: Buffer, same: boolean): void {
  const changed = golden.replace(/\.png$/, '-changed.png');
  if (same) rmSync(changed, { force: true });
  else writeFileSync(changed, bytes);
}
