import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { strengthAt } from './law.ts';
import type { MaterialModel } from './material-model.ts';
import { dotEnergyJ, pulsesOfDot } from './spot.ts';

export interface MarkDiameter {
  /** Width of the contour at half of full strength through the dot's centre, µm; 0 when one dot does not reach it. */
  readonly xUm: number;
  readonly yUm: number;
  /** Diameter of the circle that would hold the whole strength of one dot: ∬ strength dA = π/4·diameter², µm. */
  readonly equivalentUm: number;
}

/**
 * Steps of the numeric search per spot radius. A count. Assumed: the width is then right to half a percent of the spot.
 */
const STEPS = 100;
/**
 * How far from the centre a mark is looked for, spot radii beyond what is lit. Assumed: a Gaussian has nothing left
 * there.
 */
const FARTHEST = 4;

/**
 * What one lone dot visibly changes on a surface without grain, computed on a fine grid from the deposit of one dot
 * in all its passes.
 */
export function trueMarkDiameterUm(
  model: MaterialModel,
  grid: DotGrid,
  settings: BurnSettings = model.settings,
): MarkDiameter {
  const { beam, law } = model;
  const radiusX = beam.spotDiameterXUm / 2000;
  const radiusY = beam.spotDiameterYUm / 2000;
  const pulses = pulsesOfDot(beam, settings, grid);
  const power = 1 / law.accumulation;
  const peak = (200 * dotEnergyJ(beam, settings, grid)) / (pulses.length * Math.PI * radiusX * radiusY);
  const ratioAt = (xMm: number, yMm: number) => {
    let sum = 0;
    for (const pulse of pulses) {
      const fall = Math.exp(-2 * (((xMm - pulse) / radiusX) ** 2 + (yMm / radiusY) ** 2));
      sum += (peak * fall) ** power;
    }
    return (settings.passes * sum) ** law.accumulation / law.halfDoseJPerCm2;
  };
  // At the half dose the strength is ½ under both laws; beyond the dot's edge the dose only falls.
  const halfWidthMm = (ratio: (mm: number) => number, farMm: number) => {
    if (ratio(0) < 1) return 0;
    let [inside, outside] = [0, farMm];
    for (let i = 0; i < 60; i++) {
      const middle = (inside + outside) / 2;
      if (ratio(middle) >= 1) inside = middle;
      else outside = middle;
    }
    return inside;
  };
  const farX = FARTHEST * radiusX + grid.pitchMm;
  const farY = FARTHEST * radiusY;
  const stepX = radiusX / STEPS;
  const stepY = radiusY / STEPS;
  let area = 0;
  // One quadrant stands for all four.
  for (let x = stepX / 2; x < farX; x += stepX) {
    for (let y = stepY / 2; y < farY; y += stepY) {
      const ratio = ratioAt(x, y);
      if (ratio < 1e-3) break;
      area += 4 * strengthAt(ratio, law) * stepX * stepY;
    }
  }
  return {
    xUm: 2000 * halfWidthMm((x) => ratioAt(x, 0), farX),
    yUm: 2000 * halfWidthMm((y) => ratioAt(0, y), farY),
    equivalentUm: 2000 * Math.sqrt(area / Math.PI),
  };
}
