import type { Hono } from 'hono';
import * as v from 'valibot';
import { parseReady } from '../server-agreed.ts';
import { addFileRoute, picture, readFileName } from '../server-answers.ts';
import { LIMITS, type Receiving } from '../server-limits.ts';
import { parsePhotoSettings, parseWith } from '../server-photo-settings.ts';
import { receiveBytes, receiveFile, receiveJson } from '../server-receive.ts';
import { zipAnswer } from '../server-zip.ts';
import {
  addList,
  addPhoto,
  agreeToPiece,
  copyPiece,
  layPlates,
  nameIncomingPhoto,
  type Orders,
  quoteOrder,
  readPieceView,
  readPlateFile,
  readResult,
  removeOrder,
  removePiece,
  runOrder,
  setOrder,
  setPhotoSettings,
  setPiece,
  stopOrder,
  zipOrder,
} from './actions.ts';
import { viewOf } from './status.ts';
import { addOrder, findOrder } from './store.ts';

const ONLY_AGREED_REQUEST = v.strictObject({ on: v.boolean() });
const ORDER_REQUEST = v.strictObject({ title: v.pipe(v.string(), v.maxLength(200)), wish: v.unknown() });

/** The addresses of orders: JSON ↔ actions. */
export function addOrderRoutes(app: Hono, orders: Orders, receiving: Receiving): void {
  app.post('/api/orders', async (c) => {
    const { title, wish } = parseWith(ORDER_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await addOrder(orders.store, title, parsePhotoSettings(wish)), 201);
  });
  app.get('/api/orders/:id', (c) => c.json(viewOf(findOrder(orders.store, c.req.param('id')))));
  app.put('/api/orders/:id', async (c) => {
    const wish = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await setPhotoSettings(orders, c.req.param('id'), wish));
  });
  app.delete('/api/orders/:id', async (c) => {
    await removeOrder(orders, c.req.param('id'));
    return c.body(null, 204);
  });
  app.post('/api/orders/:id/photos', (c) =>
    receiving(async () => {
      const id = c.req.param('id');
      const path = nameIncomingPhoto(orders, id);
      await receiveFile(c.req.raw, { path, limits: LIMITS.upload });
      return c.json(await addPhoto(orders, id, { path, fileName: readFileName(c.req.header('x-file-name')) }), 201);
    }),
  );
  app.post('/api/orders/:id/list', async (c) =>
    c.json(await addList(orders, c.req.param('id'), await receiveBytes(c.req.raw, LIMITS.list))),
  );
  app.put('/api/orders/:id/pieces/:piece', async (c) => {
    const { id, piece } = c.req.param();
    return c.json(await setPiece(orders, id, piece, await receiveJson(c.req.raw, LIMITS.json)));
  });
  app.post('/api/orders/:id/pieces/:piece/agree', async (c) => {
    const shown = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await agreeToPiece(orders, c.req.param(), shown));
  });
  app.delete('/api/orders/:id/pieces/:piece/agree', async (c) =>
    c.json(await agreeToPiece(orders, c.req.param(), null)),
  );
  app.put('/api/orders/:id/ready', async (c) => {
    const ready = parseReady(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await setOrder(orders, c.req.param('id'), { ready }));
  });
  app.put('/api/orders/:id/only-agreed', async (c) => {
    const { on } = parseWith(ONLY_AGREED_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await setOrder(orders, c.req.param('id'), { onlyAgreed: on }));
  });
  app.post('/api/orders/:id/pieces/:piece/copy', async (c) => {
    const { id, piece } = c.req.param();
    return c.json(await copyPiece(orders, id, piece), 201);
  });
  app.delete('/api/orders/:id/pieces/:piece', async (c) => {
    const { id, piece } = c.req.param();
    return c.json(await removePiece(orders, id, piece));
  });
  app.post('/api/orders/:id/quote', async (c) =>
    c.json(quoteOrder(orders, c.req.param('id'), await receiveJson(c.req.raw, LIMITS.json))),
  );
  app.get('/api/orders/:id/pieces/:piece/photo', async (c) => {
    const { id, piece } = c.req.param();
    return picture(await readPieceView(orders, id, piece), 'image/jpeg');
  });
  app.post('/api/orders/:id/run', async (c) => c.json(await runOrder(orders, c.req.param('id'))));
  app.post('/api/orders/:id/stop', (c) => c.json(stopOrder(orders, c.req.param('id'))));
  app.post('/api/orders/:id/plates', async (c) =>
    c.json(await layPlates(orders, c.req.param('id'), await receiveJson(c.req.raw, LIMITS.json))),
  );
  addFileRoute(app, '/api/orders/:id/files/:file', (id, file) => readResult(orders, id, file));
  addFileRoute(app, '/api/orders/:id/plates/:file', (id, file) => readPlateFile(orders, id, file));
  app.get('/api/orders/:id/all.zip', async (c) => {
    return zipAnswer(await zipOrder(orders, c.req.param('id')));
  });
}
