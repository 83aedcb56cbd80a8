import type { OrderTotals, PhotoSettings, PlateView } from '../protocol.ts';
import type { KeptPiece } from './lines.ts';

/** What the folder of an order keeps beside photos and results. */
export interface StoredOrder {
  readonly id: string;
  title: string;
  wish: PhotoSettings;
  pieces: readonly KeptPiece[];
  changed: string;
  running: boolean;
  onlyAgreed: boolean;
  ready: string | null;
  problem: string | null;
  totals: OrderTotals | null;
  /** What the sums, and the plates, are of: `sumsKey` when their making began. */
  sumsOf: string | null;
  platesOf: string | null;
  plates: readonly PlateView[];
  plateNotes: readonly string[];
  plateFiles: readonly string[];
}
