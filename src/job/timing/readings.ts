import { AppError } from '../../errors.ts';
import { parseLengthMm } from '../../units.ts';
import { type CsvCell, parseCsvTable } from '../page/csv-table.ts';

/** One line of a table of stopwatch readings; what is absent is the file's, the ticket's or the machine's. */
export interface TimeReading {
  /** Line of the table, from 1. */
  readonly line: number;
  /** Bitmap or ticket, as written. */
  readonly file: string;
  readonly seconds: number;
  /** Step in which it was written down, s: 0.1 for 95.2, 1 for 1:35. */
  readonly stepS: number;
  readonly speedMmPerS?: number;
  readonly passes?: number;
  readonly scan?: 'one-way' | 'two-way';
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
}

const COLUMNS = ['file', 'seconds', 'speed', 'passes', 'scan', 'pitch', 'spacing', 'note'] as const;

/**
 * Stopwatch readings from CSV: `file` (bitmap or ticket) and `seconds` (95, 95.2, 1:35.2 or 1:02:03), and where they
 * differ from what the ticket says, `speed` (mm/s), `passes`, `scan` (one-way or two-way), `pitch` and `spacing`
 * (lengths). `note` is for people. A decimal comma is understood where the columns are not separated by commas.
 * @throws AppError file-invalid naming line and column.
 */
export function parseTimeReadings(text: string, where: string): readonly TimeReading[] {
  const rows = parseCsvTable(text, {
    where,
    columns: COLUMNS,
    needed: [
      { name: 'file', holds: 'the bitmap or ticket of each job' },
      { name: 'seconds', holds: 'what the stopwatch showed' },
    ],
    line: 'reading',
    meant: { time: 'seconds', duration: 'seconds', bitmap: 'file', ticket: 'file' },
  });
  return rows.map(({ line, cells }) => {
    const { file, seconds } = cells;
    const fail = (cell: CsvCell, needed: string) =>
      new AppError(
        'file-invalid',
        `${where}: line ${cell.line}, column ${cell.column}: found "${cell.text}", needed ${needed}`,
        { where, line: cell.line, column: cell.column },
      );
    const number = (cell: CsvCell | undefined, needed: string, accepts: (value: number) => boolean) => {
      if (!cell) return undefined;
      const value = Number(cell.text.replace(',', '.'));
      if (!(Number.isFinite(value) && accepts(value))) throw fail(cell, needed);
      return value;
    };
    const length = (cell: CsvCell | undefined) => {
      if (!cell) return undefined;
      try {
        return parseLengthMm(cell.text.replace(',', '.'), cell.text);
      } catch {
        throw fail(cell, 'a length above 0 such as 0.02, 80um or 0.5in');
      }
    };
    if (!file || !seconds) {
      const missing = file ? 'seconds' : 'file';
      throw new AppError(
        'file-invalid',
        `${where}: line ${line}: found nothing in the column "${missing}", needed one`,
        {
          where,
          line,
        },
      );
    }
    const read = readClock(seconds.text);
    if (!read) throw fail(seconds, 'a time above 0 such as 95, 95.2, 1:35.2 or 1:02:03');
    const scan = cells.scan?.text.toLowerCase();
    if (cells.scan && scan !== 'one-way' && scan !== 'two-way') throw fail(cells.scan, 'one-way or two-way');
    const facts = {
      speedMmPerS: number(cells.speed, 'a speed above 0, mm/s', (value) => value > 0),
      passes: number(cells.passes, 'a whole number of at least 1', (value) => Number.isInteger(value) && value >= 1),
      scan: scan as TimeReading['scan'],
      pitchMm: length(cells.pitch),
      lineSpacingMm: length(cells.spacing),
    };
    const given = Object.entries(facts).filter(([, value]) => value !== undefined);
    return { line, file: file.text, ...read, ...Object.fromEntries(given) };
  });
}

/** Seconds, m:ss or h:mm:ss, with decimals of the seconds. */
function readClock(text: string): { readonly seconds: number; readonly stepS: number } | undefined {
  const found = /^(?:(?:(\d+):)?([0-5]?\d):)?(\d+)(?:[.,](\d+))?$/.exec(text);
  if (!found) return undefined;
  const [, hours, minutes, whole, decimals = ''] = found;
  if (minutes !== undefined && Number(whole) >= 60) return undefined;
  const seconds = 3600 * Number(hours ?? 0) + 60 * Number(minutes ?? 0) + Number(`${whole}.${decimals || 0}`);
  return seconds > 0 ? { seconds, stepS: 10 ** -decimals.length } : undefined;
}
