import { join } from 'node:path';
import { Piscina } from 'piscina';
import { AppError } from '../errors.ts';
import { limitLoaders } from '../tasks/index.ts';
import { fromPlain } from './server-errors.ts';
import type * as Worker from './worker.ts';
import type { Answer, WorkerFacts } from './worker-facts.ts';

type Tasks = typeof Worker;
type TaskName = keyof Tasks;
type InputOf<N extends TaskName> = Parameters<Tasks[N]>[0];
type ValueOf<N extends TaskName> = Awaited<ReturnType<Tasks[N]>> extends Answer<infer T> ? T : never;

/**
 * Which thread does what: drafts and loupes must never wait behind a proof, nor a proof behind the files of a job, nor
 * any of them behind a file that somebody sent. Each lane is one thread, started at its first task; photos have two, so
 * that one that decodes slowly keeps no other waiting.
 */
export type Lane = 'draft' | 'proof' | 'files' | 'photos';

/**
 * Longest that a task may take. Assumed: a screen that searches its dots takes minutes of a proof, which a newer wish
 * ends at once.
 */
const LIMITS_MS: Readonly<Record<Lane, number>> = {
  draft: 20_000,
  proof: 300_000,
  files: 300_000,
  photos: 90_000,
};

export interface Work {
  /** @throws AppError those of the task; work-stopped when it takes too long */
  readonly run: <N extends TaskName>(lane: Lane, task: N, input: InputOf<N>) => Promise<ValueOf<N>>;
  readonly close: () => Promise<void>;
}

/** @param folder where the built worker lies. */
export function openWork(folder: string, facts: WorkerFacts): Work {
  const lanes = new Map<Lane, Piscina>();
  const open = (lane: Lane): Piscina => {
    const known = lanes.get(lane);
    if (known) return known;
    limitLoaders();
    const pool = new Piscina({
      filename: join(folder, 'web-worker.cjs'),
      workerData: facts,
      minThreads: lane === 'files' ? 0 : 1,
      maxThreads: lane === 'photos' ? 2 : 1,
      idleTimeout: 30_000,
      concurrentTasksPerWorker: 1,
      maxQueue: 200,
    });
    // A task that fails is told to who asked for it; a thread that fails is replaced.
    pool.on('error', () => undefined);
    lanes.set(lane, pool);
    return pool;
  };
  return {
    async run(lane, task, input) {
      const limit = new AbortController();
      const timer = setTimeout(() => limit.abort(), LIMITS_MS[lane]);
      try {
        const answer = (await open(lane).run(input, { name: task, signal: limit.signal })) as Answer<never>;
        if ('error' in answer) throw fromPlain(answer.error);
        return answer.value;
      } catch (error) {
        if (!limit.signal.aborted) throw error;
        throw new AppError('work-stopped', `found no result after ${LIMITS_MS[lane] / 1000} s, so the work was ended`);
      } finally {
        clearTimeout(timer);
      }
    },
    async close() {
      await Promise.all([...lanes.values()].map((pool) => pool.destroy()));
    },
  };
}
