import { applyMask, createPlane, type Plane } from '../plane/index.ts';
import type { Frame } from './frame.ts';

/**
 * Sub-rows per dot row where the outline runs through it; across, areas are exact. A count. Assumed: a row's area is
 * then right to 1/64 dot at worst, finer than a dot can show.
 */
const SUBROWS = 64;

/**
 * The part of the piece that may be marked: its rounded rectangle, drawn in by the safe margin (corners stay
 * concentric). 255 inside, 0 outside, on the outline the share of the dot that lies inside. `undefined` when nothing is
 * masked.
 */
export function pieceMask(frame: Frame): Plane<'mask'> | undefined {
  const { width, height, grid, widthMm, heightMm, safeMarginMm: margin } = frame;
  if (frame.cornerRadiusMm === 0 && margin === 0) return undefined;
  const radiusMm = Math.max(0, frame.cornerRadiusMm - margin);
  const mask = createPlane('mask', width, height);
  const area = new Float64Array(width + 1);
  for (let y = 0; y < height; y++) {
    const topMm = y * grid.lineSpacingMm;
    const bottomMm = topMm + grid.lineSpacingMm;
    const curved = topMm < margin + radiusMm || bottomMm > heightMm - margin - radiusMm;
    const subrows = curved ? SUBROWS : 1;
    area.fill(0);
    for (let k = 0; k < subrows; k++) {
      const atMm = topMm + ((k + 0.5) / subrows) * grid.lineSpacingMm;
      const fromEdgeMm = Math.min(atMm, heightMm - atMm) - margin;
      if (fromEdgeMm <= 0) continue;
      const rise = Math.max(0, radiusMm - fromEdgeMm);
      const insetMm = margin + radiusMm - Math.sqrt(radiusMm * radiusMm - rise * rise);
      addSpan(area, insetMm / grid.pitchMm, (widthMm - insetMm) / grid.pitchMm);
    }
    // `area` holds the differences along the row; their running sum is the share inside, times the sub-rows.
    let share = 0;
    for (let x = 0; x < width; x++) {
      share += area[x];
      mask.data[y * width + x] = Math.min(255, Math.round((255 * share) / subrows));
    }
  }
  return mask;
}

/** Adds one sub-row that is inside from `left` to `right` (dots, not rounded) to the differences of a row. */
function addSpan(area: Float64Array, left: number, right: number): void {
  const last = area.length - 1;
  if (right <= left) return;
  step(area, Math.max(0, left), 1);
  step(area, Math.min(last, right), -1);
}

/** A step of the running sum at `at`: the dot that holds it gets its part, the next one the rest. */
function step(area: Float64Array, at: number, sign: 1 | -1): void {
  const dot = Math.floor(at);
  if (dot >= area.length) return;
  const part = dot + 1 - at;
  area[dot] += sign * part;
  if (dot + 1 < area.length) area[dot + 1] += sign * (1 - part);
}

/** Both masks at once: the product. The picture's own transparency multiplies into the outline of the piece. */
export function multiplyMasks(first: Plane<'mask'>, second: Plane<'mask'>): Plane<'mask'> {
  requireSameSize(first, second);
  const product = createPlane('mask', first.width, first.height);
  for (let i = 0; i < product.data.length; i++) {
    product.data[i] = Math.round((first.data[i] * second.data[i]) / 255);
  }
  return product;
}

/** Coverage times mask: where the mask is 0 the work stays bare, whatever the tone asked for. */
export function maskCoverage(coverage: Plane<'coverage'>, mask: Plane<'mask'>): Plane<'coverage'> {
  requireSameSize(coverage, mask);
  const masked = createPlane('coverage', coverage.width, coverage.height, coverage.data.slice());
  applyMask(masked, mask);
  return masked;
}

/**
 * Puts what was made at the size of `frame.place` onto the whole piece; the rest is 0 (bare, nothing to mark; of light,
 * what a mask leaves out).
 * Returns the plane itself when it already fills the piece.
 */
export function placeOnPiece<S extends 'coverage' | 'luminance' | 'mask'>(plane: Plane<S>, frame: Frame): Plane<S> {
  const { place } = frame;
  if (plane.width !== place.width || plane.height !== place.height) {
    throw new RangeError(
      `the place is ${place.width} × ${place.height} dots, the plane ${plane.width} × ${plane.height}`,
    );
  }
  if (place.width === frame.width && place.height === frame.height) return plane;
  const piece = createPlane(plane.scale, frame.width, frame.height);
  for (let y = 0; y < place.height; y++) {
    const row = plane.data.subarray(y * place.width, (y + 1) * place.width);
    piece.data.set(row, (place.y + y) * frame.width + place.x);
  }
  return piece;
}

function requireSameSize(first: Plane<'mask' | 'coverage'>, second: Plane<'mask'>): void {
  if (first.width !== second.width || first.height !== second.height) {
    throw new RangeError(`sizes differ: ${first.width} × ${first.height} and mask ${second.width} × ${second.height}`);
  }
}
