import { readFile, rm } from 'node:fs/promises';
import { parse } from 'node:path';
import type { Hono } from 'hono';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { parseJson } from '../../json.ts';
import { recordBurn, type TaskContext } from '../../tasks/index.ts';
import type { BurnedCard } from '../protocol.ts';
import { parseReady } from '../server-agreed.ts';
import { fileAnswer, picture, readFileName, thumbnail } from '../server-answers.ts';
import { LIMITS, type Receiving } from '../server-limits.ts';
import { parsePhotoSettings, parseWith } from '../server-photo-settings.ts';
import { addPreviewRoutes } from '../server-preview-routes.ts';
import type { Previews } from '../server-previews.ts';
import { receiveFile, receiveJson } from '../server-receive.ts';
import type { Thumbnails } from '../server-thumbnails.ts';
import { zipAnswer } from '../server-zip.ts';
import {
  addJob,
  agreeToJob,
  burnedFilesOf,
  type Jobs,
  makeJobFiles,
  readJobFile,
  removeJob,
  setJobSettings,
  setReady,
  subjectOfJob,
  viewPathOf,
  zipJob,
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
  app.post('/api/jobs', async (c) => {
    const wish = readHeaderJson(c.req.header('x-wish'), parsePhotoSettings);
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
  app.post('/api/jobs/:id/agree', async (c) => {
    const shown = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await agreeToJob(jobs, c.req.param('id'), shown));
  });
  app.delete('/api/jobs/:id/agree', async (c) => c.json(await agreeToJob(jobs, c.req.param('id'), null)));
  app.put('/api/jobs/:id/ready', async (c) => {
    const day = parseReady(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await setReady(jobs, c.req.param('id'), day));
  });
  app.get('/api/jobs/:id/photo', async (c) => {
    return picture(await readFile(viewPathOf(jobs, c.req.param('id'))), 'image/jpeg');
  });
  app.get('/api/jobs/:id/thumbnail', async (c) => thumbnail(await thumbnails.of(viewPathOf(jobs, c.req.param('id')))));
  addPreviewRoutes(app, '/api/jobs/:id', { previews, subjectOf: ({ id = '' }) => subjectOfJob(jobs, id) });
  app.post('/api/jobs/:id/keep', async (c) => c.json(await makeJobFiles(jobs, c.req.param('id'))));
  app.post('/api/jobs/:id/burned', async (c) => {
    const of = burnedFilesOf(jobs, c.req.param('id'));
    const told = c.req.header('x-burned');
    const keep = async (json: unknown, picture?: string) => {
      const asked = parseWith(BURNED_REQUEST, json);
      const { entry, path } = await recordBurn({ ...of, ...asked, ...(picture ? { picture } : {}) }, context());
      const { date, count, scrap } = entry;
      return c.json({ id: parse(path).name, date, count, scrap } satisfies BurnedCard, 201);
    };
    if (told === undefined) return keep(await receiveJson(c.req.raw, LIMITS.json));
    // With a picture of the piece, that is the body, and the rest stands in the head.
    return receiving(async () => {
      const path = nameIncomingFile(jobs.store);
      try {
        await receiveFile(c.req.raw, { path, limits: LIMITS.upload });
        return await keep(
          readHeaderJson(told, (json) => json),
          path,
        );
      } finally {
        await rm(path, { force: true });
      }
    });
  });
  app.get('/api/jobs/:id/all.zip', (c) => zipAnswer(zipJob(jobs, c.req.param('id'))));
  app.get('/api/jobs/:id/files/:file', async (c) => {
    const file = c.req.param('file');
    const bytes = await readJobFile(jobs, c.req.param('id'), file);
    return fileAnswer(bytes, file, c.req.query('view') !== undefined);
  });
}

function readHeaderJson<T>(text: string | undefined, parse: (json: unknown) => T): T {
  try {
    return parse(parseJson(decodeURIComponent(text ?? '')));
  } catch (error) {
    if (error instanceof AppError) throw error;
    throw new AppError('option-invalid', 'found no readable wish beside the file');
  }
}
