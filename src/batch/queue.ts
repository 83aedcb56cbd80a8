import { stat } from 'node:fs/promises';
import { hostname } from 'node:os';
import { setTimeout as wait } from 'node:timers/promises';
import type { Queue } from 'bullmq';
import type { Redis } from 'ioredis';
import { AppError } from '../errors.ts';
import type { PieceFault } from '../job/index.ts';
import { sha256 } from '../plane/index.ts';
import { describeFault, type PieceTask } from './make-piece.ts';
import { type Made, type Maker, openThreads, type PlannedTask } from './makers.ts';
import { packResult, unpackResult } from './parcel.ts';
import { readPhotoBytes } from './read-photo.ts';

/*
 * How an order runs on several computers. The order's own process stays the one that reads the photos, writes the results
 * and keeps the journal; through the queue go a task with the bytes of its photo, and the bytes of the result back. So the
 * workers need neither the photos' disk nor the shop folder, and everything that holds for a local run holds here. The
 * server may forget anything at any time: what is missing is sent again.
 */

const PREFIX = 'tonewright';
/** Photos and results that nobody fetches are let go of after a day. */
const KEEP_S = 86_400;
const POLL_MS = 100;
/** Every so many looks for the result the job itself is looked at. */
const POLLS_PER_CHECK = 10;
/** A piece that is lost so often is given up: it may be what ends its workers. */
const MAX_LOSSES = 3;
/** Photos in flight: on the server, and beside each other in this process. */
const CAPACITY_BYTES = 256 * 2 ** 20;
const PARALLEL = 64;
/** So long without any worker before it is said. */
const LONELY_MS = 5000;

/** Only workers of the same build see the pieces: others would make other bytes. */
const queueName = (build: string) => `pieces-${build}`;
const photoKey = (id: string) => `${PREFIX}:photo:${id}`;
const resultKey = (id: string) => `${PREFIX}:result:${id}`;

/** @throws AppError option-invalid */
export function checkQueueUrl(url: string): void {
  if (/^rediss?:\/\/./.test(url) && URL.canParse(url)) return;
  throw new AppError('option-invalid', `--queue: found "${url}", needed a URL such as redis://127.0.0.1:6379`);
}

/** @throws AppError option-invalid, queue-unreachable */
async function connect(url: string): Promise<Redis> {
  checkQueueUrl(url);
  const { Redis: Client } = await import('ioredis');
  const client = new Client(url, {
    lazyConnect: true,
    // Commands wait for the server to come back, however long that takes.
    maxRetriesPerRequest: null,
    retryStrategy: (times: number) => Math.min(2000, 100 * times),
  });
  // Without a listener an error ends the process; the client tries again by itself.
  client.on('error', () => undefined);
  try {
    await client.connect();
  } catch (error) {
    client.disconnect();
    const { host } = new URL(url);
    throw new AppError(
      'queue-unreachable',
      `found no queue at ${host} (${(error as Error).message}), needed a server`,
      {
        host,
      },
    );
  }
  return client;
}

export interface QueueMakerOptions {
  readonly url: string;
  /** The order's output folder: one order, run again, finds what was made for it meanwhile. */
  readonly out: string;
  readonly build: string;
  readonly warn: (text: string) => void;
}

/**
 * Pieces made by workers behind a queue.
 * @throws AppError option-invalid, queue-unreachable
 */
export async function createQueueMaker({ url, out, build, warn }: QueueMakerOptions): Promise<Maker> {
  const client = await connect(url);
  client.on('close', () => warn('the queue is out of reach; the order goes on when it is back'));
  const { Queue: JobQueue } = await import('bullmq');
  const queue = new JobQueue(queueName(build), { connection: client, prefix: PREFIX });
  queue.on('error', () => undefined);
  const lonely = setTimeout(async () => {
    if ((await queue.getWorkersCount()) > 0) return;
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
      return new Errand(client, { queue, id, photo, planned }).run(signal);
    },
    async close() {
      clearTimeout(lonely);
      client.removeAllListeners('close');
      await queue.close();
      await client.quit().catch(() => client.disconnect());
    },
  };
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

  constructor(client: Redis, facts: ErrandFacts) {
    this.#client = client;
    this.#facts = facts;
  }

  async run(signal: AbortSignal): Promise<Made | 'not-begun'> {
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
      if (losses >= MAX_LOSSES) return this.#giveUp(job?.failedReason);
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

  async #fetch(): Promise<Made | undefined> {
    const { id, planned } = this.#facts;
    const bytes = await this.#client.getBuffer(resultKey(id));
    if (!bytes) return undefined;
    return { result: unpackResult(bytes, planned.task.name), settle: () => this.#forget() };
  }

  async #forget(): Promise<void> {
    const { id } = this.#facts;
    await this.#client.unlink(photoKey(id), resultKey(id)).catch(() => undefined);
  }

  #giveUp(reason: string | undefined): Made {
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
 * Makes pieces that come through the queue until `signal`.
 * @throws AppError option-invalid, queue-unreachable
 */
export async function runQueueWorker(options: QueueWorkerOptions): Promise<{ made: number; failed: number }> {
  const { url, build, workers, leaseS, signal, onReady, onPiece } = options;
  const client = await connect(url);
  const { Worker } = await import('bullmq');
  const threads = await openThreads({ workers });
  const count = { made: 0, failed: 0 };
  const worker = new Worker<PieceTask, void>(
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
    await worker.waitUntilReady();
    onReady();
    if (!signal.aborted) await new Promise((resolve) => signal.addEventListener('abort', resolve, { once: true }));
    await worker.close();
  } finally {
    await threads.close();
    await client.quit().catch(() => client.disconnect());
  }
  return count;
}
