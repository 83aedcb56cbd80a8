import { basename, join } from 'node:path';
import { AppError } from '../errors.ts';
import { type JobRequest, type MarksTicket, prepareMarks, resolveMarks, type SeparateBy } from '../job/index.ts';
import { readPhoto, refuseResults, writeFilesAtomic } from '../plane/index.ts';
import type { OptionValues, Outcome, Surroundings } from './command.ts';
import { textOf } from './options.ts';
import { readRefused } from './refused.ts';
import { alignColumns, formatNumber, formatSeconds } from './text.ts';
import { version } from './version.ts';

/** Options that a palette settles, or that belong to one bitmap only. */
const SETTLED = [
  ['profile', '--profile'],
  ['material', '--material'],
  ['machine', '--machine'],
  ['pitch', '--pitch'],
  ['spacing', '--spacing'],
  ['screen', '--screen'],
  ['levels', '--levels'],
  ['strip', '--strip'],
  ['stripJoined', '--strip-joined'],
  ['aim', '--aim'],
] as const;

export interface MarksFileJob {
  readonly path: string;
  readonly out: string;
  readonly name: string;
  /** What the options ask for beside the palette. */
  readonly request: JobRequest;
  readonly options: OptionValues;
}

/** One photo to a bitmap for each mark of a palette, all files or none of them written. */
export async function prepareInMarks(
  { path, out, name: jobName, request, options }: MarksFileJob,
  { shop, warn, progress }: Surroundings,
): Promise<Outcome> {
  for (const [name, flag] of SETTLED) {
    if (options[name] === undefined) continue;
    throw new AppError('option-invalid', `found ${flag} beside --marks, needed one of the two: the palette settles it`);
  }
  const by = textOf(options, 'separate') as SeparateBy | undefined;
  const spec = resolveMarks(
    { ...request, palette: textOf(options, 'marks')!, ...(by ? { by } : {}) },
    { shop, refused: readRefused(shop) },
  );
  const only = textOf(options, 'only') === 'bitmap' ? 'bitmap' : 'everything';
  const force = options.force === true;
  if (only === 'everything') await refuseResults([join(out, `${jobName}.ticket.json`)], { force });
  const { files, ticket } = await prepareMarks(() => readPhoto(path), {
    spec,
    name: jobName,
    photoFile: basename(path),
    version,
    only,
    progress,
  });
  for (const text of ticket.warnings) warn(text);
  progress('writing');
  const written = files.map(({ name, bytes }) => ({ path: join(out, name), bytes }));
  await writeFilesAtomic(written, { force });
  const paths = written.map((file) => file.path);
  return { json: { files: paths, ticket }, text: writeOutcome(ticket, paths) };
}

function writeOutcome({ burns, seconds, prediction, grid }: MarksTicket, paths: readonly string[]): string {
  return [
    alignColumns([
      ...paths.map((file) => ['wrote', file]),
      ['dots', `${grid.width} × ${grid.height}`],
      [
        'error',
        `mean ${formatNumber(prediction.meanDeltaE, 2)}, 95 % below ${formatNumber(prediction.p95DeltaE, 2)} ΔE`,
      ],
      ['time', `${formatSeconds(seconds)} for ${burns.length} burns`],
    ]),
    alignColumns([
      ['BURN', 'MARK', 'POWER', 'SPEED', 'DOTS', 'TIME'],
      ...burns.map(({ order, mark, settings, firing, time }) => [
        String(order),
        mark,
        `${formatNumber(settings.powerW, 3)} W`,
        `${formatNumber(settings.speedMmPerS, 4)} mm/s`,
        `${(100 * firing).toFixed(1)} %`,
        formatSeconds(time.seconds),
      ]),
    ]),
  ].join('\n\n');
}
