/** What is typed into the control software for one burn. */
export interface BurnSettings {
  /** Mean power at the work, W. */
  readonly powerW: number;
  /** Speed of the spot along a scan line, mm/s. */
  readonly speedMmPerS: number;
  /** Pulse repetition rate, kHz; absent for a continuous beam. */
  readonly rateKHz?: number;
  /** Pulse duration, ns; absent for a continuous beam or where it cannot be set. */
  readonly pulseNs?: number;
  /** How often the whole bitmap is burned over itself: a whole number of at least 1. */
  readonly passes: number;
  /** Scan lines in one direction only, or there and back. */
  readonly scan: 'one-way' | 'two-way';
}
