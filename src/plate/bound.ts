/** A rectangle in whole micrometres, in each way in which it may lie. */
export type Ways = readonly (readonly [width: number, height: number, turned: boolean])[];

/**
 * More values of ε than this count are thinned out. Assumed: every one of them gives a bound, and the work grows with
 * their square.
 */
const MOST_CANDIDATES = 48;

/**
 * Plates below which no packing exists: the dual feasible functions of Fekete and Schepers 2001 (their u(ε): a side
 * longer than the plate less ε counts as all of it, one shorter than ε as nothing), over all pairs of ε in x and y;
 * with ε = 0 it is the bound by area (source: 'feketeSchepers2001'). A piece that may lie in several ways counts with
 * the least of them, which keeps it a bound.
 * @param pieces each larger by the gap on one side, as is the plate
 */
export function boundPlates(pieces: readonly Ways[], plate: readonly [width: number, height: number]): number {
  if (pieces.length === 0) return 0;
  const [width, height] = plate;
  // Pieces of one size count together: an order of hundreds has few sizes.
  const kinds = new Map<string, { readonly ways: Ways; count: number }>();
  for (const ways of pieces) {
    const key = ways.join(' ');
    const kind = kinds.get(key);
    if (kind) kind.count++;
    else kinds.set(key, { ways, count: 1 });
  }
  const all = [...kinds.values()];
  // A side counts as the whole plate from ε just above what it leaves.
  const candidates = (axis: 0 | 1, whole: number) => {
    const sides = all.flatMap(({ ways }) => ways.map((way) => whole - way[axis] + 1));
    const values = [...new Set([0, ...sides])].filter((epsilon) => epsilon <= whole / 2).sort((a, b) => a - b);
    const every = Math.ceil(values.length / MOST_CANDIDATES);
    return values.filter((_, at) => at % every === 0);
  };
  let best = 1;
  for (const across of candidates(0, width)) {
    for (const down of candidates(1, height)) {
      let sum = 0;
      for (const { ways, count } of all) {
        sum += count * Math.min(...ways.map(([w, h]) => stretch(w, across, width) * stretch(h, down, height)));
      }
      best = Math.max(best, Math.ceil(sum / (width * height) - 1e-12));
    }
  }
  return best;
}

function stretch(side: number, epsilon: number, whole: number): number {
  if (side > whole - epsilon) return whole;
  return side < epsilon ? 0 : side;
}
