import { lookUp } from '../json.ts';
import { minorDigitsOf, type PriceList } from './price-list.ts';

/** One piece of an order, as far as its price goes. */
export interface PricedPiece {
  /** Unique within the order. */
  readonly id: string;
  /** What the customer calls it. */
  readonly title: string;
  /** Name of the material, as in the records of materials. */
  readonly material: string;
  /** Name of the machine. */
  readonly machine: string;
  /** Time on the machine for one copy, s, ≥ 0. */
  readonly machineSeconds: number;
  /** Copies, a whole number ≥ 1. */
  readonly count: number;
  readonly widthMm: number;
  readonly heightMm: number;
  /** `customer`: brought along, so that no blank is charged. Absent: the shop's. */
  readonly blank?: 'shop' | 'customer';
}

/** Money is whole numbers of the currency's smallest coin ("minor units"): 1999 for 19.99 EUR, 1999 for 1999 JPY. */
export interface QuoteLine {
  readonly kind: 'setup' | 'handling' | 'machine' | 'blank' | 'discount' | 'minimum';
  readonly label: string;
  readonly quantity: number;
  /** What the quantity counts: `order`, `piece`, `copy`, `min`, or `%` of a discount. */
  readonly unit: 'order' | 'piece' | 'copy' | 'min' | '%';
  /** Price of one unit in the currency itself, as in the list; null where the line is not a product of the two. */
  readonly unitPrice: number | null;
  readonly amountMinor: number;
}

export interface PieceQuote {
  readonly id: string;
  readonly title: string;
  readonly count: number;
  /** Time that is charged for one copy, s: the estimate rounded up to whole steps. */
  readonly chargedSeconds: number;
  readonly lines: readonly QuoteLine[];
  /** All copies together: the sum of the lines, without tax or with it as the list has it. */
  readonly amountMinor: number;
  /** `amountMinor` divided by the copies and rounded: for the label on a contact sheet, not for adding up. */
  readonly eachMinor: number;
}

/** Price of an order with every number behind it. Amounts add up: each line is rounded once, and nothing after it. */
export interface Quote {
  readonly currency: string;
  readonly locale: string;
  /** Digits after the point of the currency. */
  readonly minorDigits: number;
  readonly pieces: readonly PieceQuote[];
  /** Of the order as a whole: set-up, and what is missing to the least price. */
  readonly lines: readonly QuoteLine[];
  readonly netMinor: number;
  readonly tax: {
    readonly name: string;
    readonly percent: number;
    readonly included: boolean;
    readonly amountMinor: number;
  };
  /** What rounding the total to whole steps adds or takes away. */
  readonly roundingMinor: number;
  /** What is paid: net + tax + rounding. */
  readonly grossMinor: number;
  /** What the list does not know, in plain words. */
  readonly warnings: readonly string[];
}

/**
 * Prices of a list are whole millionths of the currency, so that sums are exact. A count. Exact: 10⁶, the decimals of a
 * list's prices.
 */
const MILLIONTHS = 1_000_000;

/**
 * Price of an order. Exact: all sums are of whole numbers. A line is its unit price times its quantity, rounded once to
 * the currency's smallest coin, halves up; discounts and tax are rounded once likewise; the lines then add up to the
 * total.
 * - Set-up once an order and once a different piece; handling, blank and machine time for each copy.
 * - The machine time of one copy is rounded up to whole steps of the list before it is multiplied.
 * - The discount of the highest quantity step that is reached is taken from each piece.
 * - An order below the least price is raised to it.
 * - With `tax.included` all amounts hold the tax, and the tax line says how much; else it is added.
 * @throws RangeError when there is no piece, ids repeat, a time is negative or not finite, or a count is not a whole
 * number ≥ 1.
 */
export function quoteOrder(prices: PriceList, pieces: readonly PricedPiece[]): Quote {
  checkPieces(pieces);
  const minorDigits = minorDigitsOf(prices);
  const coins = createCoins(minorDigits);
  const copies = pieces.reduce((sum, { count }) => sum + count, 0);
  const warnings: string[] = [];
  const quoted = pieces.map((piece) => quotePiece(prices, { piece, copies, coins, warnings }));
  const setup: QuoteLine = {
    kind: 'setup',
    label: 'Set-up of the order',
    quantity: 1,
    unit: 'order',
    unitPrice: prices.setup.perOrder,
    amountMinor: coins.product(prices.setup.perOrder, 1),
  };
  const sum = quoted.reduce((total, { amountMinor }) => total + amountMinor, setup.amountMinor);
  const least = coins.product(prices.minimumPerOrder ?? 0, 1);
  const minimum: QuoteLine = {
    kind: 'minimum',
    label: 'Up to the least price of an order',
    quantity: 1,
    unit: 'order',
    unitPrice: prices.minimumPerOrder ?? null,
    amountMinor: least - sum,
  };
  const listed = Math.max(sum, least);
  const { name, percent, included } = prices.tax;
  const taxMinor = included ? coins.shareWithin(listed, percent) : coins.share(listed, percent);
  const beforeRounding = included ? listed : listed + taxMinor;
  const grossMinor = roundTotal(beforeRounding, prices.rounding, coins);
  return {
    currency: prices.currency,
    locale: prices.locale,
    minorDigits,
    pieces: quoted,
    lines: least > sum ? [setup, minimum] : [setup],
    netMinor: beforeRounding - taxMinor,
    tax: { name, percent, included, amountMinor: taxMinor },
    roundingMinor: grossMinor - beforeRounding,
    grossMinor,
    warnings,
  };
}

/** An amount as people of the list's language write it, such as `€19.99`. */
export function formatMoney(
  amountMinor: number,
  { currency, locale, minorDigits }: Pick<Quote, 'currency' | 'locale' | 'minorDigits'>,
): string {
  return new Intl.NumberFormat(locale, { style: 'currency', currency }).format(amountMinor / 10 ** minorDigits);
}

/** An amount as a plain decimal number for CSV: a point, all digits of the currency, no grouping: `19.90`. */
export function formatAmount(amountMinor: number, { minorDigits }: Pick<Quote, 'minorDigits'>): string {
  return (amountMinor / 10 ** minorDigits).toFixed(minorDigits);
}

interface PieceFacts {
  readonly piece: PricedPiece;
  /** Of all pieces of the order. */
  readonly copies: number;
  readonly coins: Coins;
  readonly warnings: string[];
}

function quotePiece(prices: PriceList, { piece, copies, coins, warnings }: PieceFacts): PieceQuote {
  const { id, title, count, machine } = piece;
  const stepS = prices.machine.stepS ?? 1;
  const chargedSeconds = Math.ceil(roundNoise(piece.machineSeconds / stepS)) * stepS;
  const perMinute = lookUp(prices.machine.byName ?? {}, machine) ?? prices.machine.perMinute;
  const blank = piece.blank === 'customer' ? undefined : findBlank(prices, piece);
  if (piece.blank !== 'customer' && !blank) {
    warnings.push(
      `${title}: the price list has no blank of ${piece.material} for ${piece.widthMm} × ${piece.heightMm} mm; none is charged.`,
    );
  }
  const perCopy = (kind: QuoteLine['kind'], label: string, price: number): QuoteLine => ({
    kind,
    label,
    quantity: count,
    unit: 'copy',
    unitPrice: price,
    amountMinor: coins.product(price, count),
  });
  const work: QuoteLine[] = [
    {
      kind: 'setup',
      label: 'Set-up of the piece',
      quantity: 1,
      unit: 'piece',
      unitPrice: prices.setup.perPiece,
      amountMinor: coins.product(prices.setup.perPiece, 1),
    },
    {
      kind: 'machine',
      label: `Machine time, ${machine}`,
      quantity: (count * chargedSeconds) / 60,
      unit: 'min',
      unitPrice: perMinute,
      amountMinor: coins.product(perMinute, count * chargedSeconds, 60),
    },
    perCopy('handling', 'Handling', prices.handlingPerCopy),
  ];
  const lines = blank ? [...work, perCopy('blank', `Blank, ${piece.material}`, blank.price)] : work;
  const discount = discountOf(prices, { count, copies, lines, work, coins });
  const all = discount ? [...lines, discount] : lines;
  const amountMinor = sumOf(all);
  return { id, title, count, chargedSeconds, lines: all, amountMinor, eachMinor: coins.divide(amountMinor, count) };
}

interface DiscountFacts {
  readonly count: number;
  readonly copies: number;
  readonly lines: readonly QuoteLine[];
  readonly work: readonly QuoteLine[];
  readonly coins: Coins;
}

function discountOf({ quantitySteps }: PriceList, facts: DiscountFacts): QuoteLine | undefined {
  if (!quantitySteps) return undefined;
  const counted = quantitySteps.count === 'order' ? facts.copies : facts.count;
  const step = quantitySteps.steps.filter(({ from }) => counted >= from).at(-1);
  if (!step) return undefined;
  return {
    kind: 'discount',
    label: `From ${step.from} on${quantitySteps.of === 'work' ? ', off the work' : ''}`,
    quantity: step.percent,
    unit: '%',
    unitPrice: null,
    amountMinor: 0 - facts.coins.share(sumOf(quantitySteps.of === 'work' ? facts.work : facts.lines), step.percent),
  };
}

/** The cheapest blank of the material that the piece fits into, turned or not. */
function findBlank({ blanks }: PriceList, { material, widthMm, heightMm }: PricedPiece) {
  const [short, long] = [Math.min(widthMm, heightMm), Math.max(widthMm, heightMm)];
  const fits = (sizeMm: readonly [number, number] | undefined) =>
    !sizeMm || (short <= Math.min(...sizeMm) + 1e-9 && long <= Math.max(...sizeMm) + 1e-9);
  return blanks
    .filter((blank) => blank.material === material && fits(blank.sizeMm))
    .reduce<PriceList['blanks'][number] | undefined>(
      (best, blank) => (best && best.price <= blank.price ? best : blank),
      undefined,
    );
}

function roundTotal(amountMinor: number, rounding: PriceList['rounding'], coins: Coins): number {
  if (!rounding) return amountMinor;
  const step = coins.product(rounding.step, 1);
  const { direction } = rounding;
  const count =
    direction === 'up'
      ? Math.ceil(amountMinor / step)
      : direction === 'down'
        ? Math.floor(amountMinor / step)
        : Math.floor(amountMinor / step + 0.5);
  return count * step;
}

interface Coins {
  /** Price × quantity / divisor in minor units, halves up. */
  readonly product: (price: number, quantity: number, divisor?: number) => number;
  /** So many percent of an amount, halves up. */
  readonly share: (amountMinor: number, percent: number) => number;
  /** The tax that an amount already holds: percent / (100 + percent) of it, halves up. */
  readonly shareWithin: (amountMinor: number, percent: number) => number;
  readonly divide: (amountMinor: number, by: number) => number;
}

/** Exact arithmetic on whole numbers of any size, so that no order is too large for it. */
function createCoins(minorDigits: number): Coins {
  const millionths = (value: number) => BigInt(Math.round(value * MILLIONTHS));
  const scale = BigInt(10 ** minorDigits);
  const million = BigInt(MILLIONTHS);
  // For amounts ≥ 0, which all of these are.
  const divideHalfUp = (over: bigint, under: bigint) => Number((2n * over + under) / (2n * under));
  return {
    product: (price, quantity, divisor = 1) =>
      divideHalfUp(millionths(price) * BigInt(quantity) * scale, million * BigInt(divisor)),
    share: (amountMinor, percent) => divideHalfUp(BigInt(amountMinor) * millionths(percent), 100n * million),
    shareWithin: (amountMinor, percent) =>
      divideHalfUp(BigInt(amountMinor) * millionths(percent), 100n * million + millionths(percent)),
    divide: (amountMinor, by) => divideHalfUp(BigInt(amountMinor), BigInt(by)),
  };
}

/** A time of exactly ten steps must not count as eleven because its sum came out a rounding error above. */
function roundNoise(value: number): number {
  return Math.round(value) + (Math.abs(value - Math.round(value)) < 1e-9 ? 0 : value - Math.round(value));
}

function sumOf(lines: readonly QuoteLine[]): number {
  return lines.reduce((sum, { amountMinor }) => sum + amountMinor, 0);
}

function checkPieces(pieces: readonly PricedPiece[]): void {
  if (pieces.length === 0) throw new RangeError('a quote needs at least one piece');
  if (new Set(pieces.map(({ id }) => id)).size !== pieces.length) throw new RangeError('two pieces have the same id');
  for (const { id, count, machineSeconds } of pieces) {
    if (!(Number.isInteger(count) && count >= 1))
      throw new RangeError(`${id}: copies are a whole number ≥ 1, got ${count}`);
    if (!(machineSeconds >= 0 && Number.isFinite(machineSeconds))) {
      throw new RangeError(`${id}: machine time is ≥ 0 s, got ${machineSeconds}`);
    }
  }
}
