import { workerData } from 'node:worker_threads';
import { AppError } from '../errors.ts';
import { openShop, type RefusedMaterial, readRefusedIn, type Shop } from '../material/index.ts';
import { type PlainError, toPlain } from './server-errors.ts';

/** What every task of a worker knows of the world. */
export interface WorkerFacts {
  readonly shopDir: string;
  readonly builtIn: readonly string[];
  readonly version: string;
}

/** The pool hands its own data over beside ours. */
export const facts = ((workerData as [unknown, unknown] | undefined)?.[1] ?? workerData) as WorkerFacts;

/** Errors that a person can do something about travel as data, since a thread boundary strips them of their class. */
export type Answer<T> = { readonly value: T } | { readonly error: PlainError };

export function answering<I, T>(work: (input: I) => Promise<T> | T): (input: I) => Promise<Answer<T>> {
  return async (input) => {
    try {
      return { value: await work(input) };
    } catch (error) {
      if (error instanceof AppError) return { error: toPlain(error) };
      throw error;
    }
  };
}

export function openRecords(): { readonly shop: Shop; readonly refused: readonly RefusedMaterial[] } {
  return { shop: openShop(facts), refused: readRefusedIn([facts.builtIn.at(-1)!, facts.shopDir]) };
}

/** Longest that a photo from outside may take to decode, seconds; the lane's own limit ends what does not heed it. */
export const UPLOAD_SECONDS = 60;
