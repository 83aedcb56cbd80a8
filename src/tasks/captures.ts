import { type Corners, type PixelBox, WHITE_PAPER } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  type CaptureReference,
  isClearStock,
  type LocatedCapture,
  locateCaptures,
  type ReadCapture,
  refuseCorners,
  toCaptureImage,
} from '../job/index.ts';
import { type Notice, notice, withoutCodes } from '../notices.ts';
import { decodePhoto, type FileToWrite, readPhotoFile, sha256 } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { readLayouts } from './listing.ts';

/** White office paper, a neutral card of known L* with half the 95 % interval of it, or a scan without automatics. */
export type ReferenceRequest =
  | 'paper'
  | 'scanner'
  | { readonly lightness: number; readonly tolerance?: number | undefined };

/**
 * L* of a neutral card, and half its 95 % interval. Assumed: darker cards drown in a camera's noise, and one that is
 * known no better than by ten tells nothing.
 */
const CARD_L = { min: 20, max: 99, usualTolerance: 1, mostTolerance: 10 } as const;

/**
 * What tells how light the captures are, as the reader takes it.
 * @throws AppError option-invalid for a card that is none, a place of nothing, or one place for several captures
 */
export function resolveReference({
  reference,
  referenceAt,
  captures,
}: Pick<CapturesRequest, 'reference' | 'referenceAt' | 'captures'>): CaptureReference | undefined {
  if (reference === undefined || reference === 'scanner') {
    if (referenceAt === undefined) return reference;
    throw new AppError(
      'option-invalid',
      'the place of the reference: found no field to look for, needed white paper or the L* of a card',
    );
  }
  const { lightness, tolerance = CARD_L.usualTolerance } = reference === 'paper' ? WHITE_PAPER : reference;
  const { min, max, mostTolerance } = CARD_L;
  if (!(lightness >= min && lightness <= max && tolerance > 0 && tolerance <= mostTolerance)) {
    throw new AppError(
      'option-invalid',
      `the reference: found L* ${lightness} ± ${tolerance}, needed the L* of a neutral card from ${min} to ${max} with its tolerance, more than 0 and up to ${mostTolerance}`,
      { lightness, tolerance },
    );
  }
  if (referenceAt === undefined) return { lightness, tolerance };
  if (captures.length !== 1) {
    throw new AppError(
      'option-invalid',
      `the place of the reference: found ${captures.length} captures, needed one; it is a place in one picture`,
      { captures: captures.length },
    );
  }
  const { x, y, width, height } = referenceAt;
  if (![x, y, width, height].every(Number.isFinite) || !(x >= 0 && y >= 0 && width > 0 && height > 0)) {
    throw new AppError(
      'option-invalid',
      `the place of the reference: found ${x},${y},${width},${height}, needed x,y,width,height in pixels of the capture`,
    );
  }
  return { lightness, tolerance, box: referenceAt };
}

/** Scans or photos of one burned chart, and how they were taken. */
export interface CapturesRequest {
  readonly captures: readonly { readonly path: string; readonly name: string }[];
  /** A chart of the shop, or the path of its layout; absent: whichever of the shop's charts the marks name. */
  readonly chart?: string;
  readonly camera: 'known' | 'unknown';
  readonly mirrored?: boolean;
  /** Corners by hand, pixels of the one capture, from the chart's upper left clockwise. */
  readonly corners?: Corners;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** What tells how light the whole is; absent: the captures' own exposure stands. */
  readonly reference?: ReferenceRequest;
  /** Where a paper or card lies, pixels of the one capture; looked for around the chart when absent. */
  readonly referenceAt?: PixelBox;
  readonly maxPixels?: number;
}

export interface OpenedCaptures {
  readonly located: readonly LocatedCapture[];
  /** SHA-256 of the captures' files. */
  readonly sha256: readonly string[];
  readonly notices: readonly Notice[];
}

/**
 * Opens captures and finds the chart in them. What can be refused without a picture is refused before one is read.
 * @throws AppError those of `readLayouts`, `decodePhoto` and `locateCaptures`
 */
export async function openCaptures(request: CapturesRequest, context: TaskContext): Promise<OpenedCaptures> {
  const { captures, chart, mirrored = false, corners, maxPixels } = request;
  refuseCorners(captures.length, corners);
  const { layouts, notices } = readLayouts(chart, context.shop);
  const opened = [];
  const hashes = [];
  for (const { path, name } of captures) {
    context.progress(`reading ${name}`);
    const bytes = await readPhotoFile(path, name);
    const photo = await decodePhoto(bytes, name, maxPixels === undefined ? {} : { maxPixels });
    opened.push({ name, image: toCaptureImage(photo) });
    hashes.push(sha256(bytes));
  }
  context.progress('finding and reading the chart');
  const isClear = (material: string) => isClearStock(material, context.shop);
  const located = locateCaptures(opened, { layouts, mirrored, isClear, ...(corners ? { corners } : {}) });
  return { located, sha256: hashes, notices };
}

/** The pictures of what was found, as files beside one another; none without a folder. */
export function listFoundFiles(pictures: readonly string[], folder: string | undefined): readonly FileToWrite[] {
  if (folder === undefined) return [];
  return pictures.map((uri, at) => ({
    path: `${folder}/found-${at}.jpg`,
    bytes: Buffer.from(uri.slice(uri.indexOf(',') + 1), 'base64'),
  }));
}

/** What is to be distrusted: every patch that was left out is named with its reason. */
export function gatherNotices(
  captures: readonly Pick<ReadCapture, 'readings'>[],
  notices: readonly Notice[],
): readonly Notice[] {
  const rejected = captures.flatMap(({ readings }) => readings.rejected);
  return [
    ...withoutCodes(notices, 'patches-left-out'),
    ...rejected.map(({ id, detail }) => notice('patch-left-out', { id, detail })),
  ];
}
