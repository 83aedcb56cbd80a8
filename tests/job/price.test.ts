import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import {
  formatAmount,
  formatMoney,
  type PricedPiece,
  type PriceList,
  parsePriceList,
  type Quote,
  quoteOrder,
} from '../../src/job/index.ts';

const PRICES: PriceList = {
  schema: 'tonewright-prices/1',
  title: 'Test',
  currency: 'EUR',
  locale: 'en-IE',
  setup: { perOrder: 5, perPiece: 2.5 },
  machine: { perMinute: 0.8, byName: { fine: 1.25 } },
  handlingPerCopy: 0.6,
  blanks: [
    { material: 'card', sizeMm: [85.6, 54], price: 1.2 },
    { material: 'card', sizeMm: [150, 100], price: 3.9 },
    { material: 'glass', price: 3.5 },
  ],
  tax: { name: 'VAT', percent: 19, included: false },
};
const PIECE: PricedPiece = {
  id: 'a',
  title: 'Cat',
  material: 'card',
  machine: 'plain',
  machineSeconds: 90,
  count: 1,
  widthMm: 54,
  heightMm: 85.6,
};

const amounts = ({ pieces, lines }: Quote) => ({
  pieces: pieces.map((piece) => Object.fromEntries(piece.lines.map(({ kind, amountMinor }) => [kind, amountMinor]))),
  order: Object.fromEntries(lines.map(({ kind, amountMinor }) => [kind, amountMinor])),
});

describe('a quote', () => {
  test('of one piece is set-up, machine time, handling, blank and tax, to the cent', () => {
    const quote = quoteOrder(PRICES, [PIECE]);
    // 2.50 + 1.5 min × 0.80 + 0.60 + 1.20 = 5.50; + 5.00 = 10.50; 19 % of it 1.995, halves up 2.00.
    expect(amounts(quote)).toEqual({
      pieces: [{ setup: 250, machine: 120, handling: 60, blank: 120 }],
      order: { setup: 500 },
    });
    expect(quote).toMatchObject({ netMinor: 1050, tax: { amountMinor: 200 }, roundingMinor: 0, grossMinor: 1250 });
    expect(quote.pieces[0]).toMatchObject({ amountMinor: 550, eachMinor: 550, chargedSeconds: 90 });
    expect(quote.warnings).toEqual([]);
  });

  test('multiplies what belongs to a copy and not what belongs to a piece', () => {
    const quote = quoteOrder(PRICES, [{ ...PIECE, count: 7 }]);
    expect(amounts(quote).pieces).toEqual([{ setup: 250, machine: 840, handling: 420, blank: 840 }]);
    expect(quote.pieces[0]!.eachMinor).toBe(Math.round(2350 / 7));
  });

  test('rounds the time of one copy up to whole steps before it multiplies', () => {
    const quote = (machineSeconds: number, stepS: number) =>
      quoteOrder({ ...PRICES, machine: { perMinute: 0.8, stepS } }, [{ ...PIECE, machineSeconds, count: 3 }])
        .pieces[0]!;
    expect(quote(61, 60)).toMatchObject({ chargedSeconds: 120 });
    expect(quote(60, 60)).toMatchObject({ chargedSeconds: 60 });
    // 0.1 × 600 is not quite 60 for a computer: no step more for that.
    expect(
      quote(
        Array(600)
          .fill(0.1)
          .reduce((a, b) => a + b, 0),
        60,
      ),
    ).toMatchObject({ chargedSeconds: 60 });
    expect(quote(61, 60).lines[1]).toMatchObject({ quantity: 6, unit: 'min', unitPrice: 0.8, amountMinor: 480 });
    expect(quote(0, 60)).toMatchObject({ chargedSeconds: 0 });
  });

  test('takes a machine’s own price of a minute', () => {
    expect(amounts(quoteOrder(PRICES, [{ ...PIECE, machine: 'fine' }])).pieces[0]).toMatchObject({ machine: 188 });
  });

  test('takes the cheapest blank that the piece fits into, and says when there is none', () => {
    const blank = (change: Partial<PricedPiece>) => {
      const quote = quoteOrder(PRICES, [{ ...PIECE, ...change }]);
      return { charged: amounts(quote).pieces[0]!.blank, warnings: quote.warnings };
    };
    expect(blank({ widthMm: 100, heightMm: 20 })).toEqual({ charged: 390, warnings: [] });
    expect(blank({ material: 'glass', widthMm: 900 })).toEqual({ charged: 350, warnings: [] });
    expect(blank({ widthMm: 200 })).toEqual({
      charged: undefined,
      warnings: [expect.stringMatching(/Cat: .* no blank of card for 200 × 85.6 mm/)],
    });
    expect(blank({ material: 'horn', blank: 'customer' })).toEqual({ charged: undefined, warnings: [] });
  });

  test('takes the highest quantity step that is reached, of the order or of the piece, off all or off the work', () => {
    const steps = [
      { from: 5, percent: 10 },
      { from: 10, percent: 20 },
    ];
    const pieces = [
      { ...PIECE, count: 6 },
      { ...PIECE, id: 'b', count: 4 },
    ];
    const discounts = (count: 'order' | 'piece', of: 'everything' | 'work') =>
      amounts(quoteOrder({ ...PRICES, quantitySteps: { count, of, steps } }, pieces)).pieces.map(
        ({ discount }) => discount,
      );
    // Six: 250 + 720 + 360 = 1330 of work and 720 of blanks. Four: 250 + 480 + 240 = 970 and 480.
    expect(discounts('order', 'everything')).toEqual([-410, -290]);
    expect(discounts('order', 'work')).toEqual([-266, -194]);
    expect(discounts('piece', 'everything')).toEqual([-205, undefined]);
  });

  test('raises a small order to the least price', () => {
    const quote = quoteOrder({ ...PRICES, minimumPerOrder: 20 }, [PIECE]);
    expect(amounts(quote).order).toEqual({ setup: 500, minimum: 950 });
    expect(quote).toMatchObject({ netMinor: 2000, grossMinor: 2380 });
    expect(amounts(quoteOrder({ ...PRICES, minimumPerOrder: 10.5 }, [PIECE])).order).toEqual({ setup: 500 });
  });

  test('takes the tax out of prices that hold it', () => {
    const quote = quoteOrder({ ...PRICES, tax: { name: 'VAT', percent: 25, included: true } }, [PIECE]);
    // A fifth of 10.50.
    expect(quote).toMatchObject({ netMinor: 840, tax: { amountMinor: 210 }, grossMinor: 1050 });
  });

  test.each([
    ['nearest', 1250, 0.2, 1260],
    ['up', 1250, 0.2, 1260],
    ['down', 1250, 0.2, 1240],
    ['nearest', 1250, 1, 1300],
    ['nearest', 1250, 0.05, 1250],
  ] as const)('rounds the total %s: %i to steps of %f is %i', (direction, _before, step, after) => {
    const quote = quoteOrder({ ...PRICES, rounding: { step, direction } }, [PIECE]);
    expect(quote).toMatchObject({ grossMinor: after, roundingMinor: after - 1250 });
  });

  test('counts in the smallest coin of the currency', () => {
    const yen = quoteOrder({ ...PRICES, currency: 'JPY', locale: 'ja-JP' }, [PIECE]);
    // 5 + 3 (2.5 up) + 1 (1.2) + 1 (0.6) + 1 (1.2) = 11 before 19 %.
    expect(yen).toMatchObject({ minorDigits: 0, netMinor: 11, tax: { amountMinor: 2 }, grossMinor: 13 });
    expect(quoteOrder({ ...PRICES, currency: 'KWD' }, [PIECE])).toMatchObject({ minorDigits: 3, netMinor: 10500 });
  });

  test('is written as the language and the currency have it', () => {
    const euro = quoteOrder(PRICES, [PIECE]);
    expect(formatMoney(123456, euro)).toBe('€1,234.56');
    expect(formatAmount(123450, euro)).toBe('1234.50');
    const yen = { currency: 'JPY', locale: 'en-US', minorDigits: 0 };
    expect([formatMoney(1234, yen), formatAmount(1234, yen)]).toEqual(['¥1,234', '1234']);
  });

  test('adds up, whatever is in it, and never falls when a copy is added', () => {
    const cents = (max: number) => fc.integer({ min: 0, max }).map((amount) => amount / 1000);
    const list = fc.record({
      perOrder: cents(1e5),
      perPiece: cents(1e5),
      perMinute: cents(1e4),
      handling: cents(1e4),
      minimum: cents(1e5),
      percent: fc.constantFrom(0, 7, 8.1, 19, 23),
      included: fc.boolean(),
    });
    const piece = fc.record({
      seconds: fc.double({ min: 0, max: 1e5, noNaN: true }),
      count: fc.integer({ min: 1, max: 500 }),
    });
    fc.assert(
      fc.property(list, fc.array(piece, { minLength: 1, maxLength: 5 }), (values, parts) => {
        const prices: PriceList = {
          ...PRICES,
          setup: { perOrder: values.perOrder, perPiece: values.perPiece },
          machine: { perMinute: values.perMinute },
          handlingPerCopy: values.handling,
          minimumPerOrder: values.minimum,
          tax: { name: 'VAT', percent: values.percent, included: values.included },
        };
        const pieces = parts.map(({ seconds, count }, i) => ({ ...PIECE, id: `${i}`, machineSeconds: seconds, count }));
        const quote = quoteOrder(prices, pieces);
        const lines = [...quote.lines, ...quote.pieces.flatMap((one) => one.lines)];
        const sum = lines.reduce((total, { amountMinor }) => total + amountMinor, 0);
        expect(quote.netMinor + (values.included ? quote.tax.amountMinor : 0)).toBe(sum);
        expect(quote.netMinor + quote.tax.amountMinor + quote.roundingMinor).toBe(quote.grossMinor);
        for (const line of lines) {
          expect(Number.isSafeInteger(line.amountMinor)).toBe(true);
          if (line.unitPrice === null || line.kind === 'minimum') continue;
          expect(Math.abs(line.amountMinor - 100 * line.unitPrice * line.quantity)).toBeLessThanOrEqual(0.5 + 1e-6);
        }
        const more = quoteOrder(prices, [{ ...pieces[0]!, count: pieces[0]!.count + 1 }, ...pieces.slice(1)]);
        expect(more.grossMinor).toBeGreaterThanOrEqual(quote.grossMinor);
      }),
      { numRuns: 200 },
    );
  });

  test.each([
    [[], /at least one piece/],
    [[PIECE, PIECE], /same id/],
    [[{ ...PIECE, count: 0 }], /whole number ≥ 1/],
    [[{ ...PIECE, machineSeconds: Number.NaN }], /≥ 0 s/],
  ] as [PricedPiece[], RegExp][])('of %j is refused', (pieces, message) => {
    expect(() => quoteOrder(PRICES, pieces)).toThrow(message);
  });
});

describe('a price list', () => {
  const good = JSON.parse(readFileSync('shared/shop/prices.json', 'utf8'));

  test('of the demo shop is read as it is written', () => {
    expect(parsePriceList(good, 'prices.json')).toEqual(good);
  });

  test.each([
    [{ schema: 'tonewright-prices/2' }, /"schema": found "tonewright-prices\/2"/],
    [{ currency: 'EURO' }, /"currency": found "EURO", needed a currency code of ISO 4217/],
    [{ locale: 'not a tag' }, /"locale": found "not a tag", needed a language tag/],
    [{ setup: { perOrder: -1, perPiece: 1 } }, /"setup.perOrder": found -1, needed a number from 0 to 1000000/],
    [{ setup: { perOrder: 1 } }, /"setup.perPiece": found nothing, needed this field/],
    [{ handlingPerCopy: '1.20' }, /"handlingPerCopy": found "1.20", needed a number from 0/],
    [{ handlingPerCopy: 0.1234567 }, /"handlingPerCopy": found 0.1234567, needed a price with at most 6 decimals/],
    [{ blanks: [{ material: 'slate', price: 1, sizeMm: [100] }] }, /"blanks.0.sizeMm.1"/],
    [{ colour: 1 }, /"colour": found a field of that name, needed only known fields/],
    [{ tax: { name: 'VAT', percent: 130, included: false } }, /"tax.percent": found 130/],
    [{ rounding: { step: 0.001, direction: 'up' } }, /"rounding.step": found 0.001, needed whole coins, 0.01 EUR/],
    [
      {
        quantitySteps: {
          count: 'order',
          of: 'work',
          steps: [
            { from: 10, percent: 5 },
            { from: 10, percent: 8 },
          ],
        },
      },
      /"quantitySteps.steps.1": found 8 % from 10 after 5 % from 10/,
    ],
  ])('with %j is refused by the name of its field', (change, message) => {
    const parse = () => parsePriceList({ ...good, ...change }, 'prices.json');
    expect(parse).toThrow(AppError);
    expect(parse).toThrow(message);
  });

  test.each([[null], [[]], ['text']])('that is %j is refused', (json) => {
    expect(() => parsePriceList(json, 'prices.json')).toThrow(/price list prices.json/);
  });
});
