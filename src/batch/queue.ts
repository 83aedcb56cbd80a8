import { stat } from 'node:fs/promises';
import { hostname } from 'node:os';
import { setTimeout as wait } from 'node:timers/promises';
import type { Queue, Worker } from 'bullmq';
import type { Redis } from 'ioredis';
import { AppError } from '../errors.ts';
import type { PieceFault } from '../job/index.ts';
import { sha256 } from '../plane/index.ts';
import { describeFault, type PieceTask } from './make-piece.ts';
import { type FinishedPiece, type Maker, openThreads, type PlannedTask } from './makers.ts';
import { packResult, unpackResult } from './parcel.ts';
import { readPhotoBytes } from './read-photo.ts';

/*
 * How an order runs on several computers. The order's own process stays the one that reads the photos, writes the
 * results and keeps the journal; through the queue go a task with the bytes of its photo, and the bytes of the result
 * back. So the workers need neither the photos' disk nor the shop folder, and everything that holds for a local run
 * holds here. The server may forget anything at any time: what is missing is sent again.
 */

const PREFIX = 'tonewright';
/**
 * Photos and results that nobody fetches are let go of after a day. Assumed: an order is fetched on the day. Looks for
 * a result come every 100 ms: no person feels it.
 */
const KEEP_S = 86_400;
const POLL_MS = 100;
/** Every so many looks for the result the job itself is looked at. A count. Assumed: once a second is soon enough. */
const POLLS_PER_CHECK = 10;
/**
 * A piece that is lost so often is given up: it may be what ends its workers. A count. Assumed: a computer may go down
 * once or twice, hardly thrice with the same piece.
 */
const MAX_LOSSES = 3;
/**
 * Photos in flight: on the server, and beside each other in this process. Bytes and a count. Assumed: keeps many
 * workers busy, and fits a small server's memory.
 */
const CAPACITY_BYTES = 256 * 2 ** 20;
const PARALLEL = 64;
/** A server that says nothing for so long is out of reach. Assumed: a slow network answers within 10 s. */
const SILENCE_MS = 10_000;
/**
 * A run waits so long for a server that went silent, or away, in its middle. Assumed: one that is started again takes
 * less; the journal has what is done, and the same command goes on.
 */
const PATIENCE_MS = 300_000;
/**
 * What nobody needs any more, and what is asked already after Ctrl-C, has so long to be answered. Assumed: after
 * longer a person presses again.
 */
const GRACE_MS = 2000;
/** How the server's refusals of a user or a password begin (Redis protocol specification, simple errors). */
const REFUSAL = /^(WRONGPASS|NOAUTH|NOPERM|ERR AUTH|ERR invalid password)/;
/** So long without any worker before it is said. Assumed: workers that are being started take a few seconds. */
const LONELY_MS = 5000;

/** Only workers of the same build see the pieces: others would make other bytes. */
const queueName = (build: string) => `pieces-${build}`;
const photoKey = (id: string) => `${PREFIX}:photo:${id}`;
const resultKey = (id: string) => `${PREFIX}:result:${id}`;

/** @throws AppError option-invalid */
export function checkQueueUrl(url: string): void {
  if (/^rediss?:\/\/./.test(url) && URL.canParse(url)) return;
  throw new AppError('option-invalid', `queue: found "${url}", needed a URL such as redis://127.0.0.1:6379`);
}

/** @throws AppError option-invalid, queue-unreachable, queue-refused */
async function connect(url: string, signal: AbortSignal, silenceMs?: number): Promise<Redis> {
  checkQueueUrl(url);
  const { Redis: Client } = await import('ioredis');
  const client = new Client(url, {
    lazyConnect: true,
    // Commands wait for the server to come back, however long that takes.
    maxRetriesPerRequest: null,
    retryStrategy: (times: number) => Math.min(2000, 100 * times),
    connectTimeout: SILENCE_MS,
    // A connection that is open and says nothing is given up, and another one tried.
    ...(silenceMs === undefined ? {} : { socketTimeout: silenceMs }),
  });
  // Without a listener an error ends the process; the client tries again by itself.
  let refusal: string | undefined;
  client.on('error', ({ message }: Error) => {
    if (REFUSAL.test(message)) refusal ??= message;
  });
  const { host } = new URL(url);
  try {
    const answer = await orEnd(
      client.connect().then(() => client.ping()),
      { signal, afterMs: SILENCE_MS },
    );
    if (answer === undefined) throw new Error(signal.aborted ? 'stopped while it was asked' : 'it does not answer');
  } catch (error) {
    client.disconnect();
    const { message } = error as Error;
    const told = refusal ?? (REFUSAL.test(message) ? message : undefined);
    if (told !== undefined) {
      throw new AppError(
        'queue-refused',
        `found a queue at ${host} that refuses the password (${told}), needed its own`,
        {
          host,
        },
      );
    }
    throw new AppError('queue-unreachable', `found no queue at ${host} (${message}), needed a server`, { host });
  }
  return client;
}

/** What an answer says, or undefined when `signal` or the time has ended the wait for it. */
async function orEnd<T>(
  answer: Promise<T>,
  { signal, afterMs }: { readonly signal?: AbortSignal; readonly afterMs: number },
): Promise<T | undefined> {
  const ended = new AbortController();
  const end = AbortSignal.any([ended.signal, ...(signal ? [signal] : [])]);
  try {
    return await Promise.race([answer, wait(afterMs, undefined, { signal: end }).catch(() => undefined)]);
  } finally {
    ended.abort();
    answer.catch(() => undefined);
  }
}

/** Lets go of a connection; one that is out of reach is not waited for. */
async function leave(client: Redis): Promise<void> {
  if (client.status === 'ready') await orEnd(client.quit(), { afterMs: GRACE_MS }).catch(() => undefined);
  client.disconnect();
}

export interface QueueMakerOptions {
  readonly url: string;
  /** The order's output folder: one order, run again, finds what was made for it meanwhile. */
  readonly out: string;
  readonly build: string;
  /** Ends the wait for a server that does not answer. */
  readonly signal: AbortSignal;
  readonly warn: (text: string) => void;
  /** Silence after which a connection is given up, and the whole server, ms. */
  readonly silenceMs?: number;
  readonly patienceMs?: number;
}

/**
 * Pieces made by workers behind a queue. A server that is out of reach is waited for, but not for ever: then each piece
 * ends with queue-unreachable.
 * @throws AppError option-invalid, queue-unreachable, queue-refused
 */
export async function createQueueMaker(options: QueueMakerOptions): Promise<Maker> {
  const { url, out, build, signal: stop, warn, silenceMs = SILENCE_MS, patienceMs = PATIENCE_MS } = options;
  const client = await connect(url, stop, silenceMs);
  const presence = watchPresence(client, { host: new URL(url).host, silenceMs, patienceMs });
  client.on('close', () => warn('the queue is out of reach; the order goes on when it is back'));
  const { Queue: JobQueue } = await import('bullmq');
  const queue = new JobQueue(queueName(build), { connection: client, prefix: PREFIX });
  queue.on('error', () => undefined);
  const lonely = setTimeout(async () => {
    if ((await queue.getWorkersCount().catch(() => 1)) > 0) return;
    warn('no worker of this version listens to the queue; start one with `tonewright worker --queue …`');
  }, LONELY_MS);
  return {
    parallel: PARALLEL,
    capacity: CAPACITY_BYTES,
    weigh: ({ photoPath }) =>
      stat(photoPath).then(
        ({ size }) => size,
        () => 0,
      ),
    make: async (planned, signal) => {
      let photo: Buffer;
      try {
        photo = await readPhotoBytes(planned.photoPath, { label: planned.task.label });
      } catch (error) {
        return { result: { made: false, fault: describeFault(error) }, settle: async () => undefined };
      }
      const id = sha256(JSON.stringify([hostname(), out, planned.work, sha256(photo)])).slice(0, 40);
      const errand = new Errand(client, { queue, id, photo, planned });
      return Promise.race([errand.run(signal), presence.lost]).catch(explainReply);
    },
    async close() {
      clearTimeout(lonely);
      presence.end();
      client.removeAllListeners('close');
      if (client.status === 'ready') await orEnd(queue.close(), { afterMs: GRACE_MS });
      await leave(client);
    },
  };
}

interface PresenceOptions {
  readonly host: string;
  readonly silenceMs: number;
  readonly patienceMs: number;
}

/** Asks a server again and again whether it is there; `lost` rejects when it has not answered for too long. */
function watchPresence(
  client: Redis,
  { host, silenceMs, patienceMs }: PresenceOptions,
): { readonly lost: Promise<never>; readonly end: () => void } {
  const over = new AbortController();
  const watch = async (): Promise<never> => {
    let heard = performance.now();
    for (;;) {
      // Ended with the maker: whoever still waits for a piece does not wait for this.
      await wait(silenceMs / 2, undefined, { signal: over.signal });
      const answer = await orEnd(client.ping(), { signal: over.signal, afterMs: silenceMs }).catch(() => undefined);
      if (answer !== undefined) heard = performance.now();
      else if (performance.now() - heard > patienceMs) {
        const seconds = Math.round(patienceMs / 1000);
        throw new AppError(
          'queue-unreachable',
          `found no answer of the queue at ${host} for ${seconds} s, needed its server; the same order, given again, goes on with what is left`,
          { host },
        );
      }
    }
  };
  const lost = new Promise<never>((_, reject) => {
    watch().catch((error) => {
      if (!over.signal.aborted) reject(error);
    });
  });
  lost.catch(() => undefined);
  return { lost, end: () => over.abort() };
}

/** An error that the server answers with is no bug of ours: somebody else's keys, or a right that is missing. */
function explainReply(error: unknown): never {
  const { name, message } = error as Error;
  if (name !== 'ReplyError') throw error;
  throw new AppError('queue-refused', `found the answer "${message}" of the queue's server, needed a queue of its own`);
}

interface ErrandFacts {
  readonly queue: Queue;
  readonly id: string;
  readonly photo: Buffer;
  readonly planned: PlannedTask;
}

/** One piece on its way through the queue. */
class Errand {
  readonly #client: Redis;
  readonly #facts: ErrandFacts;
  /** Results that could not be believed. */
  #damaged = 0;

  constructor(client: Redis, facts: ErrandFacts) {
    this.#client = client;
    this.#facts = facts;
  }

  /** As `#carry`, but a server that is out of reach holds nobody who wants to stop. */
  async run(signal: AbortSignal): Promise<FinishedPiece | 'not-begun'> {
    const carried = this.#carry(signal);
    const stopped = new Promise<void>((go) => {
      if (signal.aborted) go();
      else signal.addEventListener('abort', () => go(), { once: true });
    }).then(() => this.#waitUntilLost(carried));
    return Promise.race([carried, stopped]);
  }

  /** Pieces that a worker has begun are waited for as long as the server answers. */
  async #waitUntilLost(carried: Promise<unknown>): Promise<'not-begun'> {
    let over = false;
    carried.then(
      () => {
        over = true;
      },
      () => {
        over = true;
      },
    );
    while (!over) {
      await wait(GRACE_MS / 4);
      const answer = await orEnd(this.#client.ping(), { afterMs: GRACE_MS }).catch(() => undefined);
      if (answer === undefined) break;
    }
    return over ? ((await carried) as 'not-begun') : 'not-begun';
  }

  async #carry(signal: AbortSignal): Promise<FinishedPiece | 'not-begun'> {
    const { queue, id } = this.#facts;
    // An earlier run of this order may have been stopped between the result and its writing.
    let found = await this.#fetch();
    if (found) return found;
    await this.#send();
    for (let polls = 1, losses = 0; ; polls++) {
      await wait(POLL_MS);
      found = await this.#fetch();
      if (found) return found;
      if (!signal.aborted && polls % POLLS_PER_CHECK !== 0) continue;
      const job = await queue.getJob(id);
      const state = job ? await job.getState() : 'unknown';
      if (signal.aborted && (state === 'waiting' || state === 'unknown')) {
        // A worker may take it this very moment; then its result waits for the next run.
        await job?.remove().catch(() => undefined);
        return 'not-begun';
      }
      if (state !== 'failed' && state !== 'unknown') continue;
      // Between the two looks it may have ended well.
      found = await this.#fetch();
      if (found) return found;
      if (state === 'failed') losses++;
      if (losses + this.#damaged >= MAX_LOSSES) return this.#giveUp(job?.failedReason);
      await job?.remove().catch(() => undefined);
      await this.#send();
    }
  }

  async #send(): Promise<void> {
    const { queue, id, photo, planned } = this.#facts;
    await this.#client.set(photoKey(id), photo, 'EX', KEEP_S);
    await queue.add('piece', planned.task, {
      jobId: id,
      removeOnComplete: true,
      removeOnFail: { age: KEEP_S },
      attempts: 1,
    });
  }

  /** The result when it is there and whole; what is damaged is taken away, and then sent for again. */
  async #fetch(): Promise<FinishedPiece | undefined> {
    const { id, planned } = this.#facts;
    try {
      const bytes = await this.#client.getBuffer(resultKey(id));
      if (!bytes) return undefined;
      return { result: unpackResult(bytes, planned.task.name), settle: () => this.#forget() };
    } catch (error) {
      const isForeign = (error as Error).message.startsWith('WRONGTYPE');
      if (!isForeign && !(error instanceof AppError)) throw error;
      this.#damaged++;
      await this.#client.unlink(resultKey(id));
      return undefined;
    }
  }

  /** A server that went away meanwhile is not waited for: it does this when it is back, or lets go after a day. */
  async #forget(): Promise<void> {
    const { id } = this.#facts;
    await orEnd(this.#client.unlink(photoKey(id), resultKey(id)), { afterMs: GRACE_MS }).catch(() => undefined);
  }

  #giveUp(reason: string | undefined): FinishedPiece {
    const { label } = this.#facts.planned.task;
    const message = `${label}: found no worker that got through it, ${MAX_LOSSES} times (${reason ?? 'no reason given'})`;
    const fault: PieceFault = describeFault(new AppError('piece-abandoned', message));
    return { result: { made: false, fault }, settle: () => this.#forget() };
  }
}

export interface QueueWorkerOptions {
  readonly url: string;
  readonly build: string;
  /** Pieces at a time. */
  readonly workers: number;
  /** A piece goes to another worker when this one was silent for so long, s. */
  readonly leaseS: number;
  /** Ends the worker after the pieces it is making. */
  readonly signal: AbortSignal;
  readonly onReady: () => void;
  readonly onPiece: (piece: { readonly label: string; readonly made: boolean }) => void;
}

/**
 * Makes pieces that come through the queue until `signal`. Where the server is gone by then, the library may keep its
 * process: whoever calls this ends it.
 * @throws AppError option-invalid, queue-unreachable, queue-refused
 */
export async function runQueueWorker(options: QueueWorkerOptions): Promise<{ made: number; failed: number }> {
  const { url, build, workers, leaseS, signal, onReady, onPiece } = options;
  const client = await connect(url, signal);
  const { Worker: QueueWorker } = await import('bullmq');
  const copies = watchCopies(client);
  const threads = await openThreads({ workers });
  const count = { made: 0, failed: 0 };
  const worker = new QueueWorker<PieceTask, void>(
    queueName(build),
    async ({ id, data }) => {
      // Another worker, thought dead, may have come to its end all the same.
      if ((await client.exists(resultKey(id!))) > 0) return;
      const photo = await client.getBuffer(photoKey(id!));
      if (!photo) throw new Error('its photo is no longer on the server');
      const result = await threads.run({ task: data, photo: { bytes: new Uint8Array(photo) } });
      await client.set(resultKey(id!), packResult(result), 'EX', KEEP_S);
      count[result.made ? 'made' : 'failed']++;
      onPiece({ label: data.label, made: result.made });
    },
    {
      connection: client,
      prefix: PREFIX,
      concurrency: workers,
      lockDuration: 1000 * leaseS,
      stalledInterval: 500 * leaseS,
      maxStalledCount: MAX_LOSSES - 1,
    },
  );
  worker.on('error', () => undefined);
  try {
    await orEnd(worker.waitUntilReady(), { signal, afterMs: SILENCE_MS });
    if (!signal.aborted) onReady();
    if (!signal.aborted) await new Promise((resolve) => signal.addEventListener('abort', resolve, { once: true }));
    await closeWorker(worker, client);
  } finally {
    await threads.close();
    await leave(client);
    for (const copy of copies) copy.disconnect();
  }
  return count;
}

/**
 * The connections that the queue's client opens beside `client`, as it opens them. One that looks for a server that is
 * gone is not always ended by the worker's own end, and would keep the process.
 */
function watchCopies(client: Redis): readonly Redis[] {
  const copies: Redis[] = [];
  const duplicate = client.duplicate.bind(client);
  client.duplicate = (override) => {
    const copy = duplicate(override);
    copies.push(copy);
    return copy;
  };
  return copies;
}

/**
 * The pieces at work are finished first, as long as the server is there to take them. One that is not may leave the
 * library waiting in the middle of a piece, which nothing ends but the process.
 */
async function closeWorker(worker: Worker<PieceTask, void>, client: Redis): Promise<void> {
  const closed = worker.close().then(() => true);
  for (;;) {
    if ((await orEnd(closed, { afterMs: GRACE_MS / 4 })) === true) return;
    if ((await orEnd(client.ping(), { afterMs: GRACE_MS }).catch(() => undefined)) === undefined) return;
  }
}
