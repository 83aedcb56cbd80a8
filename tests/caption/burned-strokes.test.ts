// Strokes on the virtual engraver, which shares nothing with what drew them: burned, they are as wide as they were
// drawn, but for the quarter of a dot that dots leave and for what a profile does not know of a mark.
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { fitDots } from '../../src/caption/fit-dots.ts';
import type { MarkWidths } from '../../src/caption/index.ts';
import { fillPath } from '../../src/caption/outline.ts';
import { drawChart, layoutChart } from '../../src/chart/index.ts';
import { learnProfile } from '../../src/job/index.ts';
import { computeLineWidths, type Surface as Learned } from '../../src/material/index.ts';
import { createDots, type DotGrid } from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type MaterialModel,
  parseMaterialModel,
  type Surface,
} from '../../src/simulation/index.ts';

const TIME = 120_000;
const SAMPLES = 8;
/** Distance of the strokes, their length, and the room before the first, dots. */
const STEP = 24;
const LENGTH = 80;
const BEFORE = 20;
const MOST_SLANT = 0.7;
const WIDTH = BEFORE + STEP * 17 + MOST_SLANT * LENGTH;

/** Widths of strokes, dots: all fractions, each at another place between the dots. */
const WIDTHS = Array.from({ length: 16 }, (_, i) => 2 + 0.37 * i);
const placeOf = (at: number) => BEFORE + STEP * (at + 0.5) + 0.29 * at;

/** Strokes, all running down, as a path in dots. */
function drawStrokes(slant: number): string {
  const bar = (left: number, width: number) =>
    `M${left} 0L${left + width} 0L${left + width + slant * LENGTH} ${LENGTH}L${left + slant * LENGTH} ${LENGTH}Z`;
  return WIDTHS.map((width, at) => bar(placeOf(at), width)).join('');
}

interface Stroked {
  readonly grid: DotGrid;
  readonly turned: boolean;
  readonly slant: number;
}

/** Sums of luminance across each stroke, in dots, along lines that run with the strokes. */
function sumAcross(surface: Surface, { grid, turned, slant }: Stroked): readonly number[] {
  const across = turned ? grid.lineSpacingMm : grid.pitchMm;
  const along = turned ? grid.pitchMm : grid.lineSpacingMm;
  const perDot = 16;
  const lines = 200;
  return WIDTHS.map((width, at) => {
    const from = placeOf(at) + width / 2 - STEP / 2;
    let sum = 0;
    for (let line = 0; line < lines; line++) {
      const v = (0.15 + (0.7 * line) / lines) * LENGTH;
      for (let i = 0; i < STEP * perDot; i++) {
        const u = from + (i + 0.5) / perDot + slant * v;
        const [x, y] = turned ? [v * along, u * across] : [u * across, v * along];
        const column = Math.floor((x - surface.leftMm) / surface.pixelWidthMm);
        const row = Math.floor((y - surface.topMm) / surface.pixelHeightMm);
        sum += surface.rgb[3 * (row * surface.width + column) + 1]! / (lines * perDot);
      }
    }
    return sum;
  });
}

/**
 * What a scan of a chart tells of a material: learned once and kept, since it takes half a minute. UPDATE_GOLDEN=1
 * learns it anew; that charts are read right is held elsewhere.
 */
function learn(model: MaterialModel): Learned {
  const { settings, reference: grid, name, direction } = model;
  const path = join('tests', 'caption', 'learned', `${name}.json`);
  if (existsSync(path) && !process.env.UPDATE_GOLDEN) return JSON.parse(readFileSync(path, 'utf8'));
  const screen = { name: 'floyd-steinberg' } as const;
  const layout = layoutChart('tone', {
    ...{ machine: 'virtual', material: name, direction, settings, grid },
    ...{ screen: { ...screen, options: {} }, widthMm: 85.6, heightMm: 54 },
  });
  const dots = drawChart(layout, (coverage) => applyScreen(coverage, { ...screen, grid }));
  const piece = engrave(dots, { grid, model, seed: 4, marginMm: 3 });
  const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, seed: 2 }), bits: 8 as const };
  const options = { layouts: [layout], camera: 'known', date: '2026-01-01', origin: 'simulated' } as const;
  const { bare, full, response } = learnProfile([{ name: 'scan.png', image }], options).profile;
  const learned = { bare, full, response };
  writeFileSync(path, `${JSON.stringify(learned, null, 2)}\n`);
  return learned;
}

describe.each(['anodised-black', 'anodised-blue', 'coated-brass', 'slate', 'stainless'])('%s', (name) => {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8')));
  const grid = model.reference;
  let widths: MarkWidths;
  beforeAll(() => {
    widths = computeLineWidths(learn(model), grid);
  }, TIME);

  const burn = (turned: boolean, value: (at: number) => number) => {
    const dots = turned ? createDots(LENGTH, WIDTH) : createDots(WIDTH, LENGTH);
    for (let y = 0; y < LENGTH; y++) {
      for (let x = 0; x < WIDTH; x++) dots.data[turned ? x * LENGTH + y : y * WIDTH + x] = value(y * WIDTH + x);
    }
    return engrave(dots, { grid, model, seed: 7, pixelUm: 250 * Math.min(grid.pitchMm, grid.lineSpacingMm) });
  };
  /** The same piece without a dot, and burned all over: what each place can be, with its own grain. */
  const ends = [false, true].map((turned) => [burn(turned, () => 0), burn(turned, () => 1)] as const);

  test.each([
    ['solid', 0, false],
    ['solid', 0, true],
    ['bare', 0, false],
    ['bare', 0, true],
    ['solid', 0.3, false],
    ['solid', MOST_SLANT, false],
  ] as const)(
    '%s strokes of slant %f, turned over: %s, come out within 0.5 dots, 0.3 in the mean',
    (ink, slant, turned) => {
      const own = turned ? { x: widths[ink].y, y: widths[ink].x } : widths[ink];
      const drawn = fillPath(drawStrokes(slant), {
        width: WIDTH * SAMPLES,
        height: LENGTH * SAMPLES,
        scaleX: SAMPLES,
        scaleY: SAMPLES,
        left: 0,
        top: 0,
      });
      const fitted = fitDots({ ...drawn, samples: SAMPLES }, own);
      const surface = burn(turned, (at) => (ink === 'solid' ? fitted.data[at]! : 1 - fitted.data[at]!));
      const [found, without, full] = [
        surface,
        ...(ink === 'solid' ? ends : ends.map(([a, b]) => [b, a]))[Number(turned)]!,
      ].map((one) => sumAcross(one, { grid, turned, slant }));
      // The stroke's share of what its ink changes where it lies: its width.
      const errors = WIDTHS.map(
        (width, at) => STEP * ((found![at]! - without![at]!) / (full![at]! - without![at]!)) - width,
      );
      const sizes = errors.map((error) => Math.abs(error) / Math.hypot(1, slant));
      expect(sizes.reduce((sum, size) => sum + size, 0) / sizes.length).toBeLessThan(0.3);
      for (const [at, size] of sizes.entries()) expect(size, `of ${WIDTHS[at]} dots`).toBeLessThan(0.5);
    },
    TIME,
  );
});
