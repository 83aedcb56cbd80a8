import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readPhotoBytes } from '../../src/batch/read-photo.ts';
import { listPhotos } from '../../src/tasks/index.ts';
import { useFolder } from '../cli/run-cli.ts';

const folder = useFolder();
const PNG = readFileSync('images/photos/cat.png');

async function list(place: string, out = join(place, 'out')) {
  const warnings: string[] = [];
  const photos = await listPhotos(place, { out, warn: (text) => warnings.push(text) });
  return { photos, warnings };
}

test('every file that looks like a picture is listed, by its ending or its first bytes, in folders too', async () => {
  const place = folder();
  const names = ['a.JPG', 'b.jfif', 'c.HEIC', 'd.heif', 'e.NEF', 'f.dng', 'g.Gif', 'h.bmp', 'i.Webp', 'ann/j.tif'];
  for (const name of [...names, 'ann/deep/k.AVIF']) {
    mkdirSync(join(place, name, '..'), { recursive: true });
    writeFileSync(join(place, name), '');
  }
  writeFileSync(join(place, 'IMG_0001'), PNG);
  writeFileSync(join(place, 'notes.txt'), 'for Friday');
  writeFileSync(join(place, '.hidden.jpg'), PNG);
  writeFileSync(join(place, 'order.json'), '{}');
  const { photos, warnings } = await list(place);
  expect(photos).toEqual([...names.slice(0, 9), 'ann/j.tif', 'ann/deep/k.AVIF', 'IMG_0001'].sort());
  expect(warnings).toEqual([expect.stringMatching(/left out 1 of the files.*notes\.txt/)]);
});

test('what Tonewright made is no photo: its folders, and files that a ticket names', async () => {
  const place = folder();
  for (const name of ['out', 'earlier', 'ann']) mkdirSync(join(place, name));
  writeFileSync(join(place, 'out', 'cat.png'), PNG);
  writeFileSync(join(place, 'earlier', 'cat.png'), PNG);
  writeFileSync(join(place, 'earlier', 'order.journal.jsonl'), '');
  for (const name of ['cat.jpg', 'cat.png', 'cat.proof.png']) writeFileSync(join(place, 'ann', name), PNG);
  writeFileSync(join(place, 'ann', 'cat.ticket.json'), JSON.stringify({ bitmap: { file: 'cat.png' } }));
  expect((await list(place)).photos).toEqual(['ann/cat.jpg']);
});

test.skipIf(process.platform === 'win32')(
  'links lead to what they name, once, and a pipe that is called a photo is listed to be told',
  async () => {
    const place = folder();
    mkdirSync(join(place, 'ann'));
    writeFileSync(join(place, 'ann', 'cat.png'), PNG);
    symlinkSync('..', join(place, 'ann', 'back'));
    symlinkSync(join(place, 'ann', 'cat.png'), join(place, 'linked.png'));
    symlinkSync(join(place, 'nowhere'), join(place, 'gone.png'));
    expect(spawnSync('mkfifo', [join(place, 'pipe.jpg'), join(place, 'pipe')]).status).toBe(0);
    const { photos, warnings } = await list(place);
    expect(photos).toEqual(['ann/cat.png', 'gone.png', 'linked.png', 'pipe.jpg']);
    expect(warnings).toEqual([expect.stringMatching(/left out 1 of the files.*: pipe$/)]);
    await expect(readPhotoBytes(join(place, 'pipe.jpg'), { label: 'pipe.jpg' })).rejects.toMatchObject({
      message: expect.stringMatching(/^pipe\.jpg: found a pipe, needed a photo/),
    });
  },
);

test('a folder without a photo says so', async () => {
  await expect(list(folder())).rejects.toMatchObject({ code: 'path-missing' });
});
