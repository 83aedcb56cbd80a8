import { adjustSurface, fillDotTable, type Profile } from '../../material/index.ts';
import { createPchip, linearSteps } from '../../numeric/index.ts';
import type { DotGrid, DotTable } from '../../plane/index.ts';

/** Logarithms of the factors by which a beam differs from the one that a profile was learned with. */
export interface BeamLogs {
  readonly lnDose: number;
  readonly lnWidth: number;
}

export interface BeamRange {
  readonly lnDose: readonly [from: number, to: number];
  readonly lnWidth: readonly [from: number, to: number];
}

/**
 * Doses and widths for which a surface is computed, counts of steps. Assumed: between them a monotone cubic over dose
 * and a straight line over width leave less than a twentieth of an L* of what one beam gives.
 */
const DOSE_STEPS = 6;
const WIDTH_STEPS = 3;

/**
 * What a beam of other dose and width makes of fields of dots: some lightnesses at once, in the sequence of the fields.
 * They are computed on a few beams of the range and read between them.
 * @param lightnessesOf CIE L* of every field under a dot table
 */
export function tabulateBeams(
  profile: Profile,
  {
    grid,
    range,
    lightnessesOf,
  }: {
    readonly grid: DotGrid;
    readonly range: BeamRange;
    readonly lightnessesOf: (table: DotTable) => readonly number[];
  },
): (beam: BeamLogs) => readonly number[] {
  const doses = linearSteps(...widen(range.lnDose), DOSE_STEPS);
  const widths = linearSteps(...widen(range.lnWidth), WIDTH_STEPS);
  const rows = widths.map((lnWidth) => {
    const tones = doses.map((lnDose) => {
      const beam = { dose: Math.exp(lnDose), width: Math.exp(lnWidth) };
      return lightnessesOf(fillDotTable(adjustSurface(profile, beam), grid));
    });
    return tones[0]!.map((_, field) =>
      createPchip(
        doses,
        tones.map((one) => one[field]!),
      ),
    );
  });
  const last = widths.length - 1;
  return ({ lnDose, lnWidth }) => {
    const at = (last * (lnWidth - widths[0]!)) / (widths[last]! - widths[0]!);
    const row = Math.min(last - 1, Math.max(0, Math.floor(at)));
    const share = Math.min(1, Math.max(0, at - row));
    return rows[row]!.map(
      (curve, field) => (1 - share) * curve.valueAt(lnDose) + share * rows[row + 1]![field]!.valueAt(lnDose),
    );
  };
}

/** A range of some width, so that curves have distinct places. Logarithms of factors; a thousandth is no change. */
const widen = ([from, to]: readonly [number, number]): readonly [number, number] =>
  to - from < 1e-3 ? [from - 1e-3, to + 1e-3] : [from, to];
