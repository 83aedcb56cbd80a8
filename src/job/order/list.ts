import { isDeviceName } from '../../plane/index.ts';
import { type CsvCell, type CsvRow, parseCsvTable } from '../page/csv-table.ts';

/** One cell of an order, and one line: see `parseCsvTable`. */
export type OrderCell = CsvCell;
export type OrderRow = CsvRow;

/** What people call the columns of an order elsewhere; told, and not taken, as one word may mean several things. */
const MEANT: Readonly<Record<string, string>> = {
  ...{ file: 'photo', 'file-name': 'photo', filename: 'photo', image: 'photo', picture: 'photo', path: 'photo' },
  ...{ qty: 'count', quantity: 'count', copies: 'count', amount: 'count', pieces: 'count' },
  ...{ title: 'name', note: 'text', comment: 'text', dimensions: 'size' },
};

/** Lines of an order from CSV. @throws AppError file-invalid naming line and column, as `parseCsvTable`. */
export function parseOrderCsv(
  text: string,
  { where, columns }: { readonly where: string; readonly columns: readonly string[] },
): readonly OrderRow[] {
  return parseCsvTable(text, {
    where,
    columns,
    needed: [{ name: 'photo', holds: 'the path of each photo' }],
    line: 'piece',
    meant: MEANT,
  });
}

/**
 * Longest name of a piece, bytes of UTF-8: most systems take file names of 255, of which an ending such as
 * `.ticket.json` and a number that tells two pieces apart take some. Assumed: 55 bytes of endings are enough.
 */
const MOST_BYTES = 200;
const countBytes = (text: string) => new TextEncoder().encode(text).length;

/** A text cut to the length that a name may have, between two characters. */
export function shortenName(text: string): string {
  let name = '';
  let bytes = 0;
  for (const letter of text) {
    bytes += countBytes(letter);
    if (bytes > MOST_BYTES) return name.trimEnd();
    name += letter;
  }
  return text;
}

/** What keeps a text from being the name of a piece's files, in words; undefined when nothing does. */
export function findNameFault(name: string): string | undefined {
  if (countBytes(name) > MOST_BYTES)
    return `at most ${MOST_BYTES} bytes, a third of that in Chinese or Japanese letters`;
  if (/[\\/:*?"<>|]|\p{Cc}/u.test(name)) return 'no \\ / : * ? " < > | and no line break';
  if (/^[.\s]|[.\s]$/.test(name) || name === '') return 'a name that neither begins nor ends with a point or a space';
  if (isDeviceName(name)) return 'a name that is none of the system’s own';
  return undefined;
}

/**
 * Names of files for pieces, in the order of the pieces: as wished, with `-2`, `-3` … where `filesOf` one would meet
 * those of another (letters alike but for their case meet, as they do on many disks).
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
