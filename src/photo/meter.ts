import { type Plane, tabulateLightness } from '../plane/index.ts';
import type { PhotoPart } from './choose-crop.ts';
import { tellShadeEv } from './skin-shade.ts';
import { quantileBin } from './statistics.ts';

/** Whom or what a picture is of. All places are shares of the picture's width and height, and may lie outside. */
export interface PictureSubject {
  /** The most important face first, each from the brows to the chin. */
  readonly faces: readonly PhotoPart[];
  /** Share of each pixel of a small copy of the picture that is the subject's. */
  readonly share: { readonly width: number; readonly height: number; readonly data: Float32Array };
  /** Somebody said it: its own middle tone stands for the picture's where no face does. */
  readonly isGiven: boolean;
  /** Linear red over blue of each face's skin, as `skinRatio` tells it; absent where no colour is known. */
  readonly redOverBlue?: readonly number[];
}

/** What light a picture's subject has. L* of the photo, before any tone. */
export interface Meter {
  /** What the tone is set by. */
  readonly by: 'faces' | 'subject' | 'picture';
  /** Middle lightness of each face's skin, and where it is. */
  readonly skins: readonly { readonly box: PhotoPart; readonly lightness: number }[];
  /** Middle of a subject that somebody named. */
  readonly subjectL?: number;
  /** Below which the darkest of the subject lies: the folds of a coat. */
  readonly foldsL?: number;
  /** Above which the light part of what surrounds the subject lies: a sky, a window. */
  readonly backdropL?: number;
  /** How much light the faces lack before such a backdrop, told by the colours of their skin, EV. */
  readonly shadeEv?: number;
}

export const METERED_BY_PICTURE: Meter = { by: 'picture', skins: [] };

/** Dots of a face that are looked at, at most. A count. Assumed: a median needs no more. */
const FACE_DOTS = 4096;
/** The same of a picture. A count. Assumed: a quantile of what lies in parts of it needs some more. */
const PICTURE_DOTS = 16384;
/** Fewer dots of a face, or of a subject, tell nothing. A count. Assumed: a face of a millimetre or two. */
const LEAST_DOTS = 64;
/**
 * Radius of the ellipse of skin in a face's box, a share of its sides. Assumed, by eye: hair, ears and what lies behind
 * are left out.
 */
const SKIN_RADIUS = 0.42;
/** Share from which a place is the subject's. Exact: one half. */
const IS_SUBJECT = 0.5;
/** Share below which it is the backdrop's. Assumed: what lies between is an edge. */
const IS_BACKDROP = 0.2;
/** Share of the subject that may be darker than its folds. Assumed: pupils and nostrils are less. */
const FOLDS_SHARE = 0.01;
/**
 * Before a backdrop lighter than this share of the scale faces may be in the shade. Assumed, by eye before skies: a
 * wall of middle lightness shades nobody.
 */
export const BRIGHT_BACKDROP = 0.6;
/** Share of the backdrop below its light part. Assumed: a sky or a window that lights from behind takes a quarter. */
const BACKDROP_SHARE = 0.75;

export interface MeterOptions {
  readonly subject: PictureSubject;
  /** Where the photo has light at all. */
  readonly opaque: Plane<'mask'> | undefined;
}

/**
 * The light of a subject: of the skin in the middle of each face, told from hair and backdrop by the subject's shape
 * and as a median; of the subject's darkest; of the light part of the backdrop. Looks at a few thousand dots.
 */
export function meterPicture(light: Plane<'luminance'>, { subject, opaque }: MeterOptions): Meter {
  const { faces, share, isGiven, redOverBlue } = subject;
  const table = tabulateLightness();
  const { width, height, data } = light;
  const isOpaque = (at: number) => opaque === undefined || opaque.data[at] >= 128;
  const shareAt = (x: number, y: number) => {
    const [column, row] = [Math.floor((x / width) * share.width), Math.floor((y / height) * share.height)];
    return share.data[row * share.width + column];
  };
  /** Counts L* of every so many dots of a part, in steps of 1 / STEPS_PER_L. */
  const count = (part: PhotoPart, most: number, counts: (x: number, y: number) => Uint32Array | undefined) => {
    const [left, right] = [part.x * width, (part.x + part.width) * width].map((x) => clampTo(x, width));
    const [top, bottom] = [part.y * height, (part.y + part.height) * height].map((y) => clampTo(y, height));
    const step = Math.max(1, Math.floor(Math.sqrt(((right - left) * (bottom - top)) / most)));
    for (let y = top + (step >> 1); y < bottom; y += step) {
      for (let x = left + (step >> 1); x < right; x += step) {
        const at = y * width + x;
        const into = isOpaque(at) ? counts(x, y) : undefined;
        if (into) into[Math.round(table[data[at]] * STEPS_PER_L)]++;
      }
    }
  };

  const skins = faces.flatMap((box, face) => {
    const seen = emptyCounts();
    const [cx, cy] = [(box.x + box.width / 2) * width, (box.y + box.height / 2) * height];
    const [rx, ry] = [SKIN_RADIUS * box.width * width, SKIN_RADIUS * box.height * height];
    count(box, FACE_DOTS, (x, y) => {
      const [dx, dy] = [(x + 0.5 - cx) / rx, (y + 0.5 - cy) / ry];
      return dx * dx + dy * dy <= 1 && shareAt(x, y) >= IS_SUBJECT ? seen : undefined;
    });
    const lightness = quantile(seen, 0.5);
    return lightness === undefined ? [] : [{ box, lightness, redOverBlue: redOverBlue?.[face] }];
  });
  if (skins.length === 0 && !isGiven) return METERED_BY_PICTURE;

  const [inside, outside] = [emptyCounts(), emptyCounts()];
  count(WHOLE, PICTURE_DOTS, (x, y) => {
    const part = shareAt(x, y);
    return part >= IS_SUBJECT ? inside : part < IS_BACKDROP ? outside : undefined;
  });
  const subjectL = quantile(inside, 0.5);
  if (skins.length === 0 && subjectL === undefined) return METERED_BY_PICTURE;
  const foldsL = quantile(inside, FOLDS_SHARE);
  const backdropL = quantile(outside, BACKDROP_SHARE);
  const isBright = backdropL !== undefined && backdropL > 100 * BRIGHT_BACKDROP;
  const shadeEv = isBright ? tellShadeEv(skins) : undefined;
  return {
    by: skins.length > 0 ? 'faces' : 'subject',
    skins: skins.map(({ box, lightness }) => ({ box, lightness })),
    ...(skins.length === 0 && subjectL !== undefined ? { subjectL } : {}),
    ...(foldsL === undefined ? {} : { foldsL }),
    ...(backdropL === undefined ? {} : { backdropL }),
    ...(shadeEv === undefined ? {} : { shadeEv }),
  };
}

/** All of a picture, shares. Exact: by definition. */
const WHOLE: PhotoPart = { x: 0, y: 0, width: 1, height: 1 };
/** Fineness of the counting. Steps per L*. Assumed: far below what the eye tells. */
const STEPS_PER_L = 10;

const emptyCounts = (): Uint32Array => new Uint32Array(100 * STEPS_PER_L + 1);
const clampTo = (value: number, length: number): number => Math.min(Math.max(Math.round(value), 0), length);

/** L* below which such a share of what was counted lies; undefined for too few. */
function quantile(counts: Uint32Array, share: number): number | undefined {
  const total = counts.reduce((sum, count) => sum + count, 0);
  return total < LEAST_DOTS ? undefined : quantileBin(counts, share)! / STEPS_PER_L;
}
