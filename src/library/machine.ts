import { type Motion, parseMachine as parseRecord } from '../machine/index.ts';
import type { BurnSettings } from '../optics/index.ts';

/** A laser with one lens: what of its record the stages need. */
export interface Machine {
  readonly name: string;
  readonly title: string;
  /** Shortest time for which the beam can be on, or off, µs; absent: it follows every dot. */
  readonly switchingUs?: number;
  /** Power levels per dot that it can modulate, 2 … 256. */
  readonly levels: number;
  /** Where to start when no profile says better. */
  readonly defaults: BurnSettings;
  readonly motion: Motion;
}

/**
 * A machine's record from parsed JSON, schema `tonewright-machine/1`.
 * @param where what messages call it
 * @throws AppError file-invalid naming the field, what was found and what was needed
 */
export function parseMachine(json: unknown, where: string): Machine {
  return parseRecord(json, where);
}
