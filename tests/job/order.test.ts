import { parse } from 'csv-parse/sync';
import { describe, expect, test } from 'vitest';
import type { AppError } from '../../src/errors.ts';
import {
  chooseNames,
  filesOfPiece,
  findNameFault,
  type OrderPieceRecord,
  parseOrderCsv,
  parsePriceList,
  recordOrder,
  renderCustomerPage,
  renderOrderCsv,
  renderOrderPage,
} from '../../src/job/index.ts';

const COLUMNS = ['photo', 'name', 'size', 'count', 'text', 'lines-per-cm'];
const read = (text: string) => parseOrderCsv(text, { where: 'order.csv', columns: COLUMNS });

describe('the CSV of an order', () => {
  test('is read with the place of every cell, whatever separates the cells', () => {
    for (const sign of [',', ';', '\t']) {
      const rows = read(`\uFEFFphoto${sign}size\r\ncat.png${sign}ID-1\r\n`);
      expect(rows).toEqual([
        {
          line: 2,
          cells: { photo: { text: 'cat.png', line: 2, column: 1 }, size: { text: 'ID-1', line: 2, column: 2 } },
        },
      ]);
    }
  });

  test('takes quotes, line breaks in a cell, empty lines, empty cells and short lines', () => {
    const rows = read('photo,text,size\na.png,"two\nlines, ""quoted""",\n\n,,\nb.png\n');
    expect(rows.map(({ line, cells }) => [line, Object.keys(cells)])).toEqual([
      [2, ['photo', 'text']],
      [6, ['photo']],
    ]);
    expect(rows[0]!.cells.text!.text).toBe('two\nlines, "quoted"');
  });

  test('reads the same of lines that end as Windows ends them, within quotes, too', () => {
    const text = 'photo,text\n"a.png","two\nlines"\n\nb.png,one\n';
    const rows = read(text);
    expect(rows.map(({ line }) => line)).toEqual([2, 5]);
    expect(read(`\uFEFF${text.replaceAll('\n', '\r\n')}`)).toEqual(rows);
  });

  test('names columns as people write them', () => {
    const [row] = read('Photo, Lines per cm ,SIZE\na.png,40,ID-1\n');
    expect(Object.keys(row!.cells)).toEqual(['photo', 'lines-per-cm', 'size']);
  });

  test.each([
    ['', /empty file/],
    ['photo,size\n', /no line below/],
    ['size\nID-1\n', /line 1: found no column "photo"/],
    [
      'file,qty,sise\na,b,c\n',
      /found the unknown columns "file" \(column 1\), "qty" \(column 2\), "sise" \(column 3\); did you mean photo, count, size\?/,
    ],
    ['photo,constructor\na,b\n', /found the unknown column "constructor" \(column 2\); known are photo/],
    [
      'photo,colour,sise\na,b,c\n',
      /line 1: found the unknown columns "colour" \(column 2\), "sise" \(column 3\); known are photo, name/,
    ],
    ['photo,size,size\na,b,c\n', /line 1, column 3: found "size" a second time/],
    ['photo,size\na,b\nc,d,e\n', /line 3: found more cells than the first line has/],
    ['photo,size\na,"b\nc,d\n', /line 3: found a quote that is opened and never closed/],
    ['photo,size\na,b"c\n', /line 2, column 2: found a quote inside a cell/],
    ['photo,size\na,"b"c\n', /line 2, column 2: found text after a closing quote/],
  ])('%j is refused with its place', (text, says) => {
    let error: AppError | undefined;
    try {
      read(text);
    } catch (caught) {
      error = caught as AppError;
    }
    expect(error?.code).toBe('file-invalid');
    expect(error?.message).toMatch(says);
    expect(error?.message).toMatch(/^order\.csv: /);
  });
});

describe('names of pieces', () => {
  test('keep the files of one piece from those of another, also where case does not count', () => {
    const wished = ['cat', 'cat', 'Cat', 'cat.proof', 'dog'];
    const names = chooseNames(wished, { filesOf: (name) => filesOfPiece(name, { format: 'png' }) });
    expect(names).toEqual(['cat', 'cat-2', 'Cat-3', 'cat.proof-2', 'dog']);
  });

  test('are refused where a disk or a path could not take them', () => {
    for (const name of ['', 'a/b', 'a\\b', '..', '.hidden', 'a:b', 'end.', 'NUL', 'com1.x', 'a\nb', 'x'.repeat(201)]) {
      expect(findNameFault(name), name).toBeDefined();
    }
    for (const name of ['cat', 'Käse 3', 'a.b', 'console']) expect(findNameFault(name), name).toBeUndefined();
  });
});

const done = (name: string, more: object = {}): OrderPieceRecord => ({
  name,
  line: 2,
  photo: `${name}.jpg`,
  count: 1,
  text: null,
  blank: 'shop',
  status: 'done',
  ticket: `${name}.ticket.json`,
  bitmap: `${name}.png`,
  proof: `${name}.proof.png`,
  photoSha256: 'a',
  bitmapSha256: 'b',
  widthMm: 50,
  heightMm: 40,
  material: 'slate',
  materialTitle: 'Slate',
  machine: 'gantry-10600',
  profile: 'slate-coaster',
  seconds: 100,
  interval: { lowS: 90, highS: 120 },
  meanDeltaL: 0.5,
  worstDeltaL: 2,
  warnings: [],
  ...more,
});
const failed: OrderPieceRecord = {
  name: 'bad',
  line: 4,
  photo: '<b>.jpg',
  count: 3,
  text: null,
  blank: 'shop',
  status: 'failed',
  reason: { code: 'image-empty', message: 'found 0 bytes, needed a photo' },
};
const prices = parsePriceList(
  {
    schema: 'tonewright-prices/1',
    title: 'Of a test',
    currency: 'EUR',
    locale: 'en-IE',
    setup: { perOrder: 5, perPiece: 2 },
    machine: { perMinute: 0.6 },
    handlingPerCopy: 0.5,
    blanks: [{ material: 'slate', price: 3 }],
    tax: { name: 'VAT', percent: 0, included: true },
  },
  'prices',
);

describe('the order as a record', () => {
  const pieces = [done('one', { count: 2 }), failed, done('two', { blank: 'customer', machine: 'galvo-355-f210' })];
  const order = recordOrder({
    version: '1',
    pieces,
    prices,
    cautions: [
      { text: 'Hot.', source: 'commonPractice' },
      { text: 'Hot.', source: 'commonPractice' },
    ],
  });

  test('adds up copies and times of what is done', () => {
    expect(order.totals).toEqual({
      pieces: 3,
      done: 2,
      failed: 1,
      copies: 3,
      seconds: 300,
      interval: { lowS: 270, highS: 360 },
      machines: [
        { machine: 'galvo-355-f210', copies: 1, seconds: 100, interval: { lowS: 90, highS: 120 } },
        { machine: 'gantry-10600', copies: 2, seconds: 200, interval: { lowS: 180, highS: 240 } },
      ],
    });
    expect(order.cautions).toHaveLength(1);
  });

  test('charges no blank that the customer brings, and nothing for what was not made', () => {
    // One: 2 + 2·100/60·0.60 + 2·0.50 + 2·3 = 11.00; two: 2 + 100/60·0.60 + 0.50 = 3.50; the order: 5.
    expect(order.quote?.pieces.map(({ amountMinor }) => amountMinor)).toEqual([1100, 350]);
    expect(order.quote?.grossMinor).toBe(1950);
    expect(recordOrder({ version: '1', pieces: [failed], cautions: [], prices }).quote).toBeNull();
  });

  test('becomes a CSV that another reader takes apart again', () => {
    const rows = parse(renderOrderCsv(order), { columns: true }) as Record<string, string>[];
    expect(
      rows.map(({ name, status, seconds, price_eur, reason }) => [name, status, seconds, price_eur, reason]),
    ).toEqual([
      ['one', 'done', '200', '11.00', ''],
      ['bad', 'failed', '', '', 'found 0 bytes, needed a photo'],
      ['two', 'done', '100', '3.50', ''],
    ]);
  });

  test('lets no text begin like a formula in a spreadsheet', () => {
    const csv = renderOrderCsv(recordOrder({ version: '1', pieces: [done('one', { text: '=1+1' })], cautions: [] }));
    expect(csv).toContain(",'=1+1,");
  });

  test('becomes a page without markup from the outside, that says what was not made', () => {
    const page = renderOrderPage(order, {
      title: 'A & B <script>',
      proofs: new Map([['one', 'data:image/jpeg;base64,AA']]),
    });
    expect(page).not.toContain('<script>');
    expect(page).toContain('A &amp; B &lt;script&gt;');
    expect(page).toContain('&lt;b&gt;.jpg</b> (line 4): found 0 bytes');
    expect(page).toContain('€5.50 each, €11.00');
    expect(page).toContain('1 min 40 s each, 3 min 20 s');
    expect(page.match(/<img /g)).toHaveLength(1);
    expect(page).not.toMatch(/(?:src|href)="http/);
  });

  test('for the customer is without shop talk: pieces, sizes, prices, and a place to say yes', () => {
    const pieces = [
      done('one', { count: 2, text: 'A & B', warnings: ['Same.'] }),
      done('two', { name: '<i>' }),
      failed,
    ];
    const cautions = [{ text: 'Wear eyewear.', source: 'iso11146' }];
    const order = recordOrder({ version: '1', pieces, prices, cautions });
    const proofs = new Map([['one', 'data:image/jpeg;base64,AA']]);
    const page = renderCustomerPage(order, { title: 'Of <May>', proofs, shopTitle: 'The shop' });
    for (const shown of [
      'Of &lt;May&gt;',
      'The shop',
      'A &amp; B',
      'Slate, 50 × 40 mm',
      '€5.50 each, together €11.00',
    ]) {
      expect(page).toContain(shown);
    }
    expect(page).toMatch(/To pay<\/th><td>€\d/);
    expect(page).toContain('Not shown yet, and we will ask you about it: &lt;b&gt;.jpg.');
    expect(page.match(/as shown <i>/g)).toHaveLength(2);
    const words = page.slice(page.indexOf('<body>'));
    expect(words).not.toMatch(
      /Same\.|eyewear|gantry|profile|slate-coaster|ΔL|ticket|1 min 40|0 bytes|warn|caution|Tonewright|<script|http/i,
    );
  });

  test('says once, with a number that stands at each piece, what several pieces warn of', () => {
    const pieces = [
      done('one', { warnings: ['Own.', 'Same.'] }),
      done('two', { warnings: ['Same.'] }),
      done('three', { warnings: [] }),
    ];
    const order = recordOrder({ version: '1', pieces, cautions: [] });
    const page = renderOrderPage(order, { title: 'T', proofs: new Map() });
    expect(page.match(/Same\./g)).toHaveLength(1);
    expect(page).toContain('Same. <span class="soft">(2 pieces)</span>');
    expect(page.match(/Read before burning: 1 above/g)).toHaveLength(2);
    expect(page.match(/Own\./g)).toHaveLength(1);
  });
});
