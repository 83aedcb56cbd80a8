import type { Hono } from 'hono';
import * as v from 'valibot';
import { fileAnswer, picture, readFileName } from '../server-answers.ts';
import { nameIncoming } from '../server-incoming.ts';
import { LIMITS, type Receiving } from '../server-limits.ts';
import { parseWith, RECORD_NAME } from '../server-photo-settings.ts';
import { receiveFile, receiveJson } from '../server-receive.ts';
import { addCapture, readCaptureView } from './captures.ts';
import { listCharts, makeChart, putAwayChart, readChartFile } from './charts.ts';
import { type Calibration, incomingOf } from './context.ts';
import { PROFILE_TITLE, removeProfile, retitleProfile, viewComparison, viewProfile } from './profiles.ts';
import { getReading, listReadings, readCaptures, readReadingFile, saveReading } from './readings.ts';
import { tryChart } from './try-chart.ts';

const SAVE_REQUEST = v.strictObject({ replace: v.boolean(), title: v.exactOptional(PROFILE_TITLE) });
const RENAME_REQUEST = v.strictObject({ title: PROFILE_TITLE });

/** The addresses of charts, captures, readings and profiles: JSON ↔ actions. */
export function addCalibrationRoutes(app: Hono, calibration: Calibration, receiving: Receiving): void {
  app.get('/api/charts', async (c) => c.json(await listCharts(calibration)));
  app.post('/api/charts', async (c) =>
    c.json(await makeChart(calibration, await receiveJson(c.req.raw, LIMITS.json)), 201),
  );
  app.post('/api/charts/:hash/try', async (c) => c.json(await tryChart(calibration, c.req.param('hash')), 201));
  app.delete('/api/charts/:hash', async (c) => {
    await putAwayChart(calibration, c.req.param('hash'));
    return c.body(null, 204);
  });
  app.get('/api/charts/:hash/:file', async (c) => {
    const { hash, file } = c.req.param();
    return fileAnswer(await readChartFile(calibration, hash, file), file, c.req.query('view') !== undefined);
  });

  app.post('/api/captures', (c) =>
    receiving(async () => {
      const path = nameIncoming(incomingOf(calibration));
      await receiveFile(c.req.raw, { path, limits: LIMITS.upload });
      return c.json(await addCapture(calibration, path, { name: readFileName(c.req.header('x-file-name')) }), 201);
    }),
  );
  app.get('/api/captures/:id/view', async (c) =>
    picture(await readCaptureView(calibration, c.req.param('id')), 'image/jpeg'),
  );

  app.get('/api/readings', async (c) => c.json(await listReadings(calibration)));
  app.post('/api/readings', async (c) =>
    c.json(await readCaptures(calibration, await receiveJson(c.req.raw, LIMITS.json)), 201),
  );
  app.get('/api/readings/:id', async (c) => c.json(await getReading(calibration, c.req.param('id'))));
  app.get('/api/readings/:id/:file', async (c) => {
    const { id, file } = c.req.param();
    return fileAnswer(await readReadingFile(calibration, id, file), file, c.req.query('view') !== undefined);
  });
  app.post('/api/readings/:id/save', async (c) => {
    const asked = parseWith(SAVE_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await saveReading(calibration, c.req.param('id'), asked));
  });

  app.get('/api/profiles/:name', (c) => c.json(viewProfile(calibration, parseWith(RECORD_NAME, c.req.param('name')))));
  app.put('/api/profiles/:name', async (c) => {
    const { title } = parseWith(RENAME_REQUEST, await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await retitleProfile(calibration, parseWith(RECORD_NAME, c.req.param('name')), title));
  });
  app.delete('/api/profiles/:name', async (c) => {
    await removeProfile(calibration, parseWith(RECORD_NAME, c.req.param('name')));
    return c.body(null, 204);
  });
  app.get('/api/compare/:a/:b', (c) => {
    const { a, b } = c.req.param();
    return c.json(viewComparison(calibration, parseWith(RECORD_NAME, a), parseWith(RECORD_NAME, b)));
  });
}
