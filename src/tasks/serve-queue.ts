import { identifyBuild, runQueueWorker, THREAD_DEFAULTS } from '../batch/index.ts';

/**
 * Silence after which a piece is given to another worker. Assumed: renewed every few seconds, it outlasts a busy
 * computer.
 */
const LEASE_S = 15;

export interface ServeQueueRequest {
  /** Address of the queue's server, redis:// or rediss://. */
  readonly url: string;
  /** Pieces at a time; one for each core, 8 at most, when absent. */
  readonly workers?: number;
  /** Silence of this worker after which a piece goes to another one, s. */
  readonly leaseS?: number;
  /** Ends it after the pieces that are being made. */
  readonly signal: AbortSignal;
  readonly onReady: () => void;
  readonly onPiece: (piece: { readonly label: string; readonly made: boolean }) => void;
}

/**
 * Makes pieces of orders that come through a queue, until it is told to end.
 * @throws AppError option-invalid for the address; queue-unreachable, queue-refused
 */
export async function serveQueue(
  request: ServeQueueRequest,
): Promise<{ readonly made: number; readonly failed: number }> {
  const { workers = THREAD_DEFAULTS.workers(), leaseS = LEASE_S, ...rest } = request;
  return runQueueWorker({ ...rest, build: identifyBuild(), workers, leaseS });
}
