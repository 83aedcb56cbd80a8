import { basename, extname, resolve } from 'node:path';
import type { WantedPiece } from '../batch/index.ts';
import { AppError } from '../errors.ts';
import {
  chooseNames,
  filesOfPiece,
  findNameFault,
  type JobRequest,
  type JobSpec,
  type OrderCell,
  type OrderedPiece,
  type OrderRow,
  type PieceFault,
  resolveJob,
  shortenName,
} from '../job/index.ts';
import type { OptionValues } from '../options.ts';
import { findNamedSize } from '../units.ts';
import type { TaskContext } from './context.ts';
import { LIST_OPTIONS, type ListOption } from './list-columns.ts';
import { readRequest } from './request-options.ts';

const YES = /^(yes|true|1|x)$/i;
const NO = /^(no|false|0)$/i;
/** Many raw files are TIFF inside, with a small preview as their first picture: they are told by their names. */
const RAW = /\.(dng|cr2|cr3|crw|nef|nrw|arw|srf|sr2|raf|orf|rw2|pef|srw|x3f|iiq|3fr|erf|kdc|mrw)$/i;

export type PlannedPiece = OrderedPiece & WantedPiece;

export interface PlanOptions {
  /** Folder from which the paths of photos go. */
  readonly folder: string;
  /** What holds where a piece says nothing of its own. */
  readonly defaults: OptionValues;
}

/** A line with what its list is called in messages; undefined for a piece that no line tells of. */
export interface RowToPlan {
  readonly row: OrderRow;
  readonly where: string | undefined;
}

/**
 * The pieces that lines ask for, each with its plan or with what is wrong with its line: one wrong line stops no other.
 * Names are their own, as near to what they wish as the others let them.
 */
export function planPieces(
  rows: readonly RowToPlan[],
  { folder, defaults }: PlanOptions,
  { shop, refused }: Pick<TaskContext, 'shop' | 'refused'>,
): readonly PlannedPiece[] {
  const known = { shop, refused: refused() };
  const resolve = (request: JobRequest) => resolveJob(request, known);
  return namePieces(rows.map(({ row, where }) => planPiece(row, { where, folder, defaults, resolveJob: resolve })));
}

function namePieces(drafts: readonly PieceDraft[]): readonly PlannedPiece[] {
  const names = chooseNames(
    drafts.map(({ wish }) => wish),
    { filesOf: (name, at) => filesOfPiece(name, drafts[at]!.files) },
  );
  return drafts.map(({ piece }, at) => ({ ...piece, name: names[at]! }));
}

/** An option as `readRequest` takes it. */
export function readOption(
  text: string,
  { choices, key, takesValue }: ListOption,
  fail: (message: string) => AppError,
): readonly [string, string | boolean] {
  if (!takesValue) {
    if (!YES.test(text) && !NO.test(text)) throw fail(`found "${text}", needed yes or no`);
    return [key, YES.test(text)];
  }
  if (choices && !choices.includes(text)) {
    throw fail(`found "${text}", needed ${choices.join(' or ')}`);
  }
  return [key, text];
}

interface PieceContext {
  /** What the list is called in messages; undefined for a piece that no line tells of. */
  readonly where: string | undefined;
  /** Folder from which the paths of photos go. */
  readonly folder: string;
  /** What holds where the piece says nothing of its own. */
  readonly defaults: OptionValues;
  readonly resolveJob: (request: JobRequest) => JobSpec;
}

/** A piece that has no name yet. */
interface PieceDraft {
  readonly piece: PlannedPiece;
  readonly wish: string;
  /** What decides the names of its files. */
  readonly files: Parameters<typeof filesOfPiece>[1];
}

/** What one line wants, or a photo without a line: how it is to be made, or why it cannot be. */
function planPiece({ line, cells }: OrderRow, context: PieceContext): PieceDraft {
  const { folder, where } = context;
  const photo = cells.photo?.text ?? '';
  const stem = basename(photo, extname(photo));
  const base = { label: photo, photo, line: where === undefined ? null : line, photoPath: resolve(folder, photo) };
  try {
    if (photo === '') throw new AppError('file-invalid', `${where}: line ${line}: found no photo, needed its path`);
    if (RAW.test(photo)) {
      throw new AppError(
        'image-unknown',
        `${photo}: found a camera's raw file, needed a JPEG or TIFF developed from it`,
      );
    }
    const { name, count, text, blank } = readOwn(cells, context);
    const spec = resolveRow({ line, cells }, context);
    const piece = { ...base, name: '', count, text, blank, plan: { spec } };
    return { piece, wish: name ?? nameAfter(photo, where), files: spec };
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    const fault: PieceFault = { code: error.code, message: error.message };
    const text = cells.text?.text ?? null;
    const usable = [cells.name?.text, shortenName(stem)].find((one) => one !== undefined && !findNameFault(one));
    const piece = { ...base, name: '', count: 1, text, blank: 'shop' as const, plan: { fault } };
    return { piece, wish: usable ?? `line-${line}`, files: { format: 'png' } };
  }
}

/**
 * The name of a piece after its photo's: cut where it is too long, refused where it cannot be the name of files. A
 * photo that no line names keeps the folders that it lies in.
 */
function nameAfter(photo: string, where: string | undefined): string {
  const path = photo.slice(0, photo.length - extname(photo).length);
  const name = shortenName(where === undefined ? path.replaceAll('/', '-') : basename(path));
  const fault = findNameFault(name);
  if (fault)
    throw new AppError('file-invalid', `${photo}: found the name "${name}", needed ${fault}; rename the photo`);
  return name;
}

function readOwn({ name, count, text, blank }: OrderRow['cells'], { where }: PieceContext) {
  const fault = name && findNameFault(name.text);
  if (fault) throw wrongCell(where, { cell: name, column: 'name', needed: fault });
  if (count && !/^[1-9]\d{0,5}$/.test(count.text)) {
    throw wrongCell(where, { cell: count, column: 'count', needed: 'a whole number of at least 1' });
  }
  if (blank && blank.text !== 'shop' && blank.text !== 'customer') {
    throw wrongCell(where, { cell: blank, column: 'blank', needed: 'shop or customer' });
  }
  return {
    name: name?.text,
    count: count ? Number(count.text) : 1,
    text: text?.text ?? null,
    blank: blank?.text === 'customer' ? ('customer' as const) : ('shop' as const),
  };
}

function resolveRow({ line, cells }: OrderRow, context: PieceContext): JobSpec {
  const { defaults, where } = context;
  const own: Record<string, string | boolean> = {};
  for (const [column, cell] of Object.entries(cells)) {
    const option = LIST_OPTIONS.get(column);
    if (!option) continue;
    const fail = (message: string) => wrongCell(where, { cell, column, message });
    const [key, value] = readOption(cell.text, option, fail);
    // Each cell alone first: then it is clear which one is wrong.
    try {
      readRequest({ size: '10x10', [key]: value }, { folder: context.folder });
    } catch (error) {
      if (!(error instanceof AppError)) throw error;
      throw fail(error.message.replace(/^[a-z-]+: /, ''));
    }
    own[key] = column === 'artwork' ? locateDrawing(cell.text, context.folder) : value;
  }
  const request: OptionValues = {
    ...withoutRivals(defaults, own),
    ...own,
    ...(cells.text ? { text: cells.text.text } : {}),
  };
  const at = where === undefined ? '' : `${where}: line ${line}`;
  try {
    return requirePiece(request, context);
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    const guilty = findGuilty(error, cells);
    const place = guilty ? `, column ${guilty.cell.column} ("${guilty.column}")` : '';
    throw new AppError(error.code, at === '' ? error.message : `${at}${place}: ${error.message}`, error.details);
  }
}

/** A drawing's path goes from the folder of the list; a name in the shop stays one. */
export function locateDrawing(text: string, folder: string): string {
  return /[\\/]|\.svg$/i.test(text) ? resolve(folder, text) : text;
}

/** @throws AppError option-invalid, and whatever the choices of a piece are refused for. */
export function requirePiece(
  options: OptionValues,
  { resolveJob, folder }: Pick<PieceContext, 'resolveJob' | 'folder'>,
): JobSpec {
  if (options.size === undefined) {
    throw new AppError(
      'option-invalid',
      'found no size, needed one for the whole order, or in the column "size" of its list',
    );
  }
  const request = readRequest(options, { folder });
  // Pieces of an order lie as their line says, so that all of one size lie alike: a named size lengthwise.
  const isNamed = !/[x×]/i.test(request.size);
  return resolveJob(request.lay === undefined && isNamed ? { ...request, lay: 'lengthwise' } : request);
}

/** A line that names a profile or a material of its own means that one alone; likewise the way of the scan. */
function withoutRivals(defaults: OptionValues, own: OptionValues): OptionValues {
  const rivals = [
    ['profile', 'material'],
    ['serpentine', 'raster'],
    ['upright', 'lengthwise'],
    ['strip', 'stripJoined'],
    // A size that a standard names has corners of its own.
    ...(typeof own.size === 'string' && findNamedSize(own.size) ? [['size', 'corner']] : []),
  ].filter((keys) => keys.some((key) => key in own));
  return Object.fromEntries(Object.entries(defaults).filter(([key]) => !rivals.some((keys) => keys.includes(key))));
}

/** The cell that an error of the whole line is about, as far as it can be told. */
function findGuilty(
  { code, details }: AppError,
  cells: OrderRow['cells'],
): { readonly column: string; readonly cell: OrderCell } | undefined {
  const about: Partial<Record<string, readonly string[]>> = {
    'size-exceeds-field': ['size'],
    'material-refused': ['material', 'profile'],
    'profile-unusable': ['profile', 'material'],
    'letter-missing': ['caption', 'caption2'],
    'caption-too-large': ['caption-height', 'caption', 'caption2'],
    'artwork-unusable': ['artwork'],
  };
  const names = code === 'name-unknown' ? ['profile', 'material', 'machine', 'screen'] : (about[code] ?? []);
  const column = names.find((name) => cells[name] && (code !== 'name-unknown' || details.asked === cells[name]!.text));
  return column === undefined ? undefined : { column, cell: cells[column]! };
}

function wrongCell(
  where: string | undefined,
  { cell, column, needed, message }: { cell: OrderCell; column: string; needed?: string; message?: string },
): AppError {
  const said = message ?? `found "${cell.text}", needed ${needed}`;
  const place = where === undefined ? column : `${where}: line ${cell.line}, column ${cell.column} ("${column}")`;
  return new AppError('file-invalid', `${place}: ${said}`, {
    line: cell.line,
    column: cell.column,
  });
}
