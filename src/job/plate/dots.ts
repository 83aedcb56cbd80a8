import { encodeSrgb, reflectanceOfLightness } from '../../colour/index.ts';
import { createDots, type DotGrid, type Dots, meanOver } from '../../plane/index.ts';
import type { AlignmentMark, PointMm } from '../../plate/index.ts';

export interface PlacedDots {
  readonly dots: Dots;
  readonly xDots: number;
  readonly yDots: number;
}

/**
 * One bitmap of several, each at its whole dot. Where two touch by rounding, what fires stays.
 * @throws RangeError when a part lies outside or has another number of levels
 */
export function composeDots(
  parts: readonly PlacedDots[],
  size: { readonly width: number; readonly height: number },
): Dots {
  const levels = parts[0]?.dots.levels ?? 2;
  const whole = createDots(size.width, size.height, levels);
  for (const { dots, xDots, yDots } of parts) {
    if (xDots < 0 || yDots < 0 || xDots + dots.width > size.width || yDots + dots.height > size.height) {
      throw new RangeError(
        `a part at ${xDots}, ${yDots} reaches out of a bitmap of ${size.width} × ${size.height} dots`,
      );
    }
    if (dots.levels !== levels) throw new RangeError(`parts of ${levels} and ${dots.levels} levels share no bitmap`);
    for (let y = 0; y < dots.height; y++) {
      const from = y * dots.width;
      const to = (yDots + y) * size.width + xDots;
      for (let x = 0; x < dots.width; x++) {
        const dot = dots.data[from + x]!;
        if (dot > 0) whole.data[to + x] = dot;
      }
    }
  }
  return whole;
}

/** A bitmap of alignment marks: where it lies on the board, and how far rounding to whole dots moved each mark. */
export interface MarksBitmap {
  readonly dots: Dots;
  /** Its upper left corner in jig coordinates. */
  readonly corner: PointMm;
  /** From where the mark should be to where it is, mm. */
  readonly offMm: readonly PointMm[];
}

/**
 * Width of the lines of a mark, mm; at least one dot, and an odd number of them so that the middle is a dot. Assumed:
 * thin enough to measure by, wide enough to see.
 */
const LINE_MM = 0.1;
/**
 * Share of the inset that an arm of a mark is long, so that it ends on the piece. Assumed: the rest is for a piece that
 * lies askew.
 */
const ARM_SHARE = 0.6;

/**
 * Crosses at the alignment marks; the first has a small solid square in its lower right, so that a turned piece of
 * scrap is not read the wrong way round. The middle of the first cross lies exactly at its mark, the others at the
 * nearest whole dot.
 */
export function drawMarks(marks: readonly AlignmentMark[], { pitchMm, lineSpacingMm }: DotGrid): MarksBitmap {
  const arm = Math.min(...marks.map(({ insetMm }) => insetMm)) * ARM_SHARE;
  const half = { x: halfLine(pitchMm), y: halfLine(lineSpacingMm) };
  const reach = {
    x: Math.max(half.x, Math.round(arm / pitchMm)),
    y: Math.max(half.y, Math.round(arm / lineSpacingMm)),
  };
  const first = marks[0]!;
  const left = Math.min(...marks.map(({ xMm }) => xMm));
  const top = Math.min(...marks.map(({ yMm }) => yMm));
  const firstDot = {
    x: reach.x + Math.round((first.xMm - left) / pitchMm),
    y: reach.y + Math.round((first.yMm - top) / lineSpacingMm),
  };
  const middles = marks.map(({ xMm, yMm }) => ({
    x: firstDot.x + Math.round((xMm - first.xMm) / pitchMm),
    y: firstDot.y + Math.round((yMm - first.yMm) / lineSpacingMm),
  }));
  const dots = createDots(
    Math.max(...middles.map(({ x }) => x)) + reach.x + 1,
    Math.max(...middles.map(({ y }) => y)) + reach.y + 1,
  );
  const fill = (x: number, y: number, across: number, down: number) => {
    for (let row = y - down; row <= y + down; row++)
      dots.data.fill(1, row * dots.width + x - across, row * dots.width + x + across + 1);
  };
  for (const { x, y } of middles) {
    fill(x, y, reach.x, half.y);
    fill(x, y, half.x, reach.y);
  }
  const square = { x: Math.max(1, Math.round(reach.x / 6)), y: Math.max(1, Math.round(reach.y / 6)) };
  fill(firstDot.x + Math.floor(reach.x / 2), firstDot.y + Math.floor(reach.y / 2), square.x, square.y);
  return {
    dots,
    corner: {
      xMm: first.xMm - (firstDot.x + 0.5) * pitchMm,
      yMm: first.yMm - (firstDot.y + 0.5) * lineSpacingMm,
    },
    offMm: middles.map(({ x, y }, at) => ({
      xMm: first.xMm + (x - firstDot.x) * pitchMm - marks[at]!.xMm,
      yMm: first.yMm + (y - firstDot.y) * lineSpacingMm - marks[at]!.yMm,
    })),
  };
}

/** Dots of a line on each side of its middle one. */
const halfLine = (stepMm: number) => Math.max(0, Math.floor(LINE_MM / stepMm / 2));

/** Long side of a piece's picture on a plate's ticket, pixels. Assumed: tells pieces apart, a file of little size. */
const PICTURE_PX = 220;

/**
 * A small picture of what dots make of a surface: their mean coverage drawn between the lightness of the bare surface
 * and of the full mark. Good for telling pieces apart, not a proof.
 */
export function pictureOfDots(
  dots: Dots,
  { grid, bareL, fullL }: { readonly grid: DotGrid; readonly bareL: number; readonly fullL: number },
) {
  const widthMm = dots.width * grid.pitchMm;
  const heightMm = dots.height * grid.lineSpacingMm;
  const perMm = Math.min(PICTURE_PX / Math.max(widthMm, heightMm), 1 / grid.pitchMm, 1 / grid.lineSpacingMm);
  const width = Math.max(1, Math.min(dots.width, Math.round(widthMm * perMm)));
  const height = Math.max(1, Math.min(dots.height, Math.round(heightMm * perMm)));
  const { data } = meanOver(dots, { width, height });
  const [bare, full] = [reflectanceOfLightness(bareL), reflectanceOfLightness(fullL)];
  const rgb = new Uint8Array(3 * width * height);
  // Light adds up over an area: bare and marked parts mix in reflectance, not in lightness.
  for (let at = 0; at < data.length; at++) {
    rgb.fill(Math.round(255 * encodeSrgb(bare + (full - bare) * data[at]!)), 3 * at, 3 * at + 3);
  }
  return { width, height, rgb };
}
