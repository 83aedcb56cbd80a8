/**
 * The one rule for the distance between scan lines. Every place that recommends a spacing asks here: before a material
 * is measured with the dose ripple of the spot as unevenness, after it with what the measured solid shows.
 */

/** Nobody's published numbers: assumed, and printed with the report. */
export const SPACING_RULE = {
  /**
   * Largest unevenness of a solid, (max − min)/(max + min): with 0.4 the valley between two lines gets 3/7 of the peak.
   */
  unevennessLimit: 0.4,
  /** What a solid that ripples by ±1 % less is worth, seconds of marking per cm². */
  secondsPerPercent: 0.06,
} as const;

export interface SpacingOptions {
  /** Speed along a scan line, mm/s, and how often each line is burned. */
  readonly speedMmPerS: number;
  readonly passes: number;
  /** Unevenness of a solid at a line spacing, 0 … 1; rises with it. */
  readonly unevennessAt: (lineSpacingMm: number) => number;
  /** Between these, mm; whole micrometres are tried. */
  readonly narrowestMm?: number;
  readonly widestMm: number;
  readonly unevennessLimit?: number;
}

/** Time to mark a square centimetre of solid, s: 100 mm² over v·s, all passes; turns and jumps not counted. */
function computeMarkingSecondsPerCm2({
  speedMmPerS,
  passes,
  lineSpacingMm,
}: Pick<SpacingOptions, 'speedMmPerS' | 'passes'> & { readonly lineSpacingMm: number }): number {
  return (100 * passes) / (speedMmPerS * lineSpacingMm);
}

/**
 * The line spacing, mm, that costs least when burn time and unevenness are put into one sum: the widest even one, and
 * narrower than that only as far as the evenness won is worth the time. Whole micrometres, which is what control
 * software takes; for spots of a few micrometres hundredths of the widest. Undefined when none within the bounds is
 * even enough.
 */
export function chooseLineSpacingMm(options: SpacingOptions): number | undefined {
  const { unevennessAt, narrowestMm = 0, widestMm, unevennessLimit = SPACING_RULE.unevennessLimit } = options;
  const parts = widestMm >= 0.01 ? 1000 : 100 / widestMm;
  const first = Math.max(1, Math.ceil(narrowestMm * parts - 1e-9));
  const last = Math.floor(widestMm * parts + 1e-9);
  let best: number | undefined;
  let least = Number.POSITIVE_INFINITY;
  for (let i = first; i <= last; i++) {
    const lineSpacingMm = i / parts;
    const unevenness = unevennessAt(lineSpacingMm);
    if (unevenness > unevennessLimit * (1 + 1e-9)) continue;
    const cost =
      computeMarkingSecondsPerCm2({ ...options, lineSpacingMm }) + SPACING_RULE.secondsPerPercent * 100 * unevenness;
    if (cost < least) {
      least = cost;
      best = lineSpacingMm;
    }
  }
  return best;
}
