import { reflectanceOfLightness } from '../../colour/index.ts';
import { type CoverageTable, fillDotTable, type Profile, sampleMarks } from '../../material/index.ts';
import type { Notice } from '../../notices.ts';
import { tabulate } from '../../numeric/index.ts';
import {
  adjustTone,
  applyToneFields,
  type Frame,
  framePhoto,
  type Meter,
  planToneFields,
  type Rectangle,
  type ToneOptions,
} from '../../photo/index.ts';
import { type ColourImage, createPlane, type DotGrid, type Dots, type Photo, type Plane } from '../../plane/index.ts';
import type { PriceList } from '../../price/index.ts';
import {
  averageAreas,
  computeLightScatterMm,
  predictMarks,
  predictReflectance,
  renderSurface,
  type SurfaceColours,
  weighCells,
} from '../../proof/index.ts';
import type { JobSpec } from '../request/types.ts';

import { markable } from './choices.ts';
import { type Clipping, findClippedEnd } from './clipped.ts';
import { type LetteredFrame, letterCoarse, maskLettering } from './lettering.ts';
import { type Picture, takePicture } from './picture.ts';
import { assessProof, cutOut, seeAsBurned } from './proof.ts';
import { searchDots, tabulateCoverage } from './run.ts';
import { describeJob } from './ticket.ts';
import { chooseToneValues, facesOf } from './tone.ts';
import type { HalftoneResult, Ticket } from './types.ts';

/**
 * About so many pixels along the long side of the picture of a proof: what a card takes of a screen. Assumed: larger
 * pictures take longer and are shown smaller.
 */
const PREVIEW_PX = 1100;
/**
 * Share of the screen's pixels that a draft has at least: it has whole dots a pixel, and stands for a moment. Assumed:
 * less is seen as a blur.
 */
const DRAFT_SHARE = 0.85;
/** Fewer along the long side of a draft would not be a picture. Assumed: a face is still one at that size. */
const LEAST_DRAFT_PX = 160;
/**
 * Rows that are toned before anybody asks again whether the picture is still wanted. A count. Assumed: a few
 * milliseconds of work.
 */
const TONE_ROWS = 512;
/**
 * Colours over what is cut off, sRGB codes, at the dark and at the light end. Assumed: blue and orange, told apart by
 * everyone and never a piece's own.
 */
export const CLIP_COLOURS = { dark: [28, 110, 214], light: [226, 88, 12] } as const;

/**
 * A photo's light at the dots of one crop, kept while a person tries tones on it: plain data that threads can share.
 */
export interface PreparedImage {
  readonly picture: Picture;
  /** Tone that the job's mode chooses for this picture, without values set by hand. */
  readonly chosenTone: ToneOptions;
  /** What of the piece may be marked; undefined: all of it. */
  readonly mask: Plane<'mask'> | undefined;
  /** What is left by the mask of each of the eye's cells, for the error of tone. */
  readonly weights: Float32Array | undefined;
}

/** The same light with one value for a square of dots, for drafts. */
export interface CoarseImage {
  readonly frame: Frame;
  readonly light: Plane<'luminance'>;
  readonly opaque: Plane<'mask'> | undefined;
  readonly mask: Plane<'mask'> | undefined;
  readonly chosenTone: ToneOptions;
  readonly meter: Meter;
  /** Words and drawings, at the dots of the piece; absent without any. */
  readonly lettered?: LetteredFrame;
}

/** What a person sees of a job before its files are made. */
export interface Preview {
  /** The piece without surroundings, as the material will look. */
  readonly image: ColourImage;
}

export interface PreviewOptions {
  readonly spec: JobSpec;
  /** Paint over what is cut off. */
  readonly showClipped?: boolean;
}

/** Light of the photo at the crop that the spec asks for. */
export async function takeImage(photo: Photo, spec: JobSpec): Promise<PreparedImage> {
  const picture = await takePicture(async () => photo, { spec, withThumbnail: false });
  const { opaque, frame } = picture;
  const chosenTone = chooseToneValues(picture, { ...spec, toneValues: {} });
  const mask = markable(frame, opaque, spec);
  const { lettering } = picture;
  const { grid, viewingDistanceMm } = spec;
  const judged = lettering ? maskLettering(mask, { frame, lettering, viewingDistanceMm }) : mask;
  const weights = judged && weighCells(judged, { grid, viewingDistanceMm });
  return { picture, chosenTone, mask, weights };
}

export interface CoarsenOptions {
  readonly spec: JobSpec;
  /** Pixels along the long side of the piece that are to be seen. */
  readonly longSidePx: number;
}

/** Whole squares of dots as one, as many as still give about the pixels that are to be seen. */
export function coarsenTaken(
  { picture, chosenTone }: PreparedImage,
  { spec, longSidePx }: CoarsenOptions,
): CoarseImage {
  const { frame: fine, light, opaque, framing } = picture;
  const times = countDotsAPixel(fine, longSidePx);
  const { pitchMm, lineSpacingMm } = fine.grid;
  const frame = framePhoto(picture, {
    ...spec,
    ...framing,
    grid: { pitchMm: pitchMm * times, lineSpacingMm: lineSpacingMm * times },
  });
  const size = {
    width: Math.min(light.width, frame.place.width),
    height: Math.min(light.height, frame.place.height),
  };
  const placed = { ...frame, place: { ...frame.place, ...size } };
  const coarseOpaque = opaque && averageDots(opaque, size);
  return {
    frame: placed,
    light: averageDots(light, size),
    opaque: coarseOpaque,
    mask: markable(placed, coarseOpaque, spec),
    chosenTone,
    meter: picture.meter,
    ...(picture.lettering ? { lettered: { frame: fine, lettering: picture.lettering } } : {}),
  };
}

/** Dots along each side of the squares that a draft for so many pixels takes as one. */
export function countDotsAPixel({ width, height }: Pick<Frame, 'width' | 'height'>, longSidePx: number): number {
  const wanted = Math.min(PREVIEW_PX, Math.max(LEAST_DRAFT_PX, longSidePx));
  return Math.max(1, Math.min(width, height, Math.floor(Math.max(width, height) / (DRAFT_SHARE * wanted))));
}

/** Means of whole dots: where the sizes do not divide, neighbours differ by one dot. */
function averageDots<S extends 'luminance' | 'mask'>(
  { scale, width, height, data }: Plane<S>,
  size: { readonly width: number; readonly height: number },
): Plane<S> {
  const out = createPlane(scale, size.width, size.height);
  const columns = tabulate(new Int32Array(size.width + 1), (x) => Math.round((x * width) / size.width));
  const sums = new Uint32Array(size.width);
  for (let cell = 0, y = 0; cell < size.height; cell++) {
    const top = y;
    const bottom = Math.round(((cell + 1) * height) / size.height);
    sums.fill(0);
    for (; y < bottom; y++) addDots(sums, { row: data.subarray(y * width, (y + 1) * width), columns });
    for (let x = 0; x < size.width; x++) {
      out.data[cell * size.width + x] = Math.round(sums[x]! / ((columns[x + 1]! - columns[x]!) * (bottom - top)));
    }
  }
  return out;
}

/** A loop of its own, which the engine compiles for each kind of row that comes. */
function addDots(
  sums: Uint32Array,
  { row, columns }: { readonly row: Uint16Array | Uint8Array; readonly columns: Int32Array },
): void {
  for (let cell = 0, x = 0; cell < sums.length; cell++) {
    let sum = 0;
    for (const end = columns[cell + 1]!; x < end; x++) sum += row[x]!;
    sums[cell]! += sum;
  }
}

/**
 * The tones of the piece without its dots: a draft that follows the hand. It differs from the proof by the screen's
 * grain, by what the screen loses, and by detail finer than its pixels, nowhere else.
 */
export function drawDraft(coarse: CoarseImage, { spec, showClipped = false }: PreviewOptions): Preview {
  const { frame, light, chosenTone } = coarse;
  const toned = adjustTone(light, { ...chosenTone, ...spec.toneValues }, { grid: frame.grid, ...facesOf(coarse) });
  const table = tabulateCoverage(spec).table;
  const { profile } = spec;
  const seen = wantedOnPiece(toned, { coarse, table, profile });
  if (coarse.lettered) {
    const [rests, fires] = [profile.bare, profile.full].map(([lightness]) => reflectanceOfLightness(lightness));
    letterCoarse(seen, coarse.lettered, { fires: fires!, rests: rests! });
  }
  const image = renderSurface(seen, coloursOf(spec.profile));
  if (showClipped) paintClipped(image, { light, toned, table }, frame);
  return { image };
}

/** What the ticket would say, without what only a written bitmap has. */
export type Prediction = Omit<Ticket, 'bitmap' | 'photo'> & {
  readonly bitmap: Pick<Ticket['bitmap'], 'width' | 'height' | 'firing'>;
  /** Its warnings, with the numbers and names behind their words. */
  readonly speaking: readonly Notice[];
};

/** The dots as the job will have them, and how they are seen on the material. */
export interface DotPreview {
  readonly image: ColourImage;
  readonly dots: Dots;
  readonly made: HalftoneResult;
  readonly seen: Plane<'reflectance'>;
}

export interface DotPreviewOptions extends PreviewOptions {
  /** Asked between steps; once it says so, no look is drawn. */
  readonly isStale?: () => boolean;
  /** Memory for the toned picture that nobody needs any more, of its very size. */
  readonly room?: Uint16Array;
  /** Pixels of the screen that the long side of the piece takes: more would be scaled there, as codes. */
  readonly longSidePx?: number;
  /** Told what share of a search is done, 0 … 1. */
  readonly onShare?: (share: number) => void;
}

/** Leaves a search half way; never seen outside. */
class StalePreview extends Error {}

/** @returns undefined when nobody waits for the look any more */
export async function drawDots(prepared: PreparedImage, options: DotPreviewOptions): Promise<DotPreview | undefined> {
  const { picture, mask, chosenTone } = prepared;
  const { spec, showClipped = false, isStale = () => false } = options;
  const tone = { ...chosenTone, ...spec.toneValues };
  const toned = toneInSteps(picture, { ...options, tone, isStale });
  if (!toned) return undefined;
  const progress = (_stage: string, share?: number) => {
    if (isStale()) throw new StalePreview();
    if (share !== undefined) options.onShare?.(share);
  };
  const making = searchDots(picture, { spec, tone, toned, progress, ...(mask ? { mask } : {}) });
  const made = await making.catch((error) => {
    if (error instanceof StalePreview) return undefined;
    throw error;
  });
  if (!made || isStale()) return undefined;
  const { dots } = made;
  const table = fillDotTable(spec.profile, spec.grid);
  const seen = seeAsBurned(predictReflectance(dots, { table, ...previewSize(dots, spec.grid) }), made);
  const image = renderSurface(fitScreen(seen, options.longSidePx), coloursOf(spec.profile));
  if (showClipped) paintClipped(image, { ...made, light: picture.light }, picture.frame);
  return { image, dots, made, seen };
}

/**
 * Pixels as those of the screen, averaged as light. A browser averages codes: single light dots among dark ones would
 * come out by up to 8 L* too dark.
 */
function fitScreen(seen: Plane<'reflectance'>, longSidePx = Number.POSITIVE_INFINITY): Plane<'reflectance'> {
  const { width, height } = seen;
  const times = Math.max(LEAST_DRAFT_PX, longSidePx) / Math.max(width, height);
  if (times >= 1) return seen;
  const size = { width: Math.max(1, Math.round(times * width)), height: Math.max(1, Math.round(times * height)) };
  const out = createPlane('reflectance', size.width, size.height);
  out.data.set(averageAreas(seen, size));
  return out;
}

/** `adjustTone` some rows after the others, the same bits. */
function toneInSteps(
  picture: Picture,
  { tone, spec, isStale, room }: DotPreviewOptions & { readonly tone: ToneOptions; readonly isStale: () => boolean },
): Plane<'luminance'> | undefined {
  if (isStale()) return undefined;
  const { light } = picture;
  const options = { grid: spec.grid, ...facesOf(picture) };
  const fields = planToneFields(light, tone, options);
  if (!fields) return adjustTone(light, tone, options);
  const { width, height } = light;
  const out = createPlane('luminance', width, height, room);
  for (let from = 0; from < height; from += TONE_ROWS) {
    if (isStale()) return undefined;
    applyToneFields(light, fields, { out, from, to: Math.min(height, from + TONE_ROWS) });
  }
  return out;
}

export interface PredictOptions {
  readonly spec: JobSpec;
  readonly name: string;
  readonly version: string;
  /** For the price; none is told without. */
  readonly prices?: PriceList;
}

/** What the dots of a preview predict: all that the ticket will say. */
export function predictJob(
  { picture, weights }: PreparedImage,
  { made, seen }: Pick<DotPreview, 'made' | 'seen'>,
  { spec, name, version, prices }: PredictOptions,
): Prediction {
  const dotTable = fillDotTable(spec.profile, spec.grid);
  const { frame } = picture;
  const prediction = assessProof(seen, { ...made, spec, picture, frame, dotTable, ...(weights ? { weights } : {}) });
  const { ticket, speaking } = describeJob({
    ...made,
    spec,
    name,
    version,
    picture,
    frame,
    photoFile: '',
    burned: made.dots,
    prediction,
    bitmapFile: '',
    bitmapSha256: '',
    ...(prices ? { prices } : {}),
  });
  const { bitmap, photo: _, ...rest } = ticket;
  return { ...rest, speaking, bitmap: { width: bitmap.width, height: bitmap.height, firing: bitmap.firing } };
}

export interface EnlargeOptions {
  readonly spec: JobSpec;
  /** The part to show, whole dots; cut off at the edges of the piece. */
  readonly part: Rectangle;
  /** `dots`: black where the beam fires, a pixel a dot. `surface`: as the material will look. */
  readonly as: 'dots' | 'surface';
  /** Pixels along each side of one dot, for its mark as it will look. */
  readonly samples?: number;
  /** Dots along each side of one pixel, for an eye that is farther away. */
  readonly average?: number;
}

/** A part of the piece from near. */
export function enlargeDots(dots: Dots, { spec, part, as, samples = 1, average = 1 }: EnlargeOptions): ColourImage {
  const left = Math.min(Math.max(0, Math.round(part.x)), dots.width - 1);
  const top = Math.min(Math.max(0, Math.round(part.y)), dots.height - 1);
  const width = Math.max(1, Math.min(Math.round(part.width), dots.width - left));
  const height = Math.max(1, Math.min(Math.round(part.height), dots.height - top));
  const rectangle = { x: left, y: top, width, height };
  if (as === 'surface') {
    const seen = predictPart(dots, spec, { part: rectangle, samples, average });
    return renderSurface(seen, coloursOf(spec.profile));
  }
  const field = cutOut(dots, rectangle);
  const rgb = new Uint8Array(3 * width * height);
  const full = dots.levels - 1;
  for (let i = 0; i < field.data.length; i++) rgb.fill(255 - (255 * field.data[i]!) / full, 3 * i, 3 * i + 3);
  return { width, height, rgb };
}

interface PartOptions {
  readonly part: Rectangle;
  readonly samples: number;
  readonly average: number;
}

/** Reflectance of a part, with the marks and the light that come from around it. */
function predictPart(
  dots: Dots,
  { profile, grid }: JobSpec,
  { part, samples, average }: PartOptions,
): Plane<'reflectance'> {
  const reachMm = 3 * computeLightScatterMm(grid);
  const inPixels = (value: number) => average * Math.ceil(value / average);
  const x = Math.max(0, part.x - inPixels(reachMm / grid.pitchMm));
  const y = Math.max(0, part.y - inPixels(reachMm / grid.lineSpacingMm));
  const width = Math.min(dots.width, part.x + part.width + inPixels(reachMm / grid.pitchMm)) - x;
  const height = Math.min(dots.height, part.y + part.height + inPixels(reachMm / grid.lineSpacingMm)) - y;
  const around = cutOut(dots, { x, y, width, height });
  const table = fillDotTable(profile, grid);
  const pixels = (of: number) => Math.max(1, Math.round((of * samples) / average));
  const wide =
    samples > 1
      ? predictMarks(around, { table, dose: sampleMarks(table, profile.response, samples) })
      : predictReflectance(around, { table, width: pixels(width), height: pixels(height) });
  const left = Math.min(Math.round(((part.x - x) * samples) / average), wide.width - 1);
  const top = Math.min(Math.round(((part.y - y) * samples) / average), wide.height - 1);
  const size = {
    width: Math.min(pixels(part.width), wide.width - left),
    height: Math.min(pixels(part.height), wide.height - top),
  };
  const out = createPlane('reflectance', size.width, size.height);
  for (let row = 0; row < size.height; row++) {
    const from = (top + row) * wide.width + left;
    out.data.set(wide.data.subarray(from, from + size.width), row * size.width);
  }
  return out;
}

function previewSize({ width, height }: Dots, grid: DotGrid): { readonly width: number; readonly height: number } {
  const times = Math.max(1, Math.round(Math.max(width, height) / PREVIEW_PX));
  const across = Math.max(1, Math.round(width / times));
  const down = Math.round((across * height * grid.lineSpacingMm) / (width * grid.pitchMm));
  return { width: across, height: Math.min(height, Math.max(1, down)) };
}

/** Wanted reflectance of the whole piece; what may not be marked stays bare. */
function wantedOnPiece(
  toned: Plane<'luminance'>,
  {
    coarse: { frame, mask },
    table,
    profile,
  }: { readonly coarse: CoarseImage; readonly table: CoverageTable; readonly profile: Profile },
): Plane<'reflectance'> {
  const { width, height, place } = frame;
  const bare = reflectanceOfLightness(profile.bare[0]);
  const { reflectance } = table;
  const out = createPlane('reflectance', width, height);
  out.data.fill(bare);
  for (let y = 0; y < place.height; y++) {
    const to = (place.y + y) * width + place.x;
    for (let x = 0; x < place.width; x++) {
      const wanted = reflectance[toned.data[y * place.width + x]!]!;
      const share = mask ? mask.data[to + x]! / 255 : 1;
      out.data[to + x] = bare + share * (wanted - bare);
    }
  }
  return out;
}

/** Paints each pixel whose middle is clipped. */
function paintClipped(
  { width, height, rgb }: ColourImage,
  clipping: Clipping,
  frame: Pick<Frame, 'width' | 'height' | 'place'>,
): void {
  const { place } = frame;
  for (let y = 0; y < height; y++) {
    const py = Math.floor(((y + 0.5) * frame.height) / height) - place.y;
    if (py < 0 || py >= place.height) continue;
    for (let x = 0; x < width; x++) {
      const px = Math.floor(((x + 0.5) * frame.width) / width) - place.x;
      if (px < 0 || px >= place.width) continue;
      const end = findClippedEnd(clipping, py * place.width + px);
      if (end) rgb.set(CLIP_COLOURS[end], 3 * (y * width + x));
    }
  }
}

function coloursOf({ bare, full, response }: Profile): SurfaceColours {
  return { bare, full, yuleNielsenN: response.yuleNielsenN };
}
