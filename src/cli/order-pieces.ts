import { readdirSync, statSync } from 'node:fs';
import { basename, dirname, extname, join, resolve } from 'node:path';
import type { WantedPiece } from '../batch/index.ts';
import { AppError } from '../errors.ts';
import {
  chooseNames,
  filesOfPiece,
  findNameFault,
  type JobRequest,
  type JobSpec,
  normaliseColumn,
  type OrderCell,
  type OrderedPiece,
  type OrderRow,
  type PieceFault,
  parseOrderCsv,
  shortenName,
} from '../job/index.ts';
import { readJson } from '../material/index.ts';
import { explainReadError, PHOTO_NAME, readInputSync } from '../plane/index.ts';
import type { OptionRecord, OptionValues } from './command.ts';

const DEFAULTS_FILE = 'order.json';
const DEFAULTS_SCHEMA = 'tonewright-order-defaults/1';
/** Columns beside those that are options of `prepare`. */
const OWN_COLUMNS = ['photo', 'name', 'count', 'text', 'blank'] as const;
const YES = /^(yes|true|1|x)$/i;
const NO = /^(no|false|0)$/i;

export type PlannedPiece = OrderedPiece & WantedPiece;

export interface OrderSource {
  /** A folder of photos, or a CSV. */
  readonly path: string;
  /** Defaults, as a JSON file; looked for beside the photos when absent. */
  readonly defaultsPath: string | undefined;
  /** Defaults from the command line; they go over the file's. */
  readonly options: OptionValues;
  /** What a piece may say of itself. */
  readonly columns: readonly OptionRecord[];
  readonly readRequest: (options: OptionValues) => JobRequest;
  readonly resolveJob: (request: JobRequest) => JobSpec;
  readonly warn: (text: string) => void;
}

/**
 * The pieces of an order, each with its plan, or with what is wrong with its line: one wrong line stops no other.
 * @throws AppError path-*; file-invalid for a CSV that cannot be told apart into pieces, or defaults that are none;
 * option-invalid for defaults out of range.
 */
export function readOrderPieces(source: OrderSource): readonly PlannedPiece[] {
  const { path } = source;
  const isFolder = statOf(path).isDirectory();
  const folder = isFolder ? path : dirname(path);
  const columns = listColumns(source.columns);
  const defaults = { ...readDefaults(source, { folder, columns }), ...source.options };
  const checked = { ...source, columns, defaults };
  // What is wrong with the defaults is said once, and before any work. In a folder they are all that a piece has.
  if (isFolder) resolvePiece(defaults, source);
  else source.readRequest({ ...defaults, size: defaults.size ?? '10x10' });
  const rows = isFolder ? listPhotos(path, source.warn) : readRows(path, columns);
  const drafts = rows.map((row) =>
    draftPiece(row, { ...checked, folder, where: isFolder ? undefined : basename(path) }),
  );
  const names = chooseNames(
    drafts.map(({ wish }) => wish),
    { filesOf: (name, at) => filesOfPiece(name, drafts[at]!.files) },
  );
  return drafts.map(({ piece }, at) => ({ ...piece, name: names[at]! }));
}

interface Column {
  readonly record: OptionRecord;
  /** As commander hands the option over: `--lines-per-cm` is `linesPerCm`. */
  readonly key: string;
  readonly takesValue: boolean;
}

type Columns = ReadonlyMap<string, Column>;

function listColumns(records: readonly OptionRecord[]): Columns {
  return new Map(
    records.map((record) => {
      const name = /^--([a-z-]+)/.exec(record.flags)![1]!;
      const key = name.replace(/-([a-z])/g, (_, letter: string) => letter.toUpperCase());
      return [name, { record, key, takesValue: record.flags.includes('<') }];
    }),
  );
}

function statOf(path: string) {
  try {
    return statSync(path);
  } catch (error) {
    throw explainReadError(error, path, { needed: 'a folder of photos or a CSV' });
  }
}

function listPhotos(folder: string, warn: (text: string) => void): readonly OrderRow[] {
  const found = readdirSync(folder, { withFileTypes: true }).filter(({ name }) => !name.startsWith('.'));
  const files = found.filter((entry) => !entry.isDirectory()).map(({ name }) => name);
  const photos = files.filter((name) => PHOTO_NAME.test(name)).sort((a, b) => (a < b ? -1 : 1));
  const others = files.filter((name) => !PHOTO_NAME.test(name) && name !== DEFAULTS_FILE).sort();
  if (others.length > 0) {
    const some = others.slice(0, 5).join(', ') + (others.length > 5 ? ' …' : '');
    warn(`${folder}: left out ${others.length} of the files, no photos that can be read: ${some}`);
  }
  if (photos.length === 0) {
    throw new AppError('path-missing', `${folder}: found no JPEG, PNG, TIFF, WebP or AVIF photo, needed at least one`, {
      folder,
    });
  }
  return photos.map((text) => ({ line: 0, cells: { photo: { text, line: 0, column: 0 } } }));
}

function readRows(path: string, columns: Columns): readonly OrderRow[] {
  const where = basename(path);
  let text: string;
  try {
    const bytes = readInputSync(path, { kind: 'text', needed: 'a folder of photos or a CSV' });
    text = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch (error) {
    if (!(error instanceof TypeError)) throw error;
    throw new AppError('file-invalid', `${where}: found text that is not UTF-8, needed the CSV saved as UTF-8`, {
      path,
    });
  }
  return parseOrderCsv(text, { where, columns: [...OWN_COLUMNS, ...columns.keys()] });
}

function readDefaults(
  { defaultsPath }: OrderSource,
  { folder, columns }: { readonly folder: string; readonly columns: Columns },
): OptionValues {
  const path = defaultsPath ?? join(folder, DEFAULTS_FILE);
  let json: unknown;
  try {
    json = readJson(path);
  } catch (error) {
    if (defaultsPath === undefined && (error as { code?: unknown }).code === 'path-missing') return {};
    throw error;
  }
  const fail = (message: string) => new AppError('file-invalid', `${path}: ${message}`, { path });
  if (typeof json !== 'object' || json === null || Array.isArray(json)) {
    throw fail('found no JSON object, needed the names of options with their values');
  }
  const { schema, ...values } = json as Record<string, unknown>;
  if (schema !== undefined && schema !== DEFAULTS_SCHEMA) {
    throw fail(`found the schema ${JSON.stringify(schema)}, needed ${DEFAULTS_SCHEMA} or none`);
  }
  return Object.fromEntries(
    Object.entries(values).map(([field, value]) => {
      const column = columns.get(normaliseColumn(field));
      if (!column) throw fail(`found the unknown field "${field}"; known are ${[...columns.keys()].join(', ')}`);
      if (!['string', 'number', 'boolean'].includes(typeof value)) {
        throw fail(`field "${field}": found ${JSON.stringify(value)}, needed a text, a number, true or false`);
      }
      return readOption(String(value), column, (message) => fail(`field "${field}": ${message}`));
    }),
  );
}

/** An option as commander would hand it over. */
function readOption(
  text: string,
  { record, key, takesValue }: Column,
  fail: (message: string) => AppError,
): readonly [string, string | boolean] {
  if (!takesValue) {
    if (!YES.test(text) && !NO.test(text)) throw fail(`found "${text}", needed yes or no`);
    return [key, YES.test(text)];
  }
  if (record.choices && !record.choices.includes(text)) {
    throw fail(`found "${text}", needed ${record.choices.join(' or ')}`);
  }
  return [key, text];
}

interface DraftContext extends Omit<OrderSource, 'columns'> {
  readonly columns: Columns;
  readonly defaults: OptionValues;
  readonly folder: string;
  /** Name of the CSV; undefined for a folder. */
  readonly where: string | undefined;
}

interface Draft {
  readonly piece: PlannedPiece;
  readonly wish: string;
  /** What decides the names of its files. */
  readonly files: Parameters<typeof filesOfPiece>[1];
}

function draftPiece({ line, cells }: OrderRow, context: DraftContext): Draft {
  const { folder, where } = context;
  const photo = cells.photo?.text ?? '';
  const stem = basename(photo, extname(photo));
  const base = { label: photo, photo, line: where === undefined ? null : line, photoPath: resolve(folder, photo) };
  try {
    if (photo === '') throw new AppError('file-invalid', `${where}: line ${line}: found no photo, needed its path`);
    const { name, count, text, blank } = readOwn(cells, context);
    const spec = resolveRow({ line, cells }, context);
    const piece = { ...base, name: '', count, text, blank, plan: { spec } };
    return { piece, wish: name ?? nameAfter(photo), files: spec };
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    const fault: PieceFault = { code: error.code, message: error.message };
    const text = cells.text?.text ?? null;
    const usable = [cells.name?.text, shortenName(stem)].find((one) => one !== undefined && !findNameFault(one));
    const piece = { ...base, name: '', count: 1, text, blank: 'shop' as const, plan: { fault } };
    return { piece, wish: usable ?? `line-${line}`, files: { format: 'png' } };
  }
}

/** The name of a piece after its photo's: cut where it is too long, refused where it cannot be the name of files. */
function nameAfter(photo: string): string {
  const name = shortenName(basename(photo, extname(photo)));
  const fault = findNameFault(name);
  if (fault)
    throw new AppError('file-invalid', `${photo}: found the name "${name}", needed ${fault}; rename the photo`);
  return name;
}

function readOwn({ name, count, text, blank }: OrderRow['cells'], { where }: DraftContext) {
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

function resolveRow({ line, cells }: OrderRow, context: DraftContext): JobSpec {
  const { columns, defaults, readRequest, where } = context;
  const own: Record<string, string | boolean> = {};
  for (const [column, cell] of Object.entries(cells)) {
    const option = columns.get(column);
    if (!option) continue;
    const fail = (message: string) => wrongCell(where, { cell, column, message });
    const [key, value] = readOption(cell.text, option, fail);
    // Each cell alone first: then it is clear which one is wrong.
    try {
      readRequest({ size: '10x10', [key]: value });
    } catch (error) {
      if (!(error instanceof AppError)) throw error;
      throw fail(error.message.replace(/^--[a-z-]+: /, ''));
    }
    own[key] = value;
  }
  const request: OptionValues = {
    ...withoutRivals(defaults, own),
    ...own,
    ...(cells.text ? { text: cells.text.text } : {}),
  };
  const at = where === undefined ? '' : `${where}: line ${line}`;
  try {
    return resolvePiece(request, context);
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    const guilty = findGuilty(error, cells);
    const place = guilty ? `, column ${guilty.cell.column} ("${guilty.column}")` : '';
    throw new AppError(error.code, at === '' ? error.message : `${at}${place}: ${error.message}`, error.details);
  }
}

function resolvePiece(
  options: OptionValues,
  { readRequest, resolveJob }: Pick<OrderSource, 'readRequest' | 'resolveJob'>,
): JobSpec {
  if (options.size === undefined) {
    throw new AppError('option-invalid', 'found no size, needed one as --size, or in the column "size" of a CSV');
  }
  return resolveJob(readRequest(options));
}

/** A line that names a profile or a material of its own means that one alone; likewise the way of the scan. */
function withoutRivals(defaults: OptionValues, own: OptionValues): OptionValues {
  const rivals = [
    ['profile', 'material'],
    ['serpentine', 'raster'],
    ['strip', 'stripJoined'],
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
  return new AppError('file-invalid', `${where}: line ${cell.line}, column ${cell.column} ("${column}"): ${said}`, {
    line: cell.line,
    column: cell.column,
  });
}
