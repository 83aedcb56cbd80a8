import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch } from '../../benchmarks/common/browser.ts';
import {
  type OrderPieceRecord,
  prepareJob,
  prepareMarks,
  recordOrder,
  renderCustomerPage,
  resolveJob,
  resolveMarks,
} from '../../src/job/index.ts';
import type { ControlSoftware } from '../../src/machine/index.ts';
import { readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
}, 60_000);
afterAll(() => browser?.close());

/** Sheets of paper that a page takes, by the page objects of its PDF. */
async function countSheets(html: string, format: 'A4' | 'Letter' = 'Letter'): Promise<number> {
  const page = await browser.newPage();
  await page.setContent(html);
  const pdf = await page.pdf({ format });
  await page.close();
  return [...pdf.toString('latin1').matchAll(/\/Type\s*\/Page\b(?!s)/g)].length;
}

/** One grey pixel, as a proof. */
const PIXEL = 'data:image/gif;base64,R0lGODlhAQABAIAAAHh4eAAAACH5BAAAAAAALAAAAAABAAEAAAICRAEAOw==';

const orderedPiece = (name: string): OrderPieceRecord => ({
  ...{ name, line: 1, photo: `${name}.jpg`, count: 2, text: 'Words on it', blank: 'shop', status: 'done' },
  ...{ ticket: 't', bitmap: 'b', proof: 'p', photoSha256: 'a', bitmapSha256: 'b', widthMm: 85.6, heightMm: 54 },
  ...{ material: 'slate', materialTitle: 'Slate', machine: 'gantry', profile: 'slate', seconds: 100 },
  ...{ interval: { lowS: 90, highS: 120 }, meanDeltaL: 0.5, worstDeltaL: 2, warnings: [] },
});

async function ticketOf({ control, ...request }: { readonly control?: ControlSoftware }): Promise<string> {
  const resolved = resolveJob(
    { size: '85.6x54', profile: 'anodised-black', pitchMm: 0.1, lineSpacingMm: 0.1, ...request },
    { shop: SHOP, refused: REFUSED },
  );
  const spec = control ? { ...resolved, machine: { ...resolved.machine, control } } : resolved;
  const job = await prepareJob(() => readPhoto('images/photos/cat.png'), {
    spec,
    name: 'cat',
    photoFile: 'cat.png',
    version: '0',
    only: 'everything',
  });
  return String(job.files.find(({ name }) => name.endsWith('.ticket.html'))!.bytes);
}

describe('a printed ticket', () => {
  test.each([
    ['a card', {}],
    ['a tall card', { size: '54x85.6' }],
    ['a square piece shown whole', { size: '60x60', fit: 'contain' }],
    ['a card with a strip', { strip: 'apart' }],
    [
      'a mirrored card in the units of the control software',
      {
        mirror: true,
        settings: { powerW: 1.5 },
        control: { power: '%', speed: 'mm/min', rate: 'us', fires: 'white', origin: 'bottom-left', mirrors: 'x' },
      },
    ],
    [
      'one with everything to warn of',
      {
        strip: 'joined',
        screen: 'blue-noise',
        machine: 'galvo-1064-f160',
        aim: 'slate-coaster',
        levels: 8,
        material: 'slate',
      },
    ],
  ])('of %s is one sheet', { timeout: 60_000 }, async (_, request) => {
    const page = await ticketOf(request as object);
    expect([await countSheets(page, 'A4'), await countSheets(page, 'Letter')]).toEqual([1, 1]);
  });

  test('of several marks is one sheet', { timeout: 60_000 }, async () => {
    const spec = resolveMarks({ size: '12x8', palette: 'stainless-oxides' }, { shop: SHOP, refused: REFUSED });
    const { files } = await prepareMarks(() => readPhoto('images/photos/raccoon.jpg'), {
      spec,
      name: 'raccoon',
      photoFile: 'raccoon.jpg',
      version: '0',
      only: 'everything',
    });
    expect(await countSheets(String(files.find(({ name }) => name.endsWith('.ticket.html'))!.bytes))).toBe(1);
  });

  test('an order’s sheet for the customer keeps every piece whole, four on a sheet', async () => {
    const pieces = ['a', 'b', 'c', 'd', 'e'].map((name) => orderedPiece(name));
    const proofs = new Map(pieces.map(({ name }) => [name, PIXEL]));
    const sheets = async (count: number, format: 'A4' | 'Letter') => {
      const order = recordOrder({ version: '0', pieces: pieces.slice(0, count), cautions: [] });
      return countSheets(renderCustomerPage(order, { title: 'Order', proofs }), format);
    };
    expect([await sheets(2, 'A4'), await sheets(2, 'Letter')]).toEqual([1, 1]);
    expect([await sheets(5, 'A4'), await sheets(5, 'Letter')]).toEqual([2, 2]);
  });

  test('what is longer than a sheet is counted as more', async () => {
    expect(await countSheets(`<p style="height: 600mm">long</p>`)).toBeGreaterThan(1);
  });
});
