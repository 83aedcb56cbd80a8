import { identifyBuild, runQueueWorker, THREAD_DEFAULTS } from '../../batch/index.ts';
import type { Run } from '../command.ts';
import { onInterrupt } from '../interrupt.ts';
import { numberOf, textOf } from '../options.ts';

/**
 * Silence after which a piece is given to another worker. Assumed: renewed every few seconds, it outlasts a busy
 * computer.
 */
const LEASE_S = 15;

export const run: Run = async (_, options, { io }) => {
  const workers = numberOf(options, 'workers', { min: 1, max: 64, whole: true }) ?? THREAD_DEFAULTS.workers();
  const leaseS = numberOf(options, 'lease', { min: 1, max: 600, unit: 's' }) ?? LEASE_S;
  const interrupt = onInterrupt(() =>
    io.stderr('\nstopping: the pieces at work are finished first; Ctrl-C again stops at once\n'),
  );
  try {
    const count = await runQueueWorker({
      url: textOf(options, 'queue')!,
      build: identifyBuild(),
      workers,
      leaseS,
      signal: interrupt.signal,
      onReady: () => io.stderr('listening; Ctrl-C ends it\n'),
      onPiece: ({ label, made }) => io.stderr(`${made ? 'made' : 'not made'} ${label}\n`),
    });
    return { json: count, text: `made ${count.made} pieces, ${count.failed} could not be made` };
  } finally {
    interrupt.dispose();
  }
};
