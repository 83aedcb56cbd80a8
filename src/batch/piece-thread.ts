/** What runs on each thread of the pool; built into a file of its own. */
export { makePiece } from './make-piece.ts';
