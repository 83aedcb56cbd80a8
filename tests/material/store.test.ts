import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { AppError, type ErrorCode } from '../../src/errors.ts';
import { openShop, type Shop } from '../../src/material/index.ts';

let root: string;
let shop: Shop;

beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'tonewright-store-'));
  for (const folder of ['built-in/profiles', 'built-in/materials', 'shop/profiles']) {
    mkdirSync(join(root, folder), { recursive: true });
  }
  writeFileSync(join(root, 'built-in/profiles/slate.json'), '{"from":"built-in"}');
  writeFileSync(join(root, 'built-in/profiles/anodised-black.json'), '{"from":"built-in"}');
  writeFileSync(join(root, 'built-in/materials/never.json'), '[]');
  writeFileSync(join(root, 'shop/profiles/slate.json'), '{"from":"shop"}');
  shop = openShop({ shopDir: join(root, 'shop'), builtIn: join(root, 'built-in') });
});
afterEach(() => rmSync(root, { recursive: true }));

const codeOf = (run: () => unknown): { code: ErrorCode; message: string } => {
  try {
    run();
  } catch (error) {
    if (error instanceof AppError) return { code: error.code, message: error.message };
  }
  return expect.fail('no AppError was thrown');
};

describe('reading', () => {
  test("the shop's record hides a built-in one of the same name", () => {
    expect(shop.list('profiles').map(({ name, from }) => [name, from])).toEqual([
      ['anodised-black', 'built-in'],
      ['slate', 'shop'],
    ]);
    expect(shop.read('profiles', 'slate').json).toEqual({ from: 'shop' });
  });

  test('without a shop folder the built-in examples serve, from several folders in order', () => {
    const plain = openShop({ builtIn: [join(root, 'shop'), join(root, 'built-in')] });
    expect(plain.read('profiles', 'slate').json).toEqual({ from: 'shop' });
    expect(plain.list('charts')).toEqual([]);
  });

  test('lists of refused materials are no materials', () => {
    expect(shop.list('materials')).toEqual([]);
  });

  test('a path is read as it is', () => {
    const { name, json } = shop.read('profiles', join(root, 'built-in/profiles/slate.json'));
    expect([name, json]).toEqual(['slate', { from: 'built-in' }]);
  });

  test('an unknown name is answered with close ones', () => {
    expect(codeOf(() => shop.read('profiles', 'slat'))).toEqual({
      code: 'name-unknown',
      message: 'found no profile "slat"; did you mean slate?',
    });
    expect(codeOf(() => shop.read('profiles', 'anodized-black')).message).toContain('did you mean anodised-black?');
    expect(codeOf(() => shop.read('profiles', 'zzzzzz')).message).toContain('there are anodised-black, slate');
    expect(codeOf(() => shop.read('machines', 'x')).message).toContain('there are none');
  });

  test.each([
    ['{\n  "a": 1,\n  "b": oops\n}', 'line 3, column 8: found "oops'],
    ['{\n  "a": 1', 'line 2, column 9: found the end'],
    ['{"a": 1,}', 'line 1, column 9: found "}"'],
    ['{"a" 1}', 'line 1, column 6: found "1}"'],
    ['[1, 2}', 'line 1, column 6: found "}"'],
    ['[1 2]', 'line 1, column 4: found "2]"'],
    ["{'a': 1}", 'line 1, column 2: found "\'a\': 1}"'],
    ['[01]', 'line 1, column 2: found "01]"'],
    ['[{"a": [true, nul]}]', 'line 1, column 15: found "nul]}]"'],
    ['{} x', 'line 1, column 4: found "x"'],
    ['{"a": "no end', 'line 1, column 7: found ""no end"'],
    ['', 'line 1, column 1: found the end'],
  ])('broken JSON %j is located', (text, message) => {
    const path = join(root, 'broken.json');
    writeFileSync(path, text);
    const error = codeOf(() => shop.read('profiles', path));
    expect(error.code).toBe('file-invalid');
    expect(error.message).toContain(message);
  });

  test('a missing file and a folder have their own codes', () => {
    expect(codeOf(() => shop.read('profiles', './nowhere.json')).code).toBe('path-missing');
    mkdirSync(join(root, 'folder.json'));
    expect(codeOf(() => shop.read('profiles', join(root, 'folder.json'))).code).toBe('path-is-folder');
  });
});

describe('writing', () => {
  test.each(['con', 'aux', 'lpt1', 'nul.v2'])('"%s" is no name: Windows keeps it for a device', async (name) => {
    await expect(shop.write('profiles', name, {})).rejects.toMatchObject({ code: 'option-invalid' });
  });

  test('a record is written whole and found again, with nothing left beside it', async () => {
    const path = await shop.write('charts', 'tone-1', { a: [1, 2] });
    expect(path).toBe(join(root, 'shop/charts/tone-1.json'));
    expect(shop.read('charts', 'tone-1').json).toEqual({ a: [1, 2] });
    expect(readdirSync(join(root, 'shop/charts'))).toEqual(['tone-1.json']);
  });

  test('an existing record is replaced only by force', async () => {
    await expect(shop.write('profiles', 'slate', {})).rejects.toMatchObject({ code: 'result-exists' });
    await shop.write('profiles', 'slate', { from: 'force' }, { force: true });
    expect(shop.read('profiles', 'slate').json).toEqual({ from: 'force' });
  });

  test('names that could leave the folder are refused, and so is writing without a shop', async () => {
    await expect(shop.write('profiles', '../evil', {})).rejects.toMatchObject({ code: 'option-invalid' });
    const plain = openShop({ builtIn: join(root, 'built-in') });
    await expect(plain.write('profiles', 'a', {})).rejects.toMatchObject({ code: 'path-missing' });
  });
});
