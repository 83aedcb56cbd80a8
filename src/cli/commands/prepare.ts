import { basename, extname, join, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  filesOfPiece,
  findNameFault,
  formatMoney,
  type JobRequest,
  type JobSpec,
  type PriceList,
  prepareJob,
  resolveJob,
  sayExposure,
  type Ticket,
} from '../../job/index.ts';
import { TONE_FIELDS, type ToneOptions } from '../../photo/index.ts';
import {
  type ChannelWeights,
  type DotFormat,
  keepHeapSmall,
  readPhoto,
  refuseResults,
  writeFilesAtomic,
} from '../../plane/index.ts';
import type { ScreenOptions } from '../../screens/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { OptionValues, Outcome, Run, Surroundings } from '../command.ts';
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
  const name = readName(textOf(options, 'name')) ?? basename(path, extname(path));
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
  if (!force) await refuseResults((only === 'bitmap' ? wanted.slice(0, 1) : wanted).map((file) => join(out, file)));
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
  await writeFilesAtomic(files, { force });
  // The same job settings give the same strip, so keeping it again changes nothing; `check` then finds it by its tags.
  if (job.stripLayout && shop.shopDir !== undefined) {
    await shop.write('charts', job.stripLayout.hash, job.stripLayout, { force: true });
  }
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

/** The request that a command's options make. */
export function readRequest(options: OptionValues): JobRequest {
  const lengths = {
    pitchMm: autoLength(options, 'pitch'),
    lineSpacingMm: autoLength(options, 'spacing'),
    cornerRadiusMm: lengthOrZero(options, 'corner'),
    safeMarginMm: lengthOrZero(options, 'margin'),
    viewingDistanceMm:
      textOf(options, 'distance') === undefined ? undefined : parseLengthMm(textOf(options, 'distance')!, '--distance'),
  };
  const texts = {
    profile: textOf(options, 'profile'),
    material: textOf(options, 'material'),
    machine: textOf(options, 'machine'),
    screen: textOf(options, 'screen'),
    fit: textOf(options, 'fit') as JobRequest['fit'],
    tone: textOf(options, 'tone') as JobRequest['tone'],
    range: textOf(options, 'range') as JobRequest['range'],
    aim: textOf(options, 'aim'),
    text: textOf(options, 'text'),
    format: textOf(options, 'format') as DotFormat | undefined,
    strip: options.stripJoined === true ? ('joined' as const) : options.strip === true ? ('apart' as const) : undefined,
  };
  const rest = {
    levels: numberOf(options, 'levels', { min: 2, max: 256, whole: true }),
    focus: readFocus(textOf(options, 'focus')),
    weights: readWeights(textOf(options, 'weights')),
    toneValues: readToneValues(options),
    screenOptions: readScreenOptions(options),
  };
  return dropAbsent({ size: textOf(options, 'size')!, ...lengths, ...texts, ...rest });
}

/** @throws AppError option-invalid */
export function readName(text: string | undefined): string | undefined {
  const fault = text === undefined ? undefined : findNameFault(text);
  if (fault) throw new AppError('option-invalid', `--name: found "${text}", needed ${fault}`);
  return text;
}

/** The name of a tone value as an option: `blackPointL` → `blackPointL` in commander, `--black-point-l` for people. */
function readToneValues(options: OptionValues): Partial<ToneOptions> {
  const names = Object.keys(TONE_FIELDS) as (keyof ToneOptions)[];
  return dropAbsent(
    Object.fromEntries(
      names.map((name) => {
        const { min, max, unit } = TONE_FIELDS[name];
        return [name, numberOf(options, name, { min, max, unit })];
      }),
    ),
  );
}

function readScreenOptions(options: OptionValues): Partial<ScreenOptions> {
  return dropAbsent({
    scan: options.serpentine === true ? 'serpentine' : options.raster === true ? 'raster' : undefined,
    errorOf: options.modelBased === true ? 'marks' : undefined,
    edges: numberOf(options, 'edges', { min: 0, max: 4 }),
    response: textOf(options, 'response') as ScreenOptions['response'] | undefined,
    run: numberOf(options, 'run', { min: 1, max: 32, whole: true, unit: 'dots' }),
    dotSize: numberOf(options, 'dotSize', { min: 0, max: 3, unit: 'dots' }),
    cluster: numberOf(options, 'cluster', { min: 1, max: 64, whole: true, unit: 'dots' }),
    linesPerCm: numberOf(options, 'linesPerCm', { min: 1, max: 500, unit: 'lines per cm' }),
    angleDeg: numberOf(options, 'angle', { min: -360, max: 360, unit: 'degrees' }),
    shape: textOf(options, 'shape') as ScreenOptions['shape'] | undefined,
    size: numberOf(options, 'matrix', { min: 2, max: 256, whole: true, unit: 'dots' }),
    seed: numberOf(options, 'seed', { min: 0, max: 2 ** 32 - 1, whole: true }),
  });
}

function autoLength(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined || text === 'auto' ? undefined : parseLengthMm(text, `--${name}`);
}

function lengthOrZero(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  if (text === undefined) return undefined;
  return /^\s*0+(\.0*)?\s*(mm|um|µm|cm|in)?\s*$/i.test(text) ? 0 : parseLengthMm(text, `--${name}`);
}

function readFocus(text: string | undefined): JobRequest['focus'] {
  if (text === undefined) return undefined;
  const [x, y, more] = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (!(x! >= 0 && x! <= 1 && y! >= 0 && y! <= 1) || more !== undefined) {
    throw new AppError('option-invalid', `--focus: found "${text}", needed two shares from 0 to 1 such as 0.5,0.4`);
  }
  return { x: x!, y: y! };
}

function readWeights(text: string | undefined): ChannelWeights | undefined {
  if (text === undefined) return undefined;
  const weights = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  if (weights.length !== 3 || !weights.every((weight) => weight >= 0) || !(sum > 0)) {
    throw new AppError(
      'option-invalid',
      `--weights: found "${text}", needed three shares of red, green and blue such as 0.3,0.6,0.1`,
    );
  }
  return [weights[0]! / sum, weights[1]! / sum, weights[2]! / sum];
}

type Given<T> = { [K in keyof T]?: Exclude<T[K], undefined> };

function dropAbsent<T extends object>(
  record: T,
): Given<T> & { [K in keyof T as undefined extends T[K] ? never : K]: T[K] } {
  return Object.fromEntries(Object.entries(record).filter(([, value]) => value !== undefined)) as never;
}
