import type { DotGrid, Plane } from '../plane/index.ts';
import { averageCells, type CellSize, type Cells, cellSize, coarsenCells } from './cells.ts';
import { lightnessTable } from './lightness.ts';
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

const ARC_MINUTE_RAD = Math.PI / 180 / 60;
/** Shares of the cells that may go to black and to white. */
const BLACK_SHARE = 0.003;
const WHITE_SHARE = 0.003;
/** The points never go further than this, and never leave less than this between them, L*. */
const MAX_BLACK_L = 25;
const MIN_WHITE_L = 65;
/** The median is moved part of the way toward this, within these limits of `midtoneL`. */
const MEDIAN_TARGET_L = 52;
const MEDIAN_WAY = 0.5;
const MAX_LIFT_L = 12;
const MAX_DROP_L = 6;
const LOCAL_CONTRAST = 0.5;
/** Share of the short side that local contrast takes as surroundings. */
const LOCAL_SHARE = 0.04;
const SHARPEN_AMOUNT = 0.9;
const MAX_NOISE_L = 3;

/**
 * The values of `auto` for this photo, as plain numbers within the ranges of `TONE_FIELDS`, rounded so that a ticket holds
 * them exactly. All thresholds above were assumed first and then settled by eye on portraits, fur, sky and a night picture.
 *
 * The sharpening radius is what the eye separates at the viewing distance (one minute of arc) and the radius of the mark,
 * added in quadrature as independent blurs are.
 */
export function chooseTone(luminance: Plane<'luminance'>, options: ChooseToneOptions): ToneOptions {
  const size = cellSize(options.grid);
  const cells = averageCells(luminance, lightnessTable(), size);
  const sorted = countedCells(cells, { luminance, size, mask: options.mask });
  if (sorted.length === 0) return TONE_DEFAULTS;
  const at = (share: number) => sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))];

  const blackPointL = round(Math.min(at(BLACK_SHARE), MAX_BLACK_L), 0.1);
  const whitePointL = round(Math.max(at(1 - WHITE_SHARE), MIN_WHITE_L), 0.1);
  const median = Math.min(Math.max((100 * (at(0.5) - blackPointL)) / (whitePointL - blackPointL), 0), 100);
  const lift = midtoneToward(median, median + MEDIAN_WAY * (MEDIAN_TARGET_L - median), MAX_LIFT_L);
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

/** L* of the cells whose middle is marked at least by half, in rising order. */
function countedCells(cells: Cells, { luminance, size, mask }: Counted): Float32Array {
  if (!mask) return cells.data.slice().sort();
  const { width, height } = luminance;
  if (mask.width !== width || mask.height !== height) {
    throw new RangeError(`sizes differ: picture ${width} × ${height}, mask ${mask.width} × ${mask.height}`);
  }
  return cells.data
    .filter((_, i) => {
      const x = Math.min(width - 1, (i % cells.width) * size.x + (size.x >> 1));
      const y = Math.min(height - 1, Math.floor(i / cells.width) * size.y + (size.y >> 1));
      return mask.data[y * width + x] >= 128;
    })
    .sort();
}

function within(name: keyof ToneOptions, value: number): number {
  return Math.min(Math.max(value, TONE_FIELDS[name].min), TONE_FIELDS[name].max);
}

/** To whole steps, as a short decimal number. */
function round(value: number, step: number): number {
  return Number((Math.round(value / step) * step).toFixed(3));
}
