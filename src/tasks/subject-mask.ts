import { join } from 'node:path';
import { AppError } from '../errors.ts';
import { drawSubjectShare, type JobRequest, resolveJob } from '../job/index.ts';
import {
  decodePhoto,
  encodeColour,
  makeFolder,
  type Photo,
  readInputSync,
  sha256,
  writeFilesAtomic,
} from '../plane/index.ts';
import type { TaskContext } from './context.ts';

/*
 * The picture that says what of a photo is the subject, painted by hand: a file like every other input of a job, and
 * named by what it holds, so that what was taken back can be had again.
 */

/** Folder of the masks, beside the photos of a job or an order. */
const FOLDER = 'masks';
const NAME = /^mask-[0-9a-f]{16}\.png$/;
/** Pixels of a mask, at most. Assumed: sixteen times what a page paints on. */
const MOST_PIXELS = 4e6;

/** Whether a text is the name of a mask, as `keepSubjectMask` gives it, and never a path. */
export const isMaskName = (text: string): boolean => NAME.test(text);

/** The path of a mask from its photo's folder: what a list of an order says. @throws AppError option-invalid */
export function locateMask(name: string): string {
  if (!isMaskName(name)) throw new AppError('option-invalid', `subject: found "${name}", needed the name of a mask`);
  return `${FOLDER}/${name}`;
}

/**
 * Keeps a mask beside a photo, as long as the photo is kept: a step that was taken back may be made again.
 * @returns its name
 * @throws AppError image-* for what is no picture; path-unwritable
 */
export async function keepSubjectMask(folder: string, bytes: Uint8Array): Promise<string> {
  await decodePhoto(Buffer.from(bytes), 'the mask', { maxPixels: MOST_PIXELS });
  const name = `mask-${sha256(bytes).slice(0, 16)}.png`;
  const masks = join(folder, FOLDER);
  await makeFolder(masks);
  await writeFilesAtomic([{ path: join(masks, name), bytes }], { force: true });
  return name;
}

/** @throws AppError option-invalid for what is no name of a mask; path-missing */
export function readSubjectMask(folder: string, name: string): Buffer {
  const path = join(folder, locateMask(name));
  return readInputSync(path, { kind: 'picture', label: name, needed: 'a mask of the subject' });
}

/**
 * What a photo's subject is as far as it is known, as a picture to paint on: see `drawSubjectShare`.
 * @throws AppError those of `resolveJob`
 */
export async function drawSubjectMask(
  photo: Photo,
  job: JobRequest,
  { shop, refused }: Pick<TaskContext, 'shop' | 'refused'>,
): Promise<Uint8Array> {
  const spec = resolveJob(job, { shop, refused: refused() });
  return encodeColour(await drawSubjectShare(photo, spec), { format: 'png' });
}
