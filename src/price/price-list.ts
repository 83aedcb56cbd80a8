import * as v from 'valibot';
import { QUANTITIES, wholeWithin, within } from '../quantities.ts';
import { type FieldFault, parseRecord, refuseFaults } from '../schema.ts';

/** Decimals of a price, a count: a millionth of the currency. Assumed: a price a second can then be exact. */
const DECIMALS = 6;
const keepsDecimals = (value: number) => Number(value.toFixed(DECIMALS)) === value;
const money = v.pipe(within(0, 1e6), v.check(keepsDecimals, `a price with at most ${DECIMALS} decimals`));
const percent = v.pipe(within(0, 100), v.check(keepsDecimals, `a share with at most ${DECIMALS} decimals`));
const text = v.pipe(v.string(), v.trim(), v.nonEmpty());
const lengthMm = QUANTITIES.sizeMm;

const PRICE_LIST = v.strictObject({
  schema: v.literal('tonewright-prices/1'),
  title: text,
  /** Whose prices these are and from when, in words. */
  note: v.exactOptional(text),
  /** ISO 4217 code, such as EUR. */
  currency: v.pipe(v.string(), v.check(isCurrency, 'a currency code of ISO 4217 such as "EUR"')),
  /** BCP 47 tag of the way in which numbers and money are written, such as en-IE. */
  locale: v.pipe(v.string(), v.check(isLocale, 'a language tag such as "en-IE"')),
  setup: v.strictObject({
    /** Once an order. */
    perOrder: money,
    /** Once a different piece, however many of it are burned. */
    perPiece: money,
  }),
  machine: v.strictObject({
    /** A minute of any machine. */
    perMinute: money,
    /** A minute of machines with a price of their own, by name. */
    byName: v.exactOptional(v.record(v.string(), money)),
    /** The machine time of one copy is rounded up to a whole number of so many seconds; absent: 1. */
    stepS: v.exactOptional(wholeWithin(1, 3600)),
  }),
  /** Taking up, cleaning and wrapping, a copy. */
  handlingPerCopy: money,
  /** Blanks the shop supplies. Of several that a piece fits into, turned or not, the cheapest counts. */
  blanks: v.array(
    v.strictObject({
      material: text,
      /** Width and height; absent: a piece of any size. */
      sizeMm: v.exactOptional(v.strictTuple([lengthMm, lengthMm])),
      price: money,
    }),
  ),
  /** Off the price of the pieces, from so many copies on; the highest step that is reached counts. */
  quantitySteps: v.exactOptional(
    v.strictObject({
      /** What is counted: all copies of the order, or the copies of each piece by itself. */
      count: v.picklist(['order', 'piece']),
      /** What the discount is taken from: all that a piece costs, or all but its blanks. */
      of: v.picklist(['everything', 'work']),
      steps: v.array(v.strictObject({ from: wholeWithin(2, 1e6), percent })),
    }),
  ),
  /** Least price of an order, with tax or without as `tax.included` says. */
  minimumPerOrder: v.exactOptional(money),
  tax: v.strictObject({
    /** Such as "VAT". */
    name: text,
    percent,
    /** Whether the prices of this list hold the tax already. */
    included: v.boolean(),
  }),
  /** The total that is paid is brought to a whole number of `step`; absent: to the currency's smallest coin. */
  rounding: v.exactOptional(
    v.strictObject({ step: v.pipe(money, v.gtValue(0)), direction: v.picklist(['nearest', 'up', 'down']) }),
  ),
});

/** What a shop asks for its work, as data. */
export type PriceList = v.InferOutput<typeof PRICE_LIST>;

/**
 * Price list from parsed JSON (`tonewright-prices/1`).
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid, naming the first wrong field, what was found and what was needed.
 */
export function parsePriceList(json: unknown, where: string): PriceList {
  const what = `price list ${where}`;
  const list = parseRecord(PRICE_LIST, { json, what });
  const fault = findContradiction(list);
  return fault ? refuseFaults([fault], what) : list;
}

/** Steps that fall back, and a rounding finer than the currency's smallest coin. */
function findContradiction({ quantitySteps, rounding, currency, locale }: PriceList): FieldFault | undefined {
  const steps = quantitySteps?.steps ?? [];
  for (let at = 1; at < steps.length; at++) {
    const [before, step] = [steps[at - 1]!, steps[at]!];
    if (step.from <= before.from || step.percent <= before.percent) {
      return {
        field: `quantitySteps.steps.${at}`,
        found: `${step.percent} % from ${step.from} after ${before.percent} % from ${before.from}`,
        needed: 'steps that rise in count and in percent',
      };
    }
  }
  const digits = minorDigitsOf({ currency, locale });
  if (rounding && Number(rounding.step.toFixed(digits)) !== rounding.step) {
    return {
      field: 'rounding.step',
      found: `${rounding.step}`,
      needed: `whole coins, ${1 / 10 ** digits} ${currency} the smallest`,
    };
  }
  return undefined;
}

/** Digits after the point that the currency has: 2 for euro, 0 for yen. */
export function minorDigitsOf({ currency, locale }: Pick<PriceList, 'currency' | 'locale'>): number {
  return new Intl.NumberFormat(locale, { style: 'currency', currency }).resolvedOptions().maximumFractionDigits!;
}

function isCurrency(code: string): boolean {
  return Intl.supportedValuesOf('currency').includes(code);
}

function isLocale(tag: string): boolean {
  try {
    return Intl.NumberFormat.supportedLocalesOf(tag).length === 1;
  } catch {
    return false;
  }
}
