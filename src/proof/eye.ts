import { computeEyeBlurMm, type ViewingOptions } from '../optics/index.ts';
import { createPlane, type DotGrid, interpolateLightness, type Plane } from '../plane/index.ts';
import { type BlurOptions, blurCells } from './blur.ts';

export interface EyeOptions extends ViewingOptions {
  /** Size of a cell of the plane, mm. */
  readonly cellXMm: number;
  readonly cellYMm: number;
}

/** What is left of a picture after the eye's blur, in linear light; the border is as `blurCells` has it. */
export function filterByEye(
  plane: Plane<'reflectance'>,
  { cellXMm, cellYMm, arithmetic = 'simd', ...viewing }: EyeOptions & Pick<BlurOptions, 'arithmetic'>,
): Plane<'reflectance'> {
  const sigma = computeEyeBlurMm(viewing);
  const data = blurCells(plane, { sigmaX: sigma / cellXMm, sigmaY: sigma / cellYMm, arithmetic });
  return createPlane('reflectance', plane.width, plane.height, data);
}

export interface EyeCells {
  readonly width: number;
  readonly height: number;
  readonly cellXMm: number;
  readonly cellYMm: number;
}

/**
 * Size of a plane whose cells are as large as the eye allows: half of its blur, 0.11 mm at 300 mm, which widens the
 * blur by 1 %. A cell is whole dots, one at least, and so up to a third smaller or larger: cells of one and two dots by
 * turns would show a grain of their own.
 */
export function planEyeCells(
  dots: { readonly width: number; readonly height: number },
  { grid, ...viewing }: { readonly grid: DotGrid } & ViewingOptions,
): EyeCells {
  const cellMm = computeEyeBlurMm(viewing) / 2;
  const count = (side: number, stepMm: number) =>
    Math.max(1, Math.round(side / Math.max(1, Math.round(cellMm / stepMm))));
  const width = count(dots.width, grid.pitchMm);
  const height = count(dots.height, grid.lineSpacingMm);
  return {
    width,
    height,
    cellXMm: (dots.width * grid.pitchMm) / width,
    cellYMm: (dots.height * grid.lineSpacingMm) / height,
  };
}

/** CIE L* of each cell. */
export function convertToLightness(plane: Plane<'reflectance'>): Plane<'lightness'> {
  return createPlane('lightness', plane.width, plane.height, interpolateLightness(plane.data));
}
