import { isAbsolute, relative } from 'node:path';

export { formatNumber, formatSeconds } from '../tasks/index.ts';

/** A path as it is typed in a folder: relative where it lies below. */
export function sayPath(path: string, folder: string): string {
  const below = relative(folder, path);
  return below === '' || below.startsWith('..') || isAbsolute(below) ? path : below;
}

/** Rows as aligned columns, two spaces apart. */
export function alignColumns(rows: readonly (readonly string[])[], indent = ''): string {
  const widths: number[] = [];
  for (const row of rows) {
    for (const [at, cell] of row.entries()) widths[at] = Math.max(widths[at] ?? 0, cell.length);
  }
  return rows
    .map(
      (row) =>
        indent +
        row
          .map((cell, at) => cell.padEnd(widths[at]!))
          .join('  ')
          .trimEnd(),
    )
    .join('\n');
}

/** Break a text between words into lines of at most so many characters. */
export function wrapText(text: string, columns: number): string {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > columns) {
      lines.push(line);
      line = word;
    } else {
      line = line === '' ? word : `${line} ${word}`;
    }
  }
  return [...lines, line].join('\n');
}
