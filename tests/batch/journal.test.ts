import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { openJournal } from '../../src/batch/journal.ts';
import { useFolder } from '../cli/run-cli.ts';

const folder = useFolder();
const mark = (name: string) => ({ name, sha256: name });
const done = (work: string, ...names: string[]) => ({ work, photo: 'p', files: names.map(mark) });

async function write(path: string): Promise<void> {
  const journal = await openJournal(path);
  await journal.begin('one', ['one.png']);
  await journal.finish('one', done('w1', 'one.png'));
  await journal.begin('two', ['two.png', 'two.tiff']);
  await journal.finish('two', done('w2', 'two.png', 'two.tiff'));
  await journal.begin('three', ['three.png']);
  await journal.close();
}

const states = async (path: string) => {
  const journal = await openJournal(path);
  await journal.close();
  return journal;
};

test('a journal tells the next run what is done and what was begun', async () => {
  const path = join(folder(), 'journal');
  await write(path);
  const { pieces, damaged } = await states(path);
  expect(damaged).toBe(0);
  expect(pieces.get('one')).toEqual({ files: ['one.png'], done: done('w1', 'one.png') });
  expect(pieces.get('three')).toEqual({ files: ['three.png'], done: undefined });
});

test('a journal that was cut off at any byte loses its last line at most, and takes new lines', async () => {
  const path = join(folder(), 'journal');
  await write(path);
  const whole = readFileSync(path);
  const ends = [...whole.keys()].filter((at) => whole[at] === 10).map((at) => at + 1);
  for (let length = 0; length < whole.length; length += 7) {
    writeFileSync(path, whole.subarray(0, length));
    const journal = await openJournal(path);
    const lines = ends.filter((end) => end <= length).length;
    // Header, begun one, done one, begun two, done two, begun three.
    expect(journal.pieces.get('one')?.done !== undefined, `${length} bytes`).toBe(lines >= 3);
    expect(journal.pieces.get('two')?.done !== undefined, `${length} bytes`).toBe(lines >= 5);
    await journal.finish('four', done('w4', 'four.png'));
    await journal.close();
    expect((await states(path)).pieces.get('four')?.done?.work).toBe('w4');
  }
});

test('a line that was changed is left out, and those after it still count', async () => {
  const path = join(folder(), 'journal');
  await write(path);
  writeFileSync(path, readFileSync(path, 'utf8').replace('"work":"w1"', '"work":"w9"'));
  const { pieces, damaged } = await states(path);
  expect(damaged).toBe(1);
  expect(pieces.get('one')?.done).toBeUndefined();
  expect(pieces.get('one')?.files).toEqual(['one.png']);
  expect(pieces.get('two')?.done?.work).toBe('w2');
  // What was distrusted once is not there any more.
  expect((await states(path)).damaged).toBe(0);
});

test('noise at the end is left out', async () => {
  const path = join(folder(), 'journal');
  await write(path);
  appendFileSync(path, Buffer.from([0, 0, 255, 10, 0, 123]));
  const { pieces, damaged } = await states(path);
  expect([pieces.size, damaged]).toEqual([3, 2]);
});

test('the same pieces leave the same bytes, in whatever order they were done', async () => {
  const made: Buffer[] = [];
  for (const names of [
    ['one', 'two', 'three'],
    ['three', 'one', 'two'],
  ]) {
    const path = join(folder(), 'journal');
    const journal = await openJournal(path);
    for (const name of names) {
      await journal.begin(name, [`${name}.png`]);
      await journal.finish(name, done(`w-${name}`, `${name}.png`));
    }
    await journal.begin('gone', ['gone.png']);
    await journal.forget('gone');
    await journal.compact(['one', 'two', 'three']);
    await journal.begin('late', ['late.png']);
    await journal.close();
    const text = readFileSync(path);
    expect(text.toString().trimEnd().split('\n')).toHaveLength(5);
    made.push(text);
  }
  expect(made[0]!.equals(made[1]!)).toBe(true);
});

test('a journal of another version is refused', async () => {
  const path = join(folder(), 'journal');
  await write(path);
  const { sha256 } = await import('../../src/plane/index.ts');
  const entry = '{"is":"journal","schema":"tonewright-journal/99"}';
  writeFileSync(path, `{"check":"${sha256(entry).slice(0, 16)}","entry":${entry}}\n`);
  await expect(openJournal(path)).rejects.toMatchObject({ code: 'file-invalid' });
});
