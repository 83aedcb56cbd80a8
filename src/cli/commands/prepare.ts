import { basename, extname, join, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  filesOfPiece,
  findNameFault,
  formatMoney,
  type JobSpec,
  type PriceList,
  prepareJob,
  resolveJob,
  sayExposure,
  shortenName,
  type Ticket,
} from '../../job/index.ts';
import { keepHeapSmall, readPhoto, refuseResults, writeFilesAtomic } from '../../plane/index.ts';
import { keepLayout, readRequest } from '../../tasks/index.ts';
import type { Outcome, Run, Surroundings } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { prepareInMarks } from '../prepare-marks.ts';
import { readPrices } from '../prices.ts';
import { readRefused } from '../refused.ts';
import { openSearchThreads } from '../search-threads.ts';
import { alignColumns, formatNumber, formatSeconds } from '../text.ts';
import { version } from '../version.ts';

export const run: Run = async ([photoPath], options, surroundings) => {
  keepHeapSmall();
  const { io, warn } = surroundings;
  const path = resolve(io.cwd, photoPath!);
  const out = resolve(io.cwd, textOf(options, 'out')!);
  const name = readName(textOf(options, 'name')) ?? nameAfter(path);
  const request = readRequest(options);
  if (textOf(options, 'marks') !== undefined)
    return prepareInMarks({ path, out, name, request, options }, surroundings);
  const spec = resolveJob(request, { shop: surroundings.shop, refused: readRefused(surroundings.shop) });
  for (const text of spec.warnings) warn(text);
  const only = textOf(options, 'only') === 'bitmap' ? 'bitmap' : 'everything';
  const threads = numberOf(options, 'threads', { min: 1, max: 64, whole: true });
  const force = options.force === true;
  const prices = only === 'bitmap' ? undefined : readPrices(options, surroundings);
  const given = { ...(threads ? { threads } : {}), ...(prices ? { prices } : {}) };
  return prepareFile({ path, out, name, spec, only, force, ...given }, surroundings);
};

interface FileJob {
  readonly path: string;
  readonly out: string;
  readonly name: string;
  readonly spec: JobSpec;
  readonly only: 'bitmap' | 'everything';
  readonly force: boolean;
  /** Threads for a screen that searches; as many as there are processors when absent. */
  readonly threads?: number;
  readonly prices?: PriceList;
}

/** One photo from its file to the files of the job, all or none of them written. */
export async function prepareFile(
  { path, out, name, spec, only, force, threads, prices }: FileJob,
  { shop, warn, progress }: Surroundings,
): Promise<Outcome> {
  const known = spec.warnings.length;
  const wanted = filesOfPiece(name, spec);
  await refuseResults(
    wanted.map((file) => join(out, file)),
    { force },
  );
  const pool = spec.screen.name === 'direct-search' ? openSearchThreads(threads) : undefined;
  const job = await prepareJob(() => readPhoto(path), {
    spec,
    name,
    photoFile: basename(path),
    version,
    only,
    progress,
    ...(prices ? { prices } : {}),
    ...(pool ? { searchBands: pool.searchBands } : {}),
  }).finally(() => pool?.close());
  for (const text of job.warnings.slice(known)) warn(text);
  progress('writing');
  const files = job.files.map(({ name: file, bytes }) => ({ path: join(out, file), bytes }));
  await writeFilesAtomic(files, { force, ...(force ? { outdated: listOutdated(files, { name, out, spec }) } : {}) });
  if (job.stripLayout) await keepLayout(job.stripLayout, { shop, warn });
  const { width, height, seconds, warnings, ticket } = job;
  const paths = files.map((file) => file.path);
  return {
    json: ticket ? { files: paths, ticket } : { files: paths, width, height, seconds, warnings },
    text: alignColumns([
      ...paths.map((file) => ['wrote', file]),
      ['dots', `${width} × ${height}${ticket ? `, ${formatNumber(100 * ticket.bitmap.firing, 3)} % fire` : ''}`],
      ...(ticket?.screen.reason ? [['screen', `${ticket.screen.name}: ${ticket.screen.reason}`]] : []),
      ...(ticket ? [['error', sayError(ticket.prediction)]] : []),
      ...(ticket?.uncertainty
        ? [
            ['shape', sayShape(ticket.uncertainty)],
            ['lightness', `of the whole: ${sayExposure(ticket.uncertainty.exposure)}`],
          ]
        : []),
      ...(ticket?.strip ? [['strip', ticket.strip.note]] : []),
      [
        'time',
        ticket
          ? `${formatSeconds(seconds)}, 95 % between ${formatSeconds(ticket.time.interval.lowS)} and ${formatSeconds(ticket.time.interval.highS)}`
          : formatSeconds(seconds),
      ],
      ...(ticket?.price ? [['price', `${formatMoney(ticket.price.grossMinor, ticket.price)} for one`]] : []),
    ]),
  };
}

function sayError({ meanDeltaL, worstDeltaL }: Ticket['prediction']): string {
  return `mean ${formatNumber(meanDeltaL, 2)}, worst ${formatNumber(worstDeltaL, 2)} ΔL* predicted`;
}

function sayShape({ meanL, worstL }: NonNullable<Ticket['uncertainty']>): string {
  return `of the tones: known to ± ${formatNumber(meanL, 2)} L* on average, ± ${formatNumber(worstL, 2)} at worst (95 %)`;
}

/** What an earlier result of the name may have that this one has not: a ticket of another bitmap is worse than none. */
function listOutdated(
  files: readonly { readonly path: string }[],
  { name, out, spec }: Pick<FileJob, 'name' | 'out' | 'spec'>,
): readonly string[] {
  const written = new Set(files.map(({ path }) => path));
  const all = filesOfPiece(name, { format: spec.format, strip: 'apart' });
  return all.map((file) => join(out, file)).filter((path) => !written.has(path));
}

/** The name of a photo's file without its ending, cut where it is too long. @throws AppError option-invalid */
function nameAfter(path: string): string {
  const name = shortenName(basename(path, extname(path)));
  const fault = findNameFault(name);
  if (!fault) return name;
  throw new AppError('option-invalid', `${path}: found the name "${name}", needed ${fault}; give another with --name`);
}

/** @throws AppError option-invalid */
export function readName(text: string | undefined): string | undefined {
  const fault = text === undefined ? undefined : findNameFault(text);
  if (fault) throw new AppError('option-invalid', `--name: found "${text}", needed ${fault}`);
  return text;
}
