import {
  type CoverageTable,
  type DotTable,
  fillDotTable,
  type Profile,
  simulateReflectance,
  type TonePoint,
  toneCurveOf,
} from '../material/index.ts';
import type { Frame } from '../photo/index.ts';
import {
  type ColourImage,
  createDots,
  type DotGrid,
  type Dots,
  encodeColour,
  encodeJpeg,
  meanOver,
  type Plane,
} from '../plane/index.ts';
import {
  averageWanted,
  convertToLightness,
  filterByEye,
  planEyeCells,
  predictError,
  predictLightness,
  predictReflectance,
  renderProof,
  renderSurface,
} from '../proof/index.ts';
import { roundTo } from './html.ts';
import type { Picture } from './picture.ts';
import type { JobSpec } from './spec.ts';
import type { Ticket } from './ticket.ts';
import type { TicketPictures } from './ticket-page.ts';

/** Long side of the proof, pixels: a card fills a screen without scrolling. */
const PROOF_PX = 1200;
/** The detail: so much of the work, mm, around the middle of the picture, and pixels along one dot. */
const DETAIL = { widthMm: 3, heightMm: 2.4, pixelsPerDot: 4, maxDots: 240 } as const;

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
  const seen = predictReflectance(dots, { table: dotTable, ...planEyeCells(dots, spec) });
  const piece = drawPiece(dots, { profile, grid, dotTable, cornerRadiusMm: frame.cornerRadiusMm, seen });
  const detail = drawDetail(dots, { profile, grid });
  const [png, photoJpeg, proofJpeg, detailJpeg] = await Promise.all([
    encodeColour(piece, { format: 'png' }),
    encodeJpeg(thumbnail, { quality: 82 }),
    encodeJpeg(piece, { quality: 82 }),
    encodeJpeg(detail.picture, { quality: 88 }),
  ]);
  const curve = toneCurveOf({ points });
  return {
    png,
    prediction: predictToneError(seen, { ...facts, dotTable }),
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
  const png = await encodeColour(drawPiece(dots, { ...options, dotTable }), { format: 'png' });
  return { png, meanLightness: predictLightness(dots, { table: dotTable }) };
}

interface DrawOptions extends ProofDotsOptions {
  readonly dotTable: DotTable;
  /** A prediction at hand, used where it is as fine as the picture. */
  readonly seen?: Plane<'reflectance'>;
}

function drawPiece(dots: Dots, { profile, grid, dotTable, cornerRadiusMm, seen }: DrawOptions): ColourImage {
  const widthMm = dots.width * grid.pitchMm;
  const heightMm = dots.height * grid.lineSpacingMm;
  const size = fitInto({ width: widthMm, height: heightMm }, PROOF_PX);
  const whole = { width: Math.min(size.width, dots.width), height: Math.min(size.height, dots.height) };
  const fine = seen && seen.width >= whole.width && seen.height >= whole.height;
  const plane = fine ? seen : predictReflectance(dots, { table: dotTable, ...whole });
  return renderProof(plane, { colours: coloursOf(profile), cornerRadiusPx: (cornerRadiusMm / widthMm) * plane.width });
}

function predictToneError(
  seen: Plane<'reflectance'>,
  { spec, frame, toned, table, mask, dots, dotTable }: ProofFacts & { readonly dotTable: DotTable },
): Ticket['prediction'] {
  const { grid, viewingDistanceMm } = spec;
  const { width, height, cellXMm, cellYMm } = planEyeCells(dots, { grid, viewingDistanceMm });
  const eye = { cellXMm, cellYMm, viewingDistanceMm };
  const aim = averageWanted(spread(toned, frame), {
    reflectance: table.reflectance,
    bareLuminance: dotTable.bareLuminance,
    ...(mask ? { mask } : {}),
    width,
    height,
  });
  const error = predictError(convertToLightness(filterByEye(aim, eye)), {
    predicted: convertToLightness(filterByEye(seen, eye)),
    ...(mask ? { weights: meanOver(mask, { width, height }).data } : {}),
  });
  return {
    meanDeltaL: error.mean,
    p95DeltaL: error.p95,
    worstDeltaL: error.worst,
    filter: `Gaussian of half contrast where Näsänen 1984 has it, seen from ${viewingDistanceMm} mm`,
  };
}

/** The marks of a small field of dots from the middle, simulated finer than a dot. */
function drawDetail(dots: Dots, { profile, grid }: { readonly profile: Profile; readonly grid: DotGrid }) {
  const width = Math.min(dots.width, DETAIL.maxDots, Math.max(1, Math.round(DETAIL.widthMm / grid.pitchMm)));
  const height = Math.min(dots.height, DETAIL.maxDots, Math.max(1, Math.round(DETAIL.heightMm / grid.lineSpacingMm)));
  const left = (dots.width - width) >> 1;
  const top = (dots.height - height) >> 1;
  const field = createDots(width, height, dots.levels);
  for (let y = 0; y < height; y++) {
    const from = (top + y) * dots.width + left;
    field.data.set(dots.data.subarray(from, from + width), y * width);
  }
  const samplesX = DETAIL.pixelsPerDot;
  const samplesY = Math.max(1, Math.round((samplesX * grid.lineSpacingMm) / grid.pitchMm));
  const plane = simulateReflectance(profile, field, { grid, samplesX, samplesY, edge: 'repeat' });
  return {
    picture: renderSurface(plane, coloursOf(profile)),
    widthMm: width * grid.pitchMm,
    heightMm: height * grid.lineSpacingMm,
  };
}

/** The picture on the whole piece; what lies around it is masked and never looked at. */
function spread(toned: Plane<'luminance'>, { width, height, place }: Frame): Plane<'luminance'> {
  if (toned.width === width && toned.height === height) return toned;
  const data = new Uint16Array(width * height);
  for (let y = 0; y < place.height; y++) {
    const row = toned.data.subarray(y * place.width, (y + 1) * place.width);
    data.set(row, (place.y + y) * width + place.x);
  }
  return { scale: 'luminance', width, height, data };
}

function coloursOf({ bare, full, response }: Profile) {
  return { bare, full, yuleNielsenN: response.yuleNielsenN };
}

function fitInto({ width, height }: { readonly width: number; readonly height: number }, longSide: number) {
  const scale = longSide / Math.max(width, height);
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
}

function dataUri(type: string, bytes: Uint8Array): string {
  return `data:${type};base64,${Buffer.from(bytes).toString('base64')}`;
}
