import type { LinearColour } from './separate-marks.ts';

/** A space where light adds, beside one in which distances look even: from the first to the second. */
export type ToEven = (colour: LinearColour) => LinearColour;

/** Most exchanges of weights, a count. Assumed: a handful of colours settles in fewer; a bound against going round. */
const ROUNDS = 80;

/**
 * The mixture of colours that looks most like a wanted one: the point of their hull whose even colour is nearest.
 * Coordinate exchange between two weights at a time, the best of all pairs, with a golden-section line search, since
 * the even space is not linear; the hull of a handful of colours is small.
 */
export function mixNearest(
  wanted: LinearColour,
  { colours, toEven }: { readonly colours: readonly LinearColour[]; readonly toEven: ToEven },
): LinearColour {
  const aim = toEven(wanted);
  const missOf = (colour: LinearColour) => {
    const [l, a, b] = toEven(colour);
    return (l - aim[0]) ** 2 + (a - aim[1]) ** 2 + (b - aim[2]) ** 2;
  };
  let nearest = colours[0]!;
  for (const colour of colours) if (missOf(colour) < missOf(nearest)) nearest = colour;
  const weights = colours.map((colour) => (colour === nearest ? 1 : 0));
  let mixed: LinearColour = nearest;
  let miss = missOf(mixed);
  for (let round = 0; round < ROUNDS && miss > 1e-6; round++) {
    let best = { from: -1, to: -1, share: 0, miss };
    for (let from = 0; from < colours.length; from++) {
      if (weights[from]! <= 1e-9) continue;
      for (let to = 0; to < colours.length; to++) {
        if (to === from) continue;
        const [p, q] = [colours[from]!, colours[to]!];
        const move = (share: number): LinearColour => [
          mixed[0] + share * (q[0] - p[0]),
          mixed[1] + share * (q[1] - p[1]),
          mixed[2] + share * (q[2] - p[2]),
        ];
        const share = findLeast((s) => missOf(move(s)), weights[from]!);
        const found = missOf(move(share));
        if (found < best.miss - 1e-9) best = { from, to, share, miss: found };
      }
    }
    if (best.from < 0) break;
    const [p, q] = [colours[best.from]!, colours[best.to]!];
    mixed = [0, 1, 2].map((i) => mixed[i]! + best.share * (q[i]! - p[i]!)) as unknown as LinearColour;
    weights[best.from]! -= best.share;
    weights[best.to]! += best.share;
    const isSettled = miss - best.miss < 1e-4 * miss;
    miss = best.miss;
    if (isSettled) break;
  }
  return mixed;
}

/** Share of the interval that one step of a golden-section search keeps. Exact: (√5 − 1)/2. */
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/** Where a function of one dip is least between 0 and `end`. */
function findLeast(valueAt: (share: number) => number, end: number): number {
  let [low, high] = [0, end];
  let [a, b] = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)];
  let [fa, fb] = [valueAt(a), valueAt(b)];
  for (let step = 0; step < 18; step++) {
    if (fa < fb) {
      high = b;
      [b, fb] = [a, fa];
      a = high - GOLDEN * (high - low);
      fa = valueAt(a);
    } else {
      low = a;
      [a, fa] = [b, fb];
      b = low + GOLDEN * (high - low);
      fb = valueAt(b);
    }
  }
  const middle = (low + high) / 2;
  return valueAt(end) <= valueAt(middle) ? end : middle;
}
