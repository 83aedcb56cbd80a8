import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import * as odd from '../../benchmarks/common/odd-images.ts';
import { decodePixelsApart, findDecoder } from '../../src/plane/decode-apart.ts';
import { decodePhoto } from '../../src/plane/index.ts';
import { decodePixels, type PixelsRequest } from '../../src/plane/pixels.ts';

const PLAIN: PixelsRequest = {
  deep: false,
  space: 'srgb',
  isTurned: false,
  ignoreIcc: true,
  isConverted: false,
  seconds: 60,
};
let folder: string;
let program: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tonewright-'));
  const found = findDecoder();
  if (found === undefined) throw new Error('the program is not built: run `npm run build` first');
  program = found;
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const isRunning = (pid: number) => {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
};

describe('a decoder in a process of its own', () => {
  test.each([
    ['AVIF', odd.makeAvif, PLAIN],
    ['WebP', odd.makeWebp, PLAIN],
    ['16-bit TIFF', odd.makeTiff, { ...PLAIN, deep: true, space: 'rgb16' }],
  ] as const)('gives the samples that this one gives: %s', async (_, make, request) => {
    const bytes = await make();
    const here = await decodePixels(bytes, request);
    const there = await decodePixelsApart(bytes, { request, seconds: 60, program });
    expect({ ...there, data: Buffer.from(there.data) }).toEqual({ ...here, data: Buffer.from(here.data) });
  });

  test('says why it cannot', async () => {
    const bytes = (await odd.makeWebp()).subarray(0, -40);
    const why = await decodePixels(bytes, PLAIN).catch((error: Error) => error.message);
    await expect(decodePixelsApart(bytes, { request: PLAIN, seconds: 60, program })).rejects.toThrow(why as string);
  });

  // Machine code that does not return is one thing to the system, whatever it computes.
  test('is ended when its time is over, though it listens to nobody', async () => {
    const deaf = join(folder, 'deaf.cjs');
    const note = join(folder, 'pid');
    writeFileSync(deaf, `require('node:fs').writeFileSync(${JSON.stringify(note)}, String(process.pid)); for (;;);`);
    const bytes = await odd.makeWebp();
    await expect(decodePixelsApart(bytes, { request: PLAIN, seconds: 1, program: deaf })).rejects.toThrow(/^timeout/);
    expect(existsSync(note)).toBe(true);
    expect(isRunning(Number(readFileSync(note, 'utf8')))).toBe(false);
  });

  test('that ends without a word is no picture', async () => {
    const mute = join(folder, 'mute.cjs');
    writeFileSync(mute, 'process.exit(0)');
    const how = { request: PLAIN, seconds: 60, program: mute };
    await expect(decodePixelsApart(await odd.makeWebp(), how)).rejects.toThrow('ended without an answer');
  });
});

test.each([
  ['AVIF', odd.makeAvif],
  ['WebP', odd.makeWebp],
] as const)('a photo that is not decoded in time is refused: %s', async (_, make) => {
  // Shorter than any process takes to start.
  await expect(decodePhoto(await make(), 'photo', { seconds: 0.001 })).rejects.toMatchObject({
    code: 'image-too-slow',
  });
});
