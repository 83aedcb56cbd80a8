import { AppError } from '../errors.ts';
import type { DotGrid } from '../plane/index.ts';
import { MOST_DOTS } from '../units.ts';
import { type Cell, type Cells, inTable } from './cells.ts';
import { LETTER_HEIGHT, LETTER_WIDTH } from './font.ts';
import { CHART_KINDS } from './kinds/register.ts';
import type { WantedPatch } from './kinds/wanted.ts';
import { CHART_DEFAULTS, type ChartOptions } from './options.ts';
import { type PlacedPatch, placePatches } from './places.ts';
import { TAG_CELLS } from './tag-codes.ts';
import { layoutHash, tagIdOf } from './tags.ts';
import type { ChartKind, ChartLayout, FieldPlace, LayoutLabel, LayoutTag, Patch, TagPosition } from './types.ts';

/**
 * Bare gutter between patches, mm: wider than the light spreads in common stock, a few pixels of a 300 dpi scan.
 * Assumed: smaller saves room and mixes patches.
 */
const GAP_MM = 0.8;
/**
 * Share of a patch's side that is not read on each side, and the least in mm. Assumed: what blur and ink growth reach.
 */
const BORDER_SHARE = 0.1;
const BORDER_MIN_MM = 0.3;
/**
 * Bare rim between the chart's edge and its tags, mm: keeps a tag on a card with rounded corners. Assumed: a corner of
 * 3.18 mm radius leaves 0.93 mm; a strip is cut square.
 */
const RIM_MM = 0.9;
const STRIP_RIM_MM = 0.4;
/**
 * Smallest and largest side of a patch. Assumed: 2.4 mm are 28 pixels at 300 dpi; above 12 mm averages gain nothing.
 */
const PATCH_MIN_MM = 2.4;
const PATCH_MAX_MM = 12;
/** Dots that a patch needs along each side for a tone to be one. Assumed: 144 dots give a tone to half a percent. */
const PATCH_MIN_DOTS = 12;
/** Height of the letters at the edge. Assumed: just read at arm's length. */
const LABEL_MM = 1.2;

/** Rectangle in dots. */
export interface DotBox {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/**
 * Layout of a chart: every patch with its place, every tag, every label. Same options, same layout.
 * @throws AppError option-invalid when the chart is too small for its patches or has more than `MOST_DOTS` dots, or
 * dose axes are missing.
 */
export function layoutChart(kind: ChartKind, options: ChartOptions): ChartLayout {
  const { grid, seed = CHART_DEFAULTS.seed } = options;
  const { isStrip, isTable, isOnRamp = false, plan, arrange, coversField, ...size } = CHART_KINDS[kind];
  const widthMm = options.widthMm ?? size.widthMm;
  const heightMm = options.heightMm ?? size.heightMm;
  const widthDots = Math.floor(widthMm / grid.pitchMm + 1e-9);
  const heightDots = Math.floor(heightMm / grid.lineSpacingMm + 1e-9);
  if (!(widthDots * heightDots <= MOST_DOTS)) {
    throw new AppError(
      'option-invalid',
      `chart: found ${widthMm} × ${heightMm} mm, which is ${widthDots} × ${heightDots} dots at ${grid.pitchMm} × ${grid.lineSpacingMm} mm; needed at most ${MOST_DOTS / 1e6} million: a smaller chart, or a wider spacing`,
      { widthDots, heightDots, mostDots: MOST_DOTS },
    );
  }
  const wanted = plan(options);
  const isPaired = wanted.some(({ pattern }) => pattern.kind === 'vernier');
  const frame: Frame = { ...layoutFrame(widthDots, heightDots, grid, isStrip), isPaired };
  const cells = isTable
    ? fitTable(frame, wanted, options)
    : fitCells(frame, wanted.filter((one) => !one.spare).length, grid, options);
  const placed = arrange ? arrange(cells, wanted) : placePatches(wanted, cells, { seed, isStrip, isOnRamp });

  const burned = options.isFieldEmpty ? placed.filter(({ patch }) => patch.role !== 'dose') : placed;
  const patches = burned.map(({ cell, patch }, order): Patch => {
    const { spare: _spare, row: _row, column: _column, ...facts } = patch;
    return {
      ...facts,
      id: cell.id,
      xDots: cell.x,
      yDots: cell.y,
      widthDots: cells.widthDots,
      heightDots: cells.heightDots,
      xMm: round6(cell.x * grid.pitchMm),
      yMm: round6(cell.y * grid.lineSpacingMm),
      widthMm: round6(cells.widthDots * grid.pitchMm),
      heightMm: round6(cells.heightDots * grid.lineSpacingMm),
      order,
    };
  });
  const sideMm = Math.min(patches[0]!.widthMm, patches[0]!.heightMm);
  const bare: Omit<ChartLayout, 'hash' | 'labels'> = {
    schema: 'tonewright-chart/1',
    kind,
    machine: options.machine,
    material: options.material ?? '',
    direction: options.direction,
    settings: options.settings,
    screen: options.screen ?? { name: 'floyd-steinberg', options: {} },
    grid: { pitchMm: grid.pitchMm, lineSpacingMm: grid.lineSpacingMm },
    seed,
    widthMm: round6(widthDots * grid.pitchMm),
    heightMm: round6(heightDots * grid.lineSpacingMm),
    widthDots,
    heightDots,
    borderMm: round6(Math.max(BORDER_MIN_MM, sideMm * BORDER_SHARE)),
    gapMm: GAP_MM,
    tags: frame.tags,
    patches,
    ...(options.isFieldEmpty ? { field: findField(placed, cells, grid) } : {}),
    ...(coversField && options.inField ? { inField: options.inField } : {}),
    ...(options.levels ? { levels: options.levels } : {}),
    ...(!isOnRamp || options.riseMm === undefined ? {} : { ramp: { riseMm: options.riseMm } }),
    ...(options.seen ? { seen: options.seen } : {}),
    ...(options.beneath ? { beneath: options.beneath } : {}),
  };
  const hash = layoutHash(bare);
  const tags = frame.tags.map((tag) => ({ ...tag, id: tagIdOf(hash, tag.position) }));
  return { ...bare, hash, tags, labels: writeLabels(bare, hash, frame, cells) };
}

/** The smallest rectangle around the table of a dose chart. */
function findField(placed: readonly PlacedPatch[], { widthDots, heightDots }: Cells, grid: DotGrid): FieldPlace {
  const table = placed.filter(({ patch }) => patch.role === 'dose').map(({ cell }) => cell);
  const left = Math.min(...table.map(({ x }) => x));
  const top = Math.min(...table.map(({ y }) => y));
  const right = Math.max(...table.map(({ x }) => x)) + widthDots;
  const bottom = Math.max(...table.map(({ y }) => y)) + heightDots;
  return {
    xMm: round6(left * grid.pitchMm),
    yMm: round6(top * grid.lineSpacingMm),
    widthMm: round6((right - left) * grid.pitchMm),
    heightMm: round6((bottom - top) * grid.lineSpacingMm),
  };
}

const round6 = (value: number) => Math.round(value * 1e6) / 1e6;

interface Frame {
  readonly widthDots: number;
  readonly heightDots: number;
  readonly tags: readonly LayoutTag[];
  /** Tags with their rings, which patches stay clear of. */
  readonly taken: readonly DotBox[];
  /** Where patches may lie. */
  readonly room: DotBox;
  /** Bands for labels; absent on small charts. */
  readonly labelled: boolean;
  readonly gapX: number;
  readonly gapY: number;
  /**
   * Whether patches lie whole pairs of scan lines apart, so that all verniers begin with lines that run the same way:
   * else a move is read twice as often as another, or never.
   */
  readonly isPaired: boolean;
}

function layoutFrame(widthDots: number, heightDots: number, grid: DotGrid, strip: boolean): Omit<Frame, 'isPaired'> {
  const { pitchMm, lineSpacingMm } = grid;
  const widthMm = widthDots * pitchMm;
  const heightMm = heightDots * lineSpacingMm;
  const sideMm = Math.min(widthMm, heightMm);
  const cellMm = Math.min(1.2, Math.max(sideMm / 90, Math.min(0.55, sideMm / 14)));
  const cellDotsX = Math.max(1, Math.round(cellMm / pitchMm));
  const cellDotsY = Math.max(1, Math.round(cellMm / lineSpacingMm));
  const tagX = cellDotsX * TAG_CELLS;
  const tagY = cellDotsY * TAG_CELLS;
  const rimMm = strip ? STRIP_RIM_MM : RIM_MM;
  const rimX = Math.round(rimMm / pitchMm);
  const rimY = Math.round(rimMm / lineSpacingMm);
  const gapX = Math.max(1, Math.round(GAP_MM / pitchMm));
  const gapY = Math.max(1, Math.round(GAP_MM / lineSpacingMm));

  const right = widthDots - rimX - tagX;
  const bottom = heightDots - rimY - tagY;
  const middleX = Math.round((widthDots - tagX) / 2);
  const middleY = Math.round((heightDots - tagY) / 2);
  const wide = widthMm >= heightMm;
  const oneRow = bottom < rimY + tagY + gapY;
  const oneColumn = right < rimX + tagX + gapX;
  const places: readonly (readonly [TagPosition, number, number])[] = oneRow
    ? [
        [0, rimX, middleY],
        [1, right, middleY],
        [4, middleX, middleY],
      ]
    : oneColumn
      ? [
          [0, middleX, rimY],
          [3, middleX, bottom],
          [4, middleX, middleY],
        ]
      : [
          [0, rimX, rimY],
          [1, right, rimY],
          [2, right, bottom],
          [3, rimX, bottom],
          [4, wide ? middleX : rimX, wide ? rimY : middleY],
          [5, wide ? middleX : right, wide ? bottom : middleY],
        ];
  if (cellDotsX < 3 || cellDotsY < 3 || (oneRow && oneColumn)) {
    throw new AppError(
      'option-invalid',
      `found ${widthMm.toFixed(1)} × ${heightMm.toFixed(1)} mm at ${pitchMm} × ${lineSpacingMm} mm a dot, needed room for ` +
        'the tags that name the chart: at least 10 dots of 3 a side for each; choose a larger size or a finer pitch',
      { widthMm, heightMm, cellDotsX, cellDotsY },
    );
  }
  const labelled = widthMm >= 50 && heightMm >= 36;
  const band = (spacingMm: number, mm: number) => (labelled ? Math.round(mm / spacingMm) : 0);
  const left = rimX + band(pitchMm, LABEL_MM + 0.5);
  const top = rimY + band(lineSpacingMm, LABEL_MM + 0.5);
  return {
    widthDots,
    heightDots,
    tags: places.map(([position, xDots, yDots]) => ({ id: 0, position, xDots, yDots, cellDotsX, cellDotsY })),
    taken: places.map(([, x, y]) => ({ x, y, width: tagX, height: tagY })),
    room: {
      x: left,
      y: top,
      width: widthDots - rimX - left,
      height: heightDots - rimY - band(lineSpacingMm, LABEL_MM + 0.5) - top,
    },
    labelled,
    gapX,
    gapY,
  };
}

const evenUp = (count: number) => 2 * Math.ceil(count / 2);

/** Cells of one patch size that fit into the frame around its tags. */
function cutCells(frame: Frame, widthDots: number, wantedDots: number): Cells {
  const { room, gapX, taken, isPaired } = frame;
  const gapY = isPaired ? evenUp(frame.gapY) : frame.gapY;
  const heightDots = isPaired ? evenUp(wantedDots) : wantedDots;
  const columns = Math.floor((room.width + gapX) / (widthDots + gapX));
  const rows = Math.floor((room.height + gapY) / (heightDots + gapY));
  const left = room.x + Math.floor((room.width - columns * (widthDots + gapX) + gapX) / 2);
  const top = room.y + Math.floor((room.height - rows * (heightDots + gapY) + gapY) / 2);
  const cells: Cell[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const x = left + column * (widthDots + gapX);
      const y = top + row * (heightDots + gapY);
      // Half a gap to a tag is enough, as the tag brings a bare ring of its own.
      const hit = taken.some(
        (tag) =>
          x < tag.x + tag.width + gapX / 2 &&
          tag.x < x + widthDots + gapX / 2 &&
          y < tag.y + tag.height + gapY / 2 &&
          tag.y < y + heightDots + gapY / 2,
      );
      if (!hit) cells.push({ id: nameCell(row, column), x, y, row, column });
    }
  }
  return { cells, widthDots, heightDots, rows, columns };
}

const nameCell = (row: number, column: number) => `${nameRow(row)}${column + 1}`;

function nameRow(row: number): string {
  const letter = String.fromCharCode(65 + (row % 26));
  return row < 26 ? letter : nameRow(Math.floor(row / 26) - 1) + letter;
}

/** The largest patches of which `count` fit. */
function fitCells(frame: Frame, count: number, grid: DotGrid, options: ChartOptions): Cells {
  const stepMm = Math.max(0.05, grid.pitchMm, grid.lineSpacingMm);
  const leastMm = Math.max(PATCH_MIN_MM, PATCH_MIN_DOTS * Math.max(grid.pitchMm, grid.lineSpacingMm));
  for (let mm = PATCH_MAX_MM; mm >= leastMm - 1e-9; mm -= stepMm) {
    const cells = cutCells(frame, Math.floor(mm / grid.pitchMm), Math.floor(mm / grid.lineSpacingMm));
    if (cells.cells.length >= count) return cells;
  }
  const found = cutCells(frame, Math.ceil(leastMm / grid.pitchMm), Math.ceil(leastMm / grid.lineSpacingMm)).cells
    .length;
  const widthMm = frame.widthDots * grid.pitchMm;
  const heightMm = frame.heightDots * grid.lineSpacingMm;
  throw new AppError(
    'option-invalid',
    `found room for ${found} patches of ${leastMm.toFixed(1)} mm on ${widthMm.toFixed(1)} × ${heightMm.toFixed(1)} mm, ` +
      `needed ${count}; choose a larger size${(options.replicates ?? 2) > 1 ? ' or fewer replicates or steps' : ''}`,
    { found, needed: count, patchMm: leastMm, widthMm, heightMm },
  );
}

/** The largest patches whose table of rows and columns fits beside the references of a dose chart. */
function fitTable(frame: Frame, wanted: readonly WantedPatch[], options: ChartOptions): Cells {
  const columns = options.columns!.values.length;
  const rows = options.rows!.values.length;
  const { pitchMm, lineSpacingMm } = options.grid;
  const references = wanted.filter((one) => one.row === undefined && !one.spare).length;
  for (let mm = PATCH_MAX_MM; mm >= PATCH_MIN_MM - 1e-9; mm -= 0.05) {
    const cells = cutCells(frame, Math.floor(mm / pitchMm), Math.floor(mm / lineSpacingMm));
    const inner = cells.cells.filter(({ row, column }) => inTable(cells, { row, column }, rows, columns)).length;
    if (inner === rows * columns && cells.cells.length - inner >= references) return cells;
  }
  throw new AppError(
    'option-invalid',
    `found no room for ${columns} × ${rows} cells of ${PATCH_MIN_MM} mm and ${references} bare references around them, ` +
      'needed a larger size or fewer values of a setting',
    { columns, rows, references },
  );
}

/** Column numbers, row letters and a line with the chart's name, where they meet neither tag nor patch. */
function writeLabels(
  layout: Omit<ChartLayout, 'hash' | 'labels'>,
  hash: string,
  frame: Frame,
  cells: Cells,
): readonly LayoutLabel[] {
  if (!frame.labelled) return [];
  const { pitchMm, lineSpacingMm } = layout.grid;
  const pointDotsX = Math.max(1, Math.round(LABEL_MM / LETTER_HEIGHT / pitchMm));
  const pointDotsY = Math.max(1, Math.round(LABEL_MM / LETTER_HEIGHT / lineSpacingMm));
  const letterX = LETTER_WIDTH * pointDotsX;
  const height = LETTER_HEIGHT * pointDotsY;
  const free = (box: DotBox) =>
    box.x >= 0 &&
    box.y >= 0 &&
    box.x + box.width <= layout.widthDots &&
    box.y + box.height <= layout.heightDots &&
    ![
      ...frame.taken,
      ...cells.cells.map(({ x, y }) => ({ x, y, width: cells.widthDots, height: cells.heightDots })),
    ].some(
      (other) =>
        box.x < other.x + other.width &&
        other.x < box.x + box.width &&
        box.y < other.y + other.height &&
        other.y < box.y + box.height,
    );
  const labels: LayoutLabel[] = [];
  const add = (text: string, xDots: number, yDots: number) => {
    const box = { x: xDots, y: yDots, width: text.length * letterX, height };
    if (free(box)) labels.push({ text, xDots, yDots, pointDotsX, pointDotsY });
  };
  const rimX = frame.tags[0]!.xDots;
  const rimY = frame.tags[0]!.yDots;
  for (let column = 0; column < cells.columns; column++) {
    const cell = cells.cells.find((one) => one.column === column)!;
    const text = String(column + 1);
    add(text, Math.round(cell.x + (cells.widthDots - text.length * letterX) / 2), rimY);
  }
  for (let row = 0; row < cells.rows; row++) {
    const cell = cells.cells.find((one) => one.row === row)!;
    add(nameRow(row), rimX, Math.round(cell.y + (cells.heightDots - height) / 2));
  }
  const bottom = layout.heightDots - rimY - height;
  const starts = frame.tags.filter((tag) => tag.yDots > layout.heightDots / 2).sort((a, b) => a.xDots - b.xDots);
  const { settings } = layout;
  const lines = [`${layout.kind} ${hash}`, `${layout.material} ${settings.powerW}W ${settings.speedMmPerS}MM/S`.trim()];
  lines.forEach((line, at) => {
    const from = starts[at];
    const to = starts[at + 1];
    if (!from || !to) return;
    const xDots = from.xDots + from.cellDotsX * TAG_CELLS + Math.round(0.5 / pitchMm);
    const fits = Math.floor((to.xDots - xDots) / letterX);
    add(line.slice(0, Math.max(0, fits)).trim(), xDots, bottom);
  });
  return labels;
}
