import { countBits, type DotPlace, listNeighbours, ONE, type StrengthTable } from '../plane/index.ts';

/** Which dots that were chosen before tell how much the next one adds. */
export interface StepReach {
  /** Rows above, 1 … 3. */
  readonly rowsAbove: number;
  /** Columns to either side in the rows above, 2 or 3. */
  readonly sides: number;
  /** Dots behind in the same row, 2 or 3. */
  readonly behind: number;
}

/**
 * How much strength one more dot adds to the whole work, by the dots around it that were chosen before.
 * Index: the columns of the rows above from behind to ahead of the scan, each from the nearest row up (nearest =
 * highest bit); then the dots behind in the row, the nearest = lowest bit.
 */
export interface MarkSteps extends StepReach {
  /** In units of coverage, ONE for the mean of a solid; for scans to the right and to the left. */
  readonly rightward: Int32Array;
  readonly leftward: Int32Array;
  /** The largest of all. */
  readonly largest: number;
  /** Mean strength of a solid, the unit. */
  readonly solid: number;
}

/**
 * Steps of strength from a dot table.
 *
 * Dots are chosen one after the other and nothing fires ahead of the last one. What a dot adds to the strength of all
 * cells that it reaches is then known at once, and the sum of what all dots added is the strength of the finished work
 * exactly: overlap is counted where it happens, once. With a 3 × 3 neighbourhood a step depends on twelve dots, all of
 * which are in the index. A wider one depends on more than an index can hold; those left out are taken as covered like
 * the known ones are, between all bare and all firing.
 */
export function tabulateMarkSteps(table: StrengthTable): MarkSteps {
  const steps = stepsOf.get(table) ?? computeMarkSteps(table);
  stepsOf.set(table, steps);
  return steps;
}

/** Asked for when a screen is chosen, and again when it is used. */
const stepsOf = new WeakMap<StrengthTable, MarkSteps>();

function computeMarkSteps(table: StrengthTable): MarkSteps {
  const solid = table.strength[table.strength.length - 1];
  const reach = chooseReach(table);
  const rightward = fillSteps({ table, reach, solid, direction: 1 });
  const leftward = fillSteps({ table, reach, solid, direction: -1 });
  const largest = Math.max(rightward.reduce(maximum, 0), leftward.reduce(maximum, 0));
  return { ...reach, rightward, leftward, largest, solid };
}

/** What a lone dot adds to the strength of all cells, of what a dot of a solid adds. */
export function findLoneStrength(table: StrengthTable): number {
  return tabulateMarkSteps(table).rightward[0] / ONE;
}

const maximum = (a: number, b: number) => Math.max(a, b);

/** Twelve bits are exact for 3 × 3; seventeen at most keep the table in the processor's near memory. */
function chooseReach({ columns, rows }: StrengthTable): StepReach {
  if (columns <= 3 && rows <= 3) return { rowsAbove: 2, sides: 2, behind: 2 };
  if (columns <= 3) return { rowsAbove: 3, sides: 2, behind: 2 };
  return { rowsAbove: 2, sides: 3, behind: 3 };
}

interface Fill {
  readonly table: StrengthTable;
  readonly reach: StepReach;
  readonly solid: number;
  readonly direction: 1 | -1;
}

function fillSteps({ table, reach, solid, direction }: Fill): Int32Array {
  const { rowsAbove, sides, behind } = reach;
  const known: DotPlace[] = [];
  for (let i = -sides; i <= sides; i++) {
    for (let above = 1; above <= rowsAbove; above++) known.push({ dx: i * direction, dy: -above });
  }
  for (let back = behind; back >= 1; back--) known.push({ dx: -back * direction, dy: 0 });
  const bits = known.length;
  const bitOf = new Map(known.map(({ dx, dy }, i) => [`${dx},${dy}`, bits - 1 - i]));
  const isPast = ({ dx, dy }: DotPlace) => dy < 0 || (dy === 0 && dx * direction < 0);
  const cells = listNeighbours(table);

  // A cell's neighbourhood as index: the bits that it shares with the known dots, and the past ones that nobody knows.
  const reached = cells.map((cell) => {
    const shared: SharedBit[] = [];
    let own = 0;
    let unknown = 0;
    cells.forEach((neighbour, i) => {
      // The dot lies at −cell as seen from a cell that it reaches.
      const place = { dx: -cell.dx + neighbour.dx, dy: -cell.dy + neighbour.dy };
      const bit = cells.length - 1 - i;
      if (place.dx === 0 && place.dy === 0) own = 1 << bit;
      else if (isPast(place)) {
        const from = bitOf.get(`${place.dx},${place.dy}`);
        if (from === undefined) unknown |= 1 << bit;
        else shared.push([from, bit]);
      }
    });
    return { shared, own, unknown };
  });

  const steps = new Float64Array(1 << bits);
  for (const { shared, own, unknown } of reached) {
    // A cell shares few dots with the index, so its steps are few: found once, handed to every context that holds them.
    const found = stepsOfCell({ table, solid, shared, own, unknown });
    const low = gatherBits(shared, { from: 0, count: LOW_BITS });
    const high = gatherBits(shared, { from: LOW_BITS, count: bits - LOW_BITS });
    addFound(steps, found, { low, high });
  }
  return roundSteps(steps);
}

// Each loop over all contexts is a function of its own: within fillSteps and its closures the engine took 25 ms to
// optimise it, several times, for a tenth of that at work.
function addFound(steps: Float64Array, found: Float64Array, parts: { low: Int32Array; high: Int32Array }): void {
  const { low, high } = parts;
  for (let top = 0, context = 0; top < high.length; top++) {
    for (let bottom = 0; bottom < low.length; bottom++, context++) steps[context] += found[high[top] | low[bottom]];
  }
}

function roundSteps(steps: Float64Array): Int32Array {
  const rounded = new Int32Array(steps.length);
  for (let context = 0; context < steps.length; context++) rounded[context] = Math.round(steps[context] * ONE);
  return rounded;
}

/** Bits at which the index is cut. Assumed: two tables of 256 entries tell a cell's pattern and stay in the cache. */
const LOW_BITS = 8;

type SharedBit = readonly [from: number, to: number];

interface CellSteps {
  readonly table: StrengthTable;
  readonly solid: number;
  readonly shared: readonly SharedBit[];
  /** The dot itself, and past dots that the index does not hold, in the bits of the dot table. */
  readonly own: number;
  readonly unknown: number;
}

/** What the dot adds to one cell, for each pattern of the dots that its neighbourhood shares with the index. */
function stepsOfCell({ table, solid, shared, own, unknown }: CellSteps): Float64Array {
  const { strength } = table;
  const patterns = 1 << shared.length;
  const indexOf = new Int32Array(patterns);
  const found = new Float64Array(patterns);
  for (let pattern = 0; pattern < patterns; pattern++) {
    const rest = pattern & (pattern - 1);
    if (pattern > 0) indexOf[pattern] = indexOf[rest] | (1 << shared[31 - Math.clz32(pattern ^ rest)][1]);
    const index = indexOf[pattern];
    const bare = strength[index | own] - strength[index];
    const firing = unknown === 0 ? bare : strength[index | own | unknown] - strength[index | unknown];
    const covered = shared.length === 0 ? 0 : countBits(pattern) / shared.length;
    found[pattern] = ((1 - covered) * bare + covered * firing) / solid;
  }
  return found;
}

/** For each value of some bits of the index: the part of a cell's pattern that they hold. */
function gatherBits(shared: readonly SharedBit[], { from, count }: { from: number; count: number }): Int32Array {
  const parts = new Int32Array(1 << count);
  shared.forEach(([bit], k) => {
    const at = bit - from;
    if (at < 0 || at >= count) return;
    for (let value = 0; value < parts.length; value++) parts[value] |= ((value >> at) & 1) << k;
  });
  return parts;
}

/**
 * Coverage by dots that shows each of some mean strengths when dots lie at random: for tables of weights that follow
 * the share of dots, and not the tone.
 * @param strengths 0 … 1, of the solid's.
 * @returns 0 … 1 each.
 */
export function coverageOfStrengths(table: StrengthTable, strengths: readonly number[]): number[] {
  const { strength } = table;
  const dots = Math.round(Math.log2(strength.length));
  const sums = new Float64Array(dots + 1);
  for (let pattern = 0; pattern < strength.length; pattern++) sums[countBits(pattern)] += strength[pattern];
  const solid = strength[strength.length - 1];
  const shown = (coverage: number) => {
    const odds = coverage / (1 - coverage);
    let total = 0;
    let weight = (1 - coverage) ** dots;
    for (let count = 0; count <= dots; count++, weight *= odds) total += sums[count] * weight;
    return total / solid;
  };
  return strengths.map((wanted) => {
    let [low, high] = [0, 1];
    for (let step = 0; step < 30; step++) {
      const middle = (low + high) / 2;
      if (shown(middle) < wanted) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  });
}
