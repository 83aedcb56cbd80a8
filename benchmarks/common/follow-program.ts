import { createDots, type Dots } from '../../src/plane/index.ts';

/**
 * An interpreter of programs as ISO 6983-1 and NIST's public description (NISTIR 6556, sections 3.4 to 3.8) have them,
 * written from those and sharing nothing with what writes the programs. It refuses every word that it does not know.
 */
export interface Stretch {
  /** mm, on the controller's axes. */
  readonly from: readonly [x: number, y: number];
  readonly to: readonly [x: number, y: number];
  readonly isRapid: boolean;
  readonly feedMmPerS: number;
  /** The S word while the beam is let follow it; 0 otherwise. */
  readonly power: number;
}

export interface Followed {
  readonly stretches: readonly Stretch[];
  /** Stretches before the pause. */
  readonly beforePause: number;
  /** The highest S word that stood while the head stood still. */
  readonly powerAtRest: number;
  readonly remarks: readonly string[];
  readonly longestLine: number;
}

const INCH_MM = 25.4;

/** `turnAxis`: the axis that turns the piece; its degrees stand in the place of y. */
export function followProgram(
  text: string,
  { feedPer = 'min', turnAxis }: { readonly feedPer?: 'min' | 's'; readonly turnAxis?: 'A' | 'B' | 'C' } = {},
): Followed {
  const lines = text.split('\n');
  if (lines[0] !== '%' || lines.at(-2) !== '%' || lines.at(-1) !== '') throw new Error('no % at both ends');
  let [unit, feed, power, motion, isOn, isEnded, isPausedAt] = [1, 0, 0, 0, false, false, -1];
  let at: [number, number] = [Number.NaN, Number.NaN];
  let powerAtRest = 0;
  const stretches: Stretch[] = [];
  const remarks: string[] = [];
  for (const line of lines.slice(1, -2)) {
    if (isEnded) throw new Error(`${line} after the end`);
    const remark = /^\(([^()]*)\)$/.exec(line);
    if (remark) {
      remarks.push(remark[1]!);
      continue;
    }
    if (!/^(?:[A-Z]-?\d+(?:\.\d+)? ?)+$/.test(line)) throw new Error(`no block: ${line}`);
    const words = [...line.matchAll(/([A-Z])(-?[\d.]+)/g)].map(
      ([, letter, value]) => [letter!, Number(value)] as const,
    );
    const to: [number, number] = [...at];
    let moves = false;
    let stops = false;
    for (const [letter, value] of words) {
      if (letter === 'G' && (value === 0 || value === 1)) motion = value;
      else if (letter === 'G' && value === 20) unit = INCH_MM;
      else if (letter === 'G' && value === 21) unit = 1;
      else if (letter === 'G' && (value === 90 || value === 94)) continue;
      else if (letter === 'M' && value === 0) isPausedAt = stretches.length;
      else if (letter === 'M' && (value === 2 || value === 30)) isEnded = true;
      else if (letter === 'M' && (value === 3 || value === 4)) [isOn, stops] = [true, true];
      else if (letter === 'M' && value === 5) [isOn, stops] = [false, true];
      else if (letter === 'F') feed = (value * unit) / (feedPer === 'min' ? 60 : 1);
      else if (letter === 'S') power = value;
      else if (letter === 'X') [to[0], moves] = [value * unit, true];
      else if (letter === 'Y' && !turnAxis) [to[1], moves] = [value * unit, true];
      else if (letter === turnAxis) [to[1], moves] = [value, true];
      else throw new Error(`unknown word ${letter}${value}`);
    }
    if (moves) {
      if (!Number.isNaN(at[0]) || motion === 0) {
        const from = at.map((place, k) => (Number.isNaN(place) ? to[k]! : place)) as [number, number];
        const isRapid = motion === 0;
        stretches.push({ from, to: [...to], isRapid, feedMmPerS: feed, power: isOn ? power : 0 });
      }
      at = to;
    } else if ((stops || isEnded) && isOn) powerAtRest = Math.max(powerAtRest, power);
  }
  if (!isEnded) throw new Error('no end');
  const longestLine = Math.max(...lines.map((line) => line.length));
  return { stretches, beforePause: isPausedAt, powerAtRest, remarks, longestLine };
}

/** Straight runs at one feed from rest to rest: the head stops for every rapid move and before and after one. */
export function splitRuns(stretches: readonly Stretch[]): readonly (readonly Stretch[])[] {
  const runs: Stretch[][] = [];
  let run: Stretch[] = [];
  for (const stretch of stretches) {
    if (stretch.isRapid) {
      if (run.length > 0) runs.push(run);
      run = [];
      runs.push([stretch]);
    } else run.push(stretch);
  }
  if (run.length > 0) runs.push(run);
  return runs;
}

/** What burns: where each dot's middle lies on the axes, and how far each edge of a run is from the grid. */
export interface Landing {
  /** Middle of the first dot, and steps from dot to dot and line to line, mm. */
  readonly first: readonly [x: number, y: number];
  readonly step: readonly [x: number, y: number];
  /** Where the beam is when it follows a word, beside where it was told: in mm, by the sense of the run. */
  readonly lagMm?: number;
  readonly backlashMm?: number;
}

/** Dots of what burns, 1 to levels − 1 by the share of the full S word; throws where a run lies beside the dots. */
export function burnDots(
  stretches: readonly Stretch[],
  { width, height, levels, full }: { width: number; height: number; levels: number; full: number },
  { first, step, lagMm = 0, backlashMm = 0 }: Landing,
): Dots {
  const dots = createDots(width, height, levels);
  const whole = (value: number) => {
    if (Math.abs(value - Math.round(value)) > 0.1) throw new Error(`${value} lies between dots`);
    return Math.round(value);
  };
  for (const { from, to, power } of stretches) {
    if (power === 0) continue;
    if (from[1] !== to[1]) throw new Error('a run that is not along a line');
    const sense = Math.sign(to[0] - from[0]);
    // The beam comes late, so that marks lie further on; coming back, slack keeps the head behind.
    const off = sense * lagMm + (sense * step[0] < 0 ? Math.sign(step[0]) * backlashMm : 0);
    const edges = [from[0], to[0]].map((x) => whole((x + off - first[0]) / step[0] + 0.5)).sort((a, b) => a - b);
    const row = whole((from[1] - first[1]) / step[1]);
    if (row < 0 || row >= height || edges[0]! < 0 || edges[1]! > width) throw new Error('fires outside the piece');
    for (let x = edges[0]!; x < edges[1]!; x++) {
      if (dots.data[row * width + x] !== 0) throw new Error(`dot ${x}, ${row} fires twice in a pass`);
      dots.data[row * width + x] = Math.max(1, Math.round((power / full) * (levels - 1)));
    }
  }
  return dots;
}
