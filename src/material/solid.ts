import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import type { DotGrid } from '../plane/index.ts';
import {
  computeDotDose,
  computeRawStrength,
  computeSolidStrength,
  type DoseAxis,
  mixYuleNielsen,
  sumLattice,
} from './response.ts';
import type { Surface } from './types.ts';

/** What a solid fill looks like on some grid, by the response model. */
export interface SolidTone {
  /** Mean strength; 1 is the solid that was burned, on the reference grid. */
  readonly strength: number;
  /** CIE L* of that strength. */
  readonly lightness: number;
  /** (max − min)/(max + min) of the strength between the lines, 0 even … 1 separate lines. */
  readonly unevenness: number;
}

/**
 * Parts of a line spacing, and of a pitch, at which the strength is looked at; the middle of a line and of a gap
 * included. Counts. Assumed: finer ones find no darker place.
 */
const PARTS = 17;

/**
 * A solid fill on a grid, with power and speed kept, so that closer lines give more dose; `doseFactor` times that dose.
 * Strengths above the burned solid's are extrapolated by Hill's law and no firmer than it.
 */
export function describeSolid(
  surface: Surface,
  { grid, doseFactor = 1 }: { readonly grid: DotGrid; readonly doseFactor?: number },
): SolidTone {
  const { response, bare, full } = surface;
  const dose = computeDotDose(response, grid);
  const axis = (diameterMm: number, stepMm: number): DoseAxis => ({
    diameterMm,
    stepMm,
    samples: PARTS,
    reach: dose.reach,
  });
  const along = sumLattice(axis(dose.diameterXMm, grid.pitchMm));
  const across = sumLattice(axis(dose.diameterYMm, grid.lineSpacingMm));
  const byLine = Array.from(across, (dy) => {
    let sum = 0;
    for (const dx of along) sum += computeRawStrength(response, doseFactor * dose.peak * dx * dy);
    return sum / along.length;
  });
  const most = Math.max(...byLine);
  const fewest = Math.min(...byLine);
  const strength =
    byLine.reduce((sum, value) => sum + value, 0) / byLine.length / computeSolidStrength(response, PARTS, PARTS);
  const mix = {
    bare: reflectanceOfLightness(bare[0]),
    full: reflectanceOfLightness(full[0]),
    n: response.yuleNielsenN,
  };
  return {
    strength,
    lightness: lightnessOfReflectance(mixYuleNielsen(strength, mix)),
    unevenness: most > 0 ? (most - fewest) / (most + fewest) : 0,
  };
}
