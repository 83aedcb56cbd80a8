import { createPlane, type Plane } from '../plane/index.ts';
import type { Frame } from './frame.ts';

/**
 * Outline of the picture on the piece: all of it, the largest circle or oval inside, or a rectangle under a half
 * circle.
 */
export type Outline = 'rectangle' | 'circle' | 'oval' | 'arch';
export const OUTLINES: readonly Outline[] = ['rectangle', 'circle', 'oval', 'arch'];

export interface OutlineOptions {
  readonly outline: Outline;
  /** Width over which the picture fades out towards its outline, mm; 0 for an edge as sharp as the dots. */
  readonly vignetteMm: number;
}

/** Half of the sides of the area that may be marked, and the radius of its corners, mm. */
interface Area {
  readonly halfWidth: number;
  readonly halfHeight: number;
  readonly cornerRadius: number;
}

/**
 * How much of each dot of the piece is the picture's, within its outline: 255 inside, 0 outside, between them the share
 * of the dot, or with a vignette a smooth fall (Hermite, 3s² − 2s³) over its width. `undefined` where nothing is cut.
 */
export function outlineMask(frame: Frame, { outline, vignetteMm }: OutlineOptions): Plane<'mask'> | undefined {
  if (outline === 'rectangle' && vignetteMm === 0) return undefined;
  const { width, height, grid, widthMm, heightMm, safeMarginMm, cornerRadiusMm } = frame;
  const mask = createPlane('mask', width, height);
  const dotMm = Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  const insideMm = INSIDE_MM[outline]({
    halfWidth: widthMm / 2 - safeMarginMm,
    halfHeight: heightMm / 2 - safeMarginMm,
    cornerRadius: Math.max(0, cornerRadiusMm - safeMarginMm),
  });
  for (let row = 0; row < height; row++) {
    const y = (row + 0.5) * grid.lineSpacingMm - heightMm / 2;
    for (let column = 0; column < width; column++) {
      const inside = insideMm((column + 0.5) * grid.pitchMm - widthMm / 2, y);
      const share = vignetteMm > 0 ? inside / vignetteMm : 0.5 + inside / dotMm;
      const s = Math.min(1, Math.max(0, share));
      mask.data[row * width + column] = Math.round(255 * (vignetteMm > 0 ? s * s * (3 - 2 * s) : s));
    }
  }
  return mask;
}

/**
 * Sides of the box about the middle in which a head shows whole, shares of the largest box inside the outline. Assumed:
 * heads are round themselves, so that corners may be cut.
 */
const HEAD_ROOM = { rectangle: [1, 1], circle: [0.8, 0.8], oval: [0.8, 0.8], arch: [1, 0.85] } as const;

/**
 * What an outline leaves in sight of a picture that fills a piece, for whatever is round: shares of its width and
 * height.
 */
export function seenWithin(
  { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number },
  outline: Outline,
): { readonly width: number; readonly height: number } {
  const [across, down] = HEAD_ROOM[outline];
  const least = Math.min(widthMm, heightMm);
  if (outline !== 'circle') return { width: across, height: down };
  return { width: (across * least) / widthMm, height: (down * least) / heightMm };
}

/** How far inside the outline a place lies, mm from the middle; negative outside. */
const INSIDE_MM: Readonly<Record<Outline, (area: Area) => (x: number, y: number) => number>> = {
  rectangle: ({ halfWidth, halfHeight, cornerRadius }) => {
    const [straightX, straightY] = [halfWidth - cornerRadius, halfHeight - cornerRadius];
    return (x, y) => {
      const [dx, dy] = [Math.abs(x) - straightX, Math.abs(y) - straightY];
      const corner = Math.sqrt(Math.max(0, dx) ** 2 + Math.max(0, dy) ** 2);
      return cornerRadius - corner - Math.min(0, Math.max(dx, dy));
    };
  },
  circle: ({ halfWidth, halfHeight }) => {
    const radius = Math.min(halfWidth, halfHeight);
    return (x, y) => radius - Math.sqrt(x * x + y * y);
  },
  // To first order: the value of the ellipse's equation over the length of its slope.
  oval: ({ halfWidth: a, halfHeight: b }) => {
    const least = Math.min(a, b);
    return (x, y) => {
      const value = Math.sqrt((x / a) ** 2 + (y / b) ** 2);
      return value === 0 ? least : (value * (1 - value)) / Math.sqrt((x / a ** 2) ** 2 + (y / b ** 2) ** 2);
    };
  },
  arch: ({ halfWidth, halfHeight }) => {
    const radius = Math.min(halfWidth, 2 * halfHeight);
    const springing = radius - halfHeight;
    return (x, y) => {
      const side = y < springing ? radius - Math.sqrt(x * x + (y - springing) ** 2) : halfWidth - Math.abs(x);
      return Math.min(side, halfHeight - y);
    };
  },
};
