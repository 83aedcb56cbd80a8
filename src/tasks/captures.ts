import type { Corners } from '../chart/index.ts';
import {
  type CaptureReference,
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
  readonly reference?: CaptureReference;
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
  const located = locateCaptures(opened, { layouts, mirrored, ...(corners ? { corners } : {}) });
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
