import type { DotGrid } from '../plane/index.ts';
import { computeDotDose } from './response.ts';
import { simulateStrength } from './simulate.ts';
import type { ResponseModel } from './types.ts';

/** Lines of up to so many dots are measured; wider ones grow as the widest does. A count. Assumed: edges no longer meet. */
const WIDEST_DOTS = 12;
/** Parts along a dot's side, a count. Assumed: a width is then known to a hundredth of a dot. */
const SAMPLES = 16;

/** Widths of burned lines, in dots, by their half dots: of none, of half a dot, of one, of one and a half … */
export interface BurnedLineWidths {
  readonly solid: { readonly x: readonly number[]; readonly y: readonly number[] };
  readonly bare: { readonly x: readonly number[]; readonly y: readonly number[] };
}

/**
 * What lines measure that are so many dots wide: `solid` of dots that fire on bare surface, `bare` of dots that do not fire
 * in a solid; `x` across lines that run down, in pitches, `y` across lines along the scan, in line spacings. A line of half
 * dots is by turns of one dot more and one less. The width is what a full mark, or bare surface, of the same sum would
 * have; 0 where the line nowhere reaches half of it.
 */
export function computeLineWidths(model: ResponseModel, grid: DotGrid): BurnedLineWidths {
  const { diameterXMm, diameterYMm, reach } = computeDotDose(model, grid);
  const around = Math.ceil(reach * Math.max(diameterXMm / grid.pitchMm, diameterYMm / grid.lineSpacingMm)) + 1;
  const list = (axis: 'x' | 'y', ink: 0 | 1) =>
    Array.from({ length: 2 * WIDEST_DOTS + 1 }, (_, halves) => measure(model, { grid, axis, ink, halves, around }));
  return {
    solid: { x: list('x', 1), y: list('y', 1) },
    bare: { x: list('x', 0), y: list('y', 0) },
  };
}

interface MeasuredLine {
  readonly grid: DotGrid;
  readonly axis: 'x' | 'y';
  readonly ink: 0 | 1;
  readonly halves: number;
  readonly around: number;
}

function measure(model: ResponseModel, { grid, axis, ink, halves, around }: MeasuredLine): number {
  if (halves === 0) return 0;
  const length = Math.ceil(halves / 2) + 2 * around;
  const data = new Uint8Array(2 * length);
  for (let turn = 0; turn < 2; turn++) {
    const dots = turn === 0 ? Math.ceil(halves / 2) : Math.floor(halves / 2);
    for (let at = 0; at < length; at++) {
      const value = at >= around && at < around + dots ? ink : 1 - ink;
      data[axis === 'x' ? turn * length + at : 2 * at + turn] = value;
    }
  }
  const field = axis === 'x' ? { width: length, height: 2 } : { width: 2, height: length };
  const samples =
    axis === 'x' ? { samplesX: SAMPLES, samplesY: SAMPLES / 2 } : { samplesX: SAMPLES / 2, samplesY: SAMPLES };
  const strength = simulateStrength(model, { ...field, levels: 2, data }, { grid, ...samples, edge: 'repeat' });
  const profile = new Float64Array(length * SAMPLES);
  const lines = strength.data.length / profile.length;
  for (let y = 0; y < strength.height; y++) {
    for (let x = 0; x < strength.width; x++) {
      profile[axis === 'x' ? x : y]! += strength.data[y * strength.width + x]! / lines;
    }
  }
  const shares = ink === 1 ? profile : profile.map((value) => 1 - value);
  if (!shares.some((share) => share >= 0.5)) return 0;
  return shares.reduce((sum, share) => sum + share, 0) / SAMPLES;
}
