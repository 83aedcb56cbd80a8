import { randomBytes } from 'node:crypto';
import { readdir, readFile, rename, rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import type { ChartRequest } from '../job/index.ts';
import { formatJson, parseJson } from '../json.ts';
import type { Profile, Shop } from '../material/index.ts';
import {
  compareShopProfiles,
  deleteProfile,
  findSaved,
  listKnown,
  listLayouts,
  makeFolder,
  offerProfile,
  parseSavedProfile,
  renameProfile,
  type ShownProfile,
  sampleCurve,
  saveProfile,
  showProfile,
  writeFilesAtomic,
} from '../tasks/index.ts';
import { toDriftPoint } from './drift-point.ts';
import type {
  CaptureCard,
  ChartCard,
  ChartMade,
  ComparisonView,
  ProfileView,
  Reading,
  ReadingAsk,
} from './protocol.ts';
import type { EventHub } from './server-events.ts';
import { removeFolder } from './server-files.ts';
import { clearIncoming, nameIncoming } from './server-incoming.ts';
import { MAX_PIXELS, tidyFileName } from './server-jobs.ts';
import { factsOfProfile } from './server-shop.ts';
import { parseWith, RECORD_NAME } from './server-wish.ts';
import type { Work } from './server-work.ts';

const ID = /^[0-9a-f]{16}$/;
const HASH = /^[0-9a-f]{6,64}$/;
const CHART_FILES = ['chart.png', 'chart.json', 'chart.html', 'chart.svg', 'chart.csv', 'chart.nc'];
const lengthMm = v.pipe(v.number(), v.minValue(1), v.maxValue(2000));
const positive = v.pipe(v.number(), v.gtValue(0), v.maxValue(1e6));

export const CHART_ASK = v.strictObject({
  kind: v.picklist(['spot', 'dose', 'tone', 'verify', 'check']),
  machine: RECORD_NAME,
  material: v.exactOptional(RECORD_NAME),
  profile: v.exactOptional(RECORD_NAME),
  direction: v.exactOptional(v.picklist(['lighter', 'darker'])),
  widthMm: lengthMm,
  heightMm: lengthMm,
  powerW: v.exactOptional(positive),
  speedMmPerS: v.exactOptional(positive),
  spacingMm: v.exactOptional(v.pipe(v.number(), v.minValue(0.001), v.maxValue(2))),
});

const point = v.strictTuple([v.pipe(v.number(), v.finite()), v.pipe(v.number(), v.finite())]);

/** Title of a profile: a line of text. */
export const PROFILE_TITLE = v.pipe(v.string(), v.trim(), v.minLength(1), v.maxLength(80));

export const READING_ASK = v.strictObject({
  captures: v.pipe(v.array(v.pipe(v.string(), v.regex(ID))), v.minLength(1), v.maxLength(8)),
  chart: v.exactOptional(v.pipe(v.string(), v.regex(HASH))),
  profile: v.exactOptional(RECORD_NAME),
  camera: v.picklist(['known', 'unknown']),
  mirrored: v.boolean(),
  reference: v.exactOptional(v.picklist(['paper', 'scanner'])),
  corners: v.exactOptional(v.pipe(v.array(point), v.length(4))),
  title: v.exactOptional(PROFILE_TITLE),
});

const CAPTURE = v.object({
  schema: v.literal('tonewright-kept-capture/1'),
  file: v.string(),
  stored: v.pipe(v.string(), v.regex(/^capture\.[a-z0-9]+$/)),
  width: v.number(),
  height: v.number(),
});

export interface Bench {
  readonly listCharts: () => Promise<readonly ChartCard[]>;
  readonly makeChart: (json: unknown) => Promise<ChartMade>;
  readonly readChartFile: (hash: string, name: string) => Promise<Uint8Array>;
  /** Takes the files of a chart away; its layout stays, so that a scan of it can still be read. */
  readonly putAwayChart: (hash: string) => Promise<void>;
  readonly incoming: () => string;
  readonly addCapture: (path: string, fileName: string) => Promise<CaptureCard>;
  readonly readCaptureView: (id: string) => Promise<Uint8Array>;
  readonly read: (json: unknown) => Promise<Reading>;
  readonly listReadings: () => Promise<readonly Reading[]>;
  readonly getReading: (id: string) => Promise<Reading>;
  readonly readReadingFile: (id: string, name: string) => Promise<Uint8Array>;
  /** @param title saves it under another name, which follows from the title */
  readonly save: (id: string, how: { readonly replace: boolean; readonly title?: string }) => Promise<Reading>;
  /** Another title; the name stays. */
  readonly rename: (name: string, title: string) => Promise<ProfileView>;
  readonly remove: (name: string) => Promise<void>;
  readonly viewProfile: (name: string) => ProfileView;
  readonly compare: (a: string, b: string) => ComparisonView;
}

export interface BenchOptions {
  readonly shop: Shop;
  readonly shopDir: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** Charts, captures and what was read from them, in the shop folder. */
export async function openBench({ shop, shopDir, work, events }: BenchOptions): Promise<Bench> {
  const captures = join(shopDir, 'captures');
  const readings = join(shopDir, 'readings');
  const incoming = join(captures, '.incoming');
  await clearIncoming(incoming);

  async function readCard(id: string) {
    if (!ID.test(id)) throw unknown('capture');
    const text = await readFile(join(captures, id, 'capture.json'), 'utf8').catch(() => {
      throw unknown('capture');
    });
    return parseWith(CAPTURE, parseJson(text));
  }
  async function readReading(id: string): Promise<Reading> {
    if (!ID.test(id)) throw unknown('reading');
    const text = await readFile(join(readings, id, 'reading.json'), 'utf8').catch(() => {
      throw unknown('reading');
    });
    return (parseJson(text) as { readonly reading: Reading }).reading;
  }
  async function withSaved(reading: Reading, find = findSaved(shop)): Promise<Reading> {
    if (reading.kind !== 'learned') return reading;
    return { ...reading, saved: find(await readLearned(reading.id)) };
  }
  async function readLearned(id: string): Promise<Profile> {
    const path = join(readings, id, 'profile.json');
    return parseSavedProfile(await readFile(path, 'utf8'), path);
  }
  const getReading = async (id: string) => withSaved(await readReading(id));
  const keepReading = (reading: Reading) =>
    writeFilesAtomic(
      [
        {
          path: join(readings, reading.id, 'reading.json'),
          bytes: formatJson({ schema: 'tonewright-kept-reading/1', reading }, 'record'),
        },
      ],
      { force: true },
    );

  const viewProfile = (name: string) => profileView(showProfile(name, shop));

  return {
    async listCharts() {
      const cards: ChartCard[] = [];
      for (const layout of listLayouts(shop).layouts) {
        const { hash, kind, material, machine, direction, widthMm, heightMm } = layout;
        const there = await readdir(join(shopDir, 'charts', hash)).catch(() => [] as string[]);
        const files = CHART_FILES.filter((file) => there.includes(file));
        const card = { hash, kind, material, machine, direction, widthMm, heightMm, files };
        const [first] = files;
        const drawn = first && (await stat(join(shopDir, 'charts', hash, first))).mtime.toISOString();
        cards.push(drawn ? { ...card, drawn } : card);
      }
      return cards;
    },
    async makeChart(json) {
      const { widthMm, heightMm, powerW, speedMmPerS, spacingMm, ...ask } = parseWith(CHART_ASK, json);
      const settings = {
        ...(powerW === undefined ? {} : { powerW }),
        ...(speedMmPerS === undefined ? {} : { speedMmPerS }),
      };
      const request: ChartRequest = {
        ...ask,
        size: `${widthMm}x${heightMm}`,
        ...(spacingMm === undefined ? {} : { pitchMm: spacingMm, lineSpacingMm: spacingMm }),
        ...(Object.keys(settings).length > 0 ? { settings } : {}),
      };
      const made = await work.run('files', 'makeChartFiles', request);
      events.send({ type: 'shop' });
      return made;
    },
    async readChartFile(hash, name) {
      if (!HASH.test(hash) || !CHART_FILES.includes(name)) throw unknown('chart');
      return readFile(join(shopDir, 'charts', hash, name)).catch(() => {
        throw unknown('chart');
      });
    },
    async putAwayChart(hash) {
      if (!HASH.test(hash) || !shop.list('charts').some(({ name }) => name === hash)) throw unknown('chart');
      await makeFolder(incoming);
      await removeFolder(join(shopDir, 'charts', hash), nameIncoming(incoming));
      events.send({ type: 'shop' });
    },
    incoming: () => nameIncoming(incoming),
    async addCapture(path, fileName) {
      const id = randomBytes(8).toString('hex');
      const file = tidyFileName(fileName);
      try {
        const found = await work.run('photos', 'viewPhoto', { path, name: file, maxPixels: MAX_PIXELS });
        const { width, height, format, view } = found;
        const stored = `capture.${format === 'jpeg' ? 'jpg' : format}`;
        await makeFolder(join(captures, id));
        await rename(path, join(captures, id, stored));
        const card = { schema: 'tonewright-kept-capture/1', file, stored, width, height };
        await writeFilesAtomic([
          { path: join(captures, id, 'view.jpg'), bytes: view },
          { path: join(captures, id, 'capture.json'), bytes: formatJson(card, 'capture') },
        ]);
        return { id, file, width, height };
      } catch (error) {
        await rm(path, { force: true });
        await rm(join(captures, id), { recursive: true, force: true });
        throw error;
      }
    },
    async readCaptureView(id) {
      await readCard(id);
      return readFile(join(captures, id, 'view.jpg'));
    },
    async read(json) {
      const ask = parseWith(READING_ASK, json) as ReadingAsk;
      const opened = [];
      for (const id of ask.captures) {
        const card = await readCard(id);
        opened.push({ path: join(captures, id, card.stored), name: card.file });
      }
      const id = randomBytes(8).toString('hex');
      const out = join(readings, id);
      try {
        const reading = await work.run('files', 'readChart', {
          id,
          ask,
          captures: opened,
          out,
          maxPixels: MAX_PIXELS,
          date: new Date().toISOString().slice(0, 10),
        });
        await keepReading(reading);
        return getReading(id);
      } catch (error) {
        await rm(out, { recursive: true, force: true });
        throw error;
      }
    },
    async listReadings() {
      const found: Reading[] = [];
      const find = findSaved(shop);
      for (const id of await readdir(readings).catch(() => [] as string[])) {
        const reading = await readReading(id)
          .then((one) => withSaved(one, find))
          .catch(() => undefined);
        if (reading) found.push(reading);
      }
      return found.sort((a, b) => (a.date < b.date ? 1 : -1));
    },
    getReading,
    async readReadingFile(id, name) {
      await readReading(id);
      if (!/^(?:report\.html|profile\.json|measured\.json|found-\d\.jpg)$/.test(name)) throw unknown('file');
      return readFile(join(readings, id, name)).catch(() => {
        throw unknown('file');
      });
    },
    async save(id, { replace, title }) {
      const reading = await readReading(id);
      if (reading.kind !== 'learned') throw new AppError('option-invalid', 'found no profile in this reading');
      const profile = await readLearned(id);
      const page = await readFile(join(readings, id, 'report.html'), 'utf8');
      await saveProfile({ profile, page, replace, ...(title === undefined ? {} : { title }) }, { shop });
      events.send({ type: 'shop' });
      return getReading(id);
    },
    async rename(name, title) {
      await renameProfile({ name, title }, { shop });
      events.send({ type: 'shop' });
      return viewProfile(name);
    },
    async remove(name) {
      await deleteProfile(name, { shop });
      events.send({ type: 'shop' });
    },
    viewProfile,
    compare(a, b) {
      const { comparison, facts, notes } = compareShopProfiles({ a, b }, { shop });
      return { a: viewProfile(a), b: viewProfile(b), facts, notes, rows: comparison.rows };
    },
  };
}

function profileView({ profile, from, history, marksUm }: ShownProfile): ProfileView {
  const { bare, full, grid, screen, fit, repeatability } = profile;
  return {
    ...factsOfProfile(offerProfile(profile, from)),
    points: sampleCurve(profile.points),
    band: fit ? fit.band.map(({ coverage, low, high }) => ({ coverage, lightness: (low + high) / 2, low, high })) : [],
    facts: [
      { label: 'Lightness, bare to marked', value: `L* ${bare[0].toFixed(1)} to ${full[0].toFixed(1)}` },
      { label: 'Equal patches differ by', value: `± ${repeatability.toFixed(2)} L*` },
      ...listKnown(profile),
      { label: 'Mark width', value: `${marksUm.x.toFixed(1)} × ${marksUm.y.toFixed(1)} µm` },
      { label: 'Pitch and line spacing', value: `${grid.pitchMm} × ${grid.lineSpacingMm} mm` },
      { label: 'Screen', value: screen.name },
    ],
    warnings: fit?.warnings ?? [],
    history: (history?.entries ?? []).map(toDriftPoint),
  };
}

const unknown = (what: string) => new AppError('name-unknown', `found no such ${what} in the shop folder`);
