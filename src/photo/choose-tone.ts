import { type DotGrid, type Plane, tabulateLightness } from '../plane/index.ts';
import { averageCells, type CellSize, type Cells, cellSize, coarsenCells } from './cells.ts';
import { ARC_MINUTE_RAD } from './frame.ts';
import { BRIGHT_BACKDROP, METERED_BY_PICTURE, type Meter } from './meter.ts';
import { countNumbers } from './numbers.ts';
import { lightenBy } from './skin-shade.ts';
import { cellNoise, type PhotoPixels, photoNoise, quantileBin } from './statistics.ts';
import { fromContrast, midtoneToward } from './tone-curve.ts';
import { TONE_DEFAULTS, TONE_FIELDS, type ToneOptions } from './tone-options.ts';

export interface ChooseToneOptions {
  readonly grid: DotGrid;
  /** Diameter of what one dot visibly changes, µm. */
  readonly markDiameterUm: number;
  /** Distance from which the piece is looked at, mm. */
  readonly viewingDistanceMm: number;
  /** What is marked at all; the rest does not count. */
  readonly mask?: Plane<'mask'>;
  /** The light of whom or what the picture is of; of the whole picture when absent. */
  readonly meter?: Meter;
  /** How the photo's pixels lie under the dots: noise is theirs. Told by the dots alone when absent. */
  readonly pixels?: PhotoPixels;
  /** What the work can show of it; the scale of the photo itself when absent. */
  readonly reach?: ToneReach;
}

/** The range in which a picture will be shown, without saying on what. */
export interface ToneReach {
  /** From its darkest to its lightest, L*. */
  readonly spanL: number;
  /** L* of the picture that is shown at such a share of the range, 0 the darkest … 1 the lightest. */
  readonly lightnessAt: (share: number) => number;
}

/** The scale of the photo itself, L*. Exact: by definition. */
const OWN_SCALE: ToneReach = { spanL: 100, lightnessAt: (share) => 100 * share };

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
 * Haze has lifted what is darkest above this, L*; beyond it the black point follows so much more, a share. Assumed, by
 * eye: without, the darkest of a hazy photo stays grey.
 */
const HAZE_L = 25;
const HAZE_WAY = 0.4;
/**
 * The points never go further than this, and never leave less than this between them, L*. Assumed, by eye: a foggy or
 * dark photo keeps its mood.
 */
const MAX_BLACK_L = 42;
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
/**
 * Most that counts as noise, L*. Assumed: above it the smooth blocks of averaged cells hold texture, which must stay.
 */
const MAX_NOISE_L = 1.5;
/** The same where the photo's own pixels were looked at, L*. Assumed: the most that a usable photo has. */
const MAX_PIXEL_NOISE_L = 5;
/** Noise from which nothing is sharpened any more, L*. Assumed, by eye: grain that is sharpened looks like a rash. */
const UNSHARPENED_NOISE_L = 3.5;
/** Photos with pixels larger than this are judged by them, cells. Assumed: smaller ones are averaged away. */
const PIXEL_CELLS = 0.7;
/**
 * Reach of noise, pixels of the photo. Measured (tests/photo/noise.test.ts): nearest to the clean picture; larger
 * windows leave the noise beside edges.
 */
const NOISE_PIXELS = 1.75;

/**
 * Where skin lies well, shares of the range. Assumed, by eye and as the trade says ("60 to 68 % and up", common
 * practice, no source): below eyes and mouth need room, above the light on a forehead.
 */
const SKIN_FROM = 0.6;
const SKIN_TO = 0.8;
/** Skin that is this light needs no more light, a share of the range. Assumed, by eye: a forehead has room above. */
const SKIN_LIGHT = 0.75;
/** Share of the way down to it for lighter skin. Assumed, by eye: half of it gives the face its modelling back. */
const LIGHT_SKIN_WAY = 0.5;
/**
 * However dark, skin is shown about this far above the darkest that the range has, L*, between these shares of it.
 * Assumed, by eye on ranges of 30 … 63 L*: brows, lashes and folds are told from it, and faces keep their order.
 */
const LEGIBLE_L = 15;
const LEGIBLE_SHARE = { from: 0.2, to: 0.34 } as const;
/**
 * Where no colour tells its light, a face before a sky or a window gets so much of the difference back. A share.
 * Assumed, by eye before skies: all of it looks lit by flash.
 */
const SHADE_WAY = 0.5;
/** No skin is lighter in even light, a share of the scale. Assumed: the lightest of the Monk scale has 0.94. */
const LIGHTEST_SKIN = 0.9;
/** A backdrop this light, a share of the scale, shades for certain. Assumed, by eye: a sky; between, in proportion. */
const SKY_BACKDROP = 0.8;
/** From here on, a share of the range, a lift for shade counts half. Assumed, by eye: lighter looks lit by flash. */
const SHADE_TO = 0.66;
/**
 * A second, lighter face is not lifted beyond the first for a darker one's sake, nor by more than the second where it
 * is lighter already; shares of the range. Assumed, by eye: washed out.
 */
const SKIN_MOST = 0.85;
const SKIN_STEP = 0.03;
/**
 * Most that the middle is lifted and lowered for a face, L*: the most that the control has, and what a white point can
 * have done to light skin. Assumed, by eye: more flattens it.
 */
const MAX_FACE_LIFT_L = 25;
const MAX_FACE_DROP_L = 8;
/**
 * A lift above this, L*, flattens a face, which so much contrast about the middle, full at the most, gives back.
 * Measured (tests/job/faces.test.ts): with 0.4 a face 1.5 EV in the shade comes out a fifth flatter than it went in; by
 * eye: a sky still keeps half of its steps.
 */
const FLAT_LIFT_L = 6;
const LIFT_CONTRAST = 0.6;

/**
 * The values of `auto` for this photo, as plain numbers within the ranges of `TONE_FIELDS`, rounded so that a ticket
 * holds them exactly. All thresholds above were assumed first and then settled by eye on portraits, fur, sky and a
 * night picture.
 *
 * The middle is set by the skin of faces, where there are any: each has a place in the range where it is legible,
 * rising with its own lightness, so that nobody changes places with anybody. Else by the median of the picture, or of a
 * subject that somebody named.
 *
 * The sharpening radius is what the eye separates at the viewing distance (one minute of arc) and the radius of the
 * mark, added in quadrature as independent blurs are.
 */
export function chooseTone(luminance: Plane<'luminance'>, options: ChooseToneOptions): ToneOptions {
  const size = cellSize(options.grid);
  const cells = averageCells(luminance, { table: tabulateLightness(), size });
  const counts = countCells(cells, { luminance, size, mask: options.mask });
  if (counts.every((count) => count === 0)) return TONE_DEFAULTS;
  const at = (share: number) => quantileBin(counts, share)! / BINS_PER_L;
  const { meter = METERED_BY_PICTURE, pixels, reach = OWN_SCALE } = options;
  const darkest = Math.min(at(BLACK_SHARE), meter.foldsL ?? 100);
  const haze = HAZE_WAY * Math.max(0, darkest - HAZE_L);
  const blackPointL = round(Math.min(POINT_WAY * darkest + haze, MAX_BLACK_L), 0.1);
  const whitePointL = round(Math.max(100 - POINT_WAY * (100 - at(1 - WHITE_SHARE)), MIN_WHITE_L), 0.1);
  const points = { blackPointL, whitePointL };
  const middle =
    meter.skins.length > 0
      ? liftFaces(meter, { points, reach })
      : { midtoneL: liftMedian(stretch(meter.subjectL ?? at(0.5), points)), contrast: 0 };

  const pixelCells = pixels ? luminance.width / pixels.width / size.x : 0;
  const isCoarse = pixels !== undefined && pixelCells > PIXEL_CELLS;
  const noiseL = isCoarse
    ? round(Math.min(photoNoise(luminance, pixels), MAX_PIXEL_NOISE_L), 0.01)
    : round(Math.min(Math.max(cellNoise(cells), cellNoise(coarsenCells(cells, 2))), MAX_NOISE_L), 0.01);
  const pixelMm = isCoarse ? pixelCells * size.x * options.grid.pitchMm : 0;
  const eyeMm = options.viewingDistanceMm * Math.tan(ARC_MINUTE_RAD);
  const shortMm = Math.min(luminance.width * options.grid.pitchMm, luminance.height * options.grid.lineSpacingMm);
  const calm = 1 / (1 + noiseL / 2);
  const clean = Math.min(1, Math.max(0, (UNSHARPENED_NOISE_L - noiseL) / (UNSHARPENED_NOISE_L - MAX_NOISE_L)));
  return {
    brightnessEv: 0,
    blackPointL,
    whitePointL,
    midtoneL: round(middle.midtoneL, 0.1),
    contrast: round(middle.contrast, 0.01),
    localContrast: round(LOCAL_CONTRAST * calm * (0.5 + clean / 2), 0.01),
    localRadiusMm: within('localRadiusMm', round(shortMm * LOCAL_SHARE, 0.1)),
    noiseL,
    noiseRadiusMm: within('noiseRadiusMm', round(Math.max(TONE_DEFAULTS.noiseRadiusMm, NOISE_PIXELS * pixelMm), 0.01)),
    sharpenAmount: round(SHARPEN_AMOUNT * calm * clean, 0.01),
    sharpenRadiusMm: within('sharpenRadiusMm', round(Math.hypot(eyeMm, options.markDiameterUm / 2000), 0.001)),
  };
}

interface Points {
  readonly blackPointL: number;
  readonly whitePointL: number;
}

/** Lightness after black and white point, L*. */
function stretch(lightness: number, { blackPointL, whitePointL }: Points): number {
  return Math.min(Math.max((100 * (lightness - blackPointL)) / (whitePointL - blackPointL), 0), 100);
}

/** Half of the way to where a median is legible, L*. */
function liftMedian(median: number): number {
  const wanted = Math.min(Math.max(median, DARK_MEDIAN_L), LIGHT_MEDIAN_L);
  return Math.max(midtoneToward(median, median + MEDIAN_WAY * (wanted - median), MAX_LIFT_L), -MAX_DROP_L);
}

export interface SkinPlace {
  /** How light the backdrop's light part is, a share of the photo's own scale. */
  readonly backdrop: number;
  /** Of the work's range, L*. */
  readonly spanL: number;
  /** Light that the face lacks before such a backdrop, by the colour of its skin, EV. */
  readonly shadeEv?: number;
}

/**
 * The place of a face's skin in the range, a share, by its place in the photo's own: rising, so that the order of faces
 * stays; between SKIN_FROM and SKIN_TO it is left where it is. Before a bright backdrop it is where the same skin would
 * lie in even light, as far as its colour tells that.
 */
export function placeSkin(own: number, { backdrop, spanL, shadeEv = 0 }: SkinPlace): number {
  const least = Math.min(Math.max(LEGIBLE_L / spanL, LEGIBLE_SHARE.from), LEGIBLE_SHARE.to);
  const evenAt = (share: number) =>
    share < SKIN_FROM ? least + share * (1 - least / SKIN_FROM) : share - LIGHT_SKIN_WAY * Math.max(0, share - SKIN_TO);
  const even = evenAt(own);
  // No more than the square: the darker skin is, the likelier it is so by itself and not for want of light.
  const shaded = even + Math.min(SHADE_WAY * Math.max(0, backdrop - Math.max(own, BRIGHT_BACKDROP)), own * own);
  const way = Math.min(1, Math.max(0, (backdrop - BRIGHT_BACKDROP) / (SKY_BACKDROP - BRIGHT_BACKDROP)));
  const lightened = Math.min(lightenBy(100 * own, way * shadeEv) / 100, LIGHTEST_SKIN + (1 - LIGHTEST_SKIN) * own);
  const lit = Math.min(evenAt(lightened), even + own * own);
  return Math.max(even, lit, Math.min(shaded, SHADE_TO + (shaded - SHADE_TO) / 2));
}

/**
 * Midtones and contrast that bring the faces to their places: as far as the darkest needs it and the lightest bears it.
 */
function liftFaces(
  { skins, backdropL = 0, shadeEv = 0 }: Meter,
  { points, reach }: { readonly points: Points; readonly reach: ToneReach },
): Pick<ToneOptions, 'midtoneL' | 'contrast'> {
  const faces = skins.map(({ lightness }) => {
    const place = placeSkin(lightness / 100, { backdrop: backdropL / 100, spanL: reach.spanL, shadeEv });
    const from = stretch(lightness, points);
    // What a white point has made lighter stays so, unless it is light enough.
    const to = Math.max(reach.lightnessAt(place), Math.min(from, reach.lightnessAt(SKIN_LIGHT)));
    const most = Math.max(reach.lightnessAt(Math.max(place, SKIN_MOST)), from + 100 * SKIN_STEP);
    return { from, to, most };
  });
  const liftWith = (contrast: number) => {
    const toward = (from: number, to: number) =>
      midtoneToward(from, 100 * fromContrast(to / 100, contrast), MAX_FACE_LIFT_L);
    const wanted = Math.max(...faces.map(({ from, to }) => toward(from, to)));
    const borne = Math.min(...faces.map(({ from, most }) => toward(from, most)));
    return { midtoneL: Math.max(Math.min(wanted, borne), -MAX_FACE_DROP_L), isBorne: wanted <= borne };
  };
  const even = liftWith(0);
  const share = (even.midtoneL - FLAT_LIFT_L) / (MAX_FACE_LIFT_L - FLAT_LIFT_L);
  const contrast = LIFT_CONTRAST * Math.min(1, Math.max(0, share));
  const steep = liftWith(contrast);
  // Where a lighter face ends the lift, contrast would only take from the darker one.
  return steep.isBorne ? { midtoneL: steep.midtoneL, contrast } : { midtoneL: even.midtoneL, contrast: 0 };
}

interface Counted {
  readonly luminance: Plane<'luminance'>;
  readonly size: CellSize;
  readonly mask: Plane<'mask'> | undefined;
}

/** How many of the cells whose middle is marked at least by half have each L*, in steps of 1 / BINS_PER_L. */
function countCells(cells: Cells, { luminance, size, mask }: Counted): Uint32Array {
  const { width, height } = luminance;
  const counted = { steps: BINS_PER_L, most: 100 };
  if (!mask) return countNumbers(cells.data, counted);
  if (mask.width !== width || mask.height !== height) {
    throw new RangeError(`sizes differ: picture ${width} × ${height}, mask ${mask.width} × ${mask.height}`);
  }
  const marked = new Float32Array(cells.data.length);
  let count = 0;
  for (let cy = 0; cy < cells.height; cy++) {
    const middle = Math.min(height - 1, cy * size.y + (size.y >> 1)) * width;
    for (let cx = 0; cx < cells.width; cx++) {
      const share = mask.data[middle + Math.min(width - 1, cx * size.x + (size.x >> 1))];
      if (share >= 128) marked[count++] = cells.data[cy * cells.width + cx];
    }
  }
  return countNumbers(marked.subarray(0, count), counted);
}

function within(name: keyof ToneOptions, value: number): number {
  return Math.min(Math.max(value, TONE_FIELDS[name].min), TONE_FIELDS[name].max);
}

/** To whole steps, as a short decimal number. */
function round(value: number, step: number): number {
  return Number((Math.round(value / step) * step).toFixed(3));
}
