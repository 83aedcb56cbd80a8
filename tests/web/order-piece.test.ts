import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { expectSameFile } from '../same-bytes.ts';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { runCommand } from './page-server.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
const photo = () => new Blob([new Uint8Array(readFileSync('images/photos/cat.png'))]);
const recordOf = (id: string) => JSON.parse(readFileSync(join(shop.shop, 'orders', id, 'order-page.json'), 'utf8'));

/** The same by the command: a list in a folder with the photo. */
async function byCommand(name: string, list: string): Promise<string> {
  const folder = join(shop.path, name);
  mkdirSync(folder);
  copyFileSync('images/photos/cat.png', join(folder, 'photo.png'));
  writeFileSync(join(folder, 'order.csv'), list);
  const size = ['--size', '30x20', '--corner', '0', '--margin', '0', '--fit', 'cover'];
  const stuff = ['--machine', TAG.machine, '--profile', TAG.profile, '--shop', shop.shop];
  await runCommand(folder, 'order', 'order.csv', ...size, ...stuff, '--out', 'out');
  return join(folder, 'out');
}

test(
  'a piece of an order is offered what a photo by itself is, step by step, and is made as the columns of a list make it',
  async () => {
    const { id } = await shop.post('/api/orders', { title: 'Market', wish: TAG });
    await shop.post(`/api/orders/${id}/photos`, photo());
    const { page, context, complaints } = await shop.open(`/order/${id}`, { width: 1366, height: 650 });
    await page.getByRole('button', { name: /see and change/ }).click();
    const dialog = page.getByRole('dialog');
    await waitForProof(page);
    // Two ways side by side, of which one is taken as a step; Escape leaves the comparison and not the piece.
    await dialog.getByRole('button', { name: 'Compare' }).click();
    await dialog.getByLabel('What stands in place 2').selectOption('tone:plain');
    await expect.poll(() => dialog.locator('.pane .key-facts').count(), { timeout: TIME }).toBe(2);
    await page.keyboard.press('Escape');
    await dialog.getByRole('button', { name: 'Compare' }).click();
    await dialog.getByRole('button', { name: /^Take this one/ }).click();
    await dialog.getByRole('button', { name: 'Undo' }).click();
    await openGroup(page, 'Crop');
    // A knob on the edge straightens, by hand and by key.
    const knob = dialog.getByRole('slider', { name: 'Straighten by hand' });
    const box = (await knob.boundingBox())!;
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await page.mouse.down();
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2 + 20, { steps: 4 });
    await page.mouse.up();
    expect(Number(await knob.getAttribute('aria-valuenow'))).toBeGreaterThan(1);
    await dialog.getByRole('button', { name: 'Undo' }).click();
    expect(await knob.getAttribute('aria-valuenow')).toBe('0');
    await knob.focus();
    await page.keyboard.press('Shift+ArrowUp');
    await page.keyboard.press('Shift+ArrowUp');
    await page.keyboard.press('ArrowDown');
    await dialog.getByText('Softer', { exact: true }).click();
    await dialog.getByText('Oval', { exact: true }).click();
    await openGroup(page, 'Tone');
    await dialog.getByLabel('Contrast', { exact: true }).fill('0.3');
    await openGroup(page, 'Words');
    await dialog.getByLabel('Words', { exact: true }).fill('Mia & Juno, 2026');
    // The proof of the step before comes meanwhile: what is being typed stands.
    await waitForProof(page);
    expect(await dialog.getByLabel('Words', { exact: true }).inputValue()).toBe('Mia & Juno, 2026');
    await dialog.getByLabel('Words', { exact: true }).press('Tab');
    await dialog.getByLabel('Where they stand').selectOption('band');
    await waitForProof(page);
    await dialog.getByRole('button', { name: 'Take this' }).click();
    await expect
      .poll(() => recordOf(id).pieces[0].own)
      .toEqual({
        turnDeg: 1.9,
        backdrop: 'soften',
        outline: 'oval',
        toneValues: { contrast: 0.3 },
        caption: { text: 'Mia & Juno, 2026', place: 'band' },
      });
    await page.getByRole('button', { name: 'Make all pieces' }).click();
    await expect.poll(() => recordOf(id).pieces[0].status, { timeout: TIME }).toBe('done');
    const out = await byCommand(
      'list',
      'photo,turn,backdrop,outline,contrast,caption,caption-place\nphoto.png,1.9,soften,oval,0.3,"Mia & Juno, 2026",band\n',
    );
    for (const file of ['photo.png', 'photo.proof.png', 'photo.ticket.json']) {
      expectSameFile(join(shop.shop, 'orders', id, 'out', file), join(out, file));
    }
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);

test(
  'a list’s words, cut-out and named size are on the card, a size by name with its own corners, and by hand they go',
  async () => {
    const { id } = await shop.post('/api/orders', { title: 'Market', wish: TAG });
    await shop.post(`/api/orders/${id}/photos`, photo());
    const list = 'photo,size,caption,backdrop,outline\nphoto.png,ID-1,Mia,bare,arch\n';
    await shop.post(`/api/orders/${id}/list`, new Blob([list]));
    const [piece] = recordOf(id).pieces;
    expect(piece.own).toEqual({
      widthMm: 85.6,
      heightMm: 53.98,
      cornerRadiusMm: 3.18,
      backdrop: 'bare',
      outline: 'arch',
      caption: { text: 'Mia' },
    });
    const headers = await shop.keys();
    const path = `${shop.server().origin}/api/orders/${id}`;
    await fetch(`${path}/run`, { method: 'POST', headers });
    await expect.poll(() => recordOf(id).pieces[0].status, { timeout: TIME }).toBe('done');
    const ticketOf = (folder: string) => JSON.parse(readFileSync(join(folder, 'photo.ticket.json'), 'utf8'));
    const made = ticketOf(join(shop.shop, 'orders', id, 'out'));
    expect(made.piece.widthMm).toBeCloseTo(85.6, 1);
    expect(made.piece.cornerRadiusMm).toBe(3.18);
    // By hand other words, and no backdrop of its own: those cells of the line are given up, the others stay.
    const own = { ...piece.own, caption: { text: 'Juno' } };
    delete own.backdrop;
    const put = await fetch(`${path}/pieces/${piece.id}`, { method: 'PUT', headers, body: JSON.stringify({ own }) });
    expect(put.status).toBe(200);
    const { line } = recordOf(id).pieces[0];
    expect(Object.keys(line.cells).sort()).toEqual(['outline', 'photo', 'size']);
  },
  TIME,
);

test('one photo is asked for in two sizes, the sums of it are known ahead, and the last piece of a photo stays', async () => {
  const { id } = await shop.post('/api/orders', { title: 'Sizes', wish: TAG });
  await shop.post(`/api/orders/${id}/photos`, photo());
  const headers = await shop.keys();
  const path = `${shop.server().origin}/api/orders/${id}`;
  const ask = async (method: string, where: string, body?: unknown) => {
    const answer = await fetch(`${path}${where}`, { method, headers, ...(body ? { body: JSON.stringify(body) } : {}) });
    return { status: answer.status, json: await answer.json() };
  };
  const [first] = recordOf(id).pieces;
  const copied = await ask('POST', `/pieces/${first.id}/copy`);
  expect(copied.status).toBe(201);
  const second = copied.json.pieces.find((piece: { id: string }) => piece.id !== first.id);
  expect(second).toMatchObject({ photo: first.photo, own: {}, status: 'waiting' });
  expect((await fetch(`${path}/pieces/${second.id}/photo`, { headers })).status).toBe(200);
  await ask('PUT', `/pieces/${second.id}`, { own: { widthMm: 20, heightMm: 20 }, count: 3 });

  const seconds = { [first.id]: 10, [second.id]: 5, 'no piece': 7 };
  const without = (await ask('POST', '/quote', { seconds })).json;
  expect(without).toEqual({ counted: [first.id, second.id], seconds: 25, price: null });
  copyFileSync('shared/shop/prices.json', join(shop.shop, 'prices.json'));
  const { json: priced } = await ask('POST', '/quote', { seconds });
  expect(priced.price).toMatch(/\d/);
  const { json: once } = await ask('POST', '/quote', { seconds: { [first.id]: 10 } });
  const amount = (text: string) => Number(text.replace(/[^\d.]/g, ''));
  expect(amount(priced.price)).toBeGreaterThan(amount(once.price));
  // The shop's list is not what the other tests are about.
  rmSync(join(shop.shop, 'prices.json'));

  expect((await ask('DELETE', `/pieces/${second.id}`)).json.pieces).toHaveLength(1);
  expect((await ask('DELETE', `/pieces/${first.id}`)).json.error.message).toContain('leave it out');
});

test(
  'an order is a contact sheet before anything is made, with its hours, walked through by arrows, applied to all and back',
  async () => {
    const { id } = await shop.post('/api/orders', { title: 'Sheet', wish: TAG });
    await shop.post(`/api/orders/${id}/photos`, photo());
    await shop.post(`/api/orders/${id}/photos`, photo());
    const names: readonly string[] = recordOf(id).pieces.map((piece: { photo: string }) => piece.photo);
    const { page, context, complaints } = await shop.open(`/order/${id}`, { width: 1366, height: 650 });
    const cards = page.getByRole('list', { name: 'Pieces' }).getByRole('listitem');
    await expect.poll(() => cards.locator('.card-piece img.seen').count(), { timeout: TIME }).toBe(2);
    await page.getByText('As foreseen, 2 pieces to burn').waitFor({ timeout: TIME });
    expect(recordOf(id).pieces.map((piece: { status: string }) => piece.status)).toEqual(['waiting', 'waiting']);
    // A piece is cropped to its shape, and a decimal comma is a decimal sign.
    const width = page.getByLabel('Width', { exact: true });
    await width.fill('12,5');
    await width.press('Tab');
    await expect.poll(() => recordOf(id).wish.widthMm).toBe(12.5);
    expect(await width.inputValue()).toBe('12.5');
    const box = (await cards.first().locator('.card-piece').boundingBox())!;
    expect(box.width / box.height).toBeCloseTo(12.5 / 20, 1);

    await page.getByLabel(`Words on ${names[0]}`, { exact: true }).fill('Mia');
    await page.getByLabel(`Words on ${names[0]}`, { exact: true }).press('Tab');
    await expect.poll(() => recordOf(id).pieces[0].own.caption?.text).toBe('Mia');

    await page.getByRole('button', { name: `${names[0]}: see and change` }).click();
    const title = page.getByRole('dialog').getByRole('heading', { level: 2 }).first();
    expect(await title.textContent()).toBe(names[0]);
    await openGroup(page, 'Tone');
    await page.getByRole('dialog').getByLabel('Contrast', { exact: true }).fill('0.3');
    await title.click();
    await page.keyboard.press('PageDown');
    await expect.poll(() => title.textContent()).toBe(names[1]);
    await page.keyboard.press('ArrowLeft');
    await expect.poll(() => title.textContent()).toBe(names[0]);
    await page.getByRole('button', { name: 'Leave it as it was' }).click();
    await expect.poll(() => recordOf(id).pieces[0].own.toneValues?.contrast).toBe(0.3);

    await page.getByRole('button', { name: `Apply to all what ${names[0]} wants` }).click();
    await expect.poll(() => recordOf(id).wish.toneValues.contrast).toBe(0.3);
    await expect.poll(() => recordOf(id).pieces[0].own).toEqual({ caption: { text: 'Mia' } });
    await page.getByRole('button', { name: 'Undo' }).click();
    await expect.poll(() => recordOf(id).wish.toneValues).toEqual({});
    await expect.poll(() => recordOf(id).pieces[0].own.toneValues?.contrast).toBe(0.3);
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);

test(
  'a second window shows a piece to its customer and follows the work; what is left is as it was, unless the customer said yes',
  async () => {
    const { id } = await shop.post('/api/orders', { title: 'Fair', wish: TAG });
    await shop.post(`/api/orders/${id}/photos`, photo());
    const { page, context, complaints } = await shop.open(`/order/${id}`, { width: 1366, height: 650 });
    const dialog = page.getByRole('dialog');
    const begin = async () => {
      await page.getByRole('button', { name: /see and change/ }).click();
      await waitForProof(page);
      await openGroup(page, 'Tone');
      await dialog.getByLabel('Contrast', { exact: true }).fill('0.3');
      const [second] = await Promise.all([
        context.waitForEvent('page'),
        dialog.getByRole('link', { name: 'Show the customer in a second window' }).click(),
      ]);
      await second.locator('.piece > .seen').waitFor();
      await second.getByText('as it will look').waitFor();
      return second;
    };
    const own = () => recordOf(id).pieces[0].own;
    const second = await begin();
    await expect.poll(own, { timeout: 20_000 }).toEqual({ toneValues: { contrast: 0.3 } });
    const shown = await second.locator('.piece > .seen').getAttribute('src');
    // A hand that has rested begins another step.
    await page.waitForTimeout(1000);
    await dialog.getByLabel('Contrast', { exact: true }).fill('-0.3');
    await expect.poll(own, { timeout: 20_000 }).toEqual({ toneValues: { contrast: -0.3 } });
    await expect.poll(() => second.locator('.piece > .seen').getAttribute('src'), { timeout: 20_000 }).not.toBe(shown);
    await dialog.getByRole('button', { name: 'Undo', exact: true }).click();
    await expect.poll(own, { timeout: 20_000 }).toEqual({ toneValues: { contrast: 0.3 } });
    await dialog.getByRole('button', { name: 'Leave it as it was' }).click();
    await expect.poll(own, { timeout: 20_000 }).toEqual({});
    await second.close();

    const third = await begin();
    const yes = third.getByRole('button', { name: 'Yes, like this' });
    await expect.poll(() => yes.isEnabled(), { timeout: 20_000 }).toBe(true);
    await yes.click();
    await third.getByText(/^Agreed on /).waitFor();
    // The first window has heard of it.
    await page.waitForTimeout(1000);
    await third.close();
    await dialog.getByRole('button', { name: 'Leave it as it was' }).click();
    await dialog.waitFor({ state: 'detached' });
    await page.waitForTimeout(1500);
    expect(own()).toEqual({ toneValues: { contrast: 0.3 } });
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);
