import { type Lettering, layOver } from '../../caption/index.ts';
import { computeEyeBlurMm, type ViewingOptions } from '../../optics/index.ts';
import type { Frame } from '../../photo/index.ts';
import { createDots, createPlane, type Dots, ONE, type Plane } from '../../plane/index.ts';

/** Words and drawings of a piece, and the piece. */
export interface LetteredFrame {
  readonly frame: Frame;
  readonly lettering: Lettering;
}

/**
 * How far from a letter the eye takes it into a tone beside it, in its blur. Assumed: beyond thrice a Gaussian's
 * deviation is nothing.
 */
const BESIDE_BLURS = 3;

/** The dots with the words and drawings laid over them. */
export function letterDots(dots: Dots, { frame, lettering }: LetteredFrame): Dots {
  const out = createDots(dots.width, dots.height, dots.levels, dots.data.slice());
  layOver(lettering, frame, (at, fires) => {
    out.data[at] = fires ? dots.levels - 1 : 0;
  });
  return out;
}

/** The coverage with that of words and drawings: all or none. */
export function letterCoverage(coverage: Plane<'coverage'>, { frame, lettering }: LetteredFrame): Plane<'coverage'> {
  const out = createPlane('coverage', coverage.width, coverage.height, coverage.data.slice());
  layOver(lettering, frame, (at, fires) => {
    out.data[at] = fires ? ONE : 0;
  });
  return out;
}

/**
 * What of the piece shows the picture: not what lies under words and drawings, nor what the eye sees together with
 * them.
 */
export function maskLettering(
  mask: Plane<'mask'> | undefined,
  { frame, lettering, ...viewing }: LetteredFrame & ViewingOptions,
): Plane<'mask'> {
  const { width, height, grid } = frame;
  const data = mask ? mask.data.slice() : new Uint8Array(width * height).fill(255);
  const besideMm = BESIDE_BLURS * computeEyeBlurMm(viewing);
  const aside = Math.round(besideMm / grid.pitchMm);
  const ahead = Math.round(besideMm / grid.lineSpacingMm);
  const covered = new Uint8Array(width * height);
  layOver(lettering, frame, (at) => {
    covered[at] = 1;
  });
  for (const patch of lettering.patches) {
    const left = Math.max(0, patch.x - aside);
    const top = Math.max(0, patch.y - ahead);
    const across = Math.min(width, patch.x + patch.width + aside) - left;
    const down = Math.min(height, patch.y + patch.height + ahead) - top;
    if (across <= 0 || down <= 0) continue;
    // Along the rows first, then along the columns: as far as a dot of a letter reaches.
    const wide = new Uint8Array(across * down);
    for (let y = 0; y < down; y++) {
      reachAround(covered, { from: (top + y) * width + left, step: 1, count: across, reach: aside }, (x) => {
        wide[y * across + x] = 1;
      });
    }
    for (let x = 0; x < across; x++) {
      reachAround(wide, { from: x, step: across, count: down, reach: ahead }, (y) => {
        data[(top + y) * width + left + x] = 0;
      });
    }
  }
  return createPlane('mask', width, height, data);
}

interface Line {
  readonly from: number;
  readonly step: number;
  readonly count: number;
  readonly reach: number;
}

/** Every place of a line that lies at most so far from one that is set. */
function reachAround(data: Uint8Array, { from, step, count, reach }: Line, mark: (at: number) => void): void {
  let marked = 0;
  for (let i = 0; i < count; i++) {
    if (!data[from + i * step]) continue;
    const last = Math.min(count, i + reach + 1);
    for (let at = Math.max(marked, i - reach); at < last; at++) mark(at);
    marked = Math.max(marked, last);
  }
}

/** Lays words and drawings over a plane of fewer values than dots, in place: the mean of what its dots show. */
export function letterCoarse(
  plane: Plane<'reflectance'>,
  { frame, lettering }: LetteredFrame,
  reflectance: { readonly fires: number; readonly rests: number },
): void {
  const { width, height, data } = plane;
  // Where words lie over a band or a drawing, the last counts.
  const last = new Uint8Array(frame.width * frame.height);
  layOver(lettering, frame, (at, fires) => {
    last[at] = fires ? 1 : 2;
  });
  const sums = new Float32Array(width * height);
  const counts = new Uint32Array(width * height);
  for (let row = 0; row < frame.height; row++) {
    const y = Math.min(height - 1, Math.floor(((row + 0.5) * height) / frame.height));
    for (let column = 0; column < frame.width; column++) {
      const value = last[row * frame.width + column]!;
      if (value === 0) continue;
      const cell = y * width + Math.min(width - 1, Math.floor(((column + 0.5) * width) / frame.width));
      sums[cell]! += value === 1 ? reflectance.fires : reflectance.rests;
      counts[cell]! += 1;
    }
  }
  const dotsOfCell = (frame.width * frame.height) / (width * height);
  for (let cell = 0; cell < data.length; cell++) {
    const count = counts[cell]!;
    if (count === 0) continue;
    const share = Math.min(1, count / dotsOfCell);
    data[cell] = data[cell]! * (1 - share) + (share * sums[cell]!) / count;
  }
}
