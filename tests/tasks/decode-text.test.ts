import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { decodeText } from '../../src/tasks/decode-text.ts';
import { parseOrderList } from '../../src/tasks/index.ts';
import { runCli, useFolder } from '../cli/run-cli.ts';

const TEXT = 'photo;text;margin\nmüller.jpg;Für Zoë – 5 €;0,5\n';
const wide = (text: string) => Buffer.from(text, 'utf16le');
// What Windows-1252 has beside Latin 1: the dash and the sign for euro.
const ansi = Buffer.from(TEXT.replace('–', '\x96').replace('€', '\x80'), 'latin1');

test.each([
  ['UTF-8', Buffer.from(TEXT)],
  ['UTF-8 with its mark', Buffer.from(`\uFEFF${TEXT}`)],
  ['UTF-16, little end first, with its mark', wide(`\uFEFF${TEXT}`)],
  ['UTF-16, big end first, with its mark', wide(`\uFEFF${TEXT}`).swap16()],
  ['UTF-16, little end first', wide(TEXT)],
  ['UTF-16, big end first', wide(TEXT).swap16()],
])('%s is read without a word', (_, bytes) => {
  const { text, notes } = decodeText(bytes, 'list.csv');
  expect(text.replace(/^\uFEFF/, '')).toBe(TEXT);
  expect(notes).toEqual([]);
});

test('what is neither is read as Windows-1252, which is told', () => {
  const { text, notes } = decodeText(ansi, 'list.csv');
  expect(text).toBe(TEXT);
  expect(notes.map((note) => note.text)).toEqual([
    expect.stringMatching(/^list\.csv: .* not UTF-8; it was read as Windows-1252/),
  ]);
});

test('a list has the same lines in whatever encoding a spreadsheet saved it', () => {
  const { rows } = parseOrderList(Buffer.from(TEXT), 'list');
  expect(rows[0]!.cells.text!.text).toBe('Für Zoë – 5 €');
  for (const bytes of [wide(`\uFEFF${TEXT}`), ansi]) expect(parseOrderList(bytes, 'list').rows).toEqual(rows);
});

const folder = useFolder();

test('an order of such a list is made, with a comma in its lengths, and says what it guessed', async () => {
  const place = folder();
  writeFileSync(join(place, 'list.csv'), Buffer.from('photo;text;size;margin\nmüller.png;Zoë;10,5x8;0,5\n', 'latin1'));
  const { status, stdout, stderr } = await runCli(
    ['order', join(place, 'list.csv'), '--profile', 'anodised-black', '--out', join(place, 'out')],
    {
      cwd: place,
    },
  );
  expect(stderr).toMatch(/list\.csv: the text is not UTF-8; it was read as Windows-1252/);
  // Its one photo is not there, by its right name: lengths and letters were understood.
  expect(status).toBe(1);
  expect(stdout).toMatch(/müller\.png +found nothing there/);
});
