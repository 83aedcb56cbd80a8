import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, test } from 'vitest';
import type { AppError } from '../../src/errors.ts';
import { sha256, writeFilesAtomic } from '../../src/plane/index.ts';

const root = mkdtempSync(join(tmpdir(), 'tonewright-files-'));
afterAll(() => rmSync(root, { recursive: true }));

let folder = '';
let count = 0;
beforeEach(() => {
  folder = join(root, String(count++));
  mkdirSync(folder);
});

const failure = (attempt: Promise<unknown>) =>
  attempt.then(
    () => {
      throw new Error('it was accepted');
    },
    (error: AppError) => error,
  );

test('SHA-256 of "abc" is the one of FIPS 180-4 (from memory)', () => {
  expect(sha256('abc')).toBe('ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad');
  expect(sha256(Buffer.from('abc'))).toBe(sha256('abc'));
});

describe('writing files as one', () => {
  test('makes the folders, writes all, leaves nothing else', async () => {
    const deep = join(folder, 'a', 'b');
    await writeFilesAtomic([
      { path: join(deep, 'one'), bytes: Buffer.from([1, 2]) },
      { path: join(deep, 'two'), bytes: 'text' },
    ]);
    expect(readdirSync(deep).sort()).toEqual(['one', 'two']);
    expect([readFileSync(join(deep, 'one')), readFileSync(join(deep, 'two'), 'utf8')]).toEqual([
      Buffer.from([1, 2]),
      'text',
    ]);
  });

  test('refuses before writing anything when a result is there', async () => {
    writeFileSync(join(folder, 'two'), 'old');
    const error = await failure(
      writeFilesAtomic([
        { path: join(folder, 'one'), bytes: 'new' },
        { path: join(folder, 'two'), bytes: 'new' },
      ]),
    );
    expect(error).toMatchObject({ code: 'result-exists', details: { paths: [join(folder, 'two')] } });
    expect(readdirSync(folder)).toEqual(['two']);
    expect(readFileSync(join(folder, 'two'), 'utf8')).toBe('old');
  });

  test('replaces with force', async () => {
    writeFileSync(join(folder, 'two'), 'old');
    await writeFilesAtomic([{ path: join(folder, 'two'), bytes: 'new' }], { force: true });
    expect(readdirSync(folder)).toEqual(['two']);
    expect(readFileSync(join(folder, 'two'), 'utf8')).toBe('new');
  });

  test('takes everything back when one file cannot be written', async () => {
    writeFileSync(join(folder, 'file'), 'x');
    const error = await failure(
      writeFilesAtomic([
        { path: join(folder, 'made', 'deep', 'one'), bytes: 'new' },
        { path: join(folder, 'file', 'two'), bytes: 'new' },
      ]),
    );
    expect(error.code).toBe('path-unwritable');
    expect(error.message).toContain('a part of the path is a file, not a folder');
    expect(readdirSync(folder)).toEqual(['file']);
  });

  test('takes everything back when a folder is in the way of the last one', async () => {
    mkdirSync(join(folder, 'two'));
    const error = await failure(
      writeFilesAtomic(
        [
          { path: join(folder, 'one'), bytes: 'new' },
          { path: join(folder, 'two'), bytes: 'new' },
        ],
        { force: true },
      ),
    );
    expect(error.code).toBe('path-unwritable');
    expect(readdirSync(folder)).toEqual(['two']);
  });

  test('says when there is no right to write', async () => {
    const locked = join(folder, 'locked');
    mkdirSync(locked);
    chmodSync(locked, 0o500);
    const attempt = writeFilesAtomic([{ path: join(locked, 'one'), bytes: 'new' }]);
    // The superuser may write all the same.
    if (process.getuid?.() === 0) {
      await attempt;
      expect(existsSync(join(locked, 'one'))).toBe(true);
      return;
    }
    expect(await failure(attempt)).toMatchObject({ code: 'path-unwritable', details: { code: 'EACCES' } });
    expect(readdirSync(locked)).toEqual([]);
  });
});
