import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import type { Piscina } from 'piscina';
import { countPhotoPixels, limitLoaders } from '../plane/index.ts';
import { findBuilt, THREAD_FILE } from './build.ts';
import { describeFault, type PhotoSource, type PieceResult, type PieceTask } from './make-piece.ts';

/** A task with the place of its photo. */
export interface PlannedTask {
  readonly task: PieceTask;
  readonly photoPath: string;
  /** Hash of all that decides the bytes but the photo. */
  readonly work: string;
}

export interface FinishedPiece {
  readonly result: PieceResult;
  /** To be called when the result is safe: whoever keeps a copy may let go of it. */
  readonly settle: () => Promise<void>;
}

/** Where pieces are made: on threads of this process, or by workers behind a queue. */
export interface Maker {
  /** So many pieces at a time at most … */
  readonly parallel: number;
  /** … and together no heavier than this; a piece that is heavier alone goes alone. */
  readonly capacity: number;
  /** How heavy a piece is, in the unit of `capacity`. */
  readonly weigh: (planned: PlannedTask) => Promise<number>;
  /** Never throws for what is wrong with a photo. With `signal` it gives up what has not begun. */
  readonly make: (planned: PlannedTask, signal: AbortSignal) => Promise<FinishedPiece | 'not-begun'>;
  readonly close: () => Promise<void>;
}

export interface ThreadOptions {
  /** Threads; each makes one piece at a time. */
  readonly workers: number;
  /** Megapixels of photos and dots in flight. */
  readonly megapixels: number;
}

/**
 * A piece is as heavy as its photo plus so many pixels for each of its dots. Assumed: a decoded photo is 3 to 4 bytes a
 * pixel, the planes beside each other at the dots 8 or so; benchmarks/order.ts holds the sum to its limit.
 */
const DOT_WEIGHT = 2;

export const THREAD_DEFAULTS = {
  /** As many as there are cores, up to where memory and disk become the limit. */
  workers: () => Math.max(1, Math.min(8, availableParallelism())),
  /**
   * Megapixels, weighed as above, beside each other. Assumed: about half a gigabyte, which every shop's computer has.
   */
  megapixels: 160,
} as const;

/** A pool of threads that make pieces; the bundle of `piece-thread.ts` is their code. */
export async function openThreads({ workers }: Pick<ThreadOptions, 'workers'>): Promise<{
  readonly run: (task: { readonly task: PieceTask; readonly photo: PhotoSource }) => Promise<PieceResult>;
  readonly close: () => Promise<void>;
}> {
  const { Piscina: Pool } = (await import('piscina')) as unknown as { Piscina: typeof Piscina };
  limitLoaders();
  const pool = new Pool({
    filename: join(findBuilt(), THREAD_FILE),
    name: 'makePiece',
    minThreads: 1,
    maxThreads: workers,
    idleTimeout: 30_000,
    // Waiting on a lock word would stop the turns of the event loop in which the image library gives its memory back.
    atomics: 'disabled',
  });
  return {
    run: (task) => pool.run(task).catch((error) => ({ made: false, fault: describeFault(error) }) as const),
    close: () => pool.destroy(),
  };
}

/** Pieces made on threads of this process. */
export async function createThreadMaker({ workers, megapixels }: ThreadOptions): Promise<Maker> {
  const threads = await openThreads({ workers });
  const done = async () => undefined;
  return {
    parallel: workers,
    capacity: megapixels * 1e6,
    weigh: ({ task, photoPath }) => weighPiece(task, photoPath),
    make: async ({ task, photoPath }) => ({
      result: await threads.run({ task, photo: { path: photoPath } }),
      settle: done,
    }),
    close: threads.close,
  };
}

async function weighPiece({ spec }: PieceTask, photoPath: string): Promise<number> {
  const { size, grid } = spec;
  const dots = (size.widthMm / grid.pitchMm) * (size.heightMm / grid.lineSpacingMm);
  return ((await countPhotoPixels(photoPath)) ?? 0) + DOT_WEIGHT * dots;
}
