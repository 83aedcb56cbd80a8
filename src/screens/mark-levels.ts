import {
  averageField,
  type Dots,
  EVEN_FIELDS,
  type FieldRect,
  listNeighbours,
  ONE,
  type Plane,
  type StrengthTable,
} from '../plane/index.ts';

/**
 * Coverages. Assumed: no simple fractions, at which a screen's texture is unlike that of the tones beside it; closer
 * than a tenth.
 */
const LEVELS = [
  0.01, 0.03, 0.07, 0.13, 0.19, 0.27, 0.36, 0.44, 0.53, 0.61, 0.69, 0.77, 0.84, 0.91, 0.96, 0.99,
] as const;

/**
 * What to ask a screen for, so that its dots show the mean strength that is wanted: the tone that it misses on even
 * fields, taken off beforehand. For marks so wide that the steps of `tabulateMarkSteps` are not exact; what is missed
 * then is up to 0.02 of the solid.
 * @returns wanted strength 0 … ONE for each of 0 … ONE; the ends are themselves.
 */
export function levelStrengths(table: StrengthTable, halftone: (wanted: Plane<'coverage'>) => Dots): Uint16Array {
  const meanOf = (dots: Dots, rect: FieldRect) => meanStrength(dots, table, rect);
  const missed = LEVELS.map((level) => averageField(level, EVEN_FIELDS.strength, { halftone, meanOf }) - level);
  const at = [0, ...LEVELS, 1];
  const off = [0, ...missed, 0];
  const asked = new Uint16Array(ONE + 1);
  asked[ONE] = ONE;
  for (let value = 1, k = 1; value < ONE; value++) {
    const wanted = value / ONE;
    while (wanted > at[k]) k++;
    const share = (wanted - at[k - 1]) / (at[k] - at[k - 1]);
    const less = (1 - share) * off[k - 1] + share * off[k];
    asked[value] = Math.min(ONE - 1, Math.max(1, Math.round(ONE * (wanted - less))));
  }
  return asked;
}

/** Mean strength of dots, of a solid's; what lies beyond the part is looked at but not counted. */
function meanStrength({ width, data }: Dots, table: StrengthTable, rect: FieldRect): number {
  const { strength } = table;
  const offsets = listNeighbours(table).map(({ dx, dy }) => dy * width + dx);
  let sum = 0;
  let count = 0;
  for (let y = rect.y; y < rect.y + rect.height; y++) {
    for (let x = rect.x; x < rect.x + rect.width; x++, count++) {
      let index = 0;
      for (let k = 0; k < offsets.length; k++) index = (index << 1) | data[y * width + x + offsets[k]];
      sum += strength[index];
    }
  }
  return sum / count / strength[strength.length - 1];
}
