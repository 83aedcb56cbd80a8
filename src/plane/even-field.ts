import { createPlane, ONE, type Plane } from './plane.ts';

/** A square of one coverage, dots: its side, and the part from … to along both sides that is averaged. */
export interface EvenField {
  readonly side: number;
  readonly from: number;
  readonly to: number;
}

/**
 * Squares on which screens are measured. Assumed: the mean of some 100² dots is known to 0.001 whatever the screen, and
 * what lies before `from` is where diffusion finds its texture, which does not count.
 */
export const EVEN_FIELDS = {
  /** Of a job's screen: 96² dots behind 32, since its curve is what photographs go through. */
  job: { side: 160, from: 32, to: 128 },
  /** Between the tones of a chart, while it is fitted: 96² dots; the readings beside them count for more. */
  fit: { side: 128, from: 16, to: 112 },
  /** Of a screen that holds the strength of marks: 104² dots. */
  strength: { side: 144, from: 20, to: 124 },
} as const satisfies Readonly<Record<string, EvenField>>;

export interface FieldRect {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** A square of one coverage 0 … 1. */
export function evenPlane(coverage: number, side: number): Plane<'coverage'> {
  const plane = createPlane('coverage', side, side);
  plane.data.fill(Math.round(coverage * ONE));
  return plane;
}

/**
 * Screens one coverage and averages its dots.
 * @param coverage 0 … 1
 * @param meanOf of the dots within a part of them
 */
export function averageField<D>(
  coverage: number,
  { side, from, to }: EvenField,
  {
    halftone,
    meanOf,
  }: {
    readonly halftone: (coverage: Plane<'coverage'>) => D;
    readonly meanOf: (dots: D, rect: FieldRect) => number;
  },
): number {
  return meanOf(halftone(evenPlane(coverage, side)), { x: from, y: from, width: to - from, height: to - from });
}
