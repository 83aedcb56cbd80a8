import { type CsvError, parse } from 'csv-parse/sync';
import { findCloseNames } from '../../close-names.ts';
import { AppError } from '../../errors.ts';
import { lookUp } from '../../json.ts';

/** One cell as it was written, and where it stands, both counted from 1. */
export interface CsvCell {
  readonly text: string;
  readonly line: number;
  readonly column: number;
}

/** One line of a table: only the cells that hold something, by the name of their column. */
export interface CsvRow {
  /** Line of the file on which the record begins, counted from 1. */
  readonly line: number;
  readonly cells: Readonly<Record<string, CsvCell>>;
}

/** Column names are compared in this form, so that `Lines per cm` and `--lines-per-cm` both name `lines-per-cm`. */
export function normaliseColumn(text: string): string {
  return text
    .trim()
    .replace(/^--/, '')
    .replace(/[\s_]+/g, '-')
    .toLowerCase();
}

/** A column that must be there, and what it holds, in words. */
export interface NeededColumn {
  readonly name: string;
  readonly holds: string;
}

export interface CsvTableOptions {
  /** What is being read, for messages: a path or a name. */
  readonly where: string;
  /** All columns that may be there. */
  readonly columns: readonly string[];
  readonly needed: readonly NeededColumn[];
  /** Other words for columns, as lists of other programs have them, in the form of `normaliseColumn`. */
  readonly meant?: Readonly<Record<string, string>>;
  /** What a line stands for, in words: `piece`. */
  readonly line: string;
}

/**
 * Lines of a table from CSV (RFC 4180; separated by commas, semicolons or tabs, whichever the first line has most of).
 * Empty cells and empty lines are left out; a line may have fewer cells than the first.
 * @throws AppError file-invalid naming line and column: a column that is unknown or there twice, a line with too many
 * cells, a quote out of place, a needed column that is missing, no line at all.
 */
export function parseCsvTable(
  text: string,
  { where, columns: known, needed, line, meant = {} }: CsvTableOptions,
): readonly CsvRow[] {
  // One file is one list whatever ends its lines: those within quotes, too, go to tickets and count as one.
  const [head, ...records] = readRecords(text.replace(/\r\n?/g, '\n'), where);
  const fail = (message: string, details: Record<string, unknown>) =>
    new AppError('file-invalid', `${where}: ${message}`, { where, ...details });
  if (!head) throw fail('found an empty file, needed a first line with the names of the columns', { line: 1 });
  const columns = head.cells.map(normaliseColumn);
  const unknown = columns.flatMap((name, at) => (known.includes(name) ? [] : [{ name: head.cells[at]!.trim(), at }]));
  if (unknown.length > 0) {
    const found = unknown.map(({ name, at }) => `"${name}" (column ${at + 1})`).join(', ');
    const close = unknown.map(({ name }) =>
      guessColumn(normaliseColumn(name), { known: known.filter((each) => !columns.includes(each)), meant }),
    );
    const offered = close.every((name) => name !== undefined)
      ? `did you mean ${close.join(', ')}?`
      : `known are ${known.join(', ')}`;
    throw fail(
      `line ${head.line}: found the unknown ${unknown.length > 1 ? 'columns' : 'column'} ${found}; ${offered}`,
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
  const missing = needed.find(({ name }) => !columns.includes(name));
  if (missing) {
    throw fail(`line ${head.line}: found no column "${missing.name}", needed one with ${missing.holds}`, {
      line: head.line,
    });
  }
  if (records.length === 0) throw fail(`found no line below the names of the columns, needed one for each ${line}`, {});
  return records.map(({ line: at, cells }) => ({
    line: at,
    cells: Object.fromEntries(
      cells.flatMap((cell, i) =>
        cell.trim() === '' ? [] : [[columns[i]!, { text: cell.trim(), line: at, column: i + 1 }]],
      ),
    ),
  }));
}

/** Shortest name of a column that says enough to guess by, letters. Assumed: two letters are within many words. */
const TELLING_LETTERS = 3;

function guessColumn(
  name: string,
  { known, meant }: { readonly known: readonly string[]; readonly meant: Readonly<Record<string, string>> },
): string | undefined {
  return lookUp(meant, name) ?? (name.length < TELLING_LETTERS ? undefined : findCloseNames(name, known)[0]);
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
    line: info.lines - record.reduce((breaks, cell) => breaks + (cell.match(/\n/g)?.length ?? 0), 0),
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
