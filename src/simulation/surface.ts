import { type LinearRgb, lightnessOf, luminanceOf } from './colour.ts';

/**
 * An engraved piece: what it reflects, place by place. Lengths are in the bitmap's frame: x right, y down, (0, 0) the
 * upper left corner of the first dot, so that a bare margin has negative coordinates.
 */
export interface Surface {
  /** Pixels. */
  readonly width: number;
  readonly height: number;
  /** Size of a pixel, mm; the two differ by less than a pixel over the piece, so that whole pixels fill it exactly. */
  readonly pixelWidthMm: number;
  readonly pixelHeightMm: number;
  /** Where the piece's upper left corner lies, mm; 0 or below. */
  readonly leftMm: number;
  readonly topMm: number;
  /** Size of the piece with its margin, mm. */
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
  /** Linear sRGB reflectance, interleaved, 3 values a pixel. */
  readonly rgb: Float32Array;
}

export interface RectMm {
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
}

/**
 * True mean reflectance of a rectangle, linear sRGB; pixels on its edge count by the share inside.
 * @throws RangeError when the rectangle is empty or not on the piece.
 */
export function meanReflectance(surface: Surface, rect: RectMm): LinearRgb {
  const { width, height, pixelWidthMm, pixelHeightMm, rgb } = surface;
  const left = (rect.xMm - surface.leftMm) / pixelWidthMm;
  const top = (rect.yMm - surface.topMm) / pixelHeightMm;
  const right = left + rect.widthMm / pixelWidthMm;
  const bottom = top + rect.heightMm / pixelHeightMm;
  const slack = 1e-6;
  if (!(rect.widthMm > 0 && rect.heightMm > 0)) throw new RangeError('a rectangle needs sides above 0 mm');
  if (left < -slack || top < -slack || right > width + slack || bottom > height + slack) {
    throw new RangeError(
      `the rectangle at ${rect.xMm}, ${rect.yMm} mm of ${rect.widthMm} × ${rect.heightMm} mm leaves the piece`,
    );
  }
  const sum = [0, 0, 0];
  let weights = 0;
  for (let y = Math.max(0, Math.floor(top)); y < Math.min(height, Math.ceil(bottom)); y++) {
    const shareY = Math.min(bottom, y + 1) - Math.max(top, y);
    for (let x = Math.max(0, Math.floor(left)); x < Math.min(width, Math.ceil(right)); x++) {
      const weight = shareY * (Math.min(right, x + 1) - Math.max(left, x));
      const at = (y * width + x) * 3;
      sum[0] = sum[0]! + weight * rgb[at];
      sum[1] = sum[1]! + weight * rgb[at + 1];
      sum[2] = sum[2]! + weight * rgb[at + 2];
      weights += weight;
    }
  }
  return [sum[0]! / weights, sum[1]! / weights, sum[2]! / weights];
}

/** True CIE L* of a rectangle: of its mean luminance, as an eye or a meter from afar sees it. */
export function meanLightness(surface: Surface, rect: RectMm): number {
  return lightnessOf(luminanceOf(meanReflectance(surface, rect)));
}

/** The piece seen from behind, as glass that was burned from its back: left and right change places. */
export function mirrorSurface(surface: Surface): Surface {
  const { width, height, rgb } = surface;
  const mirrored = new Float32Array(rgb.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const from = (y * width + width - 1 - x) * 3;
      const to = (y * width + x) * 3;
      for (let c = 0; c < 3; c++) mirrored[to + c] = rgb[from + c];
    }
  }
  return { ...surface, rgb: mirrored };
}
