import { statSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { AppError } from '../errors.ts';
import { normaliseColumn, type OrderRow, parseOrderCsv, resolveJob } from '../job/index.ts';
import { readJson } from '../material/index.ts';
import { type Notice, settleNotices } from '../notices.ts';
import type { OptionValues } from '../options.ts';
import { explainReadError, readInputSync, sniffFormat } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { decodeText } from './decode-text.ts';
import { LIST_OPTIONS, ORDER_COLUMNS } from './list-columns.ts';
import { isPicture, listPhotos } from './list-photos.ts';
import { locateDrawing, type PlannedPiece, planPieces, readOption, requirePiece } from './plan-pieces.ts';
import { readRequest } from './request-options.ts';

const DEFAULTS_FILE = 'order.json';
/** What an order is read from, for messages. */
const SOURCE = 'a folder of photos or a CSV';
const DEFAULTS_SCHEMA = 'tonewright-order-defaults/1';

export interface OrderSource {
  /** A folder of photos, or a CSV. */
  readonly path: string;
  /** Folder for the results; never looked into for photos. */
  readonly out: string;
  /** Defaults, as a JSON file; looked for beside the photos when absent. */
  readonly defaultsPath: string | undefined;
  /** Defaults of whoever asks; they go over the file's. */
  readonly options: OptionValues;
}

/**
 * The pieces of an order, each with its plan, or with what is wrong with its line: one wrong line stops no other.
 * @throws AppError path-*; file-invalid for a CSV that cannot be told apart into pieces, or defaults that are none;
 * option-invalid for defaults out of range.
 */
export async function readOrderPieces(
  source: OrderSource,
  context: Pick<TaskContext, 'shop' | 'refused' | 'warn'>,
): Promise<readonly PlannedPiece[]> {
  const { path, out } = source;
  const { shop, refused, warn } = context;
  const isFolder = statOf(path).isDirectory();
  const folder = isFolder ? path : dirname(path);
  const defaults = { ...readDefaults(source, folder), ...source.options };
  // What is wrong with the defaults is said once, and before any work. In a folder they are all that a piece has.
  if (isFolder) {
    requirePiece(defaults, { resolveJob: (request) => resolveJob(request, { shop, refused: refused() }), folder });
  } else readRequest({ ...defaults, size: defaults.size ?? '10x10' }, { folder });
  const rows = isFolder ? (await listPhotos(path, { out, warn })).map(rowOf) : readRows(path, warn);
  const where = isFolder ? undefined : basename(path);
  const pieces = planPieces(
    rows.map((row) => ({ row, where })),
    { folder, defaults },
    context,
  );
  for (const { plan } of pieces) {
    if (!('spec' in plan)) continue;
    for (const { text } of settleNotices(plan.spec.warnings, plan.spec.atRest).speaking) warn(text);
  }
  return pieces;
}

/** Lines of a list, and what a person should know of how it was read. */
export interface OrderList {
  readonly rows: readonly OrderRow[];
  readonly notes: readonly Notice[];
}

/**
 * Lines of a list, as an order's CSV has them.
 * @param bytes as a spreadsheet saved them: see `decodeText`
 * @param where what the list is called in messages
 * @throws AppError file-invalid for a text that cannot be told apart into pieces
 */
export function parseOrderList(bytes: Uint8Array, where: string): OrderList {
  const { text, notes } = decodeText(bytes, where);
  return { rows: parseOrderCsv(text, { where, columns: [...ORDER_COLUMNS, ...LIST_OPTIONS.keys()] }), notes };
}

const rowOf = (text: string): OrderRow => ({ line: 0, cells: { photo: { text, line: 0, column: 0 } } });

function statOf(path: string) {
  try {
    return statSync(path);
  } catch (error) {
    throw explainReadError(error, path, { needed: SOURCE });
  }
}

function readRows(path: string, warn: TaskContext['warn']): readonly OrderRow[] {
  const where = basename(path);
  const fail = (found: string, needed: string) =>
    new AppError('file-invalid', `${where}: found ${found}, needed ${needed}`, { path });
  const checkHead = (head: Uint8Array) => {
    const { format, found } = sniffFormat(head);
    if (format || isPicture(found)) throw fail(found, 'a CSV or a folder of photos; `prepare` makes one photo');
    if (found === 'a ZIP archive') {
      throw fail('a ZIP archive or a spreadsheet’s own file', 'the table saved as CSV (UTF-8)');
    }
  };
  const bytes = readInputSync(path, { kind: 'text', needed: SOURCE, checkHead });
  const { rows, notes } = parseOrderList(bytes, where);
  for (const { text } of notes) warn(text);
  return rows;
}

function readDefaults({ defaultsPath }: OrderSource, folder: string): OptionValues {
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
      const column = LIST_OPTIONS.get(normaliseColumn(field));
      if (!column) throw fail(`found the unknown field "${field}"; known are ${[...LIST_OPTIONS.keys()].join(', ')}`);
      if (!['string', 'number', 'boolean'].includes(typeof value)) {
        throw fail(`field "${field}": found ${JSON.stringify(value)}, needed a text, a number, true or false`);
      }
      const [key, read] = readOption(String(value), column, (message) => fail(`field "${field}": ${message}`));
      return [key, key === 'artwork' ? locateDrawing(String(read), dirname(path)) : read] as const;
    }),
  );
}
