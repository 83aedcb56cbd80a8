import { existsSync, readdirSync, statSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  type Bed,
  type JobTicket,
  makeJig,
  makePlates,
  type PlateJob,
  type Plates,
  parseJobTicket,
  parseOrderForPlates,
  readMachine,
  readProfile,
  STRIP_ROOM,
} from '../../job/index.ts';
import type { Machine } from '../../machine/index.ts';
import { readJson, type Shop } from '../../material/index.ts';
import { type DotFormat, decodeDotsBytes, readBitmapFile, sha256, writeFilesAtomic } from '../../plane/index.ts';
import {
  type Corner,
  type Correction,
  type FrameOptions,
  JIG_DEFAULTS,
  type Jig,
  layoutGrid,
  type Origin,
  parseJig,
} from '../../plate/index.ts';
import { keepLayout } from '../../tasks/index.ts';
import { parseLengthMm, parseSizeMm } from '../../units.ts';
import type { OptionValues, Run, Surroundings } from '../command.ts';
import { textOf } from '../options.ts';
import { alignColumns, formatSeconds } from '../text.ts';
import { version } from '../version.ts';

export const run: Run = async ([jigName], options, surroundings) => {
  const { io, shop, warn, progress } = surroundings;
  const out = resolve(io.cwd, textOf(options, 'out')!);
  const jobs = readJobs(options, surroundings);
  const asked = textOf(options, 'machine');
  const machine = asked === undefined ? undefined : readMachine(asked, shop);
  const stranger = jobs.find(({ ticket }) => machine !== undefined && ticket.machine.name !== machine.name);
  if (stranger) {
    throw new AppError(
      'option-invalid',
      `--machine: found ${asked}, but ${stranger.ticket.name} was prepared for ${stranger.ticket.machine.name}; prepare the photo for that machine`,
    );
  }
  const bed = chooseBed(jigName, { options, asked: machine, jobs, shop });
  const common = {
    correction: readCorrection(options),
    format: (textOf(options, 'format') ?? 'png') as DotFormat,
    version,
  };
  const write = async (files: readonly { readonly name: string; readonly bytes: Uint8Array | string }[]) => {
    progress('writing');
    const paths = files.map(({ name, bytes }) => ({ path: join(out, name), bytes }));
    await writeFilesAtomic(paths, { force: options.force === true });
    return paths.map(({ path }) => path);
  };
  if (jobs.length === 0) {
    if (bed.kind === 'packed') {
      throw new AppError('option-invalid', 'found neither a jig, nor --grid, nor --jobs, needed at least one of them');
    }
    const files = await write(makeJig(bed.jig, { ...common, machine: machineOfJig(bed.jig, machine, shop) }));
    return {
      json: { files, jig: bed.jig },
      text: alignColumns([
        ...files.map((path) => ['wrote', path]),
        ['jig', `${bed.jig.name}, ${sayPockets(bed.jig.pockets.length)}, ${bed.jig.widthMm} × ${bed.jig.heightMm} mm`],
        ['next', 'read jig.html: it says how to cut and how to align'],
      ]),
    };
  }
  const plates = await makePlates(jobs, {
    ...common,
    bed,
    bitmaps: (textOf(options, 'bitmaps') ?? 'plate') as 'plate' | 'piece',
    quarterTurns: options.quarterTurns === true,
    strip: options.strip === true,
    readMachine: (name) => (machine?.name === name ? machine : readMachine(name, shop)),
    readProfile: (name) => readProfile(textOf(options, 'profile') ?? name, shop),
    progress,
  });
  for (const ticket of plates.record.plates) for (const text of ticket.warnings) warn(text);
  const files = await write(plates.files);
  for (const layout of plates.stripLayouts) await keepLayout(layout, { shop, warn });
  return { json: { files, ...plates.record }, text: writeSummary(plates, out) };
};

function writeSummary({ record, files }: Plates, out: string): string {
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
    ...record.lots.map(({ machine, material, explanation }) => `${material} on ${machine}: ${explanation}`),
    ...record.notes,
  ].join('\n');
}

function sayTime({ seconds, interval }: Plates['record']['time']): string {
  return `${formatSeconds(seconds)} (${formatSeconds(interval.lowS)} … ${formatSeconds(interval.highS)})`;
}

interface BedFacts {
  readonly options: OptionValues;
  readonly asked: Machine | undefined;
  readonly jobs: readonly PlateJob[];
  readonly shop: Shop;
}

/** A jig by name or file, one made from --grid, or none: then pieces are packed freely. */
function chooseBed(jigName: string | undefined, { options, asked, jobs, shop }: BedFacts): Bed {
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
    const { json, path } = shop.read('jigs', jigName);
    return { kind: 'jig', jig: parseJig(json, path) };
  }
  const strip = options.strip === true ? { strip: STRIP_ROOM } : {};
  if (grid === undefined) {
    if (textOf(options, 'pocket') !== undefined) {
      throw new AppError('option-invalid', 'found --pocket without --grid, needed both, such as --grid 4x3');
    }
    return { kind: 'packed', frame: readFrame(options, { name: 'packed', title: 'Packed plate' }), ...strip };
  }
  const [columns, rows] = readGrid(grid);
  const pocket = textOf(options, 'pocket');
  if (pocket === undefined) {
    throw new AppError('option-invalid', 'found --grid without --pocket, needed the size of a pocket such as 85.6x54');
  }
  const { widthMm, heightMm } = parseSizeMm(pocket, '--pocket');
  const machine = asked ?? (jobs[0] && readMachine(jobs[0].ticket.machine.name, shop));
  if (machine === undefined) {
    throw new AppError('option-invalid', 'found --grid without --machine, needed the machine whose field bounds it');
  }
  const name = `grid-${columns}x${rows}`;
  const title = `${columns} × ${rows} pockets of ${widthMm} × ${heightMm} mm`;
  const jig = layoutGrid({
    ...readFrame(options, { name, title }),
    machine: machine.name,
    columns,
    rows,
    pocketWidthMm: widthMm,
    pocketHeightMm: heightMm,
    fieldMm: machine.fieldMm,
    machineTitle: machine.name,
    ...strip,
  });
  return { kind: 'jig', jig };
}

function readFrame(options: OptionValues, { name, title }: Pick<FrameOptions, 'name' | 'title'>): FrameOptions {
  const given = textOf(options, 'name');
  if (given !== undefined && !/^[a-z0-9]+(-[a-z0-9]+)*$/.test(given)) {
    throw new AppError(
      'option-invalid',
      `--name: found "${given}", needed lower-case letters, digits and single hyphens`,
    );
  }
  return {
    name: given ?? name,
    title: given ?? title,
    gapMm: lengthOf(options, 'gap') ?? JIG_DEFAULTS.gapMm,
    marginMm: lengthOf(options, 'margin') ?? JIG_DEFAULTS.marginMm,
    rimMm: lengthOf(options, 'rim') ?? JIG_DEFAULTS.rimMm,
    clearanceMm: lengthOf(options, 'clearance') ?? JIG_DEFAULTS.clearanceMm,
    kerfMm: lengthOf(options, 'kerf') ?? JIG_DEFAULTS.kerfMm,
    stop: (textOf(options, 'stop') ?? JIG_DEFAULTS.stop) as Corner,
    origin: {
      at: (textOf(options, 'origin') ?? JIG_DEFAULTS.origin.at) as Origin['at'],
      yAxis: (textOf(options, 'yAxis') ?? JIG_DEFAULTS.origin.yAxis) as Origin['yAxis'],
    },
  };
}

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

function machineOfJig(jig: Jig, asked: Machine | undefined, shop: Shop): Machine {
  if (asked && jig.machine !== undefined && asked.name !== jig.machine) {
    throw new AppError(
      'option-invalid',
      `--machine: found ${asked.name}, but the jig ${jig.name} lies under ${jig.machine}`,
    );
  }
  if (asked) return asked;
  if (jig.machine === undefined) {
    throw new AppError('option-invalid', `found the jig ${jig.name} without a machine, needed --machine`);
  }
  return readMachine(jig.machine, shop);
}

/** Finished jobs from folders and ticket files, in the sequence of an order or by name. */
function readJobs(options: OptionValues, { io, warn }: Surroundings): PlateJob[] {
  const given: unknown = options.jobs;
  const places = Array.isArray(given) ? given.map(String) : [];
  const counts = readCounts(textOf(options, 'count'));
  const jobs: PlateJob[] = [];
  for (const place of places) {
    const path = resolve(io.cwd, place);
    if (!existsSync(path)) throw new AppError('path-missing', `--jobs: found nothing at ${path}`, { path });
    jobs.push(...(statSync(path).isDirectory() ? readFolder(path, warn) : [toJob(path, NOT_ORDERED)]));
  }
  const names = jobs.map(({ ticket }) => ticket.name);
  const twice = names.find((name, at) => names.indexOf(name) !== at);
  if (twice !== undefined) {
    throw new AppError('option-invalid', `--jobs: found two jobs "${twice}", needed names that differ`);
  }
  for (const name of counts.keys()) {
    if (name !== '' && !names.includes(name)) {
      throw new AppError('option-invalid', `--count: found no job "${name}"; there are ${names.join(', ') || 'none'}`);
    }
  }
  return jobs.map((job) => {
    const count = counts.get(job.ticket.name) ?? counts.get('') ?? job.count;
    // What other numbers cost is for the order to say: set-up and quantity steps are in its prices.
    return count === job.count ? job : { ...job, count, price: null };
  });
}

const sayPockets = (count: number) => `${count} ${count === 1 ? 'pocket' : 'pockets'}`;

const NOT_ORDERED = { count: 1, text: null, price: null };

function readFolder(folder: string, warn: (text: string) => void): PlateJob[] {
  const orderPath = join(folder, 'order.json');
  if (existsSync(orderPath)) {
    const { jobs, failed } = parseOrderForPlates(readJson(orderPath), orderPath);
    if (failed.length > 0) warn(`${orderPath}: ${failed.join(', ')} failed and lie on no plate`);
    return jobs.map(({ ticketFile, ...ordered }) => toJob(join(folder, ticketFile), ordered));
  }
  const tickets = readdirSync(folder)
    .filter((file) => file.endsWith('.ticket.json') && !/^plate-\d+\.ticket\.json$/.test(file))
    .sort();
  if (tickets.length === 0) {
    throw new AppError('path-missing', `--jobs: found neither order.json nor a .ticket.json in ${folder}`, { folder });
  }
  return tickets.map((file) => toJob(join(folder, file), NOT_ORDERED));
}

function toJob(path: string, { count, text, price }: Pick<PlateJob, 'count' | 'text' | 'price'>): PlateJob {
  const ticket = parseJobTicket(readJson(path), path);
  return { ticket, count, text, price, load: () => loadDots(join(dirname(path), ticket.bitmap.file), ticket) };
}

async function loadDots(path: string, ticket: JobTicket) {
  const bytes = await readBitmapFile(path);
  if (sha256(bytes) !== ticket.bitmap.sha256) {
    throw new AppError(
      'file-invalid',
      `${path}: found another bitmap than the ticket of ${ticket.name} was written for`,
      {
        path,
      },
    );
  }
  return (await decodeDotsBytes(bytes, path)).dots;
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

function readCorrection(options: OptionValues): Correction {
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

/** Largest turn that is a measurement and not a mistake, degrees. */
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
  return (sign === '-' ? -1 : 1) * lengthOrZero(rest!, what);
}

function lengthOf(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined ? undefined : lengthOrZero(text, `--${name}`);
}

function lengthOrZero(text: string, what: string): number {
  return /^\s*0+(\.0*)?\s*(mm|um|µm|cm|in)?\s*$/i.test(text) ? 0 : parseLengthMm(text, what);
}
