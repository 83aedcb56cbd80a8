import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { differenceOf } from '../../src/colour/index.ts';
import { type Palette, parsePalette } from '../../src/material/index.ts';

const FOLDER = 'shared/shop/palettes';
const read = (file: string) => JSON.parse(readFileSync(join(FOLDER, file), 'utf8'));
const PALETTE = read('slate-greys.json') as Palette;
const [grey, light] = PALETTE.marks;

test.each(readdirSync(FOLDER))('%s is a palette of its own name', (file) => {
  expect(`${parsePalette(read(file), file).name}.json`).toBe(file);
});

test('the colour difference is that of CIE 1976', () => {
  expect(differenceOf([50, 3, 4], [50, 0, 0])).toBe(5);
  expect(differenceOf([60, 0, 0], [50, 0, 0])).toBe(10);
});

describe('a palette is refused', () => {
  test.each([
    ['without marks', { marks: [] }, /"marks": found \[\], needed at least one mark/],
    ['of another schema', { schema: 'tonewright-palette/2' }, /needed "tonewright-palette\/1"/],
    ['with a field that nobody knows', { glow: 1 }, /"glow": found a field of that name/],
    [
      'with a power of nothing',
      { marks: [{ ...grey, settings: { ...grey!.settings, powerW: 0 } }] },
      /powerW": found 0/,
    ],
    ['with a colour of two numbers', { marks: [{ ...grey, colour: [40, 0] }] }, /colour/],
    ['with two marks of one name', { marks: [grey, { ...light, name: 'grey' }] }, /two marks named "grey"/],
    [
      'with two marks of nearly one colour',
      { marks: [grey, { ...light, colour: [46, 1, 1] }] },
      /grey and light only 1\.4 ΔE apart, needed 4/,
    ],
    ['with a mark like the bare surface', { marks: [{ ...grey, colour: [34, -1, -2] }] }, /bare and grey only 1\.0 ΔE/],
    [
      'with nine marks',
      { marks: Array.from({ length: 9 }, (_, i) => ({ ...grey, name: `m${i}`, colour: [i * 10, 0, 0] })) },
      /at most 8/,
    ],
  ])('%s', (_, change, message) => {
    expect(() => parsePalette({ ...PALETTE, ...change }, 'p.json')).toThrow(message);
  });
});
