import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { AppError } from '../errors.ts';
import {
  type JobTicket,
  type LayoutSource,
  listPlateFiles,
  makeJig,
  makePlates,
  markOfJig,
  type PlateJob,
  type PlatesRecord,
  type PlateTicket,
  parseJobTicket,
  parseOrderForPlates,
  readMachine,
  readProfile,
  STRIP_ROOM,
  type Ticket,
} from '../job/index.ts';
import { parseJson } from '../json.ts';
import type { Machine } from '../machine/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import {
  decodeDotsBytes,
  type FileContent,
  type PictureFormat,
  readBitmapFile,
  sha256,
  writeFilesAtomic,
} from '../plane/index.ts';
import {
  type Correction,
  type FrameOptions,
  JIG_DEFAULTS,
  type Jig,
  layoutGrid,
  NO_CORRECTION,
  parseJig,
} from '../plate/index.ts';
import type { TaskContext } from './context.ts';
import { keepLayout } from './keep-layout.ts';
import { remakeAt } from './prepare-again.ts';

/** How a board is made: what is absent is as usual, and its name follows from what it holds. */
export type FrameRequest = Partial<Omit<FrameOptions, 'title' | 'machine' | 'origin'>> & {
  readonly origin?: Partial<FrameOptions['origin']>;
};

/** Where the pieces lie: in a jig of the shop, in a grid of equal pockets, or packed freely. */
export type LayoutSourceRequest =
  | { readonly kind: 'jig'; readonly jig: string }
  | {
      readonly kind: 'grid';
      readonly columns: number;
      readonly rows: number;
      readonly widthMm: number;
      readonly heightMm: number;
      /** Round pockets of that diameter. */
      readonly isRound?: boolean;
      readonly frame?: FrameRequest;
    }
  | { readonly kind: 'packed'; readonly frame?: FrameRequest };

export interface LayPlatesRequest {
  /** Folders of orders or of finished jobs, or single tickets; none for a jig alone. */
  readonly jobs: readonly string[];
  /** Folder of the photos, to screen pieces again for where they lie; beside their tickets when absent. */
  readonly photos?: string;
  /** Copies by the name of the job; the empty name is for all others. As ordered where absent. */
  readonly counts?: ReadonlyMap<string, number>;
  readonly source: LayoutSourceRequest;
  /** The machine for which all jobs must have been prepared; theirs when absent. */
  readonly machine?: string;
  /** Profile of the control strips; that of each job when absent. */
  readonly profile?: string;
  /** `plate`: one bitmap for pieces of the same settings, as when absent; `piece`: one for each. */
  readonly bitmaps?: 'plate' | 'piece';
  readonly quarterTurns?: boolean;
  /** A control strip in the strip pocket of each plate. */
  readonly strip?: boolean;
  readonly correction?: Correction;
  readonly format?: PictureFormat;
  readonly out: string;
  readonly force?: boolean;
}

/** The part of a photo that a piece shows, and the photo's size, pixels. */
export interface PlacedPhoto {
  readonly crop: Ticket['frame']['crop'];
  readonly width: number;
  readonly height: number;
}

export type LayoutRecord =
  | {
      readonly kind: 'jig';
      /** Paths of what was written, in its sequence. */
      readonly files: readonly string[];
      readonly jig: Jig;
    }
  | {
      readonly kind: 'plates';
      readonly files: readonly string[];
      readonly plates: PlatesRecord;
      /** By the name of their file. */
      readonly jigs: Readonly<Record<string, Jig>>;
      /** What each plate warns of itself, by its name: what its pieces warn of stands with them, too. */
      readonly warnings: Readonly<Record<string, readonly string[]>>;
      /** By the name of the job. */
      readonly photos: Readonly<Record<string, PlacedPhoto>>;
    };

/**
 * Plates of finished jobs with the jigs to cut, or a jig alone where there are no jobs: all files are written, or none.
 * @throws AppError path-missing, file-invalid for jobs; option-invalid; those of `makePlates`, `makeJig` and
 * `layoutGrid`
 */
export async function layPlates(request: LayPlatesRequest, context: TaskContext): Promise<LayoutRecord> {
  const { out, machine: asked, profile, strip = false, bitmaps = 'plate', quarterTurns = false } = request;
  const { shop, version, progress, warn } = context;
  const found = readJobs(request, warn);
  const jobs = found.map(
    ({ job, path }): PlateJob => ({
      ...job,
      remake: (place) => remakeAt(path, place, { folder: request.photos, context }),
    }),
  );
  const machine = asked === undefined ? undefined : readMachine(asked, shop);
  const stranger = jobs.find(({ ticket }) => machine !== undefined && ticket.machine.name !== machine.name);
  if (stranger) {
    throw new AppError(
      'option-invalid',
      `the machine: found ${asked}, but ${stranger.ticket.name} was prepared for ${stranger.ticket.machine.name}; prepare the photo for that machine`,
    );
  }
  const source = chooseLayoutSource(request.source, { machine, jobs, strip, shop });
  const common = {
    correction: request.correction ?? NO_CORRECTION,
    format: request.format ?? 'png',
    version,
  } as const;
  const write = async (
    files: readonly { readonly name: string; readonly bytes: FileContent }[],
    keep: (earlier: PlateTicket) => boolean = () => false,
  ) => {
    progress('writing');
    const written = files.map(({ name, bytes }) => ({ path: join(out, name), bytes }));
    const names = new Set(files.map(({ name }) => name));
    // What earlier plates had and these have not: a plate of another jig or of another order would be burned beside
    // them.
    const outdated = listEarlier(out, keep).filter((name) => !names.has(name));
    const force = request.force === true;
    await writeFilesAtomic(written, { force, ...(force ? { outdated: outdated.map((name) => join(out, name)) } : {}) });
    return written.map(({ path }) => path);
  };
  if (jobs.length === 0) {
    if (source.kind === 'packed') {
      throw new AppError('option-invalid', 'found neither a jig, nor a grid, nor jobs, needed at least one of them');
    }
    const made = makeJig(source.jig, { ...common, machine: machineOfJig(source.jig, machine, shop) });
    // Plates for this very board stay: it is cut again, and nothing else changes.
    const mark = markOfJig(source.jig);
    return { kind: 'jig', files: await write(made, (earlier) => earlier.jig.mark === mark), jig: source.jig };
  }
  const { files, record, stripLayouts } = await makePlates(jobs, {
    ...common,
    source,
    bitmaps,
    quarterTurns,
    strip,
    readMachine: (name) => (machine?.name === name ? machine : readMachine(name, shop)),
    readProfile: (name) => readProfile(profile ?? name, shop),
    progress,
  });
  for (const ticket of record.plates) for (const text of ticket.warnings) warn(text);
  const paths = await write(files);
  for (const layout of stripLayouts) await keepLayout(layout, { shop, warn });
  const jigs = record.plates.map(({ jig: { file } }) => [file, parseJig(readJson(join(out, file)), file)] as const);
  return {
    kind: 'plates',
    files: paths,
    plates: record,
    jigs: Object.fromEntries(jigs),
    warnings: Object.fromEntries(
      record.plates.map(({ name, warnings }) => [name, warnings.filter((text) => !isOfPiece(text, jobs))]),
    ),
    photos: Object.fromEntries(found.map(({ job, path }) => [job.ticket.name, readPhotoPlace(path)])),
  };
}

/** A plate repeats the warnings of its pieces, with their names before them where they are of some pieces only. */
const isOfPiece = (text: string, jobs: readonly PlateJob[]): boolean =>
  jobs.some(({ ticket }) => ticket.warnings.some((own) => text === own || text.endsWith(`: ${own}`)));

interface FoundJob {
  readonly job: PlateJob;
  /** Path of its ticket. */
  readonly path: string;
}

/** A count. Exact: a photo without a list is one piece. */
const NOT_ORDERED = { count: 1, text: null, price: null };

/** Finished jobs from folders and ticket files, in the sequence of an order or by name. */
function readJobs(
  { jobs: places, counts = new Map() }: LayPlatesRequest,
  warn: (text: string) => void,
): readonly FoundJob[] {
  const found = places.flatMap((path) => {
    if (!existsSync(path)) throw new AppError('path-missing', `the jobs: found nothing at ${path}`, { path });
    return statSync(path).isDirectory() ? readFolder(path, warn) : [toJob(path, NOT_ORDERED)];
  });
  const names = found.map(({ job }) => job.ticket.name);
  const twice = names.find((name, at) => names.indexOf(name) !== at);
  if (twice !== undefined) {
    throw new AppError('option-invalid', `the jobs: found two jobs "${twice}", needed names that differ`);
  }
  for (const name of counts.keys()) {
    if (name !== '' && !names.includes(name)) {
      throw new AppError('option-invalid', `copies: found no job "${name}"; there are ${names.join(', ') || 'none'}`);
    }
  }
  return found.map(({ job, path }) => {
    const count = counts.get(job.ticket.name) ?? counts.get('') ?? job.count;
    // What other numbers cost is for the order to say: set-up and quantity steps are in its prices.
    return { job: count === job.count ? job : { ...job, count, price: null }, path };
  });
}

/** Tickets of plates, by their names. */
const PLATE_TICKET = /^plate-\d+\.ticket\.json$/;
/** Names that files of plates have; what a damaged ticket names beside them is left alone. */
const PLATE_FILE = /^(?:plate-\d+\.|plates\.|piece-|jig(?:-\d+)?\.)[^/\\]*$/;

/** Names of the files that earlier plates have left in a folder, as their tickets say. */
function listEarlier(folder: string, keep: (ticket: PlateTicket) => boolean): readonly string[] {
  const entries = existsSync(folder) ? readdirSync(folder, { withFileTypes: true }) : [];
  const tickets = entries.flatMap((entry) =>
    entry.isFile() && PLATE_TICKET.test(entry.name) ? readEarlier(join(folder, entry.name)) : [],
  );
  const files = tickets.filter((ticket) => !keep(ticket)).flatMap(listPlateFiles);
  return [...new Set(files)].filter((name) => PLATE_FILE.test(name));
}

/**
 * The ticket itself, not as an input: it is about to be replaced. Nothing is known of what belonged to a damaged one.
 */
function readEarlier(path: string): readonly PlateTicket[] {
  try {
    const ticket = parseJson(readFileSync(path, 'utf8')) as PlateTicket;
    return ticket.schema === 'tonewright-plate/1' && listPlateFiles(ticket).length > 0 ? [ticket] : [];
  } catch {
    return [];
  }
}

function readFolder(folder: string, warn: (text: string) => void): readonly FoundJob[] {
  const orderPath = join(folder, 'order.json');
  if (existsSync(orderPath)) {
    const { jobs, failed } = parseOrderForPlates(readJson(orderPath), orderPath);
    if (failed.length > 0) warn(`${orderPath}: ${failed.join(', ')} failed and lie on no plate`);
    return jobs.map(({ ticketFile, ...ordered }) => toJob(join(folder, ticketFile), ordered));
  }
  const tickets = readdirSync(folder)
    .filter((file) => file.endsWith('.ticket.json') && !PLATE_TICKET.test(file))
    .sort();
  if (tickets.length === 0) {
    throw new AppError('path-missing', `the jobs: found neither order.json nor a .ticket.json in ${folder}`, {
      folder,
    });
  }
  return tickets.map((file) => toJob(join(folder, file), NOT_ORDERED));
}

function toJob(path: string, { count, text, price }: Pick<PlateJob, 'count' | 'text' | 'price'>): FoundJob {
  const ticket = parseJobTicket(readJson(path), path);
  const load = () => loadDots(join(dirname(path), ticket.bitmap.file), ticket);
  return { job: { ticket, count, text, price, load }, path };
}

async function loadDots(path: string, ticket: JobTicket) {
  const bytes = await readBitmapFile(path);
  if (sha256(bytes) !== ticket.bitmap.sha256) {
    const found = `${path}: found another bitmap than the ticket of ${ticket.name} was written for`;
    throw new AppError('file-invalid', found, { path });
  }
  return (await decodeDotsBytes(bytes, path)).dots;
}

function readPhotoPlace(path: string): PlacedPhoto {
  const { frame, photo } = readJson(path) as Pick<Ticket, 'frame' | 'photo'>;
  return { crop: frame.crop, width: photo.width, height: photo.height };
}

interface LayoutFacts {
  readonly machine: Machine | undefined;
  readonly jobs: readonly PlateJob[];
  readonly strip: boolean;
  readonly shop: Shop;
}

function chooseLayoutSource(
  asked: LayoutSourceRequest,
  { machine: named, jobs, strip, shop }: LayoutFacts,
): LayoutSource {
  if (asked.kind === 'jig') {
    const { json, path } = shop.read('jigs', asked.jig);
    return { kind: 'jig', jig: parseJig(json, path) };
  }
  const room = strip ? { strip: STRIP_ROOM } : {};
  if (asked.kind === 'packed') {
    return { kind: 'packed', frame: fillFrame(asked.frame, { name: 'packed', title: 'Packed plate' }), ...room };
  }
  const { columns, rows, widthMm, heightMm, isRound = false, frame } = asked;
  const machine = named ?? (jobs[0] && readMachine(jobs[0].ticket.machine.name, shop));
  if (machine === undefined) {
    throw new AppError('option-invalid', 'found a grid without a machine, needed the machine whose field bounds it');
  }
  const name = `grid-${columns}x${rows}`;
  const title = `${columns} × ${rows} pockets of ${isRound ? `⌀ ${widthMm}` : `${widthMm} × ${heightMm}`} mm`;
  const jig = layoutGrid({
    ...fillFrame(frame, { name, title }),
    machine: machine.name,
    columns,
    rows,
    pocketWidthMm: widthMm,
    pocketHeightMm: heightMm,
    isRound,
    fieldMm: machine.fieldMm,
    machineTitle: machine.name,
    ...room,
  });
  return { kind: 'jig', jig };
}

function fillFrame(asked: FrameRequest = {}, { name, title }: Pick<FrameOptions, 'name' | 'title'>): FrameOptions {
  const { gapMm, marginMm, rimMm, clearanceMm, kerfMm, stop } = JIG_DEFAULTS;
  const usual = { gapMm, marginMm, rimMm, clearanceMm, kerfMm, stop };
  return { name, title: asked.name ?? title, ...usual, ...asked, origin: { ...JIG_DEFAULTS.origin, ...asked.origin } };
}

function machineOfJig(jig: Jig, asked: Machine | undefined, shop: Shop): Machine {
  if (asked && jig.machine !== undefined && asked.name !== jig.machine) {
    throw new AppError(
      'option-invalid',
      `the machine: found ${asked.name}, but the jig ${jig.name} lies under ${jig.machine}`,
    );
  }
  if (asked) return asked;
  if (jig.machine === undefined) {
    throw new AppError('option-invalid', `found the jig ${jig.name} without a machine, needed the machine it is for`);
  }
  return readMachine(jig.machine, shop);
}
