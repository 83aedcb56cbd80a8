import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import {
  estimateTime,
  findExtents,
  type GalvoMotion,
  parseMachine,
  respace,
  suggestSavings,
} from '../../src/machine/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';

const read = (name: string) => parseMachine(JSON.parse(readFileSync(`shared/machines/${name}.json`, 'utf8')), name);
const GANTRY = read('gantry-10600');

/** A rectangle of dots within bare margins. */
function drawRectangle(width: number, height: number, margin = 0): Dots {
  const dots = createDots(width + 2 * margin, height + 2 * margin);
  for (let y = 0; y < height; y++) {
    const start = (y + margin) * dots.width + margin;
    dots.data.fill(1, start, start + width);
  }
  return dots;
}

const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
const settings = { powerW: 30, speedMmPerS: 300, passes: 1, scan: 'one-way' as const };
const options = { machine: GANTRY, settings, grid, supportedLineSpacingMm: 0.1 };
const kinds = (dots: Dots, change: Partial<typeof options> = {}) => suggestSavings(dots, { ...options, ...change });

describe('what would save time', () => {
  test('is each time what the changed job takes less, the most first', () => {
    const dots = drawRectangle(300, 900);
    const savings = kinds(dots);
    const now = estimateTime(dots, { motion: GANTRY.motion, settings, grid }).seconds;
    for (const { seconds, savedS } of savings) expect(seconds + savedS).toBeCloseTo(now, 9);
    const saved = savings.map(({ savedS }) => savedS);
    expect(saved).toEqual([...saved].sort((a, b) => b - a));
    const both = savings.find(({ kind }) => kind === 'direction')!;
    const two = estimateTime(dots, { motion: GANTRY.motion, settings: { ...settings, scan: 'two-way' }, grid });
    expect(both.seconds).toBeCloseTo(two.seconds, 9);
  });

  test('is turning a tall picture on a gantry, and not a wide one', () => {
    const turned = kinds(drawRectangle(300, 900)).find(({ kind }) => kind === 'turn')!;
    const wide = drawRectangle(900, 300);
    expect(turned.seconds).toBeCloseTo(estimateTime(wide, { motion: GANTRY.motion, settings, grid }).seconds, 9);
    expect(kinds(wide).map(({ kind }) => kind)).not.toContain('turn');
    const narrow = { ...GANTRY, fieldMm: [40, 400] as const };
    expect(kinds(drawRectangle(300, 900), { machine: narrow }).map(({ kind }) => kind)).not.toContain('turn');
  });

  test('is a wider spacing only as far as the mark supports it', () => {
    const dots = drawRectangle(300, 200);
    expect(kinds(dots).map(({ kind }) => kind)).not.toContain('spacing');
    const wider = kinds(dots, { supportedLineSpacingMm: 0.2 }).find(({ kind }) => kind === 'spacing')!;
    const half = estimateTime(drawRectangle(300, 100), {
      motion: GANTRY.motion,
      settings,
      grid: { pitchMm: 0.1, lineSpacingMm: 0.2 },
    });
    expect(wider.seconds).toBeCloseTo(half.seconds, 9);
  });

  test('is no more speed than the power for the same dose allows, and none that costs more in turning', () => {
    const long = drawRectangle(4000, 100);
    const faster = kinds(long, { settings: { ...settings, scan: 'one-way' } }).find(({ kind }) => kind === 'speed')!;
    // 60 W are twice 30 W: at most 600 mm/s.
    const [speed, power] = /([\d.]+) mm\/s with ([\d.]+) W/.exec(faster.change)!.slice(1).map(Number);
    expect(power! / speed!).toBeCloseTo(0.1, 3);
    expect(speed).toBeLessThanOrEqual(600);
    const short = drawRectangle(60, 100);
    expect(kinds(short).map(({ kind }) => kind)).not.toContain('speed');
    const full = { ...settings, powerW: 60 };
    expect(kinds(long, { settings: full }).map(({ kind }) => kind)).not.toContain('speed');
  });

  test('is cropping bare margins where the machine scans them, and only there', () => {
    const dots = drawRectangle(300, 200, 100);
    expect(kinds(dots).map(({ kind }) => kind)).not.toContain('margins');
    const scanning = { ...GANTRY, motion: { ...GANTRY.motion, bare: 'all-scanned' as const } };
    const cropped = kinds(dots, { machine: scanning }).find(({ kind }) => kind === 'margins')!;
    const alone = estimateTime(drawRectangle(300, 200), { motion: scanning.motion, settings, grid });
    expect(cropped.seconds).toBeCloseTo(alone.seconds, 9);
    expect(cropped.change).toMatch(/30 × 20 mm/);
  });

  test.each([
    ['one bare dot', createDots(1, 1), []],
    ['no dot at all', createDots(5, 5), []],
    ['one dot', drawRectangle(1, 1), []],
    ['one dot in wide margins', drawRectangle(1, 1, 40), []],
    ['one column', drawRectangle(1, 500), ['turn', 'direction']],
    ['one line', drawRectangle(3000, 1), ['speed']],
    ['a wide picture', drawRectangle(2000, 600), ['direction', 'speed']],
  ])('is found for any bitmap: %s', (_, dots, expected) => {
    const savings = kinds(dots);
    expect(savings.map(({ kind }) => kind)).toEqual(expected);
    const now = estimateTime(dots, { motion: GANTRY.motion, settings, grid }).seconds;
    for (const { seconds } of savings) {
      expect(seconds).toBeGreaterThan(0);
      expect(seconds).toBeLessThan(0.99 * now);
    }
  });
});

test('extents at another spacing keep the picture', () => {
  const extents = findExtents(drawRectangle(10, 6, 2));
  const half = respace(extents, 0.5);
  expect([half.height, half.rows.length, ...half.first]).toEqual([5, 3, 2, 2, 2]);
  const same = respace(extents, 1);
  expect([...same.rows]).toEqual([...extents.rows]);
  expect([...respace(extents, 2).rows]).toHaveLength(12);
});

test('a quarter turn of a picture that is burned dot by dot costs what the turned picture costs', () => {
  const galvo = read('galvo-355-f210');
  const motion = { ...(galvo.motion as GalvoMotion), bare: 'dot-by-dot' as const, gapDelayUs: 500 };
  const machine = { ...galvo, motion };
  const combs = createDots(9, 400);
  // Gaps along the lines, none across: turned, there are none along the lines.
  for (let y = 0; y < 400; y++) for (let x = 0; x < 9; x += 2) combs.data[y * 9 + x] = 1;
  const turned = createDots(400, 9);
  for (let y = 0; y < 9; y += 2) turned.data.fill(1, y * 400, (y + 1) * 400);
  const own = { ...options, machine, settings: { ...galvo.defaults, speedMmPerS: 300 } };
  const saving = suggestSavings(combs, own).find(({ kind }) => kind === 'turn')!;
  const alone = estimateTime(turned, { motion: machine.motion, settings: own.settings, grid });
  expect(saving.seconds).toBeCloseTo(alone.seconds, 9);
});
