import { computeChordMm, placeOnPaper, placeOnRound, type UnrolledCone } from '../../optics/index.ts';
import type { Frame } from '../../photo/index.ts';
import { createPlane, type DotGrid, type Plane } from '../../plane/index.ts';
import { coneOf } from '../request/around.ts';
import type { AroundSpec, JobSpec, RoundSpec } from '../request/types.ts';

type Bent = Pick<JobSpec, 'round' | 'around'>;
type Sides = Pick<Frame, 'widthMm' | 'heightMm'>;

/** What of the photo a round piece takes: the size of its picture, spread out flat, mm. */
export function spreadSize({ round, around }: Bent, { widthMm, heightMm }: Sides): Sides {
  if (round) return { widthMm: round.arcMm, heightMm };
  if (!around) return { widthMm, heightMm };
  const { top, bottom, side } = spanOfPaper(coneOf(around), { widthMm: widthMm + around.overlapMm, heightMm });
  return { widthMm: 2 * side, heightMm: bottom - top };
}

/** How far the paper of a cone reaches from the middle of the piece, mm: the ring's corners and its arcs' crests. */
function spanOfPaper(cone: UnrolledCone, { widthMm, heightMm }: Sides) {
  const corners = [-heightMm / 2, heightMm / 2].flatMap((downMm) => [
    placeOnPaper(cone, { aroundMm: widthMm / 2, downMm }),
    placeOnPaper(cone, { aroundMm: 0, downMm }),
  ]);
  return {
    top: Math.min(...corners.map(({ yMm }) => yMm)),
    bottom: Math.max(...corners.map(({ yMm }) => yMm)),
    side: Math.max(...corners.map(({ xMm }) => xMm)),
  };
}

/** Pixels in which the flat picture of a round piece is resampled: about one a dot. */
export function spreadPixels(spec: Bent, { place, widthMm, heightMm }: Pick<Frame, 'place'> & Sides) {
  if (!spec.round && !spec.around) return { width: place.width, height: place.height };
  const flat = spreadSize(spec, { widthMm, heightMm });
  return {
    width: Math.round((place.width * flat.widthMm) / widthMm),
    height: Math.round((place.height * flat.heightMm) / heightMm),
  };
}

/** The flat picture as the dots of a round piece have it. */
export function bendPicture<S extends 'luminance' | 'mask'>(
  plane: Plane<S>,
  { spec, frame }: { readonly spec: Bent; readonly frame: Pick<Frame, 'place'> & Sides },
): Plane<S> {
  const { round, around } = spec;
  const { width, height } = frame.place;
  if (round) return bendPlane(plane, { round, width });
  if (!around) return plane;
  const piece = { widthMm: frame.widthMm, heightMm: frame.heightMm };
  return blendEnds(wrapPlane(plane, { around, piece, width, height }), {
    width,
    overlapMm: around.overlapMm,
    pitchMm: frame.widthMm / width,
  });
}

/**
 * A picture that is even along the surface, as its columns lie in the plane of focus: each column is the mean of the
 * part of the surface that it falls on.
 * @param plane evenly around the whole width of the piece
 * @param width columns in the plane of focus
 */
export function bendPlane<S extends 'luminance' | 'mask'>(
  plane: Plane<S>,
  { round, width }: { readonly round: Pick<RoundSpec, 'diameterMm' | 'arcMm' | 'pupilMm'>; readonly width: number },
): Plane<S> {
  const { arcMm } = round;
  const chordMm = computeChordMm(arcMm, round);
  const edges = Array.from({ length: width + 1 }, (_, x) => {
    const { arcMm: at } = placeOnRound((x / width - 0.5) * chordMm, round);
    return Math.min(plane.width, Math.max(0, (at / arcMm + 0.5) * plane.width));
  });
  const out = createPlane(plane.scale, width, plane.height);
  for (let x = 0; x < width; x++) {
    const [from, to] = [edges[x]!, edges[x + 1]!];
    const first = Math.floor(from);
    const last = Math.min(plane.width - 1, Math.ceil(to) - 1);
    for (let y = 0; y < plane.height; y++) {
      let sum = 0;
      for (let at = first; at <= last; at++) {
        sum += plane.data[y * plane.width + at]! * (Math.min(to, at + 1) - Math.max(from, at));
      }
      out.data[y * width + x] = Math.round(sum / (to - from));
    }
  }
  return out;
}

/** The flat picture read where paper lies that is wrapped around a cone, one overlap wider than the piece. */
function wrapPlane<S extends 'luminance' | 'mask'>(
  plane: Plane<S>,
  {
    around,
    piece,
    width,
    height,
  }: { readonly around: AroundSpec; readonly piece: Sides; readonly width: number; readonly height: number },
): Plane<S> {
  const cone = coneOf(around);
  const wideMm = piece.widthMm + around.overlapMm;
  const columns = Math.round((width * wideMm) / piece.widthMm);
  if (!Number.isFinite(cone.middleRadiusMm) && plane.width === columns && plane.height === height) return plane;
  const span = spanOfPaper(cone, { ...piece, widthMm: wideMm });
  const out = createPlane(plane.scale, columns, height);
  const [perX, perY] = [plane.width / (2 * span.side), plane.height / (span.bottom - span.top)];
  for (let y = 0; y < height; y++) {
    const downMm = ((y + 0.5) / height - 0.5) * piece.heightMm;
    for (let x = 0; x < columns; x++) {
      const { xMm, yMm } = placeOnPaper(cone, { aroundMm: ((x + 0.5) / columns - 0.5) * wideMm, downMm });
      out.data[y * columns + x] = readBetween(plane, (xMm + span.side) * perX - 0.5, (yMm - span.top) * perY - 0.5);
    }
  }
  return out;
}

/** Between four pixels, each of whose middles has whole numbers; the outermost go on beyond the edge. */
function readBetween({ width, height, data }: Plane<'luminance' | 'mask'>, x: number, y: number): number {
  const [atX, atY] = [Math.min(width - 1, Math.max(0, x)), Math.min(height - 1, Math.max(0, y))];
  const [left, top] = [Math.min(width - 2, Math.floor(atX)), Math.min(height - 2, Math.floor(atY))];
  const [right, below] = [atX - left, atY - top];
  const first = top * width + left;
  const upper = data[first]! * (1 - right) + data[first + 1]! * right;
  const lower = data[first + width]! * (1 - right) + data[first + width + 1]! * right;
  return Math.round(upper + below * (lower - upper));
}

/** What goes beyond the whole turn, faded into its beginning. */
export function blendEnds<S extends 'luminance' | 'mask'>(
  plane: Plane<S>,
  { width, overlapMm, pitchMm }: { readonly width: number; readonly overlapMm: number; readonly pitchMm: number },
): Plane<S> {
  const beyond = Math.min(plane.width - width, Math.round(overlapMm / pitchMm));
  if (beyond <= 0) return plane;
  const out = createPlane(plane.scale, width, plane.height);
  for (let y = 0; y < plane.height; y++) {
    const from = y * plane.width;
    out.data.set(plane.data.subarray(from, from + width), y * width);
    for (let x = 0; x < beyond; x++) {
      const share = (x + 0.5) / beyond;
      out.data[y * width + x] = Math.round(share * plane.data[from + x]! + (1 - share) * plane.data[from + width + x]!);
    }
  }
  return out;
}

/** What of the piece may be marked: all within the usable width, less and less over the feather, nothing beyond. */
export function roundMask({ width, height, widthMm }: Frame, round: RoundSpec): Plane<'mask'> | undefined {
  const { usableArcMm, featherMm, arcMm } = round;
  if (usableArcMm >= arcMm) return undefined;
  const mask = createPlane('mask', width, height);
  const row = Uint8Array.from({ length: width }, (_, x) => {
    const place = placeOnRound(Math.abs((x + 0.5) / width - 0.5) * widthMm, round);
    const beyond = place.arcMm - usableArcMm / 2;
    if (beyond <= 0) return 255;
    return beyond >= featherMm ? 0 : Math.round((255 * (1 + Math.cos((Math.PI * beyond) / featherMm))) / 2);
  });
  for (let y = 0; y < height; y++) mask.data.set(row, y * width);
  return mask;
}

/** Line spacing on the surface of a cone at its upper and lower edge, mm. */
export const spacingsOn = ({ diametersMm }: AroundSpec, { lineSpacingMm }: DotGrid): readonly [number, number] => {
  const mean = (diametersMm[0] + diametersMm[1]) / 2;
  return [(lineSpacingMm * diametersMm[0]) / mean, (lineSpacingMm * diametersMm[1]) / mean];
};
