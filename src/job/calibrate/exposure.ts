import type { NeutralReference, Readings } from '../../chart/index.ts';
import type { ExposureBand } from '../../material/index.ts';
import { median } from '../../numeric/index.ts';

/**
 * What tells how light the whole of a capture is: a neutral field beside the chart, or that it is a scan with the
 * scanner's automatics off.
 */
export type CaptureReference = NeutralReference | 'scanner';

/**
 * Factor on the light: how light the whole is by a capture alone. Assumed: a camera that meters what fills the frame is
 * off by the frame's own lightness, a stop either way (common practice, no source).
 */
const UNREFERENCED: ExposureBand = { basis: 'none', factor: 2 };
/**
 * Factor on the light. Assumed: a flatbed looks at its own white strip before each scan; with its automatics off it
 * keeps to that.
 */
const BY_SCANNER: ExposureBand = { basis: 'scanner', factor: 1.1 };

/** Captures with a reference share its tolerance, which no number of them makes smaller: the middle one counts. */
export function knowExposure(
  read: readonly Pick<Readings, 'reference'>[],
  reference: CaptureReference | undefined,
): ExposureBand {
  const found = read.flatMap((readings) => readings.reference ?? []);
  if (found.length < read.length) return reference === 'scanner' ? BY_SCANNER : UNREFERENCED;
  const { lightness, tolerance } = found[0]!;
  const factor = Math.round(1e4 * median(found.map((one) => one.factor))) / 1e4;
  return { basis: 'reference', factor, lightness, tolerance };
}
