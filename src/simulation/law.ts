import { type LinearRgb, labToLinear } from './colour.ts';
import type { ColourModel, LawModel } from './material-model.ts';

/** Strength of the mark, 0 bare … 1 full, at a dose given as a multiple of the half dose. */
function strengthAt(doseRatio: number, law: LawModel): number {
  if (doseRatio <= 0) return 0;
  if (law.kind === 'gradual') return 1 - 2 ** -(doseRatio ** law.order);
  const x = Math.min(1, Math.max(0, (Math.log(doseRatio) / law.edge + 1) / 2));
  return x * x * (3 - 2 * x);
}

/** Share of the faded colour, 0 … 1, at a dose given as a multiple of the half dose. */
function fadedShareAt(doseRatio: number, law: LawModel): number {
  if (!law.fade || doseRatio <= 0) return 0;
  return 1 - 2 ** -(((doseRatio * law.halfDoseJPerCm2) / law.fade.halfDoseJPerCm2) ** law.fade.order);
}

/**
 * Colour at a strength: the parabola in L*, a*, b* through bare at 0, half at ½ and full at 1, drawn towards the faded
 * colour by its share.
 */
export function colourAt(strength: number, fadedShare: number, colour: ColourModel): LinearRgb {
  const bare = (1 - strength) * (1 - 2 * strength);
  const half = 4 * strength * (1 - strength);
  const full = strength * (2 * strength - 1);
  const channel = (i: 0 | 1 | 2) => {
    const marked = bare * colour.bare[i] + half * colour.half[i] + full * colour.full[i];
    return marked + fadedShare * (colour.faded[i] - marked);
  };
  return labToLinear([channel(0), channel(1), channel(2)]);
}

/** Colour by dose, so that the inner loop only looks up. */
export interface DoseColours {
  /** Entries per unit of dose ratio. */
  readonly perRatio: number;
  readonly count: number;
  /** Linear RGB, interleaved. */
  readonly rgb: Float32Array;
}

/**
 * Highest dose that the table tells apart, in half doses; a hundredth of a percent of the law's change lies beyond.
 * Half doses and steps in one. Assumed: finer than 8-bit codes of the picture.
 */
const HIGHEST_RATIO = 16;
const PER_RATIO = 1024;

export function tabulateColours(law: LawModel, colour: ColourModel): DoseColours {
  const count = HIGHEST_RATIO * PER_RATIO;
  const rgb = new Float32Array(count * 3);
  for (let i = 0; i < count; i++) {
    const ratio = i / PER_RATIO;
    rgb.set(colourAt(strengthAt(ratio, law), fadedShareAt(ratio, law), colour), i * 3);
  }
  return { perRatio: PER_RATIO, count, rgb };
}
