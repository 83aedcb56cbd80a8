import { randomBytes } from 'node:crypto';
import type { PageEvent } from './protocol.ts';

/** Hands every event to every open page. */
export interface EventHub {
  readonly send: (event: PageEvent) => void;
  /** Gives back how to stop listening. */
  readonly listen: (listener: (event: PageEvent) => void) => () => void;
  readonly count: () => number;
  /** Another one after each event, and of each server: what was listed at the same one has missed nothing. */
  readonly revision: () => string;
}

export function createEventHub(): EventHub {
  const listeners = new Set<(event: PageEvent) => void>();
  const name = randomBytes(6).toString('hex');
  let sent = 0;
  return {
    send: (event) => {
      sent++;
      for (const listener of listeners) listener(event);
    },
    listen: (listener) => {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
    count: () => listeners.size,
    revision: () => `${name}-${sent}`,
  };
}
