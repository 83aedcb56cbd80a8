import type { Hono } from 'hono';
import { streamSSE } from 'hono/streaming';
import { AppError } from '../errors.ts';
import type { PageEvent } from './protocol.ts';
import type { EventHub } from './server-events.ts';

/**
 * Pages that listen at once, a count, and the pause between signs of life. Assumed: more than one shop's screens need;
 * proxies cut what is silent for 30 s.
 */
const MOST_LISTENERS = 32;
const HEARTBEAT_MS = 15_000;

/** The stream of events of every open page; gives back what ends them all. */
export function addEventRoute(app: Hono, events: EventHub): () => void {
  const streams = new Set<() => void>();
  app.get('/api/events', (c) => {
    if (events.count() >= MOST_LISTENERS) {
      throw new AppError('work-stopped', `found ${MOST_LISTENERS} open pages already, needed fewer`);
    }
    return streamSSE(c, async (stream) => {
      const waiting: PageEvent[] = [];
      let wake: () => void = () => {};
      let open = true;
      const stop = () => {
        open = false;
        wake();
      };
      const forget = events.listen((event) => {
        waiting.push(event);
        wake();
      });
      streams.add(stop);
      stream.onAbort(stop);
      try {
        await stream.writeSSE({ event: 'hello', data: events.revision() });
        while (open) {
          const event = waiting.shift();
          if (event) {
            await stream.writeSSE({ event: 'change', data: JSON.stringify(event) });
            continue;
          }
          let timer: NodeJS.Timeout | undefined;
          await new Promise<void>((resolve) => {
            wake = resolve;
            timer = setTimeout(resolve, HEARTBEAT_MS);
          });
          clearTimeout(timer);
          if (open && waiting.length === 0) await stream.writeSSE({ event: 'hello', data: events.revision() });
        }
      } finally {
        forget();
        streams.delete(stop);
      }
    });
  });
  return () => {
    for (const stop of streams) stop();
  };
}
