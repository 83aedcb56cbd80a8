/** What stands between the figures of a number, for one language. */
interface Signs {
  readonly decimal: string;
  readonly group: string;
}

export interface Numbers {
  /** A number as the reader writes it. @param decimals most that are shown; with `fixed` all of them */
  readonly say: (value: number, decimals?: number, fixed?: 'fixed') => string;
  /** What was typed, with a comma or a point; undefined for what is no number. */
  readonly read: (typed: string) => number | undefined;
  /** A day, written 2026-11-28, as the reader writes it. */
  readonly sayDay: (day: string) => string;
  /** An ISO date with its time, as the reader writes them here. */
  readonly sayMoment: (moment: string) => string;
  /** A sentence of the server, which writes points and 2026-11-28, with its numbers and days as the reader has them. */
  readonly inText: (text: string) => string;
}

/** Decimals that are shown where nobody says how many, a count. Assumed: what is measured here is known to no more. */
const MOST_DECIMALS = 3;

/** A decimal number that stands alone: no part of a name, a version, a date, an address or a pair of places. */
const ALONE = /(?<![\w.,:/-])(-?\d+)\.(\d+)(?![\w/]|[.,]\w|\.\.)/g;

/** A day that stands alone: no part of a name. */
const DAY = /(?<![\w.,:/-])\d{4}-\d{2}-\d{2}(?![\w/-]|[.:]\w)/g;

/** Numbers as they are written in a language, without groups, which are taken for a decimal sign elsewhere. */
export function numbersOf(language: string): Numbers {
  const formats = new Map<string, Intl.NumberFormat>();
  const { decimal, group } = signsOf(language);
  const days = new Intl.DateTimeFormat(language, { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' });
  const sayDay = (day: string) => {
    const at = Date.parse(`${day}T00:00:00Z`);
    return Number.isNaN(at) ? day : days.format(at);
  };
  const moments = new Intl.DateTimeFormat(language, { dateStyle: 'medium', timeStyle: 'short' });
  return {
    sayDay,
    sayMoment: (moment) => moments.format(Date.parse(moment)),
    say(value, decimals = MOST_DECIMALS, fixed) {
      const key = `${decimals} ${fixed}`;
      const known = formats.get(key);
      const format =
        known ??
        new Intl.NumberFormat(language, {
          useGrouping: false,
          numberingSystem: 'latn',
          maximumFractionDigits: decimals,
          ...(fixed ? { minimumFractionDigits: decimals } : {}),
        });
      formats.set(key, format);
      const times = 10 ** decimals;
      // No number is called less than nothing once it is rounded away.
      return format.format(Math.abs(value * times) < 0.5 ? 0 : value);
    },
    read(typed) {
      const plain = typed.replace(/[\s\u00a0\u202f'’]/g, '').replace('−', '-');
      if (/[.,].*[.,]/.test(plain) && !/^-?\d{1,3}([.,]\d{3})+([.,]\d+)?$/.test(plain)) return undefined;
      const signs = [...plain].filter((sign) => sign === ',' || sign === '.');
      const last = Math.max(plain.lastIndexOf(','), plain.lastIndexOf('.'));
      // One sign before three figures may be either: it is what it is in the reader's language. Else the last is the
      // decimal sign, and what comes before it can only be groups.
      const isGroup = signs.length === 1 && signs[0] === group && /^-?[1-9]\d{0,2}[.,]\d{3}$/.test(plain);
      const isAll = signs.length > 1 && signs.every((sign) => sign === signs[0]);
      const whole = isGroup || isAll || last < 0 ? plain.length : last;
      const text = `${plain.slice(0, whole).replace(/[.,]/g, '')}${whole < plain.length ? `.${plain.slice(whole + 1)}` : ''}`;
      return /^-?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : undefined;
    },
    inText: (text) => {
      const dated = text.replace(DAY, sayDay);
      return decimal === '.' ? dated : dated.replace(ALONE, `$1${decimal}$2`);
    },
  };
}

function signsOf(language: string): Signs {
  const parts = new Intl.NumberFormat(language, { numberingSystem: 'latn' }).formatToParts(1_234_567.8);
  const find = (type: Intl.NumberFormatPartTypes) => parts.find((part) => part.type === type)?.value ?? '';
  return { decimal: find('decimal'), group: find('group') };
}

/** As the browser's reader writes them. */
export const numbers = numbersOf(typeof navigator === 'undefined' ? 'en' : navigator.language);
