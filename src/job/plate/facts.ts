import type { Machine } from '../../machine/index.ts';
import { type Aim, correctPoint, type Jig, type PointMm, placeField } from '../../plate/index.ts';
import { roundTo } from '../page/html.ts';
import type { Caution } from '../prepare/types.ts';

import type { PlacedPiece } from './batches.ts';
import type { PlateBurn, PlatePiece } from './ticket.ts';

/** Why a plate burns in more than one bitmap: in what they differ. */
export function describeBurnDifferences(burns: readonly PlateBurn[], bitmaps: 'plate' | 'piece'): string[] {
  if (bitmaps === 'piece' || burns.length < 2) return [];
  const kinds: readonly (readonly [string, (burn: PlateBurn) => string])[] = [
    ['pitch', ({ grid }) => `${roundTo(grid.pitchMm, 5)} mm`],
    ['line spacing', ({ grid }) => `${roundTo(grid.lineSpacingMm, 5)} mm`],
    ['power levels', ({ levels }) => String(levels)],
    ['power', ({ settings }) => `${settings.powerW} W`],
    ['speed', ({ settings }) => `${settings.speedMmPerS} mm/s`],
    ['pulse rate', ({ settings }) => (settings.rateKHz === undefined ? 'none' : `${settings.rateKHz} kHz`)],
    ['pulse duration', ({ settings }) => (settings.pulseNs === undefined ? 'none' : `${settings.pulseNs} ns`)],
    ['passes', ({ settings }) => String(settings.passes)],
    ['scan direction', ({ settings }) => settings.scan],
    ['profile', ({ profile }) => profile.name],
  ];
  const told = kinds.flatMap(([label, read]) => {
    const values = [...new Set(burns.map(read))];
    return values.length > 1 ? [`${label} (${values.join(', ')})`] : [];
  });
  const why = told.length === 0 ? 'their profiles are not the same' : `they differ in ${told.join(', ')}`;
  return [
    `${burns.length} bitmaps, burned one after the other without moving a piece, since one bitmap has one set of settings and its pieces may not be resampled: ${why}.`,
  ];
}

/** Cautions of all pieces, each once. */
export function gatherCautions(pieces: readonly PlacedPiece[]): Caution[] {
  return [...new Map(pieces.flatMap(({ job }) => job.ticket.cautions).map((one) => [one.text, one])).values()];
}

/** Warnings of all pieces, each once, with the names of the pieces that it is about. */
export const gatherWarnings = (pieces: readonly PlacedPiece[]): string[] =>
  gatherTexts(pieces, ({ ticket }) => ticket.warnings);

/** From which side pieces are looked at, as their own tickets say it, in the same way. */
export const describeSides = (pieces: readonly PlacedPiece[]): string[] =>
  gatherTexts(pieces, ({ ticket }) => (ticket.seen ? [ticket.seen.note] : []));

function gatherTexts(
  pieces: readonly PlacedPiece[],
  textsOf: (job: PlacedPiece['job']) => readonly string[],
): string[] {
  const about = new Map<string, string[]>();
  for (const { job } of pieces) {
    for (const text of textsOf(job)) {
      const names = about.get(text) ?? [];
      if (!names.includes(job.ticket.name)) names.push(job.ticket.name);
      about.set(text, names);
    }
  }
  const all = new Set(pieces.map(({ job }) => job.ticket.name)).size;
  return [...about].map(([text, names]) => (names.length === all ? text : `${names.join(', ')}: ${text}`));
}

/**
 * How far a piece may lie from the place that it was corrected for, mm. Assumed: no field changes within a few
 * millimetres by what is seen.
 */
const SAME_PLACE_MM = 3;

/** The middle of a piece in the field, mm from the field's upper left corner. */
export function middleInField(
  { place }: Pick<PlacedPiece, 'place'>,
  { jig, machine }: { readonly jig: Jig; readonly machine: Machine },
): PointMm {
  const field = placeField(jig, machine.fieldMm);
  return { xMm: place.xMm + place.widthMm / 2 - field.xMm, yMm: place.yMm + place.heightMm / 2 - field.yMm };
}

/** How far a piece lies from the place that it was corrected for, mm; 0 where that is no matter. */
export function offFromCorrected(piece: PlacedPiece, where: { readonly jig: Jig; readonly machine: Machine }): number {
  const { evenness } = piece.job.ticket;
  if (!evenness) return 0;
  const middle = middleInField(piece, where);
  const off = Math.hypot(middle.xMm - evenness.xMm, middle.yMm - evenness.yMm);
  return off <= SAME_PLACE_MM && !piece.turned ? 0 : Math.max(off, SAME_PLACE_MM);
}

/**
 * Pieces that were corrected for another place than the one that they come to lie at, and could not be made again, with
 * the reason.
 */
export function findPlaceWarnings(
  pieces: ReadonlyMap<PlacedPiece, string>,
  where: { readonly jig: Jig; readonly machine: Machine },
): string[] {
  return [...pieces].map(([piece, why]) => {
    const off = offFromCorrected(piece, where);
    const { job, pocket, turned } = piece;
    const { xMm, yMm } = middleInField(piece, where);
    const at = pocket === null ? '' : ` in ${pocket}`;
    return `${job.ticket.name}${at} was corrected for another place of the field, ${roundTo(off, 1)} mm away${turned ? ' and not turned' : ''}, and could not be screened again, as ${why}: its tones will be off. Prepare it again for ${roundTo(xMm, 2)},${roundTo(yMm, 2)} mm${pocket === null ? '' : ` (${where.jig.name}/${pocket})`}.`;
  });
}

/** What was corrected for where each piece lies. */
export const describeRemade = (pieces: readonly PlatePiece[]): string[] =>
  pieces.flatMap(({ name, pocket, corrected }) =>
    corrected ? [`${name} in ${pocket} was screened again for its place. ${corrected.note}`] : [],
  );

/** What the correction moves out of the field: the layout itself lies inside. */
export function findFieldWarnings(
  burns: readonly PlateBurn[],
  { aim, jig, machine }: { readonly aim: Aim; readonly jig: Jig; readonly machine: Machine },
): string[] {
  const field = placeField(jig, machine.fieldMm);
  return burns.flatMap(({ file, place }) => {
    const corners = [0, place.widthMm].flatMap((dx) =>
      [0, place.heightMm].map((dy) => correctPoint({ xMm: place.xMm + dx, yMm: place.yMm + dy }, aim)),
    );
    const beyond = Math.max(
      ...corners.flatMap(({ xMm, yMm }) => [
        field.xMm - xMm,
        field.yMm - yMm,
        xMm - field.xMm - field.widthMm,
        yMm - field.yMm - field.heightMm,
      ]),
    );
    return beyond > 1e-6
      ? [
          `${file}: the correction moves a corner ${roundTo(beyond, 3)} mm out of the field; mend the stop of the jig instead.`,
        ]
      : [];
  });
}
