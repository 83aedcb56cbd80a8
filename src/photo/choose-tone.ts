import { type DotGrid, type Plane, tabulateLightness } from '../plane/index.ts';
import { averageCells, type CellSize, type Cells, cellSize, coarsenCells } from './cells.ts';
import { ARC_MINUTE_RAD } from './frame.ts';
import { cellNoise } from './statistics.ts';
import { midtoneToward } from './tone-curve.ts';
import { TONE_DEFAULTS, TONE_FIELDS, type ToneOptions } from './tone-options.ts';

export interface ChooseToneOptions {
  readonly grid: DotGrid;
  /** Diameter of what one dot visibly changes, µm. */
  readonly markDiameterUm: number;
  /** Distance from which the piece is looked at, mm. */
  readonly viewingDistanceMm: number;
  /** What is marked at all; the rest does not count. */
  readonly mask?: Plane<'mask'>;
}

/** Fineness of the counting of lightness. Steps per L*. Assumed: half of the 0.1 L* to which points are rounded. */
const BINS_PER_L = 20;
/**
 * Shares of the cells that may go to black and to white. Assumed: 3 cells in 1000 are sparkle and specks, not the
 * photo's black or white.
 */
const BLACK_SHARE = 0.003;
const WHITE_SHARE = 0.003;
/**
 * How much of the way from 0, and from 100, the points go to these: the rest is left so that light skies keep their
 * steps. A share. Assumed, by eye on light skies and night.
 */
const POINT_WAY = 0.75;
/**
 * The points never go further than this, and never leave less than this between them, L*. Assumed, by eye: a foggy or
 * dark photo keeps its mood.
 */
const MAX_BLACK_L = 25;
const MIN_WHITE_L = 48;
/**
 * A median outside these, L*, is moved a share of the way back to them. Assumed, by eye on faces: below 54 they are
 * muddy on the work, above 70 washed out.
 */
const DARK_MEDIAN_L = 54;
const LIGHT_MEDIAN_L = 70;
/** Share of that way. Assumed: half corrects and still leaves night night and snow snow. */
const MEDIAN_WAY = 0.5;
/**
 * Most that the middle is lifted and lowered, L*. Assumed, by eye: a larger lift shows noise, a larger drop loses
 * faces.
 */
const MAX_LIFT_L = 16;
const MAX_DROP_L = 4;
/**
 * Local contrast of a photo without noise, as `localContrast`, a share. Assumed, by eye on fur and faces: more ages
 * skin.
 */
const LOCAL_CONTRAST = 0.4;
/**
 * Share of the short side that local contrast takes as surroundings. Assumed, by eye: about the width of an eye in a
 * portrait that fills its piece.
 */
const LOCAL_SHARE = 0.04;
/** Sharpening of a photo without noise, as `sharpenAmount`, a factor. Assumed, by eye: more draws lines round hair. */
const SHARPEN_AMOUNT = 0.8;
/** Most that counts as noise, L*. Assumed: above it the smooth blocks hold texture, which must stay. */
const MAX_NOISE_L = 1.5;

/**
 * The values of `auto` for this photo, as plain numbers within the ranges of `TONE_FIELDS`, rounded so that a ticket
 * holds them exactly. All thresholds above were assumed first and then settled by eye on portraits, fur, sky and a
 * night picture.
 *
 * The sharpening radius is what the eye separates at the viewing distance (one minute of arc) and the radius of the
 * mark, added in quadrature as independent blurs are.
 */
export function chooseTone(luminance: Plane<'luminance'>, options: ChooseToneOptions): ToneOptions {
  const size = cellSize(options.grid);
  const cells = averageCells(luminance, { table: tabulateLightness(), size });
  const counts = countCells(cells, { luminance, size, mask: options.mask });
  const total = counts.reduce((sum, count) => sum + count, 0);
  if (total === 0) return TONE_DEFAULTS;
  const at = (share: number) => {
    let seen = 0;
    const bin = counts.findIndex((count) => {
      seen += count;
      return seen > share * total;
    });
    return bin / BINS_PER_L;
  };

  const blackPointL = round(Math.min(POINT_WAY * at(BLACK_SHARE), MAX_BLACK_L), 0.1);
  const whitePointL = round(Math.max(100 - POINT_WAY * (100 - at(1 - WHITE_SHARE)), MIN_WHITE_L), 0.1);
  const median = Math.min(Math.max((100 * (at(0.5) - blackPointL)) / (whitePointL - blackPointL), 0), 100);
  const wanted = Math.min(Math.max(median, DARK_MEDIAN_L), LIGHT_MEDIAN_L);
  const lift = midtoneToward(median, median + MEDIAN_WAY * (wanted - median), MAX_LIFT_L);
  const noiseL = round(Math.min(Math.max(cellNoise(cells), cellNoise(coarsenCells(cells, 2))), MAX_NOISE_L), 0.01);
  const eyeMm = options.viewingDistanceMm * Math.tan(ARC_MINUTE_RAD);
  const shortMm = Math.min(luminance.width * options.grid.pitchMm, luminance.height * options.grid.lineSpacingMm);
  const calm = 1 / (1 + noiseL / 2);
  return {
    brightnessEv: 0,
    blackPointL,
    whitePointL,
    midtoneL: round(Math.max(lift, -MAX_DROP_L), 0.1),
    contrast: 0,
    localContrast: round(LOCAL_CONTRAST * calm, 0.01),
    localRadiusMm: within('localRadiusMm', round(shortMm * LOCAL_SHARE, 0.1)),
    noiseL,
    sharpenAmount: round(SHARPEN_AMOUNT * calm, 0.01),
    sharpenRadiusMm: within('sharpenRadiusMm', round(Math.hypot(eyeMm, options.markDiameterUm / 2000), 0.001)),
  };
}

interface Counted {
  readonly luminance: Plane<'luminance'>;
  readonly size: CellSize;
  readonly mask: Plane<'mask'> | undefined;
}

/** How many of the cells whose middle is marked at least by half have each L*, in steps of 1 / BINS_PER_L. */
function countCells(cells: Cells, { luminance, size, mask }: Counted): Uint32Array {
  const { width, height } = luminance;
  if (mask && (mask.width !== width || mask.height !== height)) {
    throw new RangeError(`sizes differ: picture ${width} × ${height}, mask ${mask.width} × ${mask.height}`);
  }
  const counts = new Uint32Array(100 * BINS_PER_L + 1);
  for (let cy = 0; cy < cells.height; cy++) {
    const middle = Math.min(height - 1, cy * size.y + (size.y >> 1)) * width;
    for (let cx = 0; cx < cells.width; cx++) {
      const marked = mask === undefined || mask.data[middle + Math.min(width - 1, cx * size.x + (size.x >> 1))] >= 128;
      if (marked) counts[Math.round(cells.data[cy * cells.width + cx] * BINS_PER_L)]++;
    }
  }
  return counts;
}

function within(name: keyof ToneOptions, value: number): number {
  return Math.min(Math.max(value, TONE_FIELDS[name].min), TONE_FIELDS[name].max);
}

/** To whole steps, as a short decimal number. */
function round(value: number, step: number): number {
  return Number((Math.round(value / step) * step).toFixed(3));
}
