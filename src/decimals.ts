const DECIMAL = /^[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:e[+-]?\d+)?$/i;
/** One thousand to one reader, one to another. */
const AMBIGUOUS = /^[+-]?[1-9]\d{0,2},\d{3}$/;

/**
 * Number of a decimal with a point or a comma; NaN for anything else, and for `1,250`, which can be read in two ways.
 */
export function readDecimal(text: string): number {
  const plain = text.trim();
  return DECIMAL.test(plain) && !AMBIGUOUS.test(plain) ? Number(plain.replace(',', '.')) : Number.NaN;
}

/** Why a number with a comma was not taken, for the end of a message; nothing where that is not the reason. */
export function explainComma(text: string): string {
  const plain = text.trim();
  if (!AMBIGUOUS.test(plain)) return '';
  return `; a comma before three digits may part thousands: write ${plain.replace(',', '.')} or ${plain.replace(',', '')}`;
}
