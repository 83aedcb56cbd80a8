import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { AppError, ERRORS, type ErrorCode } from '../../src/errors.ts';
import { openShopFolder } from '../../src/tasks/index.ts';
import { describeError } from '../../src/web/server-errors.ts';
import { viewShop } from '../../src/web/server-shop.ts';

/** What only somebody at a command line types: an option, a command, a package to install. */
const COMMAND = /(?<![\w-])--[a-z]|\btonewright [a-z]+|\bnpm\b|\bnpx\b/;

const pages = readdirSync('src/web/page', { recursive: true, encoding: 'utf8' }).filter((file) => /\.tsx?$/.test(file));

/** A file without what nobody on the page reads: comments, imports, style properties, what is kept under a key. */
const readTexts = (file: string) =>
  readFileSync(join('src/web/page', file), 'utf8')
    .replace(/\/\*[\s\S]*?\*\/|^\s*\/\/.*$/gm, '')
    .replace(/^import .*$/gm, '')
    .replace(/'--[a-z]+':|var\(--[a-z-]+\)/g, '')
    .replace(/'tonewright-[a-z]+'/g, '');

test.each(pages)('%s has no word of the command line', (file) => {
  expect(readTexts(file)).not.toMatch(COMMAND);
});

test.each(Object.keys(ERRORS) as ErrorCode[])('what the page says to do about %s is done on the page', (code) => {
  expect(describeError(new AppError(code, 'found this')).body.error.hint).not.toMatch(COMMAND);
});

test('what the page offers for choosing is called by titles, without words of the command line', async () => {
  const shop = openShopFolder({});
  const facts = await viewShop({ shop, shopDir: 'shop', version: '0', photosDir: 'images/photos' });
  const { machines, materials, profiles, screens, charts, toneFields, pieces } = facts;
  for (const { name, title } of [...machines, ...materials, ...profiles, ...screens, ...pieces]) {
    expect(title, name).not.toBe(name);
    expect(title).toMatch(/[A-Z]|\d/);
  }
  const words = JSON.stringify([charts, Object.values(toneFields).map(({ label, help }) => [label, help])]);
  expect(words).not.toMatch(COMMAND);
});
