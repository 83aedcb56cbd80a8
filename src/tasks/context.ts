import type { RefusedMaterial, Shop } from '../material/index.ts';

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
