import { join } from 'node:path';
import {
  drawDraft,
  drawLook,
  type ExactLook,
  enlargeDots,
  type JobRequest,
  type JobSpec,
  prepareJob,
  resolveJob,
  type Sight,
  takeSight,
} from '../job/index.ts';
import type { Rectangle } from '../photo/index.ts';
import {
  type Dots,
  decodePhoto,
  encodeColour,
  encodeJpeg,
  type Photo,
  readBytes,
  readColour,
  readPhoto,
  releaseMemory,
  writeFilesAtomic,
} from '../plane/index.ts';
import { readShopPrices } from './prices.ts';
import { answering, facts, openRecords } from './worker-facts.ts';

export * from './worker-bench.ts';
export * from './worker-order.ts';

/** The heavy work, off the server's thread. Each export takes and gives plain data; large planes are shared, not copied. */

const resolveHere = (request: JobRequest): JobSpec => resolveJob(request, openRecords());

/** Long side of the picture of the whole photo that the page shows, pixels. */
const VIEW_PX = 1600;

export interface OpenPhotoInput {
  readonly path: string;
  /** What messages call it. */
  readonly name: string;
  readonly maxPixels: number;
}

export interface OpenedPhoto {
  readonly photo: Photo;
  /** JPEG of the whole photo, small. */
  readonly view: Uint8Array;
}

export const openPhoto = answering(async ({ path, name, maxPixels }: OpenPhotoInput): Promise<OpenedPhoto> => {
  const photo = await decodePhoto(await readBytes(path), name, { maxPixels });
  const scale = Math.min(1, VIEW_PX / Math.max(photo.width, photo.height));
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const width = Math.max(1, Math.round(photo.width * scale));
  const height = Math.max(1, Math.round(photo.height * scale));
  const view = await encodeJpeg(readColour(photo, { crop, width, height }), { quality: 85 });
  const shared = { ...photo, rgb: share(photo.rgb), ...(photo.alpha ? { alpha: share(photo.alpha) } : {}) };
  await releaseMemory();
  return { photo: shared, view };
});

export interface SightInput {
  readonly photo: Photo;
  readonly request: JobRequest;
}

export const takeSightOf = answering(async ({ photo, request }: SightInput): Promise<Sight> => {
  const sight = await takeSight(photo, resolveHere(request));
  return { ...sight, picture: sharePicture(sight.picture), coarse: sharePicture(sight.coarse) };
});

export interface DrawInput {
  readonly sight: Sight;
  readonly request: JobRequest;
  readonly name: string;
  readonly showClipped: boolean;
  /** Number of this request, and the cell that holds the newest one's: an older one stops half way. */
  readonly turn: number;
  readonly newest: Int32Array;
}

export interface Draft {
  readonly jpeg: Uint8Array;
  readonly clippedDark: number;
  readonly clippedLight: number;
}

const isStale = ({ newest, turn }: DrawInput) => Atomics.load(newest, 0) !== turn;

export const draft = answering(async (input: DrawInput): Promise<Draft | undefined> => {
  if (isStale(input)) return undefined;
  const { sight, request, showClipped } = input;
  const { image, clippedDark, clippedLight } = drawDraft(sight, { spec: resolveHere(request), showClipped });
  return { jpeg: await encodeJpeg(image, { quality: 86 }), clippedDark, clippedLight };
});

export type Exact = Draft & Pick<ExactLook, 'dots' | 'facts'>;

export const exact = answering(async (input: DrawInput): Promise<Exact | undefined> => {
  if (isStale(input)) return undefined;
  const { sight, request, name, showClipped } = input;
  const spec = resolveHere(request);
  const prices = readShopPrices(facts.shopDir);
  const look = drawLook(sight, {
    spec,
    name,
    version: facts.version,
    showClipped,
    isStale: () => isStale(input),
    ...(prices ? { prices } : {}),
  });
  if (!look) return undefined;
  const { image, dots, clippedDark, clippedLight, facts: told } = look;
  const jpeg = await encodeJpeg(image, { quality: 90 });
  return { jpeg, dots: { ...dots, data: share(dots.data) }, clippedDark, clippedLight, facts: told };
});

export interface LoupeInput {
  readonly dots: Dots;
  readonly request: JobRequest;
  readonly part: Rectangle;
  readonly as: 'dots' | 'surface';
}

export const loupe = answering(({ dots, request, part, as }: LoupeInput): Promise<Uint8Array> => {
  return encodeColour(enlargeDots(dots, { spec: resolveHere(request), part, as }), { format: 'png', compression: 1 });
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
  const spec = resolveHere(request);
  const { version } = facts;
  const prices = readShopPrices(facts.shopDir);
  const job = await prepareJob(() => readPhoto(photoPath), {
    spec,
    name,
    photoFile,
    version,
    only: 'everything',
    ...(prices ? { prices } : {}),
  });
  await writeFilesAtomic(
    job.files.map(({ name: file, bytes }) => ({ path: join(out, file), bytes })),
    { force: true },
  );
  await releaseMemory();
  return job.files.map((file) => file.name);
});

function sharePicture(picture: Sight['picture']): Sight['picture'] {
  const { light, opaque } = picture;
  return {
    ...picture,
    light: { ...light, data: share(light.data) },
    opaque: opaque && { ...opaque, data: share(opaque.data) },
  };
}

/** The same numbers in memory that threads share. */
function share<T extends Uint8Array | Uint16Array>(data: T): T {
  const copy = new (data.constructor as new (buffer: SharedArrayBuffer) => T)(new SharedArrayBuffer(data.byteLength));
  copy.set(data);
  return copy;
}
