import { workerData } from 'node:worker_threads';
import { AppError } from '../errors.ts';
import { createContext, openShopFolder, type TaskContext } from '../tasks/index.ts';
import { type PlainError, toPlain } from './server-errors.ts';

/** What every task of a worker knows of the world. */
export interface WorkerFacts {
  readonly shopDir: string;
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

/** The world as a task is handed it. What its record tells of is shown with the record, not before. */
export function openContext(date?: string): TaskContext {
  const shop = openShopFolder(facts);
  const { version } = facts;
  return createContext({ shop, version }, date === undefined ? {} : { clock: { today: () => date } });
}

/**
 * Longest that a photo from outside may take to decode, seconds. Assumed: many times what an honest one takes; the
 * lane's own limit ends what does not heed it.
 */
export const UPLOAD_SECONDS = 60;
