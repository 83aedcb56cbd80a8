import type { PageEvent } from '../protocol.ts';

/** Names the lock and the channel that the windows of one shop share. */
const NAME = 'tonewright-events';

/** What the one window that listens tells the others. */
type Line =
  /** The server is there. `from`: the stream has just begun, at that revision; what was before may have been missed. */
  | { readonly type: 'hello'; readonly from?: string }
  | { readonly type: 'lost' }
  | { readonly type: 'change'; readonly event: PageEvent };

export interface EventListeners {
  readonly onHello: (from: string | undefined) => void;
  readonly onLost: () => void;
  readonly onChange: (event: PageEvent) => void;
}

/**
 * Follows the server's events through one stream for all windows: a browser gives a host six connections, and a stream
 * holds one for ever. The window that has the lock listens and tells the others; when it is closed, the next one takes
 * over.
 * @returns how to stop
 */
export function followEvents({ onHello, onLost, onChange }: EventListeners): () => void {
  const channel = new BroadcastChannel(NAME);
  const end = new AbortController();
  const hear = (line: Line) => {
    if (line.type === 'hello') onHello(line.from);
    else if (line.type === 'lost') onLost();
    else onChange(line.event);
  };
  const tell = (line: Line) => {
    channel.postMessage(line);
    hear(line);
  };
  channel.onmessage = ({ data }) => hear(data as Line);
  const lead = () =>
    new Promise<void>((done) => {
      const stream = new EventSource('/api/events');
      let anew = true;
      stream.addEventListener('hello', ({ data }) => {
        tell({ type: 'hello', ...(anew ? { from: data as string } : {}) });
        anew = false;
      });
      stream.addEventListener('change', ({ data }) => tell({ type: 'change', event: JSON.parse(data) as PageEvent }));
      stream.onerror = () => {
        anew = true;
        tell({ type: 'lost' });
        // A refusal ends a stream for good; a server that starts again brings its own news.
        if (stream.readyState === EventSource.CLOSED) setTimeout(() => finish(), RETRY_MS);
      };
      const finish = () => {
        stream.close();
        done();
      };
      end.signal.addEventListener('abort', finish);
    });
  void (async () => {
    while (!end.signal.aborted) {
      // Stopped while it waits for its turn: nothing is left to do.
      await navigator.locks.request(NAME, { signal: end.signal }, lead).catch(() => undefined);
    }
  })();
  return () => {
    end.abort();
    channel.close();
  };
}

/** Pause after a refused stream. Assumed: as long as browsers wait after one that broke. */
const RETRY_MS = 3000;
