import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';

const shop = useOpenShop();

describe('a profile', () => {
  const example = JSON.parse(readFileSync('shared/shop/profiles/anodised-black.json', 'utf8'));
  const own = { ...example, name: 'own', title: 'Own', origin: 'measured' };

  /** What learning a chart leaves in the shop folder: another reading of the same name. */
  function keepReading(id: string, fullL: number): void {
    const folder = join(shop.shop, 'readings', id);
    mkdirSync(folder, { recursive: true });
    const [bareL, oldL] = [own.bare[0], own.full[0]];
    const scale = (lightness: number) => bareL + ((lightness - bareL) * (fullL - bareL)) / (oldL - bareL);
    const full = [fullL, 0, 0];
    const points = own.points.map((point: { lightness: number }) => ({ ...point, lightness: scale(point.lightness) }));
    writeFileSync(join(folder, 'profile.json'), JSON.stringify({ ...own, full, points }));
    writeFileSync(join(folder, 'report.html'), '<title>Own</title>');
    writeFileSync(join(folder, 'reading.json'), JSON.stringify({ reading: { id, kind: 'learned', name: 'own' } }));
  }
  const ask = async (method: string, path: string, body?: unknown) => {
    const answer = await fetch(shop.server().origin + path, {
      method,
      headers: await shop.keys(),
      ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    });
    expect(answer.ok, path).toBe(true);
    return answer.status === 204 ? undefined : answer.json();
  };
  const finish = async (id: string) => {
    await expect.poll(async () => (await ask('GET', `/api/orders/${id}`)).running, { timeout: TIME }).toBe(false);
    return ask('GET', `/api/orders/${id}`);
  };

  test(
    'that another window replaces or removes: proofs are drawn anew, and what was made through it is old',
    async () => {
      mkdirSync(join(shop.shop, 'profiles'));
      writeFileSync(join(shop.shop, 'profiles', 'own.json'), JSON.stringify(own));
      const wish = { ...TAG, profile: 'own', widthMm: 10, heightMm: 8 };
      const id = await shop.openSample('cat', wish);
      await ask('POST', `/api/jobs/${id}/keep`);
      const { id: order } = await shop.post('/api/orders', { title: 'replaced', wish });
      await shop.post(`/api/orders/${order}/photos`, new Blob([readFileSync('images/photos/cat.png')]));
      await ask('POST', `/api/orders/${order}/run`);
      expect(await finish(order)).toMatchObject({ totals: { pieces: 1 }, pieces: [{ status: 'done' }] });
      const ticketOf = () => readFileSync(join(shop.shop, 'orders', order, 'out', 'photo.ticket.json'), 'utf8');
      const before = ticketOf();

      const { page, context } = await shop.open(`/photo/${id}`);
      await waitForProof(page);
      keepReading('0000000000000001', 70);
      const asked = page.waitForRequest((request) => request.url().endsWith(`/api/jobs/${id}/look`));
      await ask('POST', '/api/readings/0000000000000001/save', { replace: true });
      await asked;
      await waitForProof(page);
      expect((await ask('GET', `/api/jobs/${id}`)).stale).toBe(true);
      expect(await ask('GET', `/api/orders/${order}`)).toMatchObject({ totals: null, pieces: [{ status: 'changed' }] });
      await ask('POST', `/api/orders/${order}/run`);
      expect(await finish(order)).toMatchObject({ totals: { pieces: 1 }, pieces: [{ status: 'done' }] });
      expect(ticketOf()).not.toBe(before);

      // While it is being made through it, too.
      keepReading('0000000000000002', 60);
      await ask('PUT', `/api/orders/${order}`, { ...wish, widthMm: 12 });
      const [kept] = await Promise.all([
        ask('POST', `/api/jobs/${id}/keep`),
        ask('POST', `/api/orders/${order}/run`).then(() =>
          ask('POST', '/api/readings/0000000000000002/save', { replace: true }),
        ),
      ]);
      expect(kept.state).toBe('kept');
      expect(await finish(order)).toMatchObject({ totals: null, pieces: [{ status: 'changed' }] });
      expect((await ask('GET', `/api/jobs/${id}`)).stale).toBe(true);

      const other = await context.newPage();
      await other.goto(`${shop.server().origin}/#/material/profile/own`);
      await other.getByRole('heading', { name: 'Own' }).waitFor();
      await ask('DELETE', '/api/profiles/own');
      await other.getByRole('heading', { name: 'This profile was removed' }).waitFor();
      await page.getByRole('alert').getByText(/own/).waitFor();
      await context.close();
    },
    TIME,
  );
});
