import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { BeamModel } from './material-model.ts';

/**
 * Kernels reach this many 1/e² radii, a factor, beyond what is lit. Assumed: exp(−2·2.2²) of the peak, 6e-5, is left
 * out.
 */
const REACH = 2.2;
/**
 * A kernel cell is the mean over this many places inside it. A count. Assumed: the sum of a kernel then is right to a
 * part in thousands.
 */
const PLACES = 8;
/**
 * Dots land anywhere between samples; kernels are kept for this many positions within one. A count. Assumed: a
 * sixteenth of a sample is far below a spot's radius.
 */
export const SUB_POSITIONS = 16;

/** A one-dimensional cut through the deposit of one dot, sampled around its centre. */
export interface SpotKernel {
  /** Samples on each side of the sample that holds the centre. */
  readonly reach: number;
  /** SUB_POSITIONS rows of 2·reach + 1 values. */
  readonly values: Float32Array;
}

export interface SpotKernelOptions {
  /** 1/e² radius, mm. */
  readonly radiusMm: number;
  /** Size of a sample, mm. */
  readonly sampleMm: number;
  /** Places of the pulses relative to the dot's centre, mm; equal shares of the dot's energy. */
  readonly pulsesMm: readonly number[];
  /** Doses are summed as dose^power; 1 when they simply add. */
  readonly power: number;
}

/**
 * Fluence along one axis for unit energy, 1/mm, raised to `power` and summed over the pulses; with power 1 the values
 * times the sample size sum to exactly 1, so that the deposit keeps the energy it was given.
 * Gaussian profile √(2/π)/w·exp(−2x²/w²) (1/e² radius w).
 */
export function spotKernel({ radiusMm, sampleMm, pulsesMm, power }: SpotKernelOptions): SpotKernel {
  const lit = Math.max(...pulsesMm.map(Math.abs));
  const reach = Math.ceil((REACH * radiusMm + lit) / sampleMm) + 1;
  const size = 2 * reach + 1;
  const values = new Float32Array(SUB_POSITIONS * size);
  const peak = Math.sqrt(2 / Math.PI) / radiusMm;
  for (let sub = 0; sub < SUB_POSITIONS; sub++) {
    const centre = reach + (sub + 0.5) / SUB_POSITIONS;
    let sum = 0;
    const row = new Float64Array(size);
    for (let i = 0; i < size; i++) {
      for (let place = 0; place < PLACES; place++) {
        const x = (i + (place + 0.5) / PLACES - centre) * sampleMm;
        for (const pulse of pulsesMm) {
          const fluence = (peak / pulsesMm.length) * Math.exp((-2 * (x - pulse) ** 2) / radiusMm ** 2);
          row[i] = row[i]! + fluence ** power / PLACES;
        }
      }
      sum += row[i]!;
    }
    const scale = power === 1 ? 1 / (sum * sampleMm) : 1;
    for (let i = 0; i < size; i++) values[sub * size + i] = row[i]! * scale;
  }
  return { reach, values };
}

/**
 * How many equal pieces a continuous stroke is cut into. A count. Assumed: pieces much shorter than a spot leave no
 * ripple.
 */
const STROKE_PIECES = 12;

/** Places along the scan where the energy of one dot lands, relative to its centre, mm. */
export function pulsesOfDot(beam: BeamModel, settings: BurnSettings, grid: DotGrid): number[] {
  const length = grid.pitchMm * beam.duty;
  const perDot = ((settings.rateKHz ?? 0) * 1000 * length) / settings.speedMmPerS;
  const count = beam.emission === 'pulsed' ? Math.max(1, Math.round(perDot)) : STROKE_PIECES;
  return Array.from({ length: count }, (_, i) => ((i + 0.5) / count - 0.5) * length);
}

/** Energy of one dot at full dose in one pass, J: power for the time that the beam is on. */
export function dotEnergyJ(beam: BeamModel, settings: BurnSettings, grid: DotGrid): number {
  return (settings.powerW * grid.pitchMm * beam.duty) / settings.speedMmPerS;
}
