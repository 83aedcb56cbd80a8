import { createRequire } from 'node:module';
import { describe, expect, test } from 'vitest';
import { EXAMPLE, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import type { TagPosition } from '../../src/chart/index.ts';
import { identifyTag, layoutChart, layoutHash, readTagCells, TAG_COUNT, tagIdOf } from '../../src/chart/index.ts';

const require = createRequire(import.meta.url);
const { AprilTagFamily } = require('apriltag') as {
  AprilTagFamily: new (family: unknown) => { codes: unknown[]; render: (id: number) => string[][] };
};
const family = new AprilTagFamily(require('apriltag/families/36h11.json'));

describe('the table of tags', () => {
  test('holds the 587 tags of family 36h11 as the npm package apriltag draws them', () => {
    expect(TAG_COUNT).toBe(family.codes.length);
    for (let id = 0; id < TAG_COUNT; id++) {
      const drawn = family
        .render(id)
        .slice(2, 8)
        .flatMap((row) => [...row].slice(2, 8));
      expect([...readTagCells(id)]).toEqual(drawn.map((cell) => (cell === 'b' ? 1 : 0)));
    }
  });

  test('differs in at least 11 cells between any two tags at any turn', () => {
    const turn = (cells: readonly number[]) => cells.map((_, k) => cells[(5 - (k % 6)) * 6 + Math.floor(k / 6)]!);
    const words = (cells: readonly number[]) =>
      [0, 18].map((from) => cells.slice(from, from + 18).reduce((word, cell, bit) => word | (cell << bit), 0));
    const bits = (word: number) => {
      let count = 0;
      for (let rest = word; rest; rest &= rest - 1) count++;
      return count;
    };
    const tags = Array.from({ length: TAG_COUNT }, (_, id) => {
      const turns = [[...readTagCells(id)]];
      for (let k = 0; k < 3; k++) turns.push(turn(turns[k]!));
      return turns.map(words);
    });
    let least = 36;
    for (let a = 0; a < TAG_COUNT; a++) {
      for (let b = a; b < TAG_COUNT; b++) {
        for (let k = b === a ? 1 : 0; k < 4; k++) {
          const distance = bits(tags[a]![0]![0]! ^ tags[b]![k]![0]!) + bits(tags[a]![0]![1]! ^ tags[b]![k]![1]!);
          least = Math.min(least, distance);
        }
      }
    }
    expect(least).toBe(11);
  });

  test('ends at its last tag', () => {
    expect(() => readTagCells(TAG_COUNT)).toThrow(RangeError);
    expect(() => readTagCells(-1)).toThrow(RangeError);
  });
});

describe('the identity of a chart', () => {
  test('gives each tag its place and a piece of the hash', () => {
    const hash = '3fa5c0ffee';
    for (const position of [0, 1, 2, 3, 4, 5] as TagPosition[]) {
      expect(identifyTag(tagIdOf(hash, position))).toBe(position);
    }
    expect(new Set([0, 1, 2, 3, 4, 5].map((position) => tagIdOf(hash, position as TagPosition))).size).toBe(6);
    expect(identifyTag(586)).toBeUndefined();
  });

  test('survives a way through a file whose keys are in another order', () => {
    const read = JSON.parse(JSON.stringify(LAYOUTS.tone)) as typeof LAYOUTS.tone;
    const turned = Object.fromEntries(Object.entries(read).reverse()) as unknown as typeof LAYOUTS.tone;
    expect(layoutHash(turned)).toBe(LAYOUTS.tone.hash);
  });

  test('changes with the seed, the settings, the material and the grid', () => {
    const hashes = [
      layoutChart('tone', EXAMPLE),
      layoutChart('tone', { ...EXAMPLE, seed: 2 }),
      layoutChart('tone', { ...EXAMPLE, material: 'other-stock' }),
      layoutChart('tone', { ...EXAMPLE, settings: { ...EXAMPLE.settings, powerW: 21 } }),
      layoutChart('tone', { ...EXAMPLE, grid: { pitchMm: 0.05, lineSpacingMm: 0.04 } }),
    ].map(({ hash }) => hash);
    expect(new Set(hashes).size).toBe(hashes.length);
  });
});
