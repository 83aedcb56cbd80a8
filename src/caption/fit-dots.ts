import { erodeInk, invertInk } from './morphology.ts';
import type { Samples } from './outline.ts';
import type { LineWidths } from './types.ts';

/** Ink on samples, so many of them along each side of a dot; whole dots in both directions. */
export interface InkOnDots extends Samples {
  readonly samples: number;
}

export interface FitDotsOptions {
  /** What lines of such ink measure, by their dots, see `MarkWidths`. */
  readonly x: LineWidths;
  readonly y: LineWidths;
}

/** Dots that are ink, 1, and those that are not, 0. */
export interface FittedInk {
  readonly width: number;
  readonly height: number;
  readonly data: Uint8Array;
}

/**
 * How far the places along an edge may differ for it to be straight, as a share of a dot, and how long it has to be,
 * dots. Assumed: less is no stem of a letter, and a slant of more shows its steps. And what whole dots may leave of a
 * stem's width, dots. Assumed: a quarter more for what is not known of a mark is still half a dot.
 */
const STRAIGHT = { withinShare: 0.13, leastDots: 3, mostErrorDots: 0.25 } as const;
/** A gap of at least so much of a dot is kept open. Share. Assumed: less is seen neither drawn nor burned. */
const KEPT_GAP_SHARE = 0.75;

/**
 * The dots whose marks come out as the ink was drawn. What marks grow beyond their dots is taken off all around (or,
 * where they do not reach their own dots' edges, added), then a dot is ink when its middle is. The two sides of a
 * straight stem are set together, so that its width is the nearest that dots can give, whatever its place; what is
 * thinner than any mark stays as a line of single dots.
 */
export function fitDots(ink: InkOnDots, { x, y }: FitDotsOptions): FittedInk {
  const { samples, width, height } = ink;
  const columns = width / samples;
  const rows = height / samples;
  const half = { x: (growthOf(x) / 2) * samples, y: (growthOf(y) / 2) * samples };
  const core = shrinkInk(ink, half);
  const taken = tellTaken(half, samples);
  // Turned over its diagonal between the steps: lines lie in one piece of memory in both.
  const fitted = new Uint8Array(columns * height);
  fitRuns(core, {
    samples,
    linesPerDot: samples,
    widths: x,
    taken: taken.x,
    leastLines: STRAIGHT.leastDots * samples,
    write: (line, from, to) => {
      for (let column = from; column < to; column++) fitted[column * height + line] = 1;
    },
  });
  const data = new Uint8Array(columns * rows);
  fitRuns(
    { width: height, height: columns, data: fitted },
    {
      samples,
      linesPerDot: 1,
      widths: y,
      taken: taken.y,
      leastLines: STRAIGHT.leastDots,
      write: (line, from, to) => {
        for (let row = from; row < to; row++) data[row * columns + line] = 1;
      },
    },
  );
  const out = { width: columns, height: rows, data };
  keepThin(out, { ink, core, half });
  return out;
}

/** What a wide line measures beyond its dots, in dots. */
export const growthOf = (widths: LineWidths): number => widths.at(-1)! - (widths.length - 1) / 2;

function shrinkInk(ink: Samples, by: { readonly x: number; readonly y: number }): Samples {
  // Marks that grow one way and shrink the other are no marks of one beam: the smaller growth counts as none.
  if (by.x >= 0 && by.y >= 0) return erodeInk(ink, by, 0);
  return invertInk(erodeInk(invertInk(ink), { x: Math.max(0, -by.x), y: Math.max(0, -by.y) }, 1));
}

/** What of a straight stem's width was taken off, or added (below 0), dots: whole samples on either side. */
function tellTaken(by: { readonly x: number; readonly y: number }, samples: number): { x: number; y: number } {
  const isAdded = by.x < 0 || by.y < 0;
  const of = (half: number) => {
    const wanted = isAdded ? Math.max(0, -half) : half;
    const sides = 2 * Math.max(0, Math.ceil(wanted + 0.5) - 1);
    return (isAdded ? -sides : sides) / samples;
  };
  return { x: of(by.x), y: of(by.y) };
}

/**
 * So many dots make a line of this width, in dots; at least one. Half a dot, one in every other line (half-bitting, as
 * type was cut for coarse laser printers), where whole dots would leave more than is allowed of the width.
 */
function countDots(widthDots: number, widths: LineWidths): number {
  const errorOf = (dots: number) => Math.abs((widths[2 * dots] ?? dots + growthOf(widths)) - widthDots);
  const most = Math.max(2, Math.ceil(widthDots - Math.min(0, growthOf(widths))) + 1);
  let best = 1;
  for (let dots = 2; dots <= most; dots++) if (errorOf(dots) < errorOf(best)) best = dots;
  if (errorOf(best) <= STRAIGHT.mostErrorDots) return best;
  const halves = [best - 0.5, best + 0.5].filter((dots) => dots > 1).sort((a, b) => errorOf(a) - errorOf(b));
  return errorOf(halves[0]!) < errorOf(best) ? halves[0]! : best;
}

interface Runs {
  readonly line: number[];
  readonly from: number[];
  readonly to: number[];
  /** Edge that a run begins and ends at. */
  readonly left: number[];
  readonly right: number[];
}

/** Edges that go on from line to line at one place. */
interface Edges {
  readonly least: number[];
  readonly most: number[];
  readonly sum: number[];
  readonly count: number[];
}

interface FitRunsOptions {
  readonly samples: number;
  /** Lines of a line of dots: samples before they became dots, one after. */
  readonly linesPerDot: number;
  readonly widths: LineWidths;
  /** What of the ink's width was taken off before, dots. */
  readonly taken: number;
  /** Lines over which an edge has to go on to be straight. */
  readonly leastLines: number;
  readonly write: (line: number, from: number, to: number) => void;
}

/** Whole dots along each line: the runs of ink with their ends rounded, those of straight stems together. */
function fitRuns(ink: Samples, { samples, linesPerDot, widths, taken, leastLines, write }: FitRunsOptions): void {
  const { runs, edges } = followEdges(ink, Math.max(1, Math.round(STRAIGHT.withinShare * samples)));
  const placed = placeStems(runs, edges, { samples, widths, taken, leastLines });
  let last = { line: -1, end: 0, to: 0 };
  for (let at = 0; at < runs.line.length; at++) {
    const line = runs.line[at]!;
    const from = runs.from[at]!;
    const to = runs.to[at]!;
    // Of half a dot every other line of dots has a whole one.
    const isOther = Math.floor(line / linesPerDot) % 2 === 1;
    const whole = (place: number | undefined) => place && (isOther ? Math.ceil(place) : Math.floor(place));
    let start = whole(placed.get(runs.left[at]!)) ?? Math.round(from / samples);
    const end = whole(placed.get(runs.right[at]!)) ?? Math.round(to / samples);
    const gap = last.line === line ? (from - last.to) / samples : 0;
    if (gap >= KEPT_GAP_SHARE && start <= last.end) start = last.end + 1;
    if (end > start) {
      write(line, Math.max(0, start), Math.min(ink.width / samples, end));
      last = { line, end, to };
    }
  }
}

function followEdges({ width, height, data }: Samples, within: number) {
  const runs: Runs = { line: [], from: [], to: [], left: [], right: [] };
  const edges: Edges = { least: [], most: [], sum: [], count: [] };
  /** Edges of the line before: their places, which go up, and their numbers. */
  let before = { left: [] as number[], right: [] as number[] };
  const follow = (candidates: readonly number[], place: number): number => {
    for (const edge of candidates) {
      const least = Math.min(edges.least[edge]!, place);
      const most = Math.max(edges.most[edge]!, place);
      if (most - least > within) continue;
      edges.least[edge] = least;
      edges.most[edge] = most;
      edges.sum[edge]! += place;
      edges.count[edge]! += 1;
      return edge;
    }
    edges.least.push(place);
    edges.most.push(place);
    edges.sum.push(place);
    edges.count.push(1);
    return edges.count.length - 1;
  };
  for (let line = 0; line < height; line++) {
    const now = { left: [] as number[], right: [] as number[] };
    const row = data.subarray(line * width, (line + 1) * width);
    for (let from = row.indexOf(1); from >= 0; ) {
      const end = row.indexOf(0, from);
      const to = end < 0 ? width : end;
      const left = follow(before.left, from);
      const right = follow(before.right, to);
      now.left.push(left);
      now.right.push(right);
      runs.line.push(line);
      runs.from.push(from);
      runs.to.push(to);
      runs.left.push(left);
      runs.right.push(right);
      from = to >= width ? -1 : row.indexOf(1, to);
    }
    before = now;
  }
  return { runs, edges };
}

/** Where the straight edges come to lie, whole dots, by their numbers: narrow stems first, the others follow them. */
function placeStems(
  runs: Runs,
  edges: Edges,
  { samples, widths, taken, leastLines }: Pick<FitRunsOptions, 'samples' | 'widths' | 'taken' | 'leastLines'>,
): ReadonlyMap<number, number> {
  const isStraight = (edge: number) => edges.count[edge]! >= leastLines;
  const placeOf = (edge: number) => edges.sum[edge]! / edges.count[edge]! / samples;
  const stems = new Map<string, { readonly left: number; readonly right: number; readonly width: number }>();
  for (let at = 0; at < runs.line.length; at++) {
    const left = runs.left[at]!;
    const right = runs.right[at]!;
    if (!isStraight(left) || !isStraight(right)) continue;
    const key = `${left} ${right}`;
    if (!stems.has(key)) stems.set(key, { left, right, width: placeOf(right) - placeOf(left) });
  }
  const placed = new Map<number, number>();
  for (const { left, right, width } of [...stems.values()].sort((a, b) => a.width - b.width)) {
    const dots = countDots(width + taken, widths);
    const start = placed.get(left);
    const end = placed.get(right);
    if (start === undefined && end === undefined) {
      const first = Math.round((placeOf(left) + placeOf(right) - dots) / 2);
      placed.set(left, first);
      placed.set(right, first + dots);
    } else if (start === undefined) placed.set(left, besideEdge(end! - dots, end!));
    else if (end === undefined) placed.set(right, besideEdge(start + dots, start));
  }
  return placed;
}

/** One side of a stem alone may go by turns: two that do would only sway. */
const besideEdge = (place: number, other: number): number => (Number.isInteger(other) ? place : Math.round(place));

/** Puts single dots where ink runs that is thinner than a mark, or slips between the middles of dots. */
function keepThin(
  out: FittedInk,
  { ink, core, half }: { readonly ink: InkOnDots; readonly core: Samples; readonly half: { x: number; y: number } },
): void {
  const { samples } = ink;
  const reach = { x: Math.max(0, half.x) + samples / 2, y: Math.max(0, half.y) + samples / 2 };
  const near = invertInk(erodeInk(invertInk(core), reach, 1));
  const across = { step: 1, other: ink.width, lines: out.height, length: ink.width, dots: out.width, dotStep: 1 };
  const down = {
    step: ink.width,
    other: 1,
    lines: out.width,
    length: ink.height,
    dots: out.height,
    dotStep: out.width,
  };
  const added: number[] = [];
  for (const way of [across, down]) {
    const dotLine = way === across ? out.width : 1;
    for (let line = 0; line < way.lines; line++) {
      const start = (line * samples + (samples >> 1)) * way.other;
      const at = (i: number) => start + i * way.step;
      for (let from = 0; from < way.length; ) {
        if (!ink.data[at(from)]) {
          from++;
          continue;
        }
        let to = from;
        let hasCore = false;
        while (to < way.length && ink.data[at(to)]) {
          if (core.data[at(to)]) hasCore = true;
          to++;
        }
        const middle = (from + to) >> 1;
        const dot = Math.floor(middle / samples);
        const isDrawn = hasDot(out, { line, from, to, samples, dotLine, dotStep: way.dotStep });
        if (!isDrawn && (hasCore || !near.data[at(middle)]) && isLonger(ink, at(middle), way.other, to - from)) {
          added.push(line * dotLine + dot * way.dotStep);
        }
        from = to;
      }
    }
  }
  for (const at of added) out.data[at] = 1;
}

function hasDot(
  { data }: FittedInk,
  run: { line: number; from: number; to: number; samples: number; dotLine: number; dotStep: number },
): boolean {
  const first = Math.floor(run.from / run.samples);
  const last = Math.floor((run.to - 1) / run.samples);
  for (let dot = first; dot <= last; dot++) if (data[run.line * run.dotLine + dot * run.dotStep]) return true;
  return false;
}

/** Whether ink goes on in a direction for at least as long as it is wide in the other. */
function isLonger({ data }: Samples, at: number, step: number, length: number): boolean {
  let count = 1;
  for (let i = at - step; i >= 0 && data[i] && count < length; i -= step) count++;
  for (let i = at + step; i < data.length && data[i] && count < length; i += step) count++;
  return count >= length;
}

/**
 * How fine the ink is: for each dot whose middle is ink the shorter of its runs across and down, mm; from fine to
 * coarse.
 */
export function listThicknesses(
  ink: InkOnDots,
  { pitchMm, lineSpacingMm }: { readonly pitchMm: number; readonly lineSpacingMm: number },
): Float64Array {
  const { samples, width, height, data } = ink;
  const columns = width / samples;
  const rows = height / samples;
  const thickness = new Float64Array(columns * rows);
  const middle = samples >> 1;
  const measure = (start: number, step: number, length: number, mmPerSample: number, dotAt: (i: number) => number) => {
    for (let from = 0; from < length; ) {
      if (!data[start + from * step]) {
        from++;
        continue;
      }
      let to = from;
      while (to < length && data[start + to * step]) to++;
      const mm = (to - from) * mmPerSample;
      for (let i = from; i < to; i++) {
        if (i % samples !== middle) continue;
        const dot = dotAt((i - middle) / samples);
        thickness[dot] = thickness[dot] === 0 ? mm : Math.min(thickness[dot]!, mm);
      }
      from = to;
    }
  };
  for (let row = 0; row < rows; row++) {
    measure((row * samples + middle) * width, 1, width, pitchMm / samples, (i) => row * columns + i);
  }
  for (let column = 0; column < columns; column++) {
    measure(column * samples + middle, width, height, lineSpacingMm / samples, (i) => i * columns + column);
  }
  return thickness.filter((mm) => mm > 0).sort();
}
