import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { Hono } from 'hono';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import type { Shop } from '../../material/index.ts';
import {
  createContext,
  drawJigToCut,
  keepForm,
  listBurned,
  listFields,
  listRestable,
  readFormKind,
  renderBurnedCsv,
  restNotice,
  sketchForm,
  wakeNotice,
} from '../../tasks/index.ts';
import type { BurnedAgain, FormFieldJson } from '../protocol.ts';
import { addFileRoute, fileAnswer } from '../server-answers.ts';
import type { EventHub } from '../server-events.ts';
import { isFileName } from '../server-files.ts';
import { LIMITS } from '../server-limits.ts';
import { parseWith, RECORD_NAME } from '../server-photo-settings.ts';
import { receiveJson } from '../server-receive.ts';
import type { Work } from '../server-work.ts';

const AGAIN_REQUEST = v.strictObject({ force: v.boolean() });
const REST_REQUEST = v.strictObject({
  code: RECORD_NAME,
  cause: v.exactOptional(v.pipe(v.string(), v.maxLength(500))),
  figure: v.exactOptional(v.pipe(v.number(), v.minValue(0))),
  note: v.exactOptional(v.pipe(v.string(), v.maxLength(1000))),
});

const FORM_REQUEST = v.strictObject({
  answers: v.record(v.pipe(v.string(), v.regex(/^[a-zA-Z]{1,30}$/)), v.pipe(v.string(), v.maxLength(500))),
  from: v.exactOptional(RECORD_NAME),
});
const KEPT_FORM = v.strictObject({ ...FORM_REQUEST.entries, replaces: v.boolean() });

export interface RecordRoutesOptions {
  readonly shop: Shop;
  readonly shopDir: string;
  readonly version: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** The addresses of what a shop has and remembers: what was burned, its records by forms, its warnings at rest. */
export function addRecordRoutes(app: Hono, options: RecordRoutesOptions): void {
  const { shop, shopDir, work } = options;
  const folderOf = (id: string) => join(shopDir, 'again', parseWith(RECORD_NAME, id));

  app.get('/api/burned', (c) => {
    const { entries, totals } = listBurned(shop, { month: c.req.query('month') });
    return c.json({ entries, totals });
  });
  app.get('/api/burned.csv', (c) => {
    const month = c.req.query('month');
    const { entries } = listBurned(shop, { month });
    return fileAnswer(Buffer.from(renderBurnedCsv(entries)), `burned${month ? `-${month}` : ''}.csv`, false);
  });
  app.get('/api/burned/:id/picture', async (c) => {
    const { picture } = findBurned(shop, c.req.param('id'));
    if (picture === undefined) throw new AppError('name-unknown', 'found no picture of that piece');
    return fileAnswer(await readFile(join(shopDir, 'burned', 'pictures', picture)), picture, true);
  });
  app.post('/api/burned/:id/again', async (c) => {
    const { id } = findBurned(shop, c.req.param('id'));
    const { force } = parseWith(AGAIN_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    const made = await work.run('files', 'makeAgain', { again: id, out: folderOf(id), force });
    return c.json(made satisfies BurnedAgain);
  });
  addFileRoute(app, '/api/burned/:id/files/:file', async (id, file) => {
    if (!isFileName(file)) throw new AppError('name-unknown', 'found no such file');
    return readFile(join(folderOf(id), file)).catch(() => {
      throw new AppError('name-unknown', 'found no such file, needed it made again first');
    });
  });

  app.post('/api/forms/:kind/fields', async (c) => {
    const kind = readFormKind(c.req.param('kind'));
    const asked = parseWith(FORM_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    return c.json(listFields({ kind, ...asked }, { shop }) satisfies readonly FormFieldJson[]);
  });
  app.post('/api/forms/:kind/sketch', async (c) => {
    const kind = readFormKind(c.req.param('kind'));
    const asked = parseWith(FORM_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    const svg = sketchForm({ kind, ...asked }, { shop });
    return svg === undefined ? c.body(null, 204) : fileAnswer(Buffer.from(svg), `${kind}.svg`, true);
  });
  app.get('/api/jigs/:name/drawing', (c) => {
    const name = parseWith(RECORD_NAME, c.req.param('name'));
    return fileAnswer(Buffer.from(drawJigToCut(name, shop)), `${name}.svg`, false);
  });
  app.post('/api/forms/:kind', async (c) => {
    const kind = readFormKind(c.req.param('kind'));
    const { replaces, ...asked } = parseWith(KEPT_FORM, await receiveJson(c.req.raw, LIMITS.json));
    const { name } = await keepForm({ kind, ...asked }, { ...createContext(options), force: replaces });
    options.events.send({ type: 'shop' });
    return c.json({ name }, 201);
  });

  app.get('/api/rested', (c) => c.json(listRestable(shop)));
  app.post('/api/rested', async (c) => {
    const { code, cause, figure, note } = parseWith(REST_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    const isSeen = cause !== undefined || figure !== undefined;
    const seen = { ...(cause === undefined ? {} : { cause }), ...(figure === undefined ? {} : { figure }) };
    const asked = { code, ...(isSeen ? { seen } : {}), ...(note === undefined ? {} : { note }) };
    const { record } = await restNotice(asked, createContext(options));
    return c.json(record, 201);
  });
  app.delete('/api/rested/:code', async (c) => {
    await wakeNotice(parseWith(RECORD_NAME, c.req.param('code')), { shop });
    return c.body(null, 204);
  });
}

/** @throws AppError name-unknown */
function findBurned(shop: Shop, id: string) {
  const found = listBurned(shop).entries.find((one) => one.id === id);
  if (!found) throw new AppError('name-unknown', 'found no such entry in the record of what was burned');
  return found;
}
