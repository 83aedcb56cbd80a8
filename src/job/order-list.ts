import { type CsvError, parse } from 'csv-parse/sync';
import { AppError } from '../errors.ts';

/** One cell as it was written, and where it stands, both counted from 1. */
export interface OrderCell {
  readonly text: string;
  readonly line: number;
  readonly column: number;
}

/** One line of an order: only the cells that hold something, by the name of their column. */
export interface OrderRow {
  /** Line of the file on which the record begins, counted from 1. */
  readonly line: number;
  readonly cells: Readonly<Record<string, OrderCell>>;
}

/** Column names are compared in this form, so that `Lines per cm` and `--lines-per-cm` both name `lines-per-cm`. */
export function normaliseColumn(text: string): string {
  return text
    .trim()
    .replace(/^--/, '')
    .replace(/[\s_]+/g, '-')
    .toLowerCase();
}

/**
 * Lines of an order from CSV (RFC 4180; separated by commas, semicolons or tabs, whichever the first line has most of).
 * Empty cells and empty lines are left out; a line may have fewer cells than the first.
 * @throws AppError file-invalid naming line and column: a column that is unknown or there twice, a line with too many
 * cells, a quote out of place, no column `photo`, no line at all.
 */
export function parseOrderCsv(
  text: string,
  { where, columns: known }: { readonly where: string; readonly columns: readonly string[] },
): readonly OrderRow[] {
  const [head, ...records] = readRecords(text, where);
  const fail = (message: string, details: Record<string, unknown>) =>
    new AppError('file-invalid', `${where}: ${message}`, { where, ...details });
  if (!head) throw fail('found an empty file, needed a first line with the names of the columns', { line: 1 });
  const columns = head.cells.map(normaliseColumn);
  const unknown = columns.flatMap((name, at) => (known.includes(name) ? [] : [{ name: head.cells[at]!.trim(), at }]));
  if (unknown.length > 0) {
    const found = unknown.map(({ name, at }) => `"${name}" (column ${at + 1})`).join(', ');
    throw fail(
      `line ${head.line}: found the unknown ${unknown.length > 1 ? 'columns' : 'column'} ${found}; known are ${known.join(', ')}`,
      { line: head.line, column: unknown[0]!.at + 1, unknown: unknown.map(({ name }) => name) },
    );
  }
  const twice = columns.findIndex((name, at) => columns.indexOf(name) < at);
  if (twice >= 0) {
    throw fail(
      `line ${head.line}, column ${twice + 1}: found "${columns[twice]}" a second time, needed each column once`,
      {
        line: head.line,
        column: twice + 1,
      },
    );
  }
  if (!columns.includes('photo')) {
    throw fail(`line ${head.line}: found no column "photo", needed one with the path of each photo`, {
      line: head.line,
    });
  }
  if (records.length === 0) throw fail('found no line below the names of the columns, needed one for each piece', {});
  return records.map(({ line, cells }) => ({
    line,
    cells: Object.fromEntries(
      cells.flatMap((cell, at) =>
        cell.trim() === '' ? [] : [[columns[at]!, { text: cell.trim(), line, column: at + 1 }]],
      ),
    ),
  }));
}

interface CsvRecord {
  readonly line: number;
  readonly cells: readonly string[];
}

function readRecords(text: string, where: string): readonly CsvRecord[] {
  const options = {
    bom: true,
    info: true,
    delimiter: guessDelimiter(text),
    skip_empty_lines: true,
    skip_records_with_empty_values: true,
    relax_column_count_less: true,
  } as const;
  let found: readonly { readonly record: readonly string[]; readonly info: { readonly lines: number } }[];
  try {
    found = parse(text, options) as unknown as typeof found;
  } catch (error) {
    // The parser counts from the end of a record; its own words name neither the file nor what was needed.
    const { code, lines, column } = error as CsvError & { lines?: number; column?: number };
    if (lines === undefined) throw error;
    const at = typeof column === 'number' ? `, column ${column + 1}` : '';
    const problem = CSV_PROBLEMS[code as string] ?? ((error as Error).message as string);
    throw new AppError('file-invalid', `${where}: line ${lines}${code in NO_COLUMN ? '' : at}: ${problem}`, {
      where,
      line: lines,
    });
  }
  return found.map(({ record, info }) => ({
    // Told is the line on which the record ends; quoted cells may hold line breaks.
    line: info.lines - record.reduce((breaks, cell) => breaks + (cell.match(/\r\n|\n|\r/g)?.length ?? 0), 0),
    cells: record,
  }));
}

const NO_COLUMN: Readonly<Record<string, true>> = {
  CSV_RECORD_INCONSISTENT_FIELDS_LENGTH: true,
  CSV_QUOTE_NOT_CLOSED: true,
};
const CSV_PROBLEMS: Readonly<Record<string, string>> = {
  CSV_RECORD_INCONSISTENT_FIELDS_LENGTH: 'found more cells than the first line has, needed a name for each column',
  CSV_QUOTE_NOT_CLOSED: 'found a quote that is opened and never closed, needed one at both ends of the cell',
  INVALID_OPENING_QUOTE: 'found a quote inside a cell, needed the whole cell quoted and the quote in it doubled',
  CSV_INVALID_CLOSING_QUOTE: 'found text after a closing quote, needed the quote in the cell doubled',
};

function guessDelimiter(text: string): string {
  const head = /^\uFEFF?[^\r\n]*/.exec(text)![0].replace(/"[^"]*"/g, '');
  const counts = [',', ';', '\t'].map((sign) => ({ sign, count: head.split(sign).length }));
  return counts.reduce((most, next) => (next.count > most.count ? next : most)).sign;
}

const RESERVED = /^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$/i;

/** What keeps a text from being the name of a piece's files, in words; undefined when nothing does. */
export function findNameFault(name: string): string | undefined {
  if (name.length > 120) return 'at most 120 letters';
  if (/[\\/:*?"<>|]|\p{Cc}/u.test(name)) return 'no \\ / : * ? " < > | and no line break';
  if (/^[.\s]|[.\s]$/.test(name) || name === '') return 'a name that neither begins nor ends with a point or a space';
  if (RESERVED.test(name)) return 'a name that is none of the system’s own';
  return undefined;
}

/**
 * Names of files for pieces, in the order of the pieces: as wished, with `-2`, `-3` … where `filesOf` one would meet those
 * of another (letters alike but for their case meet, as they do on many disks).
 */
export function chooseNames(
  wished: readonly string[],
  { filesOf }: { readonly filesOf: (name: string, at: number) => readonly string[] },
): readonly string[] {
  const taken = new Set<string>();
  return wished.map((wish, at) => {
    for (let number = 1; ; number++) {
      const name = number === 1 ? wish : `${wish}-${number}`;
      const files = filesOf(name, at).map((file) => file.toLowerCase());
      if (files.some((file) => taken.has(file))) continue;
      for (const file of files) taken.add(file);
      return name;
    }
  });
}
