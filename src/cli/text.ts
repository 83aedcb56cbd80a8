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

/** A number with so many significant digits, without trailing zeros. */
export function formatNumber(value: number, digits = 4): string {
  if (!Number.isFinite(value)) return String(value);
  if (Math.abs(value) >= 10 ** digits) return String(Math.round(value));
  return String(Number(value.toPrecision(digits)));
}

/** Seconds as `45 s`, `3 min 20 s` or `1 h 05 min`. */
export function formatSeconds(seconds: number): string {
  if (seconds < 59.5) return `${formatNumber(seconds, 3)} s`;
  const whole = Math.round(seconds);
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
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
