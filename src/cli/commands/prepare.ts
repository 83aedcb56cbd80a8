import { basename, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import type { Ticket } from '../../job/index.ts';
import { sayAtRest } from '../../notices.ts';
import {
  formatMoney,
  type PhotoRequest,
  type PrepareAgainRequest,
  type PreparedRecord,
  prepareAgain,
  preparePhoto,
  readRequest,
  sayExposure,
  tuneForOnePhoto,
} from '../../tasks/index.ts';
import type { Io, OptionValues, Outcome, Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { prepareInMarks } from '../prepare-marks.ts';
import { readPricesOption } from '../prices.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber, formatSeconds } from '../text.ts';

export const run: Run = async ([photoPath], options, commandContext) => {
  tuneForOnePhoto();
  const { io } = commandContext;
  if (textOf(options, 'again') !== undefined) {
    return describe(await prepareAgain(readAgain(photoPath, options, io), taskContext(commandContext)));
  }
  if (photoPath === undefined) throw new AppError('option-invalid', 'found no photo, needed its path');
  if (textOf(options, 'size') === undefined) {
    throw new AppError('option-invalid', 'found no size, needed that of the piece, such as 85.6x54 or card', {
      options: ['size'],
    });
  }
  const path = resolve(io.cwd, photoPath);
  const name = textOf(options, 'name');
  const job = readRequest(options, { folder: io.cwd });
  const request: PhotoRequest = {
    photo: { path, file: basename(path) },
    out: resolve(io.cwd, textOf(options, 'out')!),
    ...(name === undefined ? {} : { name }),
    only: textOf(options, 'only') === 'bitmap' ? 'bitmap' : 'everything',
    force: options.force === true,
  };
  if (textOf(options, 'marks') !== undefined) return prepareInMarks({ ...request, job }, options, commandContext);
  const threads = numberOf(options, 'threads', { min: 1, max: 64, whole: true });
  const record = await preparePhoto(
    { ...request, job, ...readPricesOption(options, io), ...(threads === undefined ? {} : { threads }) },
    taskContext(commandContext),
  );
  return describe(record);
};

/** Options that go with a job that is made again; all else its ticket says. */
const OF_AGAIN = ['again', 'out', 'name', 'only', 'force', 'prices', 'json', 'shop'];

function readAgain(photo: string | undefined, options: OptionValues, io: Io): PrepareAgainRequest {
  const other = Object.keys(options).find((key) => !OF_AGAIN.includes(key) && options[key] !== undefined);
  if (other !== undefined) {
    const flag = other.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
    throw new AppError('option-invalid', `again: found --${flag} beside it, needed none: the ticket says all of it`);
  }
  const name = textOf(options, 'name');
  return {
    again: textOf(options, 'again')!,
    ...(photo === undefined ? {} : { photo }),
    folder: io.cwd,
    out: resolve(io.cwd, textOf(options, 'out')!),
    ...(name === undefined ? {} : { name }),
    only: textOf(options, 'only') === 'bitmap' ? 'bitmap' : 'everything',
    force: options.force === true,
    ...readPricesOption(options, io),
  };
}

function describe({ files, width, height, seconds, warnings, ticket }: PreparedRecord): Outcome {
  return {
    json: ticket ? { files, ticket } : { files, width, height, seconds, warnings },
    text: alignColumns([
      ...files.map((file) => ['wrote', file]),
      ['dots', `${width} × ${height}${ticket ? `, ${formatNumber(100 * ticket.bitmap.firing, 3)} % fire` : ''}`],
      ...(ticket?.program
        ? [
            [
              'program',
              `${ticket.program.blocks} blocks, ${formatNumber(ticket.program.bytes / 1e6, 3)} MB; F${formatNumber(ticket.program.feed)} S${formatNumber(ticket.program.power)}; keep ${formatNumber(ticket.program.runUpMm, 3)} mm free to the left and right`,
            ],
          ]
        : []),
      ...(ticket?.subject ? [['subject', ticket.subject.note]] : []),
      ...(ticket?.tone.metered ? [['tone', ticket.tone.metered.note]] : []),
      ...(ticket?.screen.reason ? [['screen', `${ticket.screen.name}: ${ticket.screen.reason}`]] : []),
      ...(ticket?.evenness ? [['field', ticket.evenness.note]] : []),
      ...(ticket?.heat ? [['heat', ticket.heat.note]] : []),
      ...(ticket?.round ? [['round', ticket.round.note]] : []),
      ...(ticket?.around ? [['around', ticket.around.note]] : []),
      ...(ticket?.power ? [['power', ticket.power.note]] : []),
      ...(ticket ? [['error', sayError(ticket.prediction)]] : []),
      ...(ticket?.uncertainty
        ? [
            ['shape', sayShape(ticket.uncertainty)],
            ['lightness', `of the whole: ${sayExposure(ticket.uncertainty.exposure)}`],
          ]
        : []),
      ...(ticket?.lettering ? listLettering(ticket.lettering) : []),
      ...(ticket?.strip ? [['strip', ticket.strip.note]] : []),
      [
        'time',
        ticket
          ? `${formatSeconds(seconds)}, 95 % between ${formatSeconds(ticket.time.interval.lowS)} and ${formatSeconds(ticket.time.interval.highS)}`
          : formatSeconds(seconds),
      ],
      ...(ticket?.atRest ? [['at rest', sayAtRest(ticket.atRest)]] : []),
      ...(ticket?.price ? [['price', `${formatMoney(ticket.price.grossMinor, ticket.price)} for one`]] : []),
    ]),
  };
}

function listLettering({ caption, artwork }: NonNullable<Ticket['lettering']>): string[][] {
  return [
    ...(caption?.lines.map(({ text, heightMm }) => [
      'words',
      `“${text}”, ${caption.font}, capitals ${formatNumber(heightMm, 3)} mm`,
    ]) ?? []),
    ...(artwork
      ? [['drawing', `${artwork.file}, ${formatNumber(artwork.widthMm, 4)} × ${formatNumber(artwork.heightMm, 4)} mm`]]
      : []),
  ];
}

function sayError({ meanDeltaL, worstDeltaL }: Ticket['prediction']): string {
  return `mean ${formatNumber(meanDeltaL, 2)}, worst ${formatNumber(worstDeltaL, 2)} ΔL* predicted`;
}

function sayShape({ meanL, worstL }: NonNullable<Ticket['uncertainty']>): string {
  return `of the tones: known to ± ${formatNumber(meanL, 2)} L* on average, ± ${formatNumber(worstL, 2)} at worst (95 %)`;
}
