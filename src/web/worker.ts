import { join } from 'node:path';
import {
  type DotLook,
  drawDots,
  drawDraft,
  enlargeDots,
  foretell,
  type JobRequest,
  type JobSpec,
  type LookFacts,
  planSightTone,
  prepareJob,
  resolveJob,
  type Sight,
  takeSight,
} from '../job/index.ts';
import { applyToneFields, type Rectangle, type ToneFields } from '../photo/index.ts';
import {
  type Dots,
  decodePhoto,
  encodeColour,
  encodeJpeg,
  type Photo,
  type Plane,
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
  const { picture, coarse, mask } = sight;
  return {
    ...sight,
    picture: sharePicture(picture),
    coarse: sharePicture(coarse),
    mask: mask && { ...mask, data: share(mask.data) },
  };
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

/** What every row of the picture needs; undefined when the tone is done dot by dot, or nobody waits any more. */
export const planTone = answering((input: DrawInput): ToneFields | undefined => {
  if (isStale(input)) return undefined;
  const fields = planSightTone(input.sight, resolveHere(input.request));
  if (!fields) return undefined;
  const shareCells = (cells: ToneFields['gain']) => ({ ...cells, data: share(cells.data) });
  const { gain, offset, blurred } = fields;
  return { ...fields, gain: shareCells(gain), offset: shareCells(offset), blurred: shareCells(blurred) };
});

export interface RowsInput extends Pick<DrawInput, 'turn' | 'newest'> {
  readonly light: Plane<'luminance'>;
  readonly fields: ToneFields;
  readonly out: Plane<'luminance'>;
  readonly from: number;
  readonly to: number;
}

/** Some rows of the toned picture, into memory that is shared with who does the others. */
export const toneRows = answering(({ light, fields, out, from, to, turn, newest }: RowsInput): void => {
  if (Atomics.load(newest, 0) === turn) applyToneFields(light, fields, { out, from, to });
});

export interface ExactInput extends DrawInput {
  /** The toned picture, where its rows are made already. */
  readonly toned?: Plane<'luminance'>;
  /** Name of the look: what it foretells is asked for after it. */
  readonly look: string;
}

/** The last looks, until they are asked what they foretell: the picture is shown first. One a window that is looking. */
const held = new Map<string, DotLook>();
const MOST_HELD = 3;

export const exact = answering(async (input: ExactInput): Promise<{ jpeg: Uint8Array; dots: Dots } | undefined> => {
  if (isStale(input)) return undefined;
  const { sight, request, showClipped, toned, look } = input;
  const spec = resolveHere(request);
  const drawn = drawDots(sight, { spec, showClipped, ...(toned ? { toned } : {}) });
  if (isStale(input)) return undefined;
  held.set(look, drawn);
  for (const old of [...held.keys()].slice(0, -MOST_HELD)) held.delete(old);
  const { image, dots } = drawn;
  return { jpeg: await encodeJpeg(image, { quality: 90 }), dots: { ...dots, data: share(dots.data) } };
});

export const foretellLook = answering(({ sight, request, name, look }: ExactInput): LookFacts | undefined => {
  const drawn = held.get(look);
  if (!drawn) return undefined;
  held.delete(look);
  const prices = readShopPrices(facts.shopDir);
  const { version } = facts;
  return foretell(sight, drawn, { spec: resolveHere(request), name, version, ...(prices ? { prices } : {}) });
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
function share<T extends Uint8Array | Uint16Array | Float32Array>(data: T): T {
  const copy = new (data.constructor as new (buffer: SharedArrayBuffer) => T)(new SharedArrayBuffer(data.byteLength));
  copy.set(data);
  return copy;
}
