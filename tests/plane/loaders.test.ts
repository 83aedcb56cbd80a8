import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { Worker } from 'node:worker_threads';
import { expect, test } from 'vitest';
import { decodePhoto, limitLoaders } from '../../src/plane/index.ts';
import { loadSharp } from '../../src/plane/kernels.ts';

// The library as it is built, in a thread of its own: it opens the photo that it is given.
const THREAD = `
const { parentPort, workerData } = require('node:worker_threads');
import(workerData.library)
  .then(({ decodePhoto }) => decodePhoto(workerData.photo, 'red.jpg'))
  .then(({ pixels }) => parentPort.postMessage(pixels.shape[1]));
`;

test('threads that begin to open photos take none from under the others', async () => {
  limitLoaders();
  const made = await loadSharp()({ create: { width: 24, height: 16, channels: 3, background: 'red' } })
    .jpeg()
    .toBuffer();
  const workerData = { library: pathToFileURL(resolve('dist/library.js')).href, photo: new Uint8Array(made) };
  let isDone = false;
  const starting = (async () => {
    const widths: number[] = [];
    for (let at = 0; at < 12; at++) {
      const thread = new Worker(THREAD, { eval: true, workerData });
      widths.push(await new Promise((done, fail) => thread.once('message', done).once('error', fail)));
    }
    return widths;
  })().finally(() => {
    isDone = true;
  });
  let opened = 0;
  while (!isDone) {
    const photos = await Promise.all([1, 2, 3, 4].map(() => decodePhoto(Buffer.from(made), 'red.jpg')));
    for (const { width } of photos) expect(width).toBe(24);
    opened += photos.length;
  }
  expect(await starting).toEqual(Array.from({ length: 12 }, () => 24));
  expect(opened).toBeGreaterThan(100);
}, 120_000);
