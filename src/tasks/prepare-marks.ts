import { join } from 'node:path';
import { type JobRequest, type MarksTicket, prepareMarks, resolveMarks, type SeparateBy } from '../job/index.ts';
import { readPhoto, refuseResults, writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { nameOfJob, type PhotoRequest } from './prepare-photo.ts';

/** What a palette settles by itself. */
type Settled = 'profile' | 'material' | 'machine' | 'pitchMm' | 'lineSpacingMm' | 'screen' | 'levels' | 'strip' | 'aim';

export interface PrepareMarksRequest extends PhotoRequest {
  /** Palette by its name or the path of its file. */
  readonly palette: string;
  /** What is asked for beside the palette. */
  readonly job: Omit<JobRequest, Settled>;
  /** By lightness or by colour; as the palette is when absent. */
  readonly by?: SeparateBy;
}

export interface PreparedMarksRecord {
  /** Paths of what was written, in its sequence. */
  readonly files: readonly string[];
  readonly ticket: MarksTicket;
}

/**
 * One photo to a bitmap for each mark of a palette: all files are written, or none.
 * @throws AppError those of `resolveMarks` and `readPhoto`; option-invalid for the name; result-exists
 */
export async function preparePhotoMarks(
  request: PrepareMarksRequest,
  context: TaskContext,
): Promise<PreparedMarksRecord> {
  const { photo, out, job, palette, by, only = 'everything', force = false } = request;
  const { shop, version, progress, warn } = context;
  const name = nameOfJob(request);
  const spec = resolveMarks({ ...job, palette, ...(by ? { by } : {}) }, { shop, refused: context.refused() });
  if (only === 'everything') await refuseResults([join(out, `${name}.ticket.json`)], { force });
  const { files, ticket } = await prepareMarks(() => readPhoto(photo.path), {
    spec,
    name,
    photoFile: photo.file,
    version,
    only,
    progress,
  });
  for (const text of ticket.warnings) warn(text);
  progress('writing');
  const written = files.map(({ name: file, bytes }) => ({ path: join(out, file), bytes }));
  await writeFilesAtomic(written, { force });
  return { files: written.map(({ path }) => path), ticket };
}
