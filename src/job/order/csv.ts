import { formatAmount } from '../../price/index.ts';
import type { OrderRecord } from './record.ts';

/** The order as a table for a spreadsheet: RFC 4180, one line a piece, plain numbers with a decimal point. */
export function renderOrderCsv({ pieces, quote }: OrderRecord): string {
  const prices = new Map(quote?.pieces.map((piece) => [piece.id, piece]));
  const priced = quote ? [`price_each_${quote.currency.toLowerCase()}`, `price_${quote.currency.toLowerCase()}`] : [];
  const head = [
    ...['line', 'name', 'photo', 'text', 'count', 'status', 'bitmap', 'width_mm', 'height_mm', 'material', 'machine'],
    ...[
      'profile',
      'seconds_each',
      'seconds_each_low',
      'seconds_each_high',
      'seconds',
      'mean_delta_l',
      'worst_delta_l',
      ...priced,
      'warnings',
      'reason',
    ],
  ];
  const lines = pieces.map((piece) => {
    const { line, name, photo, text, count, status } = piece;
    const own = [line, name, photo, text, count, status];
    if (piece.status === 'failed') {
      return [...own, ...Array(head.length - own.length - 1).fill(null), piece.reason.message];
    }
    const {
      bitmap,
      widthMm,
      heightMm,
      material,
      machine,
      profile,
      seconds,
      interval,
      meanDeltaL,
      worstDeltaL,
      warnings,
    } = piece;
    const price = prices.get(name);
    return [
      ...own,
      ...[
        bitmap,
        rounded(widthMm, 3),
        rounded(heightMm, 3),
        material,
        machine,
        profile,
        rounded(seconds, 2),
        rounded(interval.lowS, 2),
        rounded(interval.highS, 2),
        rounded(seconds * count, 2),
      ],
      ...[rounded(meanDeltaL, 3), rounded(worstDeltaL, 3)],
      ...(quote && price ? [formatAmount(price.eachMinor, quote), formatAmount(price.amountMinor, quote)] : []),
      warnings.join(' '),
      null,
    ];
  });
  return [head, ...lines].map((cells) => `${cells.map(quoteCell).join(',')}\r\n`).join('');
}

function quoteCell(value: string | number | null): string {
  const text = value === null ? '' : String(value);
  // A spreadsheet takes a text that begins like a formula for one.
  const safe =
    typeof value === 'string' && /^[=+\-@\t\r]/.test(text) && !/^-?\d+(\.\d+)?$/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

function rounded(value: number, decimals: number): number {
  return Number(value.toFixed(decimals));
}
