import { readdir, readFile, rm } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { formatJson, parseJson } from '../../json.ts';
import { writeFilesAtomic } from '../../tasks/index.ts';
import type { JobCard } from '../protocol.ts';
import { KEPT_DAY, KEPT_YES, viewYes, type Yes } from '../server-agreed.ts';
import type { EventHub } from '../server-events.ts';
import { createSaveRow, isFileName, type SaveRow } from '../server-files.ts';
import { clearIncoming, nameIncoming } from '../server-incoming.ts';
import { parsePhotoSettings } from '../server-photo-settings.ts';

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
  yes: KEPT_YES,
  ready: KEPT_DAY,
});

/** A job's folder holds the photo, what is wished of it, and the files that were made. */
export interface StoredJob extends Omit<JobCard, 'agreed'> {
  /** File of the photo inside the job's folder: its ending is that of the format that was found inside. */
  readonly stored: string;
  /** What its customer has said yes to. */
  readonly yes: Yes | null;
}

/** The jobs of a shop folder. */
export interface JobStore {
  /** Folder of all jobs; each has one of its own in it, by its id. */
  readonly root: string;
  readonly jobs: Map<string, StoredJob>;
  readonly saves: SaveRow;
  readonly events: EventHub;
}

/** Reads what is there; what was being received when a server stopped is swept. */
export async function openJobStore(shopDir: string, events: EventHub): Promise<JobStore> {
  const root = join(shopDir, 'jobs');
  const jobs = new Map<string, StoredJob>();
  await clearIncoming(join(root, INCOMING));
  for (const id of await readdir(root).catch(() => [] as string[])) {
    if (!ID.test(id)) continue;
    const job = await readJob(root, id);
    if (job) jobs.set(id, job);
    else await removeRest(join(root, id));
  }
  return { root, jobs, saves: createSaveRow(), events };
}

export const folderOf = ({ root }: Pick<JobStore, 'root'>, id: string, ...parts: string[]) => join(root, id, ...parts);

/** Where folders come and go whole. */
export const incomingOf = ({ root }: Pick<JobStore, 'root'>) => join(root, INCOMING);

/** A new place for a body that is being received. */
export const nameIncomingFile = (store: Pick<JobStore, 'root'>) => nameIncoming(incomingOf(store));

/** @throws AppError name-unknown */
export function findJob({ jobs }: JobStore, id: string): StoredJob {
  const job = jobs.get(id);
  if (!job) throw new AppError('name-unknown', 'found no such job in the shop folder');
  return job;
}

/** Shown at once, written in a row: each write takes what is newest when its turn comes. */
export async function saveJob(store: JobStore, job: StoredJob): Promise<JobCard> {
  store.jobs.set(job.id, job);
  await store.saves.add(job.id, () => writeJob(store, job.id));
  // A newer change may have come meanwhile; a removed job is nobody's news.
  if (store.jobs.has(job.id)) announceJob(store, job.id);
  return cardOf(job);
}

/** Tells every open page how a job stands. */
export function announceJob(store: JobStore, id: string): void {
  store.events.send({ type: 'job', job: cardOf(findJob(store, id)) });
}

async function writeJob(store: JobStore, id: string): Promise<void> {
  const job = store.jobs.get(id);
  if (!job) return;
  const { name, photo, stored, wish, changed, files, stale, yes, ready } = job;
  const record = {
    schema: 'tonewright-kept-job/1',
    name,
    photo: { ...photo, stored },
    wish,
    changed,
    files,
    stale,
    yes,
    ready,
  };
  await writeFilesAtomic([{ path: folderOf(store, id, 'job.json'), bytes: formatJson(record, 'record') }], {
    force: true,
  });
}

/** Files that were made for a job after it was removed, when the server ended in between: nobody sees them any more. */
async function removeRest(path: string): Promise<void> {
  const there = await readdir(path).catch(() => [] as string[]);
  if (there.every((name) => name === 'out')) await rm(path, { recursive: true, force: true });
}

export const cardOf = ({ stored: _, yes, ...card }: StoredJob): JobCard => ({
  ...card,
  agreed: viewYes(yes, card.wish),
});

/** A record that a person has damaged by hand hides its job and nothing else. */
async function readJob(root: string, id: string): Promise<StoredJob | undefined> {
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
      wish: parsePhotoSettings(found.wish),
      state: files.length > 0 ? 'kept' : 'open',
      changed: found.changed,
      files,
      stale: found.stale,
      yes: found.yes,
      ready: found.ready,
    };
  } catch {
    return undefined;
  }
}
