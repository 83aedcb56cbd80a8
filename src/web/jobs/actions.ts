import { randomBytes } from 'node:crypto';
import { existsSync } from 'node:fs';
import { copyFile, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import { AppError } from '../../errors.ts';
import { makeFolder, writeFilesAtomic } from '../../tasks/index.ts';
import type { JobCard, PhotoSettings } from '../protocol.ts';
import { outdateYes, sayYes } from '../server-agreed.ts';
import type { EventHub } from '../server-events.ts';
import { removeFolder, tidyFileName, writing } from '../server-files.ts';
import { requestOf } from '../server-photo-settings.ts';
import { MAX_PIXELS, type Previews, type Subject } from '../server-previews.ts';
import type { Work } from '../server-work.ts';
import { zipFiles } from '../server-zip.ts';
import {
  announceJob,
  cardOf,
  findJob,
  folderOf,
  incomingOf,
  type JobStore,
  nameIncomingFile,
  openJobStore,
  saveJob,
} from './store.ts';

/** The jobs of a shop folder and the files on their way: what every action is handed. */
export interface Jobs {
  readonly store: JobStore;
  readonly pool: Work;
  readonly previews: Previews;
  /** Files that are being made, by job. */
  readonly making: Map<string, Promise<unknown>>;
}

export interface JobsOptions {
  readonly shopDir: string;
  readonly work: Work;
  readonly previews: Previews;
  readonly events: EventHub;
}

/** Reads the jobs of a shop folder, and follows what is said of its profiles. */
export async function openJobs({ shopDir, work, previews, events }: JobsOptions): Promise<Jobs> {
  const store = await openJobStore(shopDir, events);
  events.listen((event) => {
    if (event.type === 'shop' && event.profile !== undefined) outdate(store, event.profile);
  });
  return { store, pool: work, previews, making: new Map() };
}

/** Files that were made through a profile are old when it says something else; so are those on their way. */
function outdate(store: JobStore, profile: string): void {
  for (const job of store.jobs.values()) {
    if (job.wish.profile !== profile) continue;
    const stale = job.stale || job.files.length > 0 || job.state === 'making';
    if (stale === job.stale && !job.yes) continue;
    void saveJob(store, { ...job, stale, yes: outdateYes(job.yes) }).catch(() => undefined);
  }
}

/** Waits for what is being written. */
export async function closeJobs({ store }: Jobs): Promise<void> {
  await store.saves.settle();
}

export function listJobs({ store }: Jobs): readonly JobCard[] {
  return [...store.jobs.values()].map(cardOf).sort((a, b) => (a.changed < b.changed ? 1 : -1));
}

/** Takes over a received file. */
export async function addJob(
  { store, pool, previews }: Jobs,
  path: string,
  { fileName, wish }: { readonly fileName: string; readonly wish: PhotoSettings },
): Promise<JobCard> {
  const id = randomBytes(8).toString('hex');
  const file = tidyFileName(fileName);
  // A folder of a job is there whole or not at all.
  const begun = nameIncomingFile(store);
  try {
    const { photo, view } = await pool.run('photos', 'openPhoto', { path, name: file, maxPixels: MAX_PIXELS });
    const { width, height } = photo;
    const stored = `photo.${photo.facts.format === 'jpeg' ? 'jpg' : photo.facts.format}`;
    await writing(begun, makeFolder(begun));
    await writing(begun, rename(path, join(begun, stored)));
    await writeFilesAtomic([{ path: join(begun, 'view.jpg'), bytes: view }]);
    await writing(folderOf(store, id), rename(begun, folderOf(store, id)));
    previews.hold(id, photo);
    return await saveJob(store, {
      id,
      name: basename(file, extname(file)),
      photo: { file, width, height },
      stored,
      wish,
      state: 'open',
      changed: new Date().toISOString(),
      files: [],
      stale: false,
      yes: null,
      ready: null,
    });
  } catch (error) {
    store.jobs.delete(id);
    await rm(path, { force: true });
    for (const one of [begun, folderOf(store, id)]) await rm(one, { recursive: true, force: true });
    throw error;
  }
}

export async function addSample(jobs: Jobs, path: string, wish: PhotoSettings): Promise<JobCard> {
  const incoming = nameIncomingFile(jobs.store);
  await makeFolder(incomingOf(jobs.store));
  await copyFile(path, incoming);
  return addJob(jobs, incoming, { fileName: basename(path), wish });
}

/** @throws AppError name-unknown, as of all that follow */
export async function setJobSettings({ store }: Jobs, id: string, wish: PhotoSettings): Promise<JobCard> {
  const job = findJob(store, id);
  if (JSON.stringify(job.wish) === JSON.stringify(wish)) return cardOf(job);
  return saveJob(store, { ...job, wish, changed: new Date().toISOString(), stale: job.files.length > 0 });
}

/**
 * Its customer likes it as it was shown; null takes the yes back.
 * @throws AppError option-invalid when something else is wished by now
 */
export async function agreeToJob({ store }: Jobs, id: string, shown: PhotoSettings | null): Promise<JobCard> {
  const job = findJob(store, id);
  return saveJob(store, { ...job, yes: shown && sayYes(shown, job.wish) });
}

/** The day on which it will be ready. */
export async function setReady({ store }: Jobs, id: string, ready: string | null): Promise<JobCard> {
  return saveJob(store, { ...findJob(store, id), ready });
}

/** Its photo, to look at. */
export function subjectOfJob({ store }: Jobs, id: string): Subject {
  const { stored, photo, name } = findJob(store, id);
  return { key: id, path: folderOf(store, id, stored), folder: folderOf(store, id), file: photo.file, name };
}

/** Makes its files as the job is wished now. */
export async function makeJobFiles({ store, pool, making }: Jobs, id: string): Promise<JobCard> {
  const job = findJob(store, id);
  if (job.state === 'making') return cardOf(job);
  store.jobs.set(id, { ...job, state: 'making', stale: false });
  announceJob(store, id);
  const made = pool.run('files', 'keepJob', {
    photoPath: folderOf(store, id, job.stored),
    photoFile: job.photo.file,
    name: job.name,
    request: requestOf(job.wish, folderOf(store, id)),
    out: folderOf(store, id, 'out'),
  });
  making.set(id, made);
  try {
    const files = await made;
    const now = findJob(store, id);
    const stale = now.stale || JSON.stringify(now.wish) !== JSON.stringify(job.wish);
    return await saveJob(store, { ...now, state: 'kept', files, stale, changed: new Date().toISOString() });
  } catch (error) {
    if (store.jobs.has(id)) {
      store.jobs.set(id, { ...findJob(store, id), state: job.state, stale: job.stale || findJob(store, id).stale });
      announceJob(store, id);
    }
    throw error;
  } finally {
    making.delete(id);
  }
}

export async function removeJob({ store, previews, making }: Jobs, id: string): Promise<void> {
  findJob(store, id);
  const made = making.get(id);
  store.jobs.delete(id);
  previews.forget(id);
  await store.saves.settle(id);
  const take = () => removeFolder(folderOf(store, id), nameIncomingFile(store));
  await makeFolder(incomingOf(store));
  await take();
  store.events.send({ type: 'job-gone', id });
  // What is being made comes into the folder anew: it goes, too.
  if (made) {
    await made.catch(() => undefined);
    await take();
  }
}

/** Path of the picture of the whole photo. */
export function viewPathOf({ store }: Jobs, id: string): string {
  return folderOf(store, findJob(store, id).id, 'view.jpg');
}

/** Paths of its ticket and of its photo. @throws AppError name-unknown before files were made */
export function burnedFilesOf({ store }: Jobs, id: string): { readonly ticket: string; readonly photo: string } {
  const job = findJob(store, id);
  const ticket = job.files.find((file) => file.endsWith('.ticket.json'));
  if (ticket === undefined) throw new AppError('name-unknown', 'found no ticket of this job, needed its files made');
  return { ticket: folderOf(store, id, 'out', ticket), photo: folderOf(store, id, job.stored) };
}

/** All files of a job as one archive. @throws AppError name-unknown without files; path-missing when one is gone */
export function zipJob({ store }: Jobs, id: string): NodeJS.ReadableStream {
  const { files } = findJob(store, id);
  if (files.length === 0) throw new AppError('name-unknown', 'found no files of this job, needed them made');
  const paths = files.map((name) => [folderOf(store, id, 'out', name), name] as const);
  const gone = paths.filter(([path]) => !existsSync(path)).map(([, name]) => name);
  if (gone.length > 0) {
    throw new AppError(
      'path-missing',
      `found no ${gone.join(', ')} in the folder of the job, needed the files made again`,
    );
  }
  return zipFiles(paths);
}

export async function readJobFile({ store }: Jobs, id: string, name: string): Promise<Uint8Array> {
  const job = findJob(store, id);
  // Only names that the server wrote itself ever become a path.
  if (!job.files.includes(name)) throw new AppError('name-unknown', 'found no such file in this job');
  return readFile(folderOf(store, id, 'out', name));
}
