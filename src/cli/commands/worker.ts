import { serveQueue } from '../../tasks/index.ts';
import type { Run } from '../command.ts';
import { onInterrupt } from '../interrupt.ts';
import { numberOf, textOf } from '../options.ts';

export const run: Run = async (_, options, { io }) => {
  const workers = numberOf(options, 'workers', { min: 1, max: 64, whole: true });
  const leaseS = numberOf(options, 'lease', { min: 1, max: 600, unit: 's' });
  const interrupt = onInterrupt(() =>
    io.stderr('\nstopping: the pieces at work are finished first; Ctrl-C again stops at once\n'),
  );
  try {
    const count = await serveQueue({
      url: textOf(options, 'queue')!,
      ...(workers === undefined ? {} : { workers }),
      ...(leaseS === undefined ? {} : { leaseS }),
      signal: interrupt.signal,
      onReady: () => io.stderr('listening; Ctrl-C ends it\n'),
      onPiece: ({ label, made }) => io.stderr(`${made ? 'made' : 'not made'} ${label}\n`),
    });
    // A client of a queue whose server is gone goes on looking for it, and cannot be ended in the middle of a piece.
    io.endSoon?.();
    return { json: count, text: `made ${count.made} pieces, ${count.failed} could not be made` };
  } finally {
    interrupt.dispose();
  }
};
