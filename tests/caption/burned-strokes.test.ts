// Strokes on the virtual engraver, which shares nothing with what drew them: burned, they are as wide as they were drawn, but
// for the quarter of a dot that dots leave and for what a profile does not know of a mark.
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { fitDots } from '../../src/caption/fit-dots.ts';
import type { MarkWidths } from '../../src/caption/index.ts';
import { fillPath } from '../../src/caption/outline.ts';
import { drawChart, layoutChart } from '../../src/chart/index.ts';
import { learnProfile } from '../../src/job/index.ts';
import { computeLineWidths, type ResponseModel } from '../../src/material/index.ts';
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
/** Distance of the strokes, their length, and the reference field at the beginning, dots. */
const STEP = 24;
const LENGTH = 120;
const WIDE = 60;

/** Widths of strokes, dots: all fractions, each at another place between the dots. */
const WIDTHS = Array.from({ length: 16 }, (_, i) => 2 + 0.37 * i);
const placeOf = (at: number) => WIDE + STEP * (at + 0.5) + 0.29 * at;

/** A wide field, then strokes, all running down, as a path in dots. */
function drawStrokes(slant: number): string {
  const bar = (left: number, width: number) =>
    `M${left} 0L${left + width} 0L${left + width + slant * LENGTH} ${LENGTH}L${left + slant * LENGTH} ${LENGTH}Z`;
  return [bar(10, 30), ...WIDTHS.map((width, at) => bar(placeOf(at), width))].join('');
}

/** Mean luminance along lines that run with the strokes, from the field's left end to beyond the last stroke. */
function measure(surface: Surface, { grid, turned, slant }: { grid: DotGrid; turned: boolean; slant: number }) {
  const across = turned ? grid.lineSpacingMm : grid.pitchMm;
  const along = turned ? grid.pitchMm : grid.lineSpacingMm;
  const perDot = 16;
  const count = (WIDE + STEP * (WIDTHS.length + 1)) * perDot;
  const profile = new Float64Array(count);
  const lines = 400;
  for (let line = 0; line < lines; line++) {
    const v = (0.15 + (0.7 * line) / lines) * LENGTH;
    for (let i = 0; i < count; i++) {
      const u = (i + 0.5) / perDot + slant * v;
      const [x, y] = turned ? [v * along, u * across] : [u * across, v * along];
      const column = Math.floor((x - surface.leftMm) / surface.pixelWidthMm);
      const row = Math.floor((y - surface.topMm) / surface.pixelHeightMm);
      profile[i]! += surface.rgb[3 * (row * surface.width + column) + 1]! / lines;
    }
  }
  const mean = (from: number, to: number) =>
    profile.subarray(from * perDot, to * perDot).reduce((sum, value) => sum + value, 0) / ((to - from) * perDot);
  const full = mean(18, 32);
  const bare = mean(46, 54);
  // The stroke's own share of what a field of its ink changes, summed across it: its width.
  return WIDTHS.map((width, at) => {
    const middle = placeOf(at) + width / 2;
    const [from, to] = [Math.round(middle - STEP / 2), Math.round(middle + STEP / 2)];
    return ((mean(from, to) - bare) / (full - bare)) * (to - from);
  });
}

/**
 * What a scan of a chart tells of a material: learned once and kept, since it takes half a minute. UPDATE_GOLDEN=1 learns it anew;
 * that charts are read right is held elsewhere.
 */
function learn(model: MaterialModel): ResponseModel {
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
  const { response } = learnProfile([{ name: 'scan.png', image }], options).profile;
  writeFileSync(path, `${JSON.stringify(response, null, 2)}\n`);
  return response;
}

describe.each(['anodised-black', 'anodised-blue', 'coated-brass'])('%s', (name) => {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8')));
  const grid = model.reference;
  let widths: MarkWidths;
  beforeAll(() => {
    widths = computeLineWidths(learn(model), grid);
  }, TIME);

  test.each([
    ['solid', 0, false],
    ['solid', 0, true],
    ['bare', 0, false],
    ['bare', 0, true],
    ['solid', 0.3, false],
    ['solid', 0.7, false],
  ] as const)(
    '%s strokes of slant %f, turned over: %s, come out within 0.6 dots, 0.4 in the mean',
    (ink, slant, turned) => {
      const width = WIDE + STEP * (WIDTHS.length + 1) + Math.ceil(slant * LENGTH);
      const own = turned ? { x: widths[ink].y, y: widths[ink].x } : widths[ink];
      const drawn = fillPath(drawStrokes(slant), {
        width: width * SAMPLES,
        height: LENGTH * SAMPLES,
        scaleX: SAMPLES,
        scaleY: SAMPLES,
        left: 0,
        top: 0,
      });
      const fitted = fitDots({ ...drawn, samples: SAMPLES }, own);
      const dots = turned ? createDots(LENGTH, width) : createDots(width, LENGTH);
      for (let y = 0; y < LENGTH; y++) {
        for (let x = 0; x < width; x++) {
          const value = ink === 'solid' ? fitted.data[y * width + x]! : 1 - fitted.data[y * width + x]!;
          dots.data[turned ? x * LENGTH + y : y * width + x] = value;
        }
      }
      const surface = engrave(dots, {
        grid,
        model,

        seed: 7,
        pixelUm: 250 * Math.min(grid.pitchMm, grid.lineSpacingMm),
      });
      const found = measure(surface, { grid, turned, slant });
      const errors = found.map((value, at) => value - WIDTHS[at]!);
      const sizes = errors.map((error) => Math.abs(error) / Math.hypot(1, slant));
      expect(sizes.reduce((sum, size) => sum + size, 0) / sizes.length).toBeLessThan(0.4);
      for (const [at, size] of sizes.entries()) expect(size, `of ${WIDTHS[at]} dots`).toBeLessThan(0.6);
    },
    TIME,
  );
});
