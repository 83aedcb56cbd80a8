import { basename, extname, join } from 'node:path';
import { AppError } from '../errors.ts';
import {
  filesOfPiece,
  findNameFault,
  type Job,
  type JobRequest,
  prepareJob,
  resolveJob,
  shortenName,
  type Ticket,
} from '../job/index.ts';
import { settleNotices } from '../notices.ts';
import { readPhoto, refuseResults, writeFilesAtomic } from '../plane/index.ts';
import { SCREENS } from '../screens/index.ts';
import type { TaskContext } from './context.ts';
import { keepLayout } from './keep-layout.ts';
import { readPrices } from './prices.ts';
import { openSearchThreads } from './search-threads.ts';

/** One photo and where its files go. */
export interface PhotoRequest {
  /** `file` is what the ticket calls the photo: the name under which it came. */
  readonly photo: { readonly path: string; readonly file: string };
  /** Folder for the results; made when it is not there. */
  readonly out: string;
  /** Name of the job and of its files, without ending; the photo's when absent. */
  readonly name?: string;
  /** `bitmap` leaves out proof and ticket; everything when absent. */
  readonly only?: 'everything' | 'bitmap';
  /** Replaces results of the name. */
  readonly force?: boolean;
}

export interface PreparePhotoRequest extends PhotoRequest {
  readonly job: JobRequest;
  /** Path of a price list, or `none`; the shop's own when absent. */
  readonly prices?: string;
  /** Looks at what was made before anything is written, and throws to keep it from being. */
  readonly accept?: (job: Job) => void;
  /** Threads for a screen that searches; as many as there are processors when absent. */
  readonly threads?: number;
}

export interface PreparedRecord {
  /** Paths of what was written, in its sequence. */
  readonly files: readonly string[];
  readonly width: number;
  readonly height: number;
  readonly seconds: number;
  readonly warnings: readonly string[];
  /** Absent when only the bitmap was asked for. */
  readonly ticket?: Ticket;
}

/**
 * One photo from its file to the files of the job: all of them are written, or none.
 * @throws AppError those of `resolveJob`, `readPrices` and `readPhoto`; option-invalid for the name; result-exists
 */
export async function preparePhoto(request: PreparePhotoRequest, context: TaskContext): Promise<PreparedRecord> {
  const { photo, out, force = false } = request;
  const { shop, version, progress, warn } = context;
  const only = request.only ?? 'everything';
  const name = nameOfJob(request);
  const spec = resolveJob(request.job, { shop, refused: context.refused() });
  const said = settleNotices(spec.warnings, spec.atRest).speaking;
  for (const { text } of said) warn(text);
  const prices = only === 'bitmap' ? undefined : readPrices(request.prices, shop);
  await refuseResults(
    filesOfPiece(name, spec).map((file) => join(out, file)),
    { force },
  );
  const pool = SCREENS[spec.screen.name].family === 'search' ? openSearchThreads(request.threads) : undefined;
  const job = await prepareJob(() => readPhoto(photo.path), {
    spec,
    name,
    photoFile: photo.file,
    version,
    only,
    progress,
    ...(prices ? { prices } : {}),
    ...(pool ? { searchBands: pool.searchBands } : {}),
  }).finally(() => pool?.close());
  request.accept?.(job);
  for (const text of job.warnings.slice(said.length)) warn(text);
  progress('writing');
  const files = job.files.map(({ name: file, bytes }) => ({ path: join(out, file), bytes }));
  const paths = files.map(({ path }) => path);
  // What an earlier result of the name has that this one has not: a ticket of another bitmap is worse than none.
  const all = filesOfPiece(name, { format: spec.format, strip: 'apart' }).map((file) => join(out, file));
  const outdated = force ? { outdated: all.filter((path) => !paths.includes(path)) } : {};
  await writeFilesAtomic(files, { force, ...outdated });
  if (job.stripLayout) await keepLayout(job.stripLayout, { shop, warn });
  const { width, height, seconds, warnings, ticket } = job;
  return { files: paths, width, height, seconds, warnings, ...(ticket ? { ticket } : {}) };
}

/**
 * The name that is asked for, else that of the photo's file without its ending, cut where it is too long.
 * @throws AppError option-invalid for a name that cannot be that of files
 */
export function nameOfJob({ name, photo: { path } }: Pick<PhotoRequest, 'name' | 'photo'>): string {
  const wanted = name ?? shortenName(basename(path, extname(path)));
  const fault = findNameFault(wanted);
  if (!fault) return wanted;
  throw name === undefined
    ? new AppError('option-invalid', `${path}: found the name "${wanted}", needed ${fault}; give the job another name`)
    : new AppError('option-invalid', `the name of the job: found "${wanted}", needed ${fault}`);
}
