import {
  type CoarseImage,
  coarsenTaken,
  countDotsAPixel,
  type DotPreview,
  drawDots,
  drawDraft,
  enlargeDots,
  type JobRequest,
  type Prediction,
  type PreparedImage,
  predictJob,
  resolveJob,
  takeImage,
} from '../job/index.ts';
import type { Rectangle } from '../photo/index.ts';
import { type ColourImage, type Dots, encodeColour, encodeJpeg, type Photo } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { readPrices } from './prices.ts';

/*
 * What a person sees of a job before its files are made, in steps that a face takes while somebody moves a slider: the
 * light of the photo once, a draft without dots, the dots themselves, what they predict, and a loupe on them. Nothing
 * of it is written.
 */

export type { CoarseImage, DotPreview, Prediction, PreparedImage };

export interface PreviewRequest {
  readonly job: JobRequest;
  /** Paint over what the material cannot show. */
  readonly showClipped: boolean;
}

type Context = Pick<TaskContext, 'shop' | 'refused'>;

const resolve = (job: JobRequest, { shop, refused }: Context) => resolveJob(job, { shop, refused: refused() });

/** @throws AppError those of `resolveJob` */
export async function prepareImage(photo: Photo, job: JobRequest, context: Context): Promise<PreparedImage> {
  return takeImage(photo, resolve(job, context));
}

/** Dots along one side of the square that one pixel of a draft stands for. */
export function measureDraft({ picture }: PreparedImage, longSidePx: number): number {
  return countDotsAPixel(picture.frame, longSidePx);
}

/** @param longSidePx pixels of the screen that the long side of the piece takes: a draft needs no more */
export function coarsenImage(
  image: PreparedImage,
  { job, longSidePx }: { readonly job: JobRequest; readonly longSidePx: number },
  context: Context,
): CoarseImage {
  return coarsenTaken(image, { spec: resolve(job, context), longSidePx });
}

/** Tones without dots, as a picture in memory. */
export function drawDraftPreview(
  image: CoarseImage,
  { job, showClipped }: PreviewRequest,
  context: Context,
): ColourImage {
  return drawDraft(image, { spec: resolve(job, context), showClipped }).image;
}

export interface DotPreviewRequest extends PreviewRequest {
  /** Asked between steps; once it says so, nothing is drawn. */
  readonly isStale: () => boolean;
  /** Memory for the toned picture that nobody needs any more, of its very size. */
  readonly buffer?: Uint16Array;
  /** Pixels of the screen that the long side of the piece takes. */
  readonly longSidePx: number;
  /** Told what share of a search is done, 0 … 1. */
  readonly onShare?: (share: number) => void;
}

/** The dots as the job will have them. @returns undefined when nobody waits for them any more */
export function drawDotPreview(
  image: PreparedImage,
  { job, buffer, ...options }: DotPreviewRequest,
  context: Context,
): Promise<DotPreview | undefined> {
  return drawDots(image, { ...options, spec: resolve(job, context), ...(buffer ? { room: buffer } : {}) });
}

/** All that the ticket will say, the price by the shop's own list. @throws AppError those of `readPrices` */
export function predictTicket(
  image: PreparedImage,
  preview: DotPreview,
  { job, name }: { readonly job: JobRequest; readonly name: string },
  context: Context & Pick<TaskContext, 'version'>,
): Prediction {
  const prices = readPrices(undefined, context.shop);
  const spec = resolve(job, context);
  return predictJob(image, preview, { spec, name, version: context.version, ...(prices ? { prices } : {}) });
}

export interface LoupeRequest {
  readonly job: JobRequest;
  readonly part: Rectangle;
  /** `dots`: black where the beam fires. `surface`: as the material will look. */
  readonly as: 'dots' | 'surface';
  /** Pixels along each side of a dot, or dots along each side of a pixel; 1 when absent. */
  readonly samples?: number;
  readonly average?: number;
}

/** A part of the piece from near, as a PNG. */
export function enlargePart(dots: Dots, { job, ...options }: LoupeRequest, context: Context): Promise<Uint8Array> {
  const spec = resolve(job, context);
  return encodeColour(enlargeDots(dots, { spec, ...options }), { format: 'png', compression: 1 });
}

/**
 * Quality of pictures on the page, percent. Assumed: a draft stands for a moment, and dots are looked at closely.
 */
const QUALITY = { draft: 86, dots: 90 } as const;

export function encodePreview(image: ColourImage, of: keyof typeof QUALITY): Promise<Uint8Array> {
  return encodeJpeg(image, { quality: QUALITY[of] });
}
