import { AppError } from '../errors.ts';
import type { JobRequest, MarksTicket } from '../job/index.ts';
import { type PhotoRequest, type PrepareMarksRequest, preparePhotoMarks } from '../tasks/index.ts';
import type { CommandContext, OptionValues, Outcome } from './command.ts';
import { textOf } from './options.ts';
import { taskContext } from './task-context.ts';
import { alignColumns, formatNumber, formatSeconds } from './text.ts';

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
  ['settings', '--settings'],
  ['power', '--power'],
  ['speed', '--speed'],
  ['rate', '--rate'],
  ['pulse', '--pulse'],
  ['passes', '--passes'],
  ['scan', '--scan'],
] as const;

/** One photo to a bitmap for each mark of a palette, all files or none of them written. */
export async function prepareInMarks(
  request: PhotoRequest & { readonly job: JobRequest },
  options: OptionValues,
  commandContext: CommandContext,
): Promise<Outcome> {
  for (const [name, flag] of SETTLED) {
    if (options[name] === undefined) continue;
    throw new AppError('option-invalid', `found ${flag} beside --marks, needed one of the two: the palette settles it`);
  }
  const by = textOf(options, 'separate') as PrepareMarksRequest['by'];
  const { files, ticket } = await preparePhotoMarks(
    { ...request, palette: textOf(options, 'marks')!, ...(by ? { by } : {}) },
    taskContext(commandContext),
  );
  return { json: { files, ticket }, text: writeOutcome(ticket, files) };
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
