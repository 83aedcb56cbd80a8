import { basename } from 'node:path';
import type { JobRequest } from '../job/index.ts';
import type { Rectangle } from '../photo/index.ts';
import type { Dots, Photo } from '../plane/index.ts';
import {
  type CoarseImage,
  coarsenImage,
  type DotPreview,
  drawDotPreview,
  drawDraftPreview,
  drawSubjectMask,
  encodePreview,
  enlargePart,
  measureDraft,
  type OpenedPhoto,
  openPhoto as openPhotoFile,
  type Prediction,
  type PreparedImage,
  predictTicket,
  prepareAgain,
  prepareImage,
  preparePhoto,
  releaseMemory,
} from '../tasks/index.ts';
import { answering, facts, openContext, UPLOAD_SECONDS } from './worker-facts.ts';

export * from './worker-bench.ts';
export * from './worker-order.ts';

/**
 * The heavy work, off the server's thread. Each export takes and gives plain data; large planes are shared, not copied.
 */

export interface OpenPhotoInput {
  readonly path: string;
  /** What messages call it. */
  readonly name: string;
  readonly maxPixels: number;
}

/** A photo to work on: its pixels stay, in memory that threads share. */
export const openPhoto = answering(async (input: OpenPhotoInput): Promise<OpenedPhoto> => {
  const { photo, view } = await openPhotoFile({ ...input, seconds: UPLOAD_SECONDS });
  const shared = { ...photo, rgb: share(photo.rgb), ...(photo.alpha ? { alpha: share(photo.alpha) } : {}) };
  await releaseMemory();
  return { photo: shared, view };
});

/** A photo or a capture that is worked on later: what is seen of it, and its size. */
export const viewPhoto = answering(async (input: OpenPhotoInput) => {
  const { photo, view } = await openPhotoFile({ ...input, seconds: UPLOAD_SECONDS });
  const { width, height, facts } = photo;
  await releaseMemory();
  return { width, height, format: facts.format, isExposed: facts.exif?.isExposed ?? false, view };
});

/** Long side of a picture in a list, pixels. Assumed: sharp at 240 pixels on a screen of two pixels for one. */
const THUMBNAIL_PX = 480;

/** A picture small enough for a list of many. */
export const makeThumbnail = answering(async (input: OpenPhotoInput): Promise<Uint8Array> => {
  const { view } = await openPhotoFile({ ...input, seconds: UPLOAD_SECONDS, viewPx: THUMBNAIL_PX });
  await releaseMemory();
  return view;
});

export interface ImageInput {
  readonly photo: Photo;
  readonly request: JobRequest;
}

export const prepareImageOf = answering(async ({ photo, request }: ImageInput): Promise<PreparedImage> => {
  const prepared = await prepareImage(photo, request, openContext());
  const { picture, mask, weights } = prepared;
  const { light, opaque } = picture;
  return {
    ...prepared,
    picture: {
      ...picture,
      light: { ...light, data: share(light.data) },
      opaque: opaque && { ...opaque, data: share(opaque.data) },
    },
    mask: mask && { ...mask, data: share(mask.data) },
    weights: weights && share(weights),
  };
});

/** The subject as far as it is known, to paint on. */
export const drawMask = answering(({ photo, request }: ImageInput): Promise<Uint8Array> => {
  return drawSubjectMask(photo, request, openContext());
});

export interface DrawInput {
  readonly prepared: PreparedImage;
  /** Names the light among all that are looked at. */
  readonly imageKey: string;
  readonly request: JobRequest;
  readonly name: string;
  readonly showClipped: boolean;
  /** Number of this request, and the cell that holds the newest one's: an older one stops half way. */
  readonly turn: number;
  readonly newest: Int32Array;
}

const isStale = ({ newest, turn }: DrawInput) => Atomics.load(newest, 0) !== turn;

export interface DraftInput extends DrawInput {
  readonly longSidePx: number;
}

/** The light of the last drafts, coarse: by picture and by dots a pixel. */
const coarse = new Map<string, CoarseImage>();
/** Drafts whose coarse light is kept, a count. Assumed: a person goes back and forth between a few. */
const MOST_COARSE = 4;

function coarsen({ prepared, imageKey, request, longSidePx }: DraftInput): CoarseImage {
  const key = `${imageKey}/${measureDraft(prepared, longSidePx)}`;
  const made = coarse.get(key) ?? coarsenImage(prepared, { job: request, longSidePx }, openContext());
  keepNewest(coarse, key, made, MOST_COARSE);
  return made;
}

export const draft = answering(async (input: DraftInput): Promise<Uint8Array | undefined> => {
  if (isStale(input)) return undefined;
  const { request, showClipped } = input;
  const image = drawDraftPreview(coarsen(input), { job: request, showClipped }, openContext());
  return isStale(input) ? undefined : encodePreview(image, 'draft');
});

export interface ExactInput extends DrawInput {
  readonly longSidePx: number;
  /** Name of the look: what it foretells is asked for after it. */
  readonly look: string;
  /** Memory for the dots, which the loupe reads in another thread. */
  readonly room: Uint8Array;
  /** Cell for the share of a search that is done, in thousandths. */
  readonly done: Int32Array;
}

/**
 * The last previews, until they are asked what they predict: the picture is shown first. One a window that is looking.
 */
const held = new Map<string, DotPreview>();
/** Previews that are held, a count. Assumed: more windows than look at once. */
const MOST_HELD = 3;
/**
 * Toned planes of past previews, for the next ones: fresh memory of a large plane costs a third of the time that its
 * pixels cost.
 */
const spare: Uint16Array[] = [];
/** Toned planes that are kept, a count. Assumed: one is drawn while one is shown. */
const MOST_SPARE = 2;

function release({ made }: DotPreview, { picture }: PreparedImage): void {
  if (made.toned !== picture.light && spare.push(made.toned.data) > MOST_SPARE) spare.shift();
}

export interface Exact {
  readonly jpeg: Uint8Array;
  readonly dots: Dots;
}

export const exact = answering(async (input: ExactInput): Promise<Exact | undefined> => {
  const { prepared, request, showClipped, look, room, longSidePx, done } = input;
  const { length } = prepared.picture.light.data;
  const found = spare.findIndex((data) => data.length === length);
  const buffer = found < 0 ? undefined : spare.splice(found, 1)[0]!;
  const drawn = await drawDotPreview(
    prepared,
    {
      job: request,
      showClipped,
      longSidePx,
      isStale: () => isStale(input),
      onShare: (share) => void Atomics.store(done, 0, Math.round(1000 * share)),
      ...(buffer ? { buffer } : {}),
    },
    openContext(),
  );
  if (!drawn) {
    if (buffer) spare.push(buffer);
    return undefined;
  }
  keepNewest(held, look, drawn, MOST_HELD);
  const { image, dots } = drawn;
  room.set(dots.data);
  return { jpeg: await encodePreview(image, 'dots'), dots: { ...dots, data: room } };
});

export const predictPreview = answering((input: ExactInput): Prediction | undefined => {
  const { prepared, request, name, look } = input;
  const drawn = held.get(look);
  if (!drawn) return undefined;
  held.delete(look);
  try {
    if (isStale(input)) return undefined;
    return predictTicket(prepared, drawn, { job: request, name }, openContext());
  } finally {
    release(drawn, prepared);
  }
});

/** Puts a thing last and forgets the first ones beyond so many. */
function keepNewest<T>(map: Map<string, T>, key: string, made: T, most: number): void {
  map.delete(key);
  map.set(key, made);
  for (const old of [...map.keys()].slice(0, -most)) map.delete(old);
}

export interface LoupeInput {
  readonly dots: Dots;
  readonly request: JobRequest;
  readonly part: Rectangle;
  readonly as: 'dots' | 'surface';
  readonly samples: number;
  readonly average: number;
}

export const loupe = answering(({ dots, request, ...options }: LoupeInput): Promise<Uint8Array> => {
  return enlargePart(dots, { job: request, ...options }, openContext());
});

export interface KeepInput {
  readonly photoPath: string;
  readonly photoFile: string;
  readonly name: string;
  readonly request: JobRequest;
  readonly out: string;
}

/** The files of a job, exactly as the command makes them. Gives their names. */
export const keepJob = answering(async ({ photoPath, photoFile, name, request, out }: KeepInput): Promise<string[]> => {
  const { files } = await preparePhoto(
    { photo: { path: photoPath, file: photoFile }, name, job: request, out, force: true },
    openContext(),
  );
  await releaseMemory();
  return files.map((path) => basename(path));
});

export interface AgainInput {
  /** Entry in the record of what was burned. */
  readonly again: string;
  /** Folder for the results, which are replaced. */
  readonly out: string;
  /** Makes it as things stand now, even where it comes out otherwise. */
  readonly force: boolean;
}

/** The files of a job that was burned, once more. Gives their names, and what has changed where it was forced. */
export const makeAgain = answering(async ({ again, out, force }: AgainInput) => {
  const changes: string[] = [];
  const context = openContext();
  const told = { ...context, warn: (text: string) => void changes.push(text) };
  const { files, warnings } = await prepareAgain({ again, out, folder: facts.shopDir, force, replace: true }, told);
  await releaseMemory();
  return {
    files: files.map((path) => basename(path)),
    changes: changes.filter((text) => !warnings.includes(text)),
  };
});

/** The same numbers in memory that threads share. */
function share<T extends Uint8Array | Uint16Array | Float32Array>(data: T): T {
  const copy = new (data.constructor as new (buffer: SharedArrayBuffer) => T)(new SharedArrayBuffer(data.byteLength));
  copy.set(data);
  return copy;
}
