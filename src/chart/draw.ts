import { createDots, createPlane, type DotGrid, type Dots, ONE, type Plane } from '../plane/index.ts';
import { drawText, LETTER_HEIGHT } from './font.ts';
import { CODE_CELLS, INK_CELLS, readTagCells } from './tag-codes.ts';
import type { CellSettings, ChartLayout, LayoutLabel, LayoutTag, Patch, PatchPattern } from './types.ts';

/** Turns a plane of coverage into dots; any screen of the registry with its options set. */
export type ScreenPlane = (coverage: Plane<'coverage'>, grid: DotGrid) => Dots;

/**
 * Dots around a patch that are screened with it and cut off: error diffusion needs a run-up to settle. Assumed: about
 * what diffusion takes to find its texture.
 */
const RUN_UP_DOTS = 16;

/**
 * Dots of a chart. What burns is the ink of tags and letters in either mark direction. Each patch is screened by
 * itself; clusters and lines are exact. Cells of a dose chart are solid here; `drawDoseCells` gives each its own
 * bitmap. A chart with levels of power has as many; what fires or not fires with the full one.
 * @param screen called once for screened patches of the same coverage and size, which get the same dots
 * @param levelScreen the same for patches that mix levels
 */
export function drawChart(layout: ChartLayout, screen: ScreenPlane, levelScreen: ScreenPlane = screen): Dots {
  const screened = new Map<Patch, Dots>();
  const alike = new Map<string, Dots>();
  let levels = layout.levels?.count ?? 2;
  for (const patch of layout.patches) {
    const { kind } = patch.pattern;
    if (kind !== 'screened' && kind !== 'levels') continue;
    const key = `${kind} ${patch.coverage} ${patch.widthDots} ${patch.heightDots}`;
    const dots = alike.get(key) ?? screenPatch(patch, layout.grid, kind === 'levels' ? levelScreen : screen);
    alike.set(key, dots);
    levels = Math.max(levels, dots.levels);
    screened.set(patch, dots);
  }
  const chart = createDots(layout.widthDots, layout.heightDots, levels);
  const full = levels - 1;
  for (const tag of layout.tags) drawTag(chart, tag, full);
  for (const label of layout.labels) drawLabel(chart, label, full);
  for (const patch of layout.patches) {
    const dots = screened.get(patch);
    for (let y = 0; y < patch.heightDots; y++) {
      const to = (patch.yDots + y) * chart.width + patch.xDots;
      if (dots) {
        const from = (y + RUN_UP_DOTS) * dots.width + RUN_UP_DOTS;
        const row = dots.data.subarray(from, from + patch.widthDots);
        chart.data.set(dots.levels === levels ? row : row.map((value) => value * full), to);
        continue;
      }
      const { pattern } = patch;
      const value = pattern.kind === 'level' ? pattern.level : full;
      for (let x = 0; x < patch.widthDots; x++) chart.data[to + x] = fires(pattern, x, y) ? value : 0;
    }
  }
  return chart;
}

/** Coverage of every dot of a chart as its layout asks for, without tags and letters: exact patterns as 0 and ONE. */
export function fires(
  pattern: Exclude<PatchPattern, { kind: 'screened' }> | PatchPattern,
  x: number,
  y: number,
): boolean {
  switch (pattern.kind) {
    case 'bare':
    case 'screened':
    case 'levels':
      return false;
    case 'solid':
    case 'level':
      return true;
    case 'checker':
      return (Math.floor(x / pattern.dots) + Math.floor(y / pattern.dots)) % 2 === 0;
    case 'squares':
      return x % pattern.period < pattern.dots && y % pattern.period < pattern.dots;
    case 'lines-x':
      return y % pattern.period < pattern.dots;
    case 'lines-y':
      return x % pattern.period < pattern.dots;
    case 'vernier':
      return (x + (y % 2) * (pattern.period - pattern.shift)) % pattern.period < pattern.dots;
  }
}

function screenPatch(patch: Patch, grid: DotGrid, screen: ScreenPlane): Dots {
  const width = patch.widthDots + 2 * RUN_UP_DOTS;
  const height = patch.heightDots + 2 * RUN_UP_DOTS;
  const coverage = createPlane('coverage', width, height);
  coverage.data.fill(Math.round(patch.coverage * ONE));
  const dots = screen(coverage, grid);
  if (dots.width !== width || dots.height !== height) {
    throw new RangeError(`the screen turned ${width} × ${height} into ${dots.width} × ${dots.height} dots`);
  }
  return dots;
}

function drawTag(chart: Dots, tag: LayoutTag, full: number): void {
  const cells = readTagCells(tag.id);
  for (let row = 0; row < INK_CELLS; row++) {
    for (let column = 0; column < INK_CELLS; column++) {
      const inner = row > 0 && row <= CODE_CELLS && column > 0 && column <= CODE_CELLS;
      if (inner && !cells[(row - 1) * CODE_CELLS + column - 1]) continue;
      fillBox(chart, tag.xDots + (column + 1) * tag.cellDotsX, tag.yDots + (row + 1) * tag.cellDotsY, {
        width: tag.cellDotsX,
        height: tag.cellDotsY,
        value: full,
      });
    }
  }
}

function drawLabel(chart: Dots, label: LayoutLabel, full: number): void {
  const { width, points } = drawText(label.text);
  for (let row = 0; row < LETTER_HEIGHT; row++) {
    for (let column = 0; column < width; column++) {
      if (!points[row * width + column]) continue;
      fillBox(chart, label.xDots + column * label.pointDotsX, label.yDots + row * label.pointDotsY, {
        width: label.pointDotsX,
        height: label.pointDotsY,
        value: full,
      });
    }
  }
}

function fillBox(
  chart: Dots,
  x: number,
  y: number,
  { width, height, value }: { readonly width: number; readonly height: number; readonly value: number },
): void {
  for (let row = 0; row < height; row++) {
    const from = (y + row) * chart.width + x;
    chart.data.fill(value, from, from + width);
  }
}

/** One cell of a dose chart: a solid bitmap at its own line spacing, where it lies, and what to type in for it. */
export interface DoseCell {
  readonly id: string;
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly grid: DotGrid;
  readonly dots: Dots;
  readonly settings: CellSettings;
}

/** Cells of a dose chart, each a bitmap of its own. Empty for other charts. */
export function drawDoseCells(layout: ChartLayout): readonly DoseCell[] {
  return layout.patches.flatMap((patch) => {
    if (!patch.settings) return [];
    const { settings, id, xMm, yMm, widthMm, heightMm } = patch;
    const grid: DotGrid = { pitchMm: layout.grid.pitchMm, lineSpacingMm: settings.lineSpacingMm };
    const dots = createDots(patch.widthDots, Math.max(1, Math.round(heightMm / grid.lineSpacingMm)));
    dots.data.fill(1);
    return [{ id, xMm, yMm, widthMm, heightMm, grid, dots, settings }];
  });
}

/** What a dose chart burns with the chart's own settings: everything but its cells. */
export function drawWithoutDoseCells(layout: ChartLayout, screen: ScreenPlane): Dots {
  return drawChart({ ...layout, patches: layout.patches.filter((patch) => !patch.settings) }, screen);
}
