import { mkdirSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readPhotoBytes } from '../../src/batch/read-photo.ts';
import { useFolder } from '../cli/run-cli.ts';

const folder = useFolder();
const SIZE = 40_000_000;
const options = { label: 'cat.jpg', pauseMs: 30 };
/** What begins as a JPEG, and goes on with one letter. */
const letters = (length: number, letter: string | number) => {
  const bytes = Buffer.alloc(length, letter);
  bytes.set([0xff, 0xd8, 0xff]);
  return bytes;
};
const isOneLetter = (bytes: Buffer) => bytes.equals(letters(bytes.length, bytes[3]!));

test('a photo that is replaced while it is read is read as one or the other', async () => {
  const path = join(folder(), 'cat.jpg');
  const next = join(folder(), 'next.jpg');
  for (const way of ['renamed over it', 'written into it'] as const) {
    writeFileSync(path, letters(SIZE, 'a'));
    const reading = readPhotoBytes(path, options);
    await new Promise((resolve) => setTimeout(resolve, 1));
    if (way === 'written into it') writeFileSync(path, letters(SIZE + 1, 'b'));
    else {
      writeFileSync(next, letters(SIZE + 1, 'b'));
      renameSync(next, path);
    }
    const bytes = await reading;
    expect(isOneLetter(bytes), way).toBe(true);
    expect(bytes.length, way).toBe(bytes[3] === 97 ? SIZE : SIZE + 1);
  }
});

test('a photo that never rests is given up', async () => {
  const path = join(folder(), 'cat.jpg');
  let letter = 0;
  writeFileSync(path, letters(SIZE, 0));
  const disturb = setInterval(() => writeFileSync(path, letters(1000 + letter++, letter)), 0);
  // The file is looked at before and after it is read; between the two it is written again and again.
  const reading = Promise.all(Array.from({ length: 20 }, () => readPhotoBytes(path, { ...options, pauseMs: 0 })));
  const error = await reading.then(
    () => undefined,
    (reason) => reason,
  );
  clearInterval(disturb);
  // Whether a reader meets a writer is chance; what may never happen is a mixture, or another error.
  if (error) expect(error).toMatchObject({ code: 'photo-changed' });
});

test('what cannot be read is told by the name that the order uses', async () => {
  const path = folder();
  await expect(readPhotoBytes(join(path, 'none'), options)).rejects.toMatchObject({
    code: 'path-missing',
    message: 'cat.jpg: found nothing there, needed a photo',
  });
  mkdirSync(join(path, 'folder'));
  await expect(readPhotoBytes(join(path, 'folder'), options)).rejects.toMatchObject({ code: 'path-is-folder' });
});
