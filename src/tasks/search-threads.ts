import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { findPackageRoot } from '../plane/index.ts';
import type { BandResult, SearchBands } from '../screens/index.ts';

/** Most threads, a count. Assumed: more find too few bands in a phase of a card. */
const MOST_THREADS = 8;

export interface SearchThreads {
  readonly searchBands: SearchBands;
  readonly close: () => Promise<void>;
}

/**
 * A searcher of bands on threads of its own, which start at the first phase and stay for the next. Undefined for one
 * thread, and where the threads' file was not built: the search then runs in this thread, with the same dots.
 * @param threads as asked for; as many as there are processors when absent.
 */
export function openSearchThreads(threads: number = availableParallelism()): SearchThreads | undefined {
  const file = join(findPackageRoot() ?? '.', 'dist', 'search-thread.cjs');
  const count = Math.min(MOST_THREADS, threads);
  if (count < 2 || !existsSync(file)) return undefined;
  let workers: Worker[] = [];
  return {
    async searchBands(plan, bands, done) {
      if (workers.length === 0) {
        workers = Array.from({ length: count }, () => new Worker(file));
        for (const worker of workers) worker.postMessage({ plan });
      }
      const results: BandResult[] = new Array(bands.length);
      let next = 0;
      await Promise.all(
        workers.map(
          (worker) =>
            new Promise<void>((resolve, reject) => {
              const finish = (error?: Error) => {
                worker.off('message', take).off('error', finish).off('exit', leave);
                if (error) reject(error);
                else resolve();
              };
              const leave = (code: number) => finish(new Error(`a thread of the search ended with ${code}`));
              const give = () => {
                if (next < bands.length) worker.postMessage({ band: bands[next], at: next++ });
                else finish();
              };
              const take = ({ at, result }: { at: number; result: BandResult }) => {
                results[at] = result;
                done();
                give();
              };
              worker.on('message', take).on('error', finish).on('exit', leave);
              give();
            }),
        ),
      );
      return results;
    },
    async close() {
      await Promise.all(workers.map((worker) => worker.terminate()));
      workers = [];
    },
  };
}
