import type { PageEvent } from './protocol.ts';

/** Hands every event to every open page. */
export interface EventHub {
  readonly send: (event: PageEvent) => void;
  /** Gives back how to stop listening. */
  readonly listen: (listener: (event: PageEvent) => void) => () => void;
  readonly count: () => number;
}

export function createEventHub(): EventHub {
  const listeners = new Set<(event: PageEvent) => void>();
  return {
    send: (event) => {
      for (const listener of listeners) listener(event);
    },
    listen: (listener) => {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
    count: () => listeners.size,
  };
}
