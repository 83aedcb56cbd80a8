import type { Io } from './command.ts';

/** Anything shorter than this shows no progress. Assumed: a second's wait asks for none. */
const QUIET_S = 1;
/** Seconds between two lines where the progress cannot be drawn in place. Assumed: a log stays readable. */
const LINE_EVERY_S = 1;

export interface Progress {
  readonly show: (stage: string, share?: number) => void;
  readonly clear: () => void;
}

/** Progress on stderr: drawn in place on a terminal, a line now and then elsewhere, nothing in the first second. */
export function createProgress(io: Io): Progress {
  const start = io.clock();
  let shown = false;
  let last = Number.NEGATIVE_INFINITY;
  return {
    show(stage, share) {
      const now = io.clock();
      if (now - start < QUIET_S) return;
      const text = share === undefined ? stage : `${stage} ${Math.round(share * 100)} %`;
      if (io.terminal) {
        io.stderr(`\r\u001b[K${text} …`);
        shown = true;
      } else if (now - last >= LINE_EVERY_S) {
        io.stderr(`${text} …\n`);
        last = now;
      }
    },
    clear() {
      if (shown) io.stderr('\r\u001b[K');
      shown = false;
    },
  };
}
