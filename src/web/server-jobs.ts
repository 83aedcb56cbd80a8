import { randomBytes } from 'node:crypto';
import { copyFile, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { formatMoney, type LookFacts, type Quote, type Sight } from '../job/index.ts';
import { formatJson, parseJson } from '../json.ts';
import { type Dots, makeFolder, type Photo, writeFilesAtomic } from '../plane/index.ts';
import type { JobCard, LookAsk, LookFactsJson, Wish } from './protocol.ts';
import type { EventHub } from './server-events.ts';
import { createSaveRow, isFileName, removeFolder, writing } from './server-files.ts';
import { clearIncoming, nameIncoming } from './server-incoming.ts';
import { parseWish, requestOf } from './server-wish.ts';
import type { Work } from './server-work.ts';

/**
 * A photo with more pixels is refused from its header. Assumed: decoded it would take more than a third of a gigabyte.
 */
export const MAX_PIXELS = 120e6;
/**
 * Decoded photos and their light are let go of, the longest unused first, beyond this. Assumed: a few large photos
 * beside a browser, on a computer of 8 GB.
 */
const CACHE_BYTES = 700e6;
/** Windows on one job that are told apart. A count. Assumed: more than a shop has screens. */
const MOST_WINDOWS = 16;
/** Looks whose dots are kept for the loupe. A count. Assumed: a loupe looks at the present one, seldom at an older. */
const LOOKS = 4;
/**
 * Memory of looks that are gone which is kept for the next ones. A count. Assumed: a draft and a proof come by turns.
 */
const MOST_ROOMS = 2;

const ID = /^[0-9a-f]{16}$/;
const INCOMING = '.incoming';

const RECORD = v.object({
  schema: v.literal('tonewright-kept-job/1'),
  name: v.string(),
  photo: v.object({ file: v.string(), stored: v.string(), width: v.number(), height: v.number() }),
  wish: v.unknown(),
  changed: v.string(),
  files: v.array(v.string()),
  stale: v.boolean(),
});

/** A job's folder holds the photo, what is wished of it, and the files that were made. */
interface KeptJob extends JobCard {
  /** File of the photo inside the job's folder: its ending is that of the format that was found inside. */
  readonly stored: string;
}

interface NamedSight {
  readonly sight: Sight;
  /** Tells it from all others. */
  readonly sightKey: string;
}

interface Cached {
  photo?: Promise<Photo>;
  sight?: Promise<NamedSight>;
  sightKey: string;
  bytes: number;
  used: number;
  /** By window: turn of the newest draft and of the newest proof; the threads look at them between steps. */
  readonly turns: Map<string, { readonly draft: Int32Array; readonly proof: Int32Array }>;
}

interface KeptLook {
  readonly job: string;
  readonly dots: Dots;
  readonly wish: Wish;
}

export interface Jobs {
  readonly list: () => readonly JobCard[];
  readonly get: (id: string) => JobCard;
  /** Takes over a received file. */
  readonly add: (path: string, facts: { readonly fileName: string; readonly wish: Wish }) => Promise<JobCard>;
  readonly copySample: (path: string, wish: Wish) => Promise<JobCard>;
  readonly setWish: (id: string, wish: Wish) => Promise<JobCard>;
  readonly draft: (id: string, ask: LookAsk) => Promise<Uint8Array | undefined>;
  /** @param gone tells that the one who asked no longer listens */
  readonly look: (
    id: string,
    ask: LookAsk,
    gone: AbortSignal,
  ) => Promise<{ readonly jpeg: Uint8Array; readonly facts: Promise<LookFactsJson | undefined> } | undefined>;
  readonly loupe: (
    id: string,
    look: string,
    ask: {
      readonly x: number;
      readonly y: number;
      readonly width: number;
      readonly height: number;
      as: 'dots' | 'surface';
    },
  ) => Promise<Uint8Array>;
  readonly keep: (id: string) => Promise<JobCard>;
  readonly remove: (id: string) => Promise<void>;
  readonly readView: (id: string) => Promise<Uint8Array>;
  readonly readFileOf: (id: string, name: string) => Promise<Uint8Array>;
  /** A new place for a body that is being received. */
  readonly incoming: () => string;
  /** Waits for what is being written. */
  readonly close: () => Promise<void>;
}

export interface JobsOptions {
  readonly shopDir: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** The jobs of a shop folder, and the light of those that are being looked at. */
export async function openJobs({ shopDir, work, events }: JobsOptions): Promise<Jobs> {
  const root = join(shopDir, 'jobs');
  const jobs = new Map<string, KeptJob>();
  const cache = new Map<string, Cached>();
  const looks = new Map<string, KeptLook>();
  const rooms: Uint8Array[] = [];
  const saves = createSaveRow();
  const making = new Map<string, Promise<unknown>>();
  await clearIncoming(join(root, INCOMING));
  for (const id of await readdir(root).catch(() => [] as string[])) {
    if (!ID.test(id)) continue;
    const job = await readJob(root, id);
    if (job) jobs.set(id, job);
    else await removeRest(join(root, id));
  }

  const find = (id: string): KeptJob => {
    const job = jobs.get(id);
    if (!job) throw new AppError('name-unknown', 'found no such job in the shop folder');
    return job;
  };
  const folder = (id: string, ...parts: string[]) => join(root, id, ...parts);

  /** Shown at once, written in a row: each write takes what is newest when its turn comes. */
  async function save(job: KeptJob): Promise<JobCard> {
    jobs.set(job.id, job);
    await saves.add(job.id, () => write(job.id));
    // A newer change may have come meanwhile; a removed job is nobody's news.
    if (jobs.has(job.id)) events.send({ type: 'job', job: cardOf(find(job.id)) });
    return cardOf(job);
  }

  async function write(id: string): Promise<void> {
    const job = jobs.get(id);
    if (!job) return;
    const { name, photo, stored, wish, changed, files, stale } = job;
    const record = {
      schema: 'tonewright-kept-job/1',
      name,
      photo: { ...photo, stored },
      wish,
      changed,
      files,
      stale,
    };
    await writeFilesAtomic([{ path: folder(job.id, 'job.json'), bytes: formatJson(record, 'record') }], {
      force: true,
    });
  }

  async function add(path: string, { fileName, wish }: { readonly fileName: string; readonly wish: Wish }) {
    const id = randomBytes(8).toString('hex');
    const file = tidyFileName(fileName);
    // A folder of a job is there whole or not at all.
    const begun = nameIncoming(join(root, INCOMING));
    try {
      const { photo, view } = await work.run('photos', 'openPhoto', { path, name: file, maxPixels: MAX_PIXELS });
      const { width, height } = photo;
      const stored = `photo.${photo.facts.format === 'jpeg' ? 'jpg' : photo.facts.format}`;
      await writing(begun, makeFolder(begun));
      await writing(begun, rename(path, join(begun, stored)));
      await writeFilesAtomic([{ path: join(begun, 'view.jpg'), bytes: view }]);
      await writing(folder(id), rename(begun, folder(id)));
      const entry = useCache(id);
      entry.photo = Promise.resolve(photo);
      entry.bytes = bytesOf(photo);
      trim(id);
      return await save({
        id,
        name: basename(file, extname(file)),
        photo: { file, width, height },
        stored,
        wish,
        state: 'open',
        changed: new Date().toISOString(),
        files: [],
        stale: false,
      });
    } catch (error) {
      jobs.delete(id);
      await rm(path, { force: true });
      for (const one of [begun, folder(id)]) await rm(one, { recursive: true, force: true });
      throw error;
    }
  }

  function useCache(id: string): Cached {
    const known = cache.get(id);
    if (known) {
      known.used = Date.now();
      return known;
    }
    const made: Cached = { sightKey: '', bytes: 0, used: Date.now(), turns: new Map() };
    cache.set(id, made);
    return made;
  }

  /** A window's newer wish overtakes its older one, never another window's. */
  function turnsOf(id: string, window: string) {
    const { turns } = useCache(id);
    const known = turns.get(window);
    if (known) return known;
    const cell = () => new Int32Array(new SharedArrayBuffer(4));
    const made = { draft: cell(), proof: cell() };
    turns.set(window, made);
    for (const old of [...turns.keys()].slice(0, -MOST_WINDOWS)) turns.delete(old);
    return made;
  }

  /** Lets go of the longest unused light, never of the one in hand. */
  function trim(id: string): void {
    const byAge = [...cache].filter(([other]) => other !== id).sort((a, b) => a[1].used - b[1].used);
    let bytes = [...cache.values()].reduce((sum, entry) => sum + entry.bytes, 0);
    for (const [other, entry] of byAge) {
      if (bytes <= CACHE_BYTES) return;
      bytes -= entry.bytes;
      cache.delete(other);
    }
  }

  async function sightOf(id: string, wish: Wish): Promise<NamedSight> {
    const job = find(id);
    const entry = useCache(id);
    entry.photo ??= work
      .run('photos', 'openPhoto', { path: folder(id, job.stored), name: job.photo.file, maxPixels: MAX_PIXELS })
      .then(({ photo }) => photo);
    const photo = await entry.photo.catch((error) => {
      delete entry.photo;
      throw error;
    });
    // The light depends on all of the wish but the tone's own values and the range.
    const { toneValues: _values, range: _range, ...rest } = wish;
    const key = JSON.stringify(rest);
    if (entry.sightKey !== key || !entry.sight) {
      entry.sightKey = key;
      const sight = work
        .run('proof', 'takeSightOf', { photo, request: requestOf({ ...wish, toneValues: {} }) })
        .then((taken) => ({ sight: taken, sightKey: randomBytes(6).toString('hex') }));
      entry.sight = sight;
      sight.then(
        ({ sight: { picture } }) => {
          entry.bytes = bytesOf(photo) + 3 * picture.light.data.length;
          trim(id);
        },
        () => {
          if (entry.sight === sight) entry.sightKey = '';
        },
      );
    }
    return entry.sight;
  }

  async function draft(id: string, { wish, showClipped, window, longSidePx }: LookAsk) {
    const { draft: newest } = turnsOf(id, window);
    const turn = Atomics.add(newest, 0, 1) + 1;
    const named = await sightOf(id, wish);
    if (Atomics.load(newest, 0) !== turn) return undefined;
    const input = { ...named, request: requestOf(wish), name: find(id).name, showClipped, turn, newest };
    return work.run('draft', 'draft', { ...input, longSidePx });
  }

  async function look(id: string, { wish, showClipped, window }: LookAsk, gone: AbortSignal) {
    const { proof: newest } = turnsOf(id, window);
    const turn = Atomics.add(newest, 0, 1) + 1;
    // Who has asked no longer listens; the turn passes to nobody, unless somebody has it by now.
    gone.addEventListener('abort', () => Atomics.compareExchange(newest, 0, turn, turn + 1));
    const named = await sightOf(id, wish);
    if (Atomics.load(newest, 0) !== turn) return undefined;
    const { frame } = named.sight.picture;
    const name = randomBytes(6).toString('hex');
    const room = takeRoom(frame.width * frame.height);
    const drawing = { ...named, request: requestOf(wish), name: find(id).name, showClipped, turn, newest };
    const input = { ...drawing, look: name, room };
    const found = await work.run('proof', 'exact', input);
    if (!found) {
      rooms.push(room);
      return undefined;
    }
    looks.set(name, { job: id, dots: found.dots, wish });
    for (const [old, { dots }] of [...looks].slice(0, -LOOKS)) {
      looks.delete(old);
      rooms.push(dots.data);
    }
    const facts = work
      .run('proof', 'foretellLook', input)
      .then((told) => told && describeLook(name, named.sight, told));
    return { jpeg: found.jpeg, facts };
  }

  /**
   * Shared memory for so many dots: that of a look which is gone, since fresh memory costs more time than filling it.
   */
  function takeRoom(dots: number): Uint8Array {
    const found = rooms.findIndex((room) => room.length === dots);
    const room = found < 0 ? new Uint8Array(new SharedArrayBuffer(dots)) : rooms.splice(found, 1)[0]!;
    rooms.splice(0, Math.max(0, rooms.length - MOST_ROOMS));
    return room;
  }

  return {
    list: () => [...jobs.values()].map(cardOf).sort((a, b) => (a.changed < b.changed ? 1 : -1)),
    get: (id) => cardOf(find(id)),
    add,
    async copySample(path, wish) {
      const incoming = nameIncoming(join(root, INCOMING));
      await makeFolder(join(root, INCOMING));
      await copyFile(path, incoming);
      return add(incoming, { fileName: basename(path), wish });
    },
    async setWish(id, wish) {
      const job = find(id);
      if (JSON.stringify(job.wish) === JSON.stringify(wish)) return cardOf(job);
      return save({ ...job, wish, changed: new Date().toISOString(), stale: job.files.length > 0 });
    },
    draft,
    look,
    async loupe(id, name, { as, ...part }) {
      const found = looks.get(name);
      if (!found || found.job !== id) throw new AppError('name-unknown', 'this proof is no longer at hand');
      const png = await work.run('draft', 'loupe', { dots: found.dots, request: requestOf(found.wish), part, as });
      // Its memory may hold the dots of another look by now.
      if (looks.get(name) !== found) throw new AppError('name-unknown', 'this proof is no longer at hand');
      return png;
    },
    async keep(id) {
      const job = find(id);
      if (job.state === 'making') return cardOf(job);
      jobs.set(id, { ...job, state: 'making' });
      events.send({ type: 'job', job: cardOf(find(id)) });
      const made = work.run('files', 'keepJob', {
        photoPath: folder(id, job.stored),
        photoFile: job.photo.file,
        name: job.name,
        request: requestOf(job.wish),
        out: folder(id, 'out'),
      });
      making.set(id, made);
      try {
        const files = await made;
        const now = find(id);
        const stale = JSON.stringify(now.wish) !== JSON.stringify(job.wish);
        return await save({ ...now, state: 'kept', files, stale, changed: new Date().toISOString() });
      } catch (error) {
        if (jobs.has(id)) {
          jobs.set(id, { ...find(id), state: job.state });
          events.send({ type: 'job', job: cardOf(find(id)) });
        }
        throw error;
      } finally {
        making.delete(id);
      }
    },
    async remove(id) {
      find(id);
      const made = making.get(id);
      jobs.delete(id);
      cache.delete(id);
      await saves.settle(id);
      const take = () => removeFolder(folder(id), nameIncoming(join(root, INCOMING)));
      await makeFolder(join(root, INCOMING));
      await take();
      events.send({ type: 'job-gone', id });
      // What is being made comes into the folder anew: it goes, too.
      if (made) {
        await made.catch(() => undefined);
        await take();
      }
    },
    readView: (id) => readFile(folder(find(id).id, 'view.jpg')),
    async readFileOf(id, name) {
      const job = find(id);
      // Only names that the server wrote itself ever become a path.
      if (!job.files.includes(name)) throw new AppError('name-unknown', 'found no such file in this job');
      return readFile(folder(id, 'out', name));
    },
    incoming: () => nameIncoming(join(root, INCOMING)),
    close: () => saves.settle(),
  };
}

/** Files that were made for a job after it was removed, when the server ended in between: nobody sees them any more. */
async function removeRest(path: string): Promise<void> {
  const there = await readdir(path).catch(() => [] as string[]);
  if (there.every((name) => name === 'out')) await rm(path, { recursive: true, force: true });
}

const cardOf = ({ stored: _, ...card }: KeptJob): JobCard => card;

const bytesOf = (photo: Photo) => photo.rgb.byteLength + (photo.alpha?.byteLength ?? 0);

/** A record that a person has damaged by hand hides its job and nothing else. */
async function readJob(root: string, id: string): Promise<KeptJob | undefined> {
  try {
    const found = v.parse(RECORD, parseJson(await readFile(join(root, id, 'job.json'), 'utf8')));
    const { photo, files } = found;
    const { stored, ...facts } = photo;
    // A shop folder may come from somebody else: its names become paths no more than those that a client sends.
    if (!/^photo\.[a-z0-9]+$/.test(stored) || ![found.name, photo.file, ...files].every(isFileName)) return undefined;
    return {
      id,
      name: found.name,
      photo: facts,
      stored,
      wish: parseWish(found.wish),
      state: files.length > 0 ? 'kept' : 'open',
      changed: found.changed,
      files,
      stale: found.stale,
    };
  } catch {
    return undefined;
  }
}

/** A name fit for files of any system, from whatever the browser says the photo is called. */
export function tidyFileName(text: string): string {
  const last = text.split(/[\\/]/).at(-1) ?? '';
  const ending = extname(last)
    .replace(/[^.A-Za-z0-9]/g, '')
    .replace(/^\.$/, '')
    .slice(0, 6);
  const stem = basename(last, extname(last))
    .normalize('NFC')
    .replace(/[^\p{L}\p{N}._-]+/gu, '-')
    .replace(/^[.-]+|[.-]+$/g, '')
    .slice(0, 60);
  return `${stem === '' ? 'photo' : stem}${ending}`;
}

function describeLook(name: string, { picture }: Sight, facts: LookFacts): LookFactsJson {
  const { bitmap, time, prediction, profile, screen, settings, warnings, cautions, assumptions, tone, price } = facts;
  return {
    look: name,
    frame: picture.frame,
    focus: picture.focus,
    tone: tone.values,
    dots: { width: bitmap.width, height: bitmap.height, firing: bitmap.firing },
    seconds: time.seconds,
    prediction,
    clippedDark: tone.clippedDark,
    clippedLight: tone.clippedLight,
    profile: { title: profile.title, bareL: profile.bareL, fullL: profile.fullL, origin: profile.origin },
    screen: screen.name,
    settings,
    warnings,
    cautions,
    assumptions,
    ...(price ? { price: sayPrice(price) } : {}),
  };
}

/** The price of one piece as an order of its own, each line as the list makes it. */
function sayPrice(quote: Quote): NonNullable<LookFactsJson['price']> {
  const money = (amountMinor: number) => formatMoney(amountMinor, quote);
  const { tax, roundingMinor } = quote;
  const lines = [...quote.lines, ...quote.pieces.flatMap((piece) => piece.lines)]
    .filter(({ amountMinor }) => amountMinor !== 0)
    .map(({ label, amountMinor }) => [label, money(amountMinor)] as const);
  const taxed = [`${tax.name}, ${tax.percent} %${tax.included ? ', within' : ''}`, money(tax.amountMinor)] as const;
  const rounded = roundingMinor === 0 ? [] : [['Rounding', money(roundingMinor)] as const];
  return { total: money(quote.grossMinor), lines: [...lines, taxed, ...rounded] };
}
