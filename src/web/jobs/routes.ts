import { readFile } from 'node:fs/promises';
import type { Hono } from 'hono';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { parseJson } from '../../json.ts';
import { recordBurn, type TaskContext } from '../../tasks/index.ts';
import type { BurnedCard, PhotoSettings } from '../protocol.ts';
import { fileAnswer, picture, readFileName, thumbnail } from '../server-answers.ts';
import { LIMITS, type Receiving } from '../server-limits.ts';
import { parsePhotoSettings, parseWith } from '../server-photo-settings.ts';
import { addPreviewRoutes } from '../server-preview-routes.ts';
import type { Previews } from '../server-previews.ts';
import { receiveFile, receiveJson } from '../server-receive.ts';
import type { Thumbnails } from '../server-thumbnails.ts';
import {
  addJob,
  burnedFilesOf,
  type Jobs,
  listJobs,
  makeJobFiles,
  readJobFile,
  removeJob,
  setJobSettings,
  subjectOfJob,
  viewPathOf,
} from './actions.ts';
import { cardOf, findJob, nameIncomingFile } from './store.ts';

/** What a person says of pieces that are burned. */
const BURNED_REQUEST = v.strictObject({
  count: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(100_000)),
  scrap: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(100_000)),
  note: v.exactOptional(v.pipe(v.string(), v.maxLength(1000))),
});

export interface JobRoutesOptions {
  readonly previews: Previews;
  readonly thumbnails: Thumbnails;
  readonly receiving: Receiving;
  readonly context: () => TaskContext;
}

/** The addresses of photos that are worked on one by one: JSON ↔ actions. */
export function addJobRoutes(
  app: Hono,
  jobs: Jobs,
  { previews, thumbnails, receiving, context }: JobRoutesOptions,
): void {
  app.get('/api/jobs', (c) => c.json(listJobs(jobs)));
  app.post('/api/jobs', async (c) => {
    const wish = readHeaderJson(c.req.header('x-wish'));
    return receiving(async () => {
      const path = nameIncomingFile(jobs.store);
      await receiveFile(c.req.raw, { path, limits: LIMITS.upload });
      return c.json(await addJob(jobs, path, { fileName: readFileName(c.req.header('x-file-name')), wish }), 201);
    });
  });
  app.get('/api/jobs/:id', (c) => c.json(cardOf(findJob(jobs.store, c.req.param('id')))));
  app.put('/api/jobs/:id', async (c) => {
    const wish = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await setJobSettings(jobs, c.req.param('id'), wish));
  });
  app.delete('/api/jobs/:id', async (c) => {
    await removeJob(jobs, c.req.param('id'));
    return c.body(null, 204);
  });
  app.get('/api/jobs/:id/photo', async (c) => {
    return picture(await readFile(viewPathOf(jobs, c.req.param('id'))), 'image/jpeg');
  });
  app.get('/api/jobs/:id/thumbnail', async (c) => thumbnail(await thumbnails.of(viewPathOf(jobs, c.req.param('id')))));
  addPreviewRoutes(app, '/api/jobs/:id', { previews, subjectOf: ({ id = '' }) => subjectOfJob(jobs, id) });
  app.post('/api/jobs/:id/keep', async (c) => c.json(await makeJobFiles(jobs, c.req.param('id'))));
  app.post('/api/jobs/:id/burned', async (c) => {
    const asked = parseWith(BURNED_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    const { entry } = await recordBurn({ ...burnedFilesOf(jobs, c.req.param('id')), ...asked }, context());
    return c.json({ date: entry.date, count: entry.count, scrap: entry.scrap } satisfies BurnedCard, 201);
  });
  app.get('/api/jobs/:id/files/:file', async (c) => {
    const file = c.req.param('file');
    const bytes = await readJobFile(jobs, c.req.param('id'), file);
    return fileAnswer(bytes, file, c.req.query('view') !== undefined);
  });
}

function readHeaderJson(text: string | undefined): PhotoSettings {
  try {
    return parsePhotoSettings(parseJson(decodeURIComponent(text ?? '')));
  } catch (error) {
    if (error instanceof AppError) throw error;
    throw new AppError('option-invalid', 'found no readable wish beside the photo');
  }
}
