import { reflectanceOfLightness } from '../colour/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { computeDotDose, mixYuleNielsen } from './response.ts';
import { simulateStrength } from './simulate.ts';
import type { Surface } from './types.ts';

/**
 * Lines of up to so many dots are measured; wider ones grow as the widest does. A count. Assumed: edges no longer meet.
 */
const WIDEST_DOTS = 12;
/** Parts along a dot's side, a count. Assumed: a width is then known to a hundredth of a dot. */
const SAMPLES = 16;

/** Widths of burned lines, in dots, by their half dots: of none, of half a dot, of one, of one and a half … */
export interface BurnedLineWidths {
  readonly solid: { readonly x: readonly number[]; readonly y: readonly number[] };
  readonly bare: { readonly x: readonly number[]; readonly y: readonly number[] };
}

/**
 * What lines measure that are so many dots wide: `solid` of dots that fire on bare surface, `bare` of dots that do not
 * fire in a solid; `x` across lines that run down, in pitches, `y` across lines along the scan, in line spacings. A
 * line of half dots is by turns of one dot more and one less. The width is what a full mark, or bare surface, of the
 * same sum of light would have, which is what the eye sums up of a line; 0 where the line nowhere reaches half of it.
 */
export function computeLineWidths(surface: Surface, grid: DotGrid): BurnedLineWidths {
  const model = surface.response;
  const { diameterXMm, diameterYMm, reach } = computeDotDose(model, grid);
  const around = Math.ceil(reach * Math.max(diameterXMm / grid.pitchMm, diameterYMm / grid.lineSpacingMm)) + 1;
  const list = (axis: 'x' | 'y', ink: 0 | 1) =>
    Array.from({ length: 2 * WIDEST_DOTS + 1 }, (_, halves) => measure(surface, { grid, axis, ink, halves, around }));
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

function measure(surface: Surface, { grid, axis, ink, halves, around }: MeasuredLine): number {
  if (halves === 0) return 0;
  const model = surface.response;
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
  const [bare, full] = [surface.bare, surface.full].map(([lightness]) => reflectanceOfLightness(lightness)) as [
    number,
    number,
  ];
  const mixed = { bare, full, n: model.yuleNielsenN };
  const shares = new Float64Array(length * SAMPLES);
  const lines = strength.data.length / shares.length;
  for (let y = 0; y < strength.height; y++) {
    for (let x = 0; x < strength.width; x++) {
      const light = mixYuleNielsen(strength.data[y * strength.width + x]!, mixed);
      shares[axis === 'x' ? x : y]! +=
        (light - (ink === 1 ? bare : full)) / (ink === 1 ? full - bare : bare - full) / lines;
    }
  }
  if (!shares.some((share) => share >= 0.5)) return 0;
  return shares.reduce((sum, share) => sum + share, 0) / SAMPLES;
}
