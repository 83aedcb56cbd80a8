import { join, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  type FrameRequest,
  type LayoutRecord,
  type LayoutSourceRequest,
  type LayPlatesRequest,
  layPlates,
} from '../../tasks/index.ts';
import { isRoundSize, parseLengthOrZeroMm, parseSizeMm } from '../../units.ts';
import type { OptionValues, Outcome, Run } from '../command.ts';
import { textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatSeconds } from '../text.ts';

export const run: Run = async ([jigName], options, commandContext) => {
  const { cwd } = commandContext.io;
  const out = resolve(cwd, textOf(options, 'out')!);
  const given: unknown = options.jobs;
  const places = Array.isArray(given) ? given.map((place) => resolve(cwd, String(place))) : [];
  const source = readLayoutSource(jigName, options);
  const machine = textOf(options, 'machine');
  const profile = textOf(options, 'profile');
  const photos = textOf(options, 'photos');
  if (places.length === 0 && source.kind === 'packed') {
    throw new AppError('option-invalid', 'found neither a jig, nor --grid, nor --jobs, needed at least one of them');
  }
  if (places.length === 0 && source.kind === 'grid' && machine === undefined) {
    throw new AppError('option-invalid', 'found --grid without --machine, needed the machine whose field bounds it');
  }
  const record = await layPlates(
    {
      jobs: places,
      counts: readCounts(textOf(options, 'count')),
      source,
      ...(machine === undefined ? {} : { machine }),
      ...(profile === undefined ? {} : { profile }),
      ...(photos === undefined ? {} : { photos: resolve(cwd, photos) }),
      bitmaps: textOf(options, 'bitmaps') === 'piece' ? 'piece' : 'plate',
      quarterTurns: options.quarterTurns === true,
      strip: options.strip === true,
      correction: readCorrection(options),
      format: (textOf(options, 'format') ?? 'png') as NonNullable<LayPlatesRequest['format']>,
      out,
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  return record.kind === 'jig' ? describeJig(record) : describePlates(record, out);
};

function describeJig({ files, jig }: Extract<LayoutRecord, { kind: 'jig' }>): Outcome {
  const count = jig.pockets.length;
  return {
    json: { files, jig },
    text: alignColumns([
      ...files.map((path) => ['wrote', path]),
      ['jig', `${jig.name}, ${count} ${count === 1 ? 'pocket' : 'pockets'}, ${jig.widthMm} × ${jig.heightMm} mm`],
      ['next', 'read jig.html: it says how to cut and how to align'],
    ]),
  };
}

type PlatesRecord = Extract<LayoutRecord, { kind: 'plates' }>;

function describePlates(record: PlatesRecord, out: string): Outcome {
  return { json: { files: record.files, ...record.plates }, text: writeSummary(record, out) };
}

function writeSummary({ plates: record, files }: PlatesRecord, out: string): string {
  return [
    alignColumns([
      ['wrote', `${files.length} files into ${out}`],
      ['begin', `${join(out, 'plates.html')}: all plates; each has its ticket, each jig its page`],
      ['time', sayTime(record.time)],
    ]),
    '',
    alignColumns(
      record.plates.map(({ name, pieces, burns, time, jig }) => [
        name,
        pieces.length === 1 ? '1 piece' : `${pieces.length} pieces`,
        burns.length === 1 ? '1 bitmap' : `${burns.length} bitmaps`,
        sayTime(time),
        `jig ${jig.name} ${jig.mark}`,
      ]),
    ),
    '',
    ...record.batches.map(({ machine, material, explanation }) => `${material} on ${machine}: ${explanation}`),
    ...record.notes,
  ].join('\n');
}

function sayTime({ seconds, interval }: PlatesRecord['plates']['time']): string {
  return `${formatSeconds(seconds)} (${formatSeconds(interval.lowS)} … ${formatSeconds(interval.highS)})`;
}

/** A jig by name or file, one made from --grid, or none: then pieces are packed freely. */
function readLayoutSource(jigName: string | undefined, options: OptionValues): LayoutSourceRequest {
  const grid = textOf(options, 'grid');
  const own = ['pocket', 'gap', 'rim', 'clearance', 'kerf', 'stop', 'origin', 'yAxis', 'margin'];
  if (jigName !== undefined) {
    const extra = ['grid', ...own].find((name) => textOf(options, name) !== undefined);
    if (extra !== undefined) {
      throw new AppError(
        'option-invalid',
        `found the jig ${jigName} and --${extra === 'yAxis' ? 'y-axis' : extra}, needed one of the two: the jig says it itself`,
      );
    }
    return { kind: 'jig', jig: jigName };
  }
  const pocket = textOf(options, 'pocket');
  if (grid === undefined) {
    if (pocket !== undefined) {
      throw new AppError('option-invalid', 'found --pocket without --grid, needed both, such as --grid 4x3');
    }
    return { kind: 'packed', frame: readFrame(options) };
  }
  const [columns, rows] = readGrid(grid);
  if (pocket === undefined) {
    throw new AppError('option-invalid', 'found --grid without --pocket, needed the size of a pocket such as 85.6x54');
  }
  const size = parseSizeMm(pocket, '--pocket');
  const { widthMm, heightMm } = size;
  return { kind: 'grid', columns, rows, widthMm, heightMm, isRound: isRoundSize(size), frame: readFrame(options) };
}

function readFrame(options: OptionValues): FrameRequest {
  const name = textOf(options, 'name');
  if (name !== undefined && !/^[a-z0-9]+(-[a-z0-9]+)*$/.test(name)) {
    throw new AppError(
      'option-invalid',
      `--name: found "${name}", needed lower-case letters, digits and single hyphens`,
    );
  }
  const given = {
    name,
    gapMm: lengthOf(options, 'gap'),
    marginMm: lengthOf(options, 'margin'),
    rimMm: lengthOf(options, 'rim'),
    clearanceMm: lengthOf(options, 'clearance'),
    kerfMm: lengthOf(options, 'kerf'),
    stop: textOf(options, 'stop'),
    origin: defined({ at: textOf(options, 'origin'), yAxis: textOf(options, 'yAxis') }),
  };
  return defined(given) as FrameRequest;
}

const defined = (record: object) =>
  Object.fromEntries(Object.entries(record).filter(([, value]) => value !== undefined));

function readGrid(text: string): readonly [columns: number, rows: number] {
  const [, columns, rows] = /^\s*(\d{1,3})\s*[x×]\s*(\d{1,3})\s*$/i.exec(text) ?? [];
  if (!(Number(columns) >= 1 && Number(rows) >= 1 && Number(columns) <= 100 && Number(rows) <= 100)) {
    throw new AppError(
      'option-invalid',
      `--grid: found "${text}", needed COLUMNSxROWS from 1x1 to 100x100 such as 4x3`,
    );
  }
  return [Number(columns), Number(rows)];
}

/** `3` for every job, or `cat=3,dog=2`; the key of what is for every job is empty. */
function readCounts(text: string | undefined): ReadonlyMap<string, number> {
  if (text === undefined) return new Map();
  return new Map(
    text.split(',').map((part) => {
      const [, name, count] = /^\s*(?:(.+)=)?\s*(\d{1,4})\s*$/.exec(part) ?? [];
      if (!(Number(count) >= 1)) {
        throw new AppError(
          'option-invalid',
          `--count: found "${part}", needed copies from 1 to 9999 such as 3, or by name such as cat=3,dog=2`,
        );
      }
      return [name?.trim() ?? '', Number(count)] as const;
    }),
  );
}

function readCorrection(options: OptionValues): NonNullable<LayPlatesRequest['correction']> {
  const offset = textOf(options, 'offset');
  const [x, y, more] = (offset ?? '0,0').split(',');
  if (y === undefined || more !== undefined) {
    throw new AppError('option-invalid', `--offset: found "${offset}", needed two lengths x,y such as 0.12,-0.05`);
  }
  return {
    offsetXMm: signedLength(x!, '--offset'),
    offsetYMm: signedLength(y, '--offset'),
    turnDeg: readTurn(options),
  };
}

/** Largest turn that is a measurement. Assumed: beyond it is a mistake, or another way up. */
const MOST_TURN_DEG = 10;

/** Degrees, or a fall over a length such as `0.25/90`. */
function readTurn(options: OptionValues): number {
  const text = textOf(options, 'turn');
  if (text === undefined) return 0;
  const [fall, length, more] = text.split('/').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  const degrees = length === undefined ? fall! : (Math.atan2(fall!, length) * 180) / Math.PI;
  if (!(Math.abs(degrees) <= MOST_TURN_DEG) || more !== undefined || (length !== undefined && !(length > 0))) {
    throw new AppError(
      'option-invalid',
      `--turn: found "${text}", needed degrees clockwise from -${MOST_TURN_DEG} to ${MOST_TURN_DEG}, or a fall over a length such as 0.25/90`,
    );
  }
  return degrees;
}

function signedLength(text: string, what: string): number {
  const [, sign, rest] = /^\s*([+-]?)(.*)$/.exec(text)!;
  return (sign === '-' ? -1 : 1) * parseLengthOrZeroMm(rest!, what);
}

function lengthOf(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined ? undefined : parseLengthOrZeroMm(text, `--${name}`);
}
