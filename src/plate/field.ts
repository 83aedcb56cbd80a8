import { AppError } from '../errors.ts';
import { type FieldMm, isLeft, isTop, type Jig, type PointMm, type RectangleMm, roundMm } from './types.ts';

/** The machine's field on the board. */
export function placeField(jig: Pick<Jig, 'widthMm' | 'heightMm' | 'fieldAtMm'>, fieldMm: FieldMm): RectangleMm {
  const [widthMm, heightMm] = fieldMm;
  const [xMm, yMm] = jig.fieldAtMm ?? [(jig.widthMm - widthMm) / 2, (jig.heightMm - heightMm) / 2];
  return { xMm: roundMm(xMm), yMm: roundMm(yMm), widthMm, heightMm };
}

/** Where the corner of the board meets the machine's stop. */
function placeStop({ stop, widthMm, heightMm }: Pick<Jig, 'stop' | 'widthMm' | 'heightMm'>): PointMm {
  return { xMm: isLeft(stop) ? 0 : widthMm, yMm: isTop(stop) ? 0 : heightMm };
}

/** The point of the board that the control software calls 0, 0. */
export function placeOrigin(jig: Jig, fieldMm: FieldMm): PointMm {
  const field = placeField(jig, fieldMm);
  switch (jig.origin.at) {
    case 'stop':
      return placeStop(jig);
    case 'field-corner':
      return { xMm: field.xMm, yMm: roundMm(jig.origin.yAxis === 'down' ? field.yMm : field.yMm + field.heightMm) };
    case 'field-centre':
      return { xMm: roundMm(field.xMm + field.widthMm / 2), yMm: roundMm(field.yMm + field.heightMm / 2) };
  }
}

/** How far a rectangle reaches beyond the field less its margin, mm, by side; 0 where it does not. */
function measureBeyond(
  part: RectangleMm,
  { field, marginMm }: { readonly field: RectangleMm; readonly marginMm: number },
): Readonly<Record<'left' | 'top' | 'right' | 'bottom', number>> {
  const beyond = (value: number) => (value > 1e-6 ? roundMm(value) : 0);
  return {
    left: beyond(field.xMm + marginMm - part.xMm),
    top: beyond(field.yMm + marginMm - part.yMm),
    right: beyond(part.xMm + part.widthMm - (field.xMm + field.widthMm - marginMm)),
    bottom: beyond(part.yMm + part.heightMm - (field.yMm + field.heightMm - marginMm)),
  };
}

/**
 * Refuse a jig whose pockets the machine does not reach.
 * @throws AppError jig-exceeds-field, naming every pocket that is beyond the field, and by how much
 */
export function refuseBeyondField(
  jig: Jig,
  { fieldMm, machine }: { readonly fieldMm: FieldMm; readonly machine: string },
): void {
  const field = placeField(jig, fieldMm);
  const beyond = jig.pockets.flatMap((pocket) => {
    const sides = measureBeyond(pocket, { field, marginMm: jig.marginMm });
    const told = (['left', 'top', 'right', 'bottom'] as const)
      .filter((side) => sides[side] > 0)
      .map((side) => `${sides[side]} mm at the ${side}`);
    return told.length > 0 ? [{ pocket: pocket.name, sides, told: `${pocket.name} by ${told.join(' and ')}` }] : [];
  });
  if (beyond.length === 0) return;
  const more = beyond.length > 3 ? ` (and ${beyond.length - 3} more pockets)` : '';
  throw new AppError(
    'jig-exceeds-field',
    `jig ${jig.name}: found pockets beyond the field of ${machine}, ${fieldMm[0]} × ${fieldMm[1]} mm with a margin of ${jig.marginMm} mm: ${beyond
      .slice(0, 3)
      .map(({ told }) => told)
      .join('; ')}${more}`,
    { fieldMm, marginMm: jig.marginMm, pockets: beyond.map(({ pocket, sides }) => ({ pocket, ...sides })) },
  );
}
