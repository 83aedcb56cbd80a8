import type { RefusedMaterial, Shop } from '../material/index.ts';
import { readRefused } from './shop.ts';

/** What a task is handed of the world: it knows neither a command line nor a request of the page. */
export interface TaskContext {
  readonly shop: Shop;
  /** Materials that are never put under a laser. */
  readonly refused: () => readonly RefusedMaterial[];
  readonly clock: {
    /** Today, as an ISO date. */
    readonly today: () => string;
  };
  /** Version of the program, for tickets. */
  readonly version: string;
  /** Says what is being done now; `share` 0 … 1 where it is known. */
  readonly progress: (stage: string, share?: number) => void;
  /** Says at once what the record will hold among its warnings, so that nobody waits for it in vain. */
  readonly warn: (text: string) => void;
}

/** The world of a face that shows what a record tells with the record, not before: nothing is said meanwhile. */
export function createContext(
  { shop, version }: Pick<TaskContext, 'shop' | 'version'>,
  given: Partial<Pick<TaskContext, 'clock' | 'progress' | 'warn'>> = {},
): TaskContext {
  return {
    shop,
    version,
    refused: () => readRefused(shop),
    clock: { today: () => new Date().toISOString().slice(0, 10) },
    progress: () => undefined,
    warn: () => undefined,
    ...given,
  };
}
