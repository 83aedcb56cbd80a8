import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { keepBytes } from '../../src/plane/index.ts';

let folder: string;
const before = process.env.TONEWRIGHT_CACHE;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'kept-'));
  process.env.TONEWRIGHT_CACHE = join(folder, 'cache');
});

afterEach(() => {
  process.env.TONEWRIGHT_CACHE = before;
  rmSync(folder, { recursive: true, force: true });
});

/** Counts how often it is asked. */
function maker(values: readonly number[]) {
  const state = { made: 0 };
  const make = () => {
    state.made++;
    return Uint8Array.from(values);
  };
  return { state, make };
}

test('bytes are made once, kept in one file, and the same when they come from there', () => {
  const { state, make } = maker([1, 2, 3]);
  expect([...keepBytes('a', make)]).toEqual([1, 2, 3]);
  expect([...keepBytes('a', make)]).toEqual([1, 2, 3]);
  expect(state.made).toBe(1);
  expect(readdirSync(process.env.TONEWRIGHT_CACHE!)).toEqual(['a']);
  const kept = keepBytes('a', make);
  expect(new Uint16Array(kept.buffer.slice(0, 2))[0]).toBe(513);
});

test('a damaged, a cut and an empty file are made again', () => {
  const { state, make } = maker([7, 8]);
  keepBytes('b', make);
  const path = join(process.env.TONEWRIGHT_CACHE!, 'b');
  const good = readFileSync(path);
  for (const bad of [Buffer.concat([Buffer.from([9]), good.subarray(1)]), good.subarray(0, 20), Buffer.alloc(0)]) {
    writeFileSync(path, bad);
    expect([...keepBytes('b', make)]).toEqual([7, 8]);
    expect(readFileSync(path).equals(good)).toBe(true);
  }
  expect(state.made).toBe(4);
});

test('a folder that cannot be written, or is turned off, costs time and nothing else', () => {
  const { state, make } = maker([5]);
  writeFileSync(join(folder, 'file'), '');
  for (const place of [join(folder, 'file', 'below'), 'off']) {
    process.env.TONEWRIGHT_CACHE = place;
    expect([...keepBytes('c', make)]).toEqual([5]);
  }
  expect(state.made).toBe(2);
});
