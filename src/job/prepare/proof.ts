import {
  type CoverageTable,
  fillDotTable,
  type Profile,
  simulateStrength,
  type TonePoint,
  toneCurveOf,
} from '../../material/index.ts';
import { type Frame, placeOnPiece, type Rectangle } from '../../photo/index.ts';
import {
  type ColourImage,
  createDots,
  type DotGrid,
  type Dots,
  type DotTable,
  encodeColour,
  encodeJpeg,
  type Plane,
} from '../../plane/index.ts';
import {
  assessTone,
  planEyeCells,
  predictLightness,
  predictReflectance,
  renderProof,
  renderSurface,
  showStrength,
  weighCells,
} from '../../proof/index.ts';
import { roundTo } from '../page/html.ts';
import type { JobSpec } from '../request/types.ts';

import { type PlaceCorrection, seeAtPlace } from './evenness.ts';
import { type HeatPlan, seeWithHeat } from './heat.ts';
import type { Picture } from './picture.ts';
import type { Ticket, TicketPictures } from './types.ts';

/** About so many pixels along the long side of the proof. Assumed: a card fills a screen without scrolling. */
const PROOF_PX = 1200;
/** Compression level without unit. Assumed: a tenth larger than at level 6 in a third of the time. */
const PROOF_FILE = { format: 'png', compression: 2 } as const;
/**
 * The detail: so much of the work, mm, around the middle of the picture, and pixels along one dot. Counts of pixels and
 * dots. Assumed: single dots are seen, and a face's eye still is one.
 */
const DETAIL = { widthMm: 2.4, heightMm: 1.9, pixelsPerDot: 4, maxDots: 200 } as const;

export interface ProofFacts {
  readonly spec: JobSpec;
  readonly picture: Picture;
  readonly frame: Frame;
  /** The toned picture at `frame.place`, and what its luminance is wanted to be on the work. */
  readonly toned: Plane<'luminance'>;
  readonly table: CoverageTable;
  readonly points: readonly TonePoint[];
  /** Share of each dot of the piece that may be marked; undefined: all of it. */
  readonly mask: Plane<'mask'> | undefined;
  /** What of it is judged; all that may be marked when absent. */
  readonly judged?: Plane<'mask'>;
  /** How the piece is corrected for where it lies. */
  readonly correction?: PlaceCorrection;
  /** What heat makes of the coverage that the dots have. */
  readonly heat?: HeatPlan;
  readonly coverage: Plane<'coverage'>;
  readonly dots: Dots;
}

export interface Proof {
  readonly png: Uint8Array;
  readonly prediction: Ticket['prediction'];
  readonly pictures: TicketPictures;
}

/** What the piece will look like, how far its tones will be off, and the pictures of the ticket. */
export async function makeProof(facts: ProofFacts): Promise<Proof> {
  const { spec, picture, frame, dots, points } = facts;
  const { profile, grid } = spec;
  const { thumbnail } = picture;
  if (!thumbnail) throw new RangeError('a proof needs the picture with its thumbnail');
  const dotTable = fillDotTable(profile, grid);
  const seen = seeAsBurned(predictSeen(dots, { dotTable, grid }), facts);
  const piece = drawPiece(seen, { profile, cornerRadiusMm: frame.cornerRadiusMm, widthMm: frame.widthMm });
  const detail = drawDetail(dots, { profile, grid });
  const [png, photoJpeg, proofJpeg, detailJpeg] = await Promise.all([
    encodeColour(piece, PROOF_FILE),
    encodeJpeg(thumbnail, { quality: 82 }),
    encodeJpeg(piece, { quality: 82 }),
    encodeJpeg(detail.picture, { quality: 88 }),
  ]);
  const curve = toneCurveOf({ points });
  return {
    png,
    prediction: assessProof(seen, { ...facts, dotTable }),
    pictures: {
      photo: dataUri('image/jpeg', photoJpeg),
      proof: dataUri('image/jpeg', proofJpeg),
      detail: dataUri('image/jpeg', detailJpeg),
      detailCaption: `${roundTo(detail.widthMm, 2)} × ${roundTo(detail.heightMm, 2)} mm from the middle, enlarged: the marks of the dots`,
      curve: Array.from({ length: 65 }, (_, i) => ({ coverage: i / 64, lightness: curve.lightnessAt(i / 64) })),
      points,
    },
  };
}

export interface ProofDotsOptions {
  readonly profile: Profile;
  readonly grid: DotGrid;
  readonly cornerRadiusMm: number;
}

/** The proof of any bitmap: its picture as PNG, and its mean lightness, L*. */
export async function proofDots(
  dots: Dots,
  options: ProofDotsOptions,
): Promise<{ readonly png: Uint8Array; readonly meanLightness: number }> {
  const dotTable = fillDotTable(options.profile, options.grid);
  const seen = predictSeen(dots, { dotTable, grid: options.grid });
  const piece = drawPiece(seen, { ...options, widthMm: dots.width * options.grid.pitchMm });
  const png = await encodeColour(piece, PROOF_FILE);
  return { png, meanLightness: predictLightness(dots, { table: dotTable }) };
}

/**
 * Predicted reflectance at about the size of the proof. A pixel is whole dots along the scan line and as high as it is
 * wide: cells of three and four dots by turns would draw a pattern of their own into the screen.
 */
export function predictSeen(dots: Dots, { dotTable, grid }: { readonly dotTable: DotTable; readonly grid: DotGrid }) {
  const widthMm = dots.width * grid.pitchMm;
  const heightMm = dots.height * grid.lineSpacingMm;
  // Not narrower than a scan line either, or pixels could not be square.
  const least = Math.max(1, Math.ceil(grid.lineSpacingMm / grid.pitchMm - 1e-9));
  const dotsPerPixel = Math.max(least, Math.round(Math.max(widthMm, heightMm) / PROOF_PX / grid.pitchMm));
  const width = Math.max(1, Math.round(dots.width / dotsPerPixel));
  const height = Math.min(dots.height, Math.max(1, Math.round((heightMm / widthMm) * width)));
  return predictReflectance(dots, { table: dotTable, width, height });
}

function drawPiece(
  seen: Plane<'reflectance'>,
  { profile, cornerRadiusMm, widthMm }: Omit<ProofDotsOptions, 'grid'> & { readonly widthMm: number },
): ColourImage {
  return renderProof(seen, { colours: coloursOf(profile), cornerRadiusPx: (cornerRadiusMm / widthMm) * seen.width });
}

/** What is seen of dots where they are burned, one after the other, from what they would show at home and at once. */
export function seeAsBurned(
  seen: Plane<'reflectance'>,
  { correction, heat, coverage }: Pick<ProofFacts, 'correction' | 'heat' | 'coverage'>,
): Plane<'reflectance'> {
  return seeWithHeat(seeAtPlace(seen, correction), heat && { plan: heat, coverage });
}

/** How far the tones that the dots will show are from the wanted ones, as the eye sees both. */
export function assessProof(
  shown: Plane<'reflectance'>,
  {
    spec,
    frame,
    toned,
    table,
    mask,
    judged,
    weights = judged && weighCells(judged, { grid: spec.grid, viewingDistanceMm: spec.viewingDistanceMm }),
    dots,
    dotTable,
    correction,
    heat,
    coverage,
  }: ProofFacts & { readonly dotTable: DotTable; readonly weights?: Float32Array },
): Ticket['prediction'] {
  const { grid, viewingDistanceMm } = spec;
  const { mean, p95, worst } = assessTone(dots, {
    table: dotTable,
    grid,
    luminance: placeOnPiece(toned, frame),
    reflectance: table.reflectance,
    ...(mask ? { mask } : {}),
    ...(weights ? { weights } : {}),
    shown:
      correction || heat
        ? asFineAsTheEye(shown, {
            ...{ dots, dotTable, coverage, grid, viewingDistanceMm },
            ...(correction ? { correction } : {}),
            ...(heat ? { heat } : {}),
          })
        : shown,
    viewingDistanceMm,
  });
  return {
    meanDeltaL: mean,
    p95DeltaL: p95,
    worstDeltaL: worst,
    filter: `Gaussian of half contrast where Näsänen 1984 has it, seen from ${viewingDistanceMm} mm`,
  };
}

/** What is shown, in cells as fine as the eye's: of a large piece the proof has coarser ones. */
function asFineAsTheEye(
  shown: Plane<'reflectance'>,
  {
    dots,
    dotTable,
    correction,
    heat,
    coverage,
    ...viewing
  }: Pick<ProofFacts, 'dots' | 'correction' | 'heat' | 'coverage'> & { readonly dotTable: DotTable } & {
    readonly grid: DotGrid;
    readonly viewingDistanceMm: number;
  },
): Plane<'reflectance'> {
  const { width, height } = planEyeCells(dots, viewing);
  if (shown.width >= width && shown.height >= height) return shown;
  return seeAsBurned(predictReflectance(dots, { table: dotTable, width, height }), {
    coverage,
    ...(correction ? { correction } : {}),
    ...(heat ? { heat } : {}),
  });
}

/** The marks of a small field of dots from the middle, simulated finer than a dot. */
function drawDetail(dots: Dots, { profile, grid }: { readonly profile: Profile; readonly grid: DotGrid }) {
  const width = Math.min(dots.width, DETAIL.maxDots, Math.max(1, Math.round(DETAIL.widthMm / grid.pitchMm)));
  const height = Math.min(dots.height, DETAIL.maxDots, Math.max(1, Math.round(DETAIL.heightMm / grid.lineSpacingMm)));
  const left = (dots.width - width) >> 1;
  const top = (dots.height - height) >> 1;
  const field = cutOut(dots, { x: left, y: top, width, height });
  const samplesX = DETAIL.pixelsPerDot;
  const samplesY = Math.max(1, Math.round((samplesX * grid.lineSpacingMm) / grid.pitchMm));
  const strength = simulateStrength(profile.response, field, { grid, samplesX, samplesY, edge: 'repeat' });
  const cells = { cellXMm: grid.pitchMm / samplesX, cellYMm: grid.lineSpacingMm / samplesY };
  const plane = showStrength(strength, { table: fillDotTable(profile, grid), ...cells });
  return {
    picture: renderSurface(plane, coloursOf(profile)),
    widthMm: width * grid.pitchMm,
    heightMm: height * grid.lineSpacingMm,
  };
}

/** A part of the dots, as dots of their own. */
export function cutOut(dots: Dots, { x, y, width, height }: Rectangle): Dots {
  const field = createDots(width, height, dots.levels);
  for (let row = 0; row < height; row++) {
    const from = (y + row) * dots.width + x;
    field.data.set(dots.data.subarray(from, from + width), row * width);
  }
  return field;
}

function coloursOf({ bare, full, response }: Profile) {
  return { bare, full, yuleNielsenN: response.yuleNielsenN };
}

function dataUri(type: string, bytes: Uint8Array): string {
  return `data:${type};base64,${Buffer.from(bytes).toString('base64')}`;
}
