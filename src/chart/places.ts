import { type Cell, type Cells, inTable } from './cells.ts';

import type { WantedPatch } from './kinds/wanted.ts';
import { createRandom, shuffle } from './random.ts';

export interface PlacedPatch {
  readonly cell: Cell;
  readonly patch: WantedPatch;
}

export interface PlaceOptions {
  readonly seed: number;
  readonly isStrip: boolean;
  /** Solids lie on one height, since they look otherwise on another. */
  readonly isOnRamp?: boolean;
}

/**
 * Scatters patches over cells. Bare and solid references go where each is farthest from the others of its kind, so that
 * a surface through them covers the chart; replicates of one tone go to different quadrants, at random within; a dose
 * table keeps its order, and a strip is laid out with bare and solid at its ends. Gives patches in burn order.
 */
export function placePatches(
  wanted: readonly WantedPatch[],
  cells: Cells,
  { seed, isStrip, isOnRamp = false }: PlaceOptions,
): readonly PlacedPatch[] {
  const patches = wanted.filter((one) => !one.spare);
  const spare = wanted.filter((one) => one.spare).slice(0, Math.max(0, cells.cells.length - patches.length));
  const all = [...patches, ...spare];
  const placed = isStrip ? placeInRow(all, cells.cells) : scatter(all, cells, { random: createRandom(seed), isOnRamp });
  return placed.sort((a, b) => a.cell.row - b.cell.row || a.cell.column - b.cell.column);
}

function placeInRow(patches: readonly WantedPatch[], cells: readonly Cell[]): PlacedPatch[] {
  const order = [patches[0]!, ...patches.slice(2), patches[1]!];
  const inOrder = cells.slice().sort((a, b) => a.row - b.row || a.column - b.column);
  return order.map((patch, at) => ({ patch, cell: inOrder[at]! }));
}

function scatter(
  patches: readonly WantedPatch[],
  cells: Cells,
  { random, isOnRamp }: { readonly random: () => number; readonly isOnRamp: boolean },
): PlacedPatch[] {
  const placed: PlacedPatch[] = [];
  const table = patches.filter((patch) => patch.row !== undefined);
  const rows = 1 + Math.max(-1, ...table.map((patch) => patch.row!));
  const columns = 1 + Math.max(-1, ...table.map((patch) => patch.column!));
  const inner = cells.cells.filter((cell) => inTable(cells, cell, rows, columns));
  table.forEach((patch, at) => {
    placed.push({ patch, cell: inner[at]! });
  });
  let free = cells.cells.filter((cell) => table.length === 0 || !inner.includes(cell));

  for (const role of ['bare', 'solid'] as const) {
    const references = patches.filter((patch) => patch.role === role);
    const level = isOnRamp && role === 'solid' ? levelCells(free, references.length, cells) : free;
    const spread = spreadCells(level, references.length, cells);
    references.forEach((patch, at) => {
      placed.push({ patch, cell: spread[at]! });
    });
    free = free.filter((cell) => !spread.includes(cell));
  }

  const quadrants = Array.from({ length: 4 }, (_, quadrant) =>
    shuffle(
      free.filter((cell) => quadrantOf(cell, cells) === quadrant),
      random,
    ),
  );
  const groups = new Map<string, WantedPatch[]>();
  for (const patch of patches) {
    if (patch.role === 'bare' || patch.role === 'solid' || patch.row !== undefined) continue;
    groups.set(patch.group, [...(groups.get(patch.group) ?? []), patch]);
  }
  for (const group of shuffle([...groups.values()], random)) {
    const used = [0, 0, 0, 0];
    for (const patch of group) {
      // Fewest of this tone first, then the emptiest quadrant.
      const best = [0, 1, 2, 3]
        .filter((quadrant) => quadrants[quadrant]!.length > 0)
        .sort((a, b) => used[a]! - used[b]! || quadrants[b]!.length - quadrants[a]!.length)[0]!;
      used[best]!++;
      placed.push({ patch, cell: quadrants[best]!.pop()! });
    }
  }
  return placed;
}

/** Cells nearest to the middle of a ramp, where all of them lie at nearly one height. */
function levelCells(free: readonly Cell[], count: number, { rows }: Cells): readonly Cell[] {
  const off = ({ row }: Cell) => Math.abs(row - (rows - 1) / 2);
  return [...free].sort((a, b) => off(a) - off(b) || a.row - b.row || a.column - b.column).slice(0, 2 * count);
}

function quadrantOf(cell: Cell, { rows, columns }: Cells): number {
  return (cell.row >= rows / 2 ? 2 : 0) + (cell.column >= columns / 2 ? 1 : 0);
}

/** Cells that are far from one another: each next one where the nearest chosen one is farthest, from a corner on. */
function spreadCells(free: readonly Cell[], count: number, { rows, columns }: Cells): readonly Cell[] {
  const chosen: Cell[] = [];
  const distances = free.map((cell) => Math.hypot(cell.row, cell.column) - 1e6);
  // The corner itself counts as farthest in the first round.
  let next = distances.indexOf(Math.min(...distances));
  while (chosen.length < Math.min(count, free.length)) {
    const last = free[next]!;
    chosen.push(last);
    free.forEach((cell, at) => {
      const distance = Math.hypot((cell.row - last.row) / rows, (cell.column - last.column) / columns);
      distances[at] = chosen.length === 1 ? distance : Math.min(distances[at]!, distance);
    });
    next = distances.indexOf(Math.max(...distances));
  }
  return chosen;
}
