import { randomBytes } from 'node:crypto';
import { copyFile, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { formatJson, parseJson } from '../json.ts';
import { makeFolder, writeFilesAtomic } from '../tasks/index.ts';
import type { JobCard, Wish } from './protocol.ts';
import type { EventHub } from './server-events.ts';
import { createSaveRow, isFileName, removeFolder, writing } from './server-files.ts';
import { clearIncoming, nameIncoming } from './server-incoming.ts';
import { type Looks, MAX_PIXELS, type Subject } from './server-looks.ts';
import { parseWish, requestOf } from './server-wish.ts';
import type { Work } from './server-work.ts';

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

export interface Jobs {
  readonly list: () => readonly JobCard[];
  readonly get: (id: string) => JobCard;
  /** Takes over a received file. */
  readonly add: (path: string, facts: { readonly fileName: string; readonly wish: Wish }) => Promise<JobCard>;
  readonly copySample: (path: string, wish: Wish) => Promise<JobCard>;
  readonly setWish: (id: string, wish: Wish) => Promise<JobCard>;
  /** Its photo, to look at. */
  readonly subjectOf: (id: string) => Subject;
  readonly keep: (id: string) => Promise<JobCard>;
  readonly remove: (id: string) => Promise<void>;
  /** Of the picture of the whole photo. */
  readonly viewPath: (id: string) => string;
  /** Paths of its ticket and of its photo. @throws AppError name-unknown before files were made */
  readonly burnedOf: (id: string) => { readonly ticket: string; readonly photo: string };
  readonly readFileOf: (id: string, name: string) => Promise<Uint8Array>;
  /** A new place for a body that is being received. */
  readonly incoming: () => string;
  /** Waits for what is being written. */
  readonly close: () => Promise<void>;
}

export interface JobsOptions {
  readonly shopDir: string;
  readonly work: Work;
  readonly looks: Looks;
  readonly events: EventHub;
}

/** The jobs of a shop folder, and the light of those that are being looked at. */
export async function openJobs({ shopDir, work, looks, events }: JobsOptions): Promise<Jobs> {
  const root = join(shopDir, 'jobs');
  const jobs = new Map<string, KeptJob>();
  const saves = createSaveRow();
  const making = new Map<string, Promise<unknown>>();
  await clearIncoming(join(root, INCOMING));
  for (const id of await readdir(root).catch(() => [] as string[])) {
    if (!ID.test(id)) continue;
    const job = await readJob(root, id);
    if (job) jobs.set(id, job);
    else await removeRest(join(root, id));
  }

  // Files that were made through a profile are old when it says something else; so are those on their way.
  events.listen((event) => {
    if (event.type !== 'shop' || event.profile === undefined) return;
    for (const job of jobs.values()) {
      if (job.wish.profile !== event.profile || job.stale || (job.files.length === 0 && job.state !== 'making'))
        continue;
      void save({ ...job, stale: true }).catch(() => undefined);
    }
  });

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
      looks.hold(id, photo);
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
    subjectOf(id) {
      const { stored, photo, name } = find(id);
      return { key: id, path: folder(id, stored), folder: folder(id), file: photo.file, name };
    },
    async keep(id) {
      const job = find(id);
      if (job.state === 'making') return cardOf(job);
      jobs.set(id, { ...job, state: 'making', stale: false });
      events.send({ type: 'job', job: cardOf(find(id)) });
      const made = work.run('files', 'keepJob', {
        photoPath: folder(id, job.stored),
        photoFile: job.photo.file,
        name: job.name,
        request: requestOf(job.wish, folder(id)),
        out: folder(id, 'out'),
      });
      making.set(id, made);
      try {
        const files = await made;
        const now = find(id);
        const stale = now.stale || JSON.stringify(now.wish) !== JSON.stringify(job.wish);
        return await save({ ...now, state: 'kept', files, stale, changed: new Date().toISOString() });
      } catch (error) {
        if (jobs.has(id)) {
          jobs.set(id, { ...find(id), state: job.state, stale: job.stale || find(id).stale });
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
      looks.forget(id);
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
    viewPath: (id) => folder(find(id).id, 'view.jpg'),
    burnedOf(id) {
      const job = find(id);
      const ticket = job.files.find((file) => file.endsWith('.ticket.json'));
      if (ticket === undefined)
        throw new AppError('name-unknown', 'found no ticket of this job, needed its files made');
      return { ticket: folder(id, 'out', ticket), photo: folder(id, job.stored) };
    },
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
