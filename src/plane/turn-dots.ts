import { createDots, type Dots } from './plane.ts';

/** How dots go into the bitmap, against how the piece is looked at: mirrored first, then turned. */
export interface DotOrientation {
  /** Left and right change places: for what is burned from behind. */
  readonly mirrored: boolean;
  /** Clockwise, degrees. */
  readonly turnedDeg: 0 | 90 | 180 | 270;
}

/** The bitmap turned by a quarter, clockwise: every dot goes whole to its new place. */
export function turnQuarter({ width, height, levels, data }: Dots): Dots {
  const turned = createDots(height, width, levels);
  for (let y = 0; y < width; y++) {
    const to = y * height;
    // The row that was lowest comes first.
    for (let x = 0, from = (height - 1) * width + y; x < height; x++, from -= width) turned.data[to + x] = data[from]!;
  }
  return turned;
}

/** The same dots with left and right changed. */
export function mirrorDots({ width, height, levels, data }: Dots): Dots {
  const mirrored = createDots(width, height, levels);
  for (let from = 0; from < data.length; from += width) {
    mirrored.data.set(
      data
        .subarray(from, from + width)
        .slice()
        .reverse(),
      from,
    );
  }
  return mirrored;
}

/** Dots as the machine is handed them; the very same object where nothing is asked. */
export function orientDots(dots: Dots, orientation: DotOrientation | undefined): Dots {
  if (!orientation) return dots;
  let turned = orientation.mirrored ? mirrorDots(dots) : dots;
  for (let deg = 0; deg < orientation.turnedDeg; deg += 90) turned = turnQuarter(turned);
  return turned;
}

/** Whether width and height change places. */
export const isQuarterTurn = (orientation: DotOrientation | undefined): boolean =>
  orientation !== undefined && orientation.turnedDeg % 180 === 90;
