import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { layoutChart, type Reading } from '../../src/chart/index.ts';
import { type ChartRequest, makeChart, readFocus, resolveChart } from '../../src/job/index.ts';
import { computeDepthOfFocusMm } from '../../src/optics/index.ts';
import { createDots } from '../../src/plane/index.ts';
import { engrave, parseMaterialModel } from '../../src/simulation/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const LAYOUT = layoutChart('focus', {
  machine: 'any',
  material: 'anodised-black',
  direction: 'lighter',
  settings: { powerW: 5, speedMmPerS: 100, passes: 1, scan: 'one-way' },
  grid: { pitchMm: 0.025, lineSpacingMm: 0.025 },
  riseMm: 6,
});
const SOLID = 4;
interface Beam {
  /** Heights of the focus along and across the scan, and Rayleigh range, mm. */
  readonly x: number;
  readonly y: number;
  readonly range: number;
  readonly spotUm: number;
  readonly noise?: number;
}

/**
 * Readings of lines that a beam marks where its dose passes a threshold: w(z) = w0·√(1 + ((z − z0)/zR)²) (iso11146),
 * and a line of one dot is then w·√(2·ln(peak/threshold)) wide, as craters are (liu1982). No code of the reader's.
 */
function burn({ x, y, range, spotUm, noise = 0 }: Beam): readonly Reading[] {
  const stepUm = 25;
  return LAYOUT.patches.map((patch, at): Reading => {
    const { pattern } = patch;
    let share = pattern.kind === 'solid' ? 1 : 0;
    if (pattern.kind === 'lines-x' || pattern.kind === 'lines-y') {
      share = 0;
      for (let part = 0; part < 8; part++) {
        const place = patch.yMm + LAYOUT.borderMm + ((part + 0.5) / 8) * (patch.heightMm - 2 * LAYOUT.borderMm);
        const height = 6 * (0.5 - place / LAYOUT.heightMm);
        const w = (spotUm / 2) * Math.hypot(1, (height - (pattern.kind === 'lines-x' ? y : x)) / range);
        const peak = (2.6 * (spotUm / 2)) / w;
        let marked = 0;
        const count = 400;
        const period = pattern.period * stepUm;
        for (let i = 0; i < count; i++) {
          let dose = 0;
          for (let line = -3; line <= 3; line++) {
            for (let dot = 0; dot < pattern.dots; dot++) {
              const away = ((i + 0.5) / count - 0.5) * period - line * period - (dot - (pattern.dots - 1) / 2) * stepUm;
              dose += peak * Math.exp((-2 * away * away) / (w * w));
            }
          }
          if (dose > 1) marked += 1 / count;
        }
        share += marked / 8;
      }
    }
    const mean = 1 + share * (SOLID - 1) + noise * (SOLID - 1) * Math.sin(7.3 * at + at * at);
    return { ...patch, mean, colour: [0, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 };
  });
}
const read = (beam: Beam) =>
  readFocus({ readings: burn(beam), solidRatio: SOLID, direction: 'lighter' }, LAYOUT, {
    beam: { spotDiameterUm: 50, depthOfFocusMm: 3 },
  });

describe('a focus chart', () => {
  test.each([
    { x: 0.4, y: 0.4, range: 1.2, spotUm: 45 },
    { x: -0.9, y: -0.9, range: 0.9, spotUm: 60 },
    { x: 0.5, y: -0.3, range: 1.5, spotUm: 40 },
  ])('tells height, depth and astigmatism of %j', (beam) => {
    const { best, bestX, bestY, astigmatism, depthOfFocus, notes } = read(beam);
    expect(Math.abs(best.valueMm - (beam.x + beam.y) / 2)).toBeLessThan(0.06);
    expect(Math.abs(bestX.valueMm - beam.x)).toBeLessThan(0.1);
    expect(Math.abs(bestY.valueMm - beam.y)).toBeLessThan(0.1);
    expect(Math.abs(astigmatism.valueMm - (beam.x - beam.y))).toBeLessThan(0.15);
    expect(depthOfFocus.valueMm / (2 * beam.range)).toBeGreaterThan(0.8);
    expect(depthOfFocus.valueMm / (2 * beam.range)).toBeLessThan(1.25);
    expect(notes[0]).toMatch(
      beam.x + beam.y > 0 ? /above where it was set.*shorten/ : /below where it was set.*lengthen/,
    );
    expect(notes.some((text) => text.startsWith('Lines along and across'))).toBe(beam.x !== beam.y);
  });

  test('holds the truth within its intervals under noise, and compares with the optics', () => {
    const found = read({ x: 0.2, y: 0.2, range: 1.1, spotUm: 50, noise: 0.01 });
    expect(found.best.lowMm).toBeLessThan(0.2);
    expect(found.best.highMm).toBeGreaterThan(0.2);
    expect(found.best.highMm - found.best.lowMm).toBeGreaterThan(0.02);
    expect(found.notes.join(' ')).toMatch(/The optics of the machine have 3 mm/);
    expect(found.lines).toHaveLength(80);
  });

  test('lines that do not change over the ramp tell nothing, and another chart is refused', () => {
    expect(() => read({ x: 0, y: 0, range: 60, spotUm: 50 })).toThrow(/needed 3 %: lean the piece more/);
    const { ramp: _ramp, ...flat } = LAYOUT;
    expect(() => readFocus({ readings: [], solidRatio: 2, direction: 'lighter' }, flat)).toThrow(
      /needed a focus chart/,
    );
  });

  test('takes its rise from the optics, asks for another, and its page says how to lean the piece', async () => {
    const about = { kind: 'focus', machine: 'galvo-1064-f160', material: 'anodised-black' } as const;
    const known = { shop: SHOP, refused: REFUSED };
    const resolve = (more: Partial<ChartRequest> = {}) => resolveChart({ ...about, ...more }, known);
    const { machine, options } = resolve();
    const spotDiameterUm = machine.spotDiameterUm ?? 40;
    const depth = computeDepthOfFocusMm({ ...machine, spotDiameterUm });
    expect(options.riseMm).toBeGreaterThanOrEqual(2);
    expect(options.riseMm! / depth).toBeLessThan(6);
    expect(resolve({ riseMm: 7 }).options.riseMm).toBe(7);
    expect(() => resolve({ riseMm: 0.1 })).toThrow(/rise: found 0.1 mm/);
    expect(() => resolve({ kind: 'spot', riseMm: 7 })).toThrow(/rise: found it with a spot chart/);
    const { layout, files } = await makeChart(resolve({ riseMm: 7 }));
    expect(layout.ramp).toEqual({ riseMm: 7 });
    const page = String(files.find(({ name }) => name.endsWith('.html'))!.bytes);
    expect(page).toContain('put a stack of 7 mm under the upper edge');
    expect(page).toContain('raise the head) by 3.5 mm');
    // Solids lie at nearly one height; lines at many.
    const heights = (role: string) => layout.patches.filter((one) => one.role === role).map(({ yMm }) => yMm);
    const spread = (all: readonly number[]) => Math.max(...all) - Math.min(...all);
    expect(spread(heights('solid'))).toBeLessThan(layout.heightMm / 4);
    expect(new Set(heights('ladder')).size).toBeGreaterThan(5);
  });
});

test('the virtual beam is finest where its focus lies, at two heights where it is astigmatic', () => {
  const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/anodised-black.json', 'utf8')));
  const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
  const range = model.beam.rayleighLengthMm;
  /** How much lone dots mark in the upper, the middle and the lower part of a leaning piece. */
  const marks = (options: { readonly focusMm?: number; readonly astigmatismMm?: number }) => {
    const dots = createDots(60, 120);
    for (let y = 4; y < 120; y += 8) for (let x = 4; x < 60; x += 8) dots.data[y * 60 + x] = 1;
    const quiet = {
      ...model,
      grain: [],
      beam: { ...model.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0 },
    };
    const tilt = (-4 * range) / 6;
    const { rgb, width, height } = engrave(dots, { grid, model: quiet, seed: 1, tilt, ...options });
    return [0, 1, 2].map((third) => {
      let sum = 0;
      for (let y = Math.floor((third * height) / 3); y < Math.floor(((third + 1) * height) / 3); y++) {
        for (let x = 0; x < width; x++) sum += rgb[3 * (y * width + x) + 1];
      }
      return sum;
    });
  };
  const [upper, middle, lower] = marks({});
  expect(middle).toBeGreaterThan(upper!);
  expect(Math.abs(upper! - lower!)).toBeLessThan(0.02 * middle!);
  const raised = marks({ focusMm: 1.5 * range });
  expect(raised[0]).toBeGreaterThan(raised[1]!);
  expect(raised[1]).toBeGreaterThan(raised[2]!);
  expect(marks({ astigmatismMm: 3 * range })[1]).toBeLessThan(middle!);
});
