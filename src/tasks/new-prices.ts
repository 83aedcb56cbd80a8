import { join } from 'node:path';
import { AppError } from '../errors.ts';
import { type PriceList, parsePriceList } from '../job/index.ts';
import { formatJson } from '../json.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
import { writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { readPrices } from './prices.ts';
import { fillAnswers, findUnanswered, type Question } from './questions.ts';

export interface NewPricesRecord {
  readonly prices: PriceList;
  readonly path: string;
}

/** Most that any price may be, units of the currency. By definition: what a price list takes. */
const MOST_MONEY = 1e6;

/** The next thing to ask about prices. */
export function askOfPrices(known: OptionValues): Question | undefined {
  return findUnanswered(
    [
      { key: 'title', ask: 'Name of the shop on a quote', fallback: undefined },
      { key: 'currency', ask: 'Currency, as in EUR', fallback: undefined },
      {
        key: 'locale',
        ask: 'How numbers and money are written, as in en-IE or de-DE',
        fallback: 'en-IE',
        rests: 'assumed' as const,
      },
      {
        key: 'perMinute',
        ask: 'Price of a minute of the machine',
        fallback: undefined,
        measuredBy: 'what a month costs, over the machine time in the list of what was burned',
      },
      { key: 'setup', ask: 'Price once an order', fallback: '0' },
      { key: 'perPiece', ask: 'Price once a different piece', fallback: '0' },
      { key: 'handling', ask: 'Price of taking up, cleaning and wrapping, a copy', fallback: '0' },
      { key: 'taxName', ask: 'Name of the tax', fallback: 'VAT' },
      { key: 'tax', ask: 'The tax, percent', fallback: '0' },
    ],
    known,
  );
}

/** @throws AppError option-invalid */
export function checkPriceAnswer({ key }: Question, text: string): void {
  if (['perMinute', 'setup', 'perPiece', 'handling', 'tax'].includes(key)) readMoney({ [key]: text }, key);
}

/** The answers that would give a price list again. */
export function answersOfPrices(prices: PriceList): Readonly<Record<string, string>> {
  const { title, currency, locale, setup, machine, handlingPerCopy, tax, minimumPerOrder } = prices;
  return {
    ...{ title, currency, locale, perMinute: String(machine.perMinute) },
    ...{ setup: String(setup.perOrder), perPiece: String(setup.perPiece), handling: String(handlingPerCopy) },
    ...(minimumPerOrder === undefined ? {} : { minimum: String(minimumPerOrder) }),
    ...{ taxName: tax.name, tax: String(tax.percent) },
  };
}

/** Writes the shop's price list. @throws AppError option-invalid, file-invalid, result-exists, path-* */
export async function newPrices(
  answers: OptionValues,
  { shop, force = false, from }: Pick<TaskContext, 'shop'> & { readonly force?: boolean; readonly from?: string },
): Promise<NewPricesRecord> {
  if (shop.shopDir === undefined) throw new AppError('path-missing', 'found no shop folder, needed one for the prices');
  const all = fillAnswers(answers, askOfPrices);
  const minimum = readMoney(all, 'minimum');
  // Blanks, steps of quantity and prices of single machines are asked by nobody: a list that is changed keeps them.
  const own = from === undefined ? undefined : readPrices(undefined, shop);
  const path = join(shop.shopDir, 'prices.json');
  const prices = parsePriceList(
    {
      ...own,
      schema: 'tonewright-prices/1',
      title: textOf(all, 'title'),
      currency: textOf(all, 'currency')!.trim().toUpperCase(),
      locale: textOf(all, 'locale')!.trim(),
      setup: { perOrder: readMoney(all, 'setup'), perPiece: readMoney(all, 'perPiece') },
      machine: { ...own?.machine, perMinute: readMoney(all, 'perMinute') },
      handlingPerCopy: readMoney(all, 'handling'),
      blanks: own?.blanks ?? [],
      ...(minimum === undefined ? {} : { minimumPerOrder: minimum }),
      tax: {
        name: textOf(all, 'taxName'),
        percent: readMoney(all, 'tax'),
        included: all.taxIncluded === undefined ? (own?.tax.included ?? false) : all.taxIncluded === true,
      },
    },
    path,
  );
  await writeFilesAtomic([{ path, bytes: formatJson(prices, 'price list') }], { force });
  return { prices, path };
}

const readMoney = (answers: OptionValues, key: string) => numberOf(answers, key, { min: 0, max: MOST_MONEY });
