import { MAX_UPLOAD_BYTES } from './server-shop.ts';

/**
 * Most bytes and longest times, ms, of a file, a request and a list. Assumed: several times what the page sends on a
 * slow network.
 */
export const LIMITS = {
  upload: { maxBytes: MAX_UPLOAD_BYTES, idleMs: 20_000, totalMs: 180_000 },
  json: { maxBytes: 64_000, idleMs: 10_000, totalMs: 10_000 },
  list: { maxBytes: 2_000_000, idleMs: 10_000, totalMs: 20_000 },
} as const;

/** Takes in a file, unless too many are on their way. */
export type Receiving = <T>(work: () => Promise<T>) => Promise<T>;
