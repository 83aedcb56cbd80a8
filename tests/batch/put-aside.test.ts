import { mkdirSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, expect, test } from 'vitest';
import { AsideFile } from '../../src/batch/put-aside.ts';
import { removeDeadParts } from '../../src/plane/index.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-aside-'));
afterAll(() => rmSync(folder, { recursive: true }));
let here: string;
let count = 0;
beforeEach(() => {
  here = join(folder, String(count++));
  mkdirSync(here);
});

test('what is put aside is read back, in any order and as often as one likes', () => {
  const aside = new AsideFile(here);
  const parts = [3, 0, 70_000, 1].map((length, at) => new Uint8Array(length).fill(at + 1));
  const put = parts.map((bytes) => aside.put(bytes));
  for (const at of [2, 0, 1, 3, 2]) expect(Buffer.from(put[at]!.read())).toEqual(Buffer.from(parts[at]!));
  aside.close();
});

test('nothing is left behind, and nothing is made where nothing was put', () => {
  const aside = new AsideFile(here);
  expect(readdirSync(here)).toEqual([]);
  aside.put(new Uint8Array([1]));
  expect(readdirSync(here)).toHaveLength(1);
  aside.close();
  expect(readdirSync(here)).toEqual([]);
});

test('while its process lives nobody sweeps it away', async () => {
  const aside = new AsideFile(here);
  const put = aside.put(new Uint8Array([5]));
  await removeDeadParts(here);
  expect([...put.read()]).toEqual([5]);
  aside.close();
  expect(() => put.read()).toThrow(RangeError);
});

test('a folder that is gone is said', () => {
  const aside = new AsideFile(join(here, 'gone'));
  expect(() => aside.put(new Uint8Array([1]))).toThrow(expect.objectContaining({ code: 'path-unwritable' }));
});
