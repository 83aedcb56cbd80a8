export { identifyBuild } from './build.ts';
export type { WantedPiece } from './claim.ts';
export { JOURNAL_FILE } from './journal.ts';
export { acquireLock, type Lock } from './lock.ts';
export { createThreadMaker, type Maker, THREAD_DEFAULTS } from './makers.ts';
export { type OrderProgress, type PieceOutcome, runOrder } from './order.ts';
export { checkQueueUrl, createQueueMaker, runQueueWorker } from './queue.ts';
