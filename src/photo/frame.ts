import { AppError } from '../errors.ts';
import type { DotGrid } from '../plane/index.ts';
import { MOST_DOTS } from '../units.ts';

/**
 * One minute of arc, radians; exact: 1/60 degree. What an eye of normal acuity (1.0, decimal) just separates (common
 * practice).
 */
export const ARC_MINUTE_RAD = Math.PI / 180 / 60;

export type Fit = 'cover' | 'contain';

export interface PhotoSize {
  /** Pixels after the photo was turned upright. */
  readonly width: number;
  readonly height: number;
}

export interface FrameOptions {
  readonly widthMm: number;
  readonly heightMm: number;
  /** Corner radius of the piece, mm; 0 when absent. */
  readonly cornerRadiusMm?: number;
  readonly grid: DotGrid;
  /**
   * `cover` fills the piece and crops the photo; `contain` shows the whole photo inside the safe area, the rest stays
   * bare.
   */
  readonly fit?: Fit;
  /** What must stay in sight, as shares of the photo's width and height, 0…1; the middle when absent. */
  readonly focus?: { readonly x: number; readonly y: number };
  /**
   * How many times larger the photo is shown than it must be to fill the piece, 1 … 20; with `cover`, 1 when absent.
   */
  readonly zoom?: number;
  /** Nothing is burned nearer than this to the piece's edge, mm; 0 when absent. */
  readonly safeMarginMm?: number;
  /** Distance from which the piece is looked at, mm. */
  readonly viewingDistanceMm?: number;
  /** A strip along the lower edge that the picture leaves to something else, mm; 0 when absent. */
  readonly bareBelowMm?: number;
  /** How many times wider, for its height, the picture is than its dots lie, as on a round piece; once when absent. */
  readonly stretchX?: number;
}

/** Largest zoom, a factor. Assumed: a twentieth of a photo has no pixels left for a piece. */
export const MOST_ZOOM = 20;

/**
 * Lengths in mm, focus as shares of the photo. Assumed: square corners, a centred crop of all that fits, and a piece
 * held at reading distance, 300 mm.
 */
export const FRAME_DEFAULTS = {
  cornerRadiusMm: 0,
  fit: 'cover',
  focus: { x: 0.5, y: 0.5 },
  zoom: 1,
  safeMarginMm: 0,
  viewingDistanceMm: 300,
} as const satisfies Partial<FrameOptions>;

export interface Rectangle {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

export interface Frame {
  /** Dots of the whole piece. */
  readonly width: number;
  readonly height: number;
  readonly grid: DotGrid;
  /** Size of the whole dots, mm: at most half a dot from what was asked. */
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
  readonly safeMarginMm: number;
  readonly viewingDistanceMm: number;
  readonly fit: Fit;
  /** Strip along the lower edge that the picture leaves, mm; absent without one. */
  readonly bareBelowMm?: number;
  /** The part of the photo that is used, source pixels, not rounded. */
  readonly crop: Rectangle;
  /** Where it lies on the piece, whole dots. */
  readonly place: Rectangle;
  /** Pixels that the photo has in the crop. */
  readonly pixelsHave: { readonly width: number; readonly height: number };
  /** Pixels that the size shows: one per visible cell, not rounded. */
  readonly pixelsNeeded: { readonly width: number; readonly height: number };
  /** Side of a visible cell, mm: the eye's minute of arc or the dot, whichever is coarser. */
  readonly visibleCellMm: { readonly width: number; readonly height: number };
}

/**
 * Where the photo and the dots meet: the size in whole dots, the crop in source pixels and its place on the piece.
 * The aspect is matched on the work in mm, so that unequal pitch and line spacing never stretch a face.
 * `cover` matches it exactly; `contain` rounds the place to whole dots, at most half a dot per side.
 * @throws AppError option-invalid
 */
export function framePhoto(photo: PhotoSize, options: FrameOptions): Frame {
  const { grid } = options;
  const cornerRadiusMm = options.cornerRadiusMm ?? FRAME_DEFAULTS.cornerRadiusMm;
  const safeMarginMm = options.safeMarginMm ?? FRAME_DEFAULTS.safeMarginMm;
  const viewingDistanceMm = options.viewingDistanceMm ?? FRAME_DEFAULTS.viewingDistanceMm;
  const fit = options.fit ?? FRAME_DEFAULTS.fit;
  const focus = options.focus ?? FRAME_DEFAULTS.focus;
  if (!(photo.width >= 1 && photo.height >= 1)) {
    throw new RangeError(`a photo needs sides of at least 1 pixel, got ${photo.width} × ${photo.height}`);
  }
  requirePositive('pitch', grid.pitchMm);
  requirePositive('line spacing', grid.lineSpacingMm);
  requirePositive('width', options.widthMm);
  requirePositive('height', options.heightMm);
  requirePositive('viewing distance', viewingDistanceMm);

  // Decimal sizes are seldom binary ones: 53.98 / 0.02 must be 2699 and not its neighbour, and x.5 must not hang on the
  // last bit.
  const width = Math.round(Number((options.widthMm / grid.pitchMm).toPrecision(12)));
  const height = Math.round(Number((options.heightMm / grid.lineSpacingMm).toPrecision(12)));
  if (width < 1 || height < 1 || width * height > MOST_DOTS) {
    throw new AppError(
      'option-invalid',
      `size: found ${options.widthMm} × ${options.heightMm} mm, which is ${width} × ${height} dots at ${grid.pitchMm} × ${grid.lineSpacingMm} mm; needed at least 1 × 1 and at most ${MOST_DOTS / 1e6} million dots`,
      { width, height, maxDots: MOST_DOTS },
    );
  }
  const widthMm = width * grid.pitchMm;
  const heightMm = height * grid.lineSpacingMm;
  const shortMm = Math.min(widthMm, heightMm);
  // Half a dot of tolerance: a round piece asks for exactly half its side, of which the whole dots may be a little
  // less.
  const slackMm = Math.max(grid.pitchMm, grid.lineSpacingMm) / 2;
  if (!(cornerRadiusMm >= 0 && cornerRadiusMm <= shortMm / 2 + slackMm)) {
    throw new AppError(
      'option-invalid',
      `corner radius: found ${cornerRadiusMm} mm, needed 0 to half the short side (${shortMm / 2} mm)`,
      { cornerRadiusMm, maxMm: shortMm / 2 },
    );
  }
  if (!(safeMarginMm >= 0 && safeMarginMm < shortMm / 2 - slackMm) && safeMarginMm !== 0) {
    throw new AppError(
      'option-invalid',
      `safe margin: found ${safeMarginMm} mm, needed 0 to less than half the short side (${shortMm / 2} mm)`,
      { safeMarginMm, maxMm: shortMm / 2 },
    );
  }
  const zoom = options.zoom ?? FRAME_DEFAULTS.zoom;
  if (!(zoom >= 1 && zoom <= MOST_ZOOM)) {
    throw new AppError('option-invalid', `zoom: found ${zoom}, needed 1 to ${MOST_ZOOM}`, { zoom });
  }
  for (const [axis, value] of Object.entries(focus)) {
    if (!(value >= 0 && value <= 1)) {
      throw new AppError('option-invalid', `focus ${axis}: found ${value}, needed 0 to 1`, { axis, value });
    }
  }

  const rows = height - Math.round((options.bareBelowMm ?? 0) / grid.lineSpacingMm);
  if (!(rows >= 1 && rows <= height)) {
    throw new RangeError(`a strip of ${options.bareBelowMm} mm leaves no picture on a piece of ${heightMm} mm`);
  }
  const whole = { x: 0, y: 0, width, height: rows };
  const crop =
    fit === 'cover'
      ? coverCrop(photo, (widthMm * (options.stretchX ?? 1)) / (rows * grid.lineSpacingMm), { focus, zoom })
      : { x: 0, y: 0, width: photo.width, height: photo.height };
  const place = fit === 'cover' ? whole : containPlace(photo, whole, { grid, safeMarginMm });
  const eyeMm = viewingDistanceMm * Math.tan(ARC_MINUTE_RAD);
  const visibleCellMm = { width: Math.max(eyeMm, grid.pitchMm), height: Math.max(eyeMm, grid.lineSpacingMm) };
  return {
    width,
    height,
    grid,
    widthMm,
    heightMm,
    cornerRadiusMm: Math.min(cornerRadiusMm, shortMm / 2),
    safeMarginMm,
    viewingDistanceMm,
    fit,
    ...(options.bareBelowMm ? { bareBelowMm: options.bareBelowMm } : {}),
    crop,
    place,
    pixelsHave: { width: crop.width, height: crop.height },
    pixelsNeeded: {
      width: (place.width * grid.pitchMm) / visibleCellMm.width,
      height: (place.height * grid.lineSpacingMm) / visibleCellMm.height,
    },
    visibleCellMm,
  };
}

/**
 * What to tell the shop when the photo has fewer pixels than the size can show, else `undefined`.
 * Rule: needed = size / visible cell, where a visible cell is one minute of arc at the viewing distance, or the dot
 * where that is coarser. More pixels than that are never seen; fewer look soft, the more so the fewer.
 */
export function resolutionWarning(frame: Frame): string | undefined {
  const { pixelsHave: have, pixelsNeeded: needed, visibleCellMm: cell, place, grid } = frame;
  const share = Math.min(have.width / needed.width, have.height / needed.height);
  // One part in a thousand is no pixel's worth of difference, only rounding of the place to dots.
  if (share >= 0.999) return undefined;
  const size = `${shown(place.width * grid.pitchMm)} × ${shown(place.height * grid.lineSpacingMm)} mm`;
  const eye = `what the eye separates at ${shown(frame.viewingDistanceMm)} mm`;
  const across = [toUm(cell.width), cell.width > grid.pitchMm * (1 + 1e-9) ? eye : 'the distance of the dots'] as const;
  const down = [
    toUm(cell.height),
    cell.height > grid.lineSpacingMm * (1 + 1e-9) ? eye : 'the distance of the lines',
  ] as const;
  const rule =
    across[0] === down[0]
      ? `one per ${across[0]} mm, ${across[1] === down[1] ? eye : 'the distance of dots and lines'}`
      : `one per ${across[0]} mm across, ${across[1]}, and one per ${down[0]} mm down, ${down[1]}`;
  return (
    `The photo has ${wholePixels(have.width)} × ${wholePixels(have.height)} pixels for ${size}; ` +
    `${Math.ceil(needed.width)} × ${Math.ceil(needed.height)} are needed (${rule}). ` +
    `It will look soft: ask for a larger original, or engrave it at most ${shown(place.width * grid.pitchMm * share)} mm wide.`
  );
}

const toUm = (mm: number) => Math.round(mm * 1000) / 1000;

function coverCrop(
  photo: PhotoSize,
  aspect: number,
  { focus, zoom }: { readonly focus: { readonly x: number; readonly y: number }; readonly zoom: number },
): Rectangle {
  const width = snap(Math.min(photo.width, photo.height * aspect) / zoom);
  const height = snap(Math.min(photo.height, photo.width / aspect) / zoom);
  return {
    x: snap(clamp(focus.x * photo.width - width / 2, 0, photo.width - width)),
    y: snap(clamp(focus.y * photo.height - height / 2, 0, photo.height - height)),
    width,
    height,
  };
}

/** Down to whole 2⁻²⁰ pixels, so that corner plus side is exact and never lies past the photo's edge. */
function snap(pixels: number): number {
  return Math.floor(pixels * 2 ** 20) / 2 ** 20;
}

function containPlace(
  photo: PhotoSize,
  piece: Rectangle,
  { grid, safeMarginMm }: { readonly grid: DotGrid; readonly safeMarginMm: number },
): Rectangle {
  const roomX = Math.max(1, Math.floor(piece.width - (2 * safeMarginMm) / grid.pitchMm + 1e-9));
  const roomY = Math.max(1, Math.floor(piece.height - (2 * safeMarginMm) / grid.lineSpacingMm + 1e-9));
  const mmPerPixel = Math.min((roomX * grid.pitchMm) / photo.width, (roomY * grid.lineSpacingMm) / photo.height);
  const width = clamp(Math.round((photo.width * mmPerPixel) / grid.pitchMm), 1, roomX);
  const height = clamp(Math.round((photo.height * mmPerPixel) / grid.lineSpacingMm), 1, roomY);
  return { x: (piece.width - width) >> 1, y: (piece.height - height) >> 1, width, height };
}

function requirePositive(what: string, value: number): void {
  if (!(value > 0 && Number.isFinite(value))) {
    throw new AppError('option-invalid', `${what}: found ${value} mm, needed a length above 0 mm`, { value });
  }
}

const clamp = (value: number, low: number, high: number): number => Math.min(Math.max(value, low), high);
const wholePixels = (pixels: number): number => Math.max(1, Math.floor(pixels));
const shown = (mm: number): string => String(Math.round(mm * 100) / 100);
