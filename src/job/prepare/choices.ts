import { computeMarkDiametersUm } from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import {
  chooseCrop,
  chooseTone,
  type Frame,
  multiplyMasks,
  outlineMask,
  pieceMask,
  placeOnPiece,
  seenWithin,
  TONE_DEFAULTS,
  type ToneOptions,
} from '../../photo/index.ts';
import { createPlane, findAttention, type Photo, type Plane } from '../../plane/index.ts';
import type { SizeMm } from '../../units.ts';
import type { JobSpec } from '../request/types.ts';
import { type StandingPhoto, wishOfSubject } from './subject.ts';

export interface Focus {
  readonly x: number;
  readonly y: number;
  /** `subject`: so that the subject is kept. `attention`: what draws the eye. */
  readonly origin: 'given' | 'subject' | 'attention' | 'middle';
}

export interface CropFacts {
  readonly focus: Focus;
  readonly notices: readonly Notice[];
}

/**
 * Share of a subject without a face that may be cut off without a word. Assumed: a tail, an ear of a mask that is
 * coarse.
 */
const LOST_UNSAID = 0.2;

/**
 * What must stay in sight: as given, else the subject, else what draws the eye when something is cut off, else the
 * middle.
 */
export async function chooseFocus(
  { photo, subject }: Pick<StandingPhoto, 'photo' | 'subject'>,
  { focus, fit, zoom, size, outline }: Pick<JobSpec, 'focus' | 'fit' | 'zoom' | 'size' | 'outline'>,
): Promise<CropFacts> {
  if (fit === 'contain') return { focus: { x: 0.5, y: 0.5, origin: 'middle' }, notices: [] };
  const crop = shareOfCover(photo, { aspect: size.widthMm / size.heightMm, zoom });
  const isWhole = crop.width > 1 - 1e-6 && crop.height > 1 - 1e-6;
  if (focus) return { focus: { ...focus, origin: 'given' }, notices: [] };
  if (isWhole && !(outline && subject)) return { focus: { x: 0.5, y: 0.5, origin: 'middle' }, notices: [] };
  if (!subject) {
    const found = await findAttention(photo, size.widthMm / size.heightMm);
    return { focus: { ...found, origin: 'attention' }, notices: [] };
  }
  const choice = chooseCrop(wishOfSubject(subject), { crop, ...seenOf(size, outline) });
  const photoLost = 1 - crop.width * crop.height;
  const { facesCut: cut, isFirstCut, subjectLost: lost } = choice;
  const faces = subject.faces.length;
  const notices =
    cut > 0
      ? [notice('subject-cut', { cut, faces, isFirstCut, photoLost })]
      : faces === 0 && lost > LOST_UNSAID
        ? [notice('subject-lost', { lost, photoLost })]
        : [];
  return { focus: { ...choice.focus, origin: 'subject' }, notices };
}

/** How a piece that may lie either way shows more of the photo; by what of its subject is lost, then by area. */
export function chooseLay(
  { photo, subject }: Pick<StandingPhoto, 'photo' | 'subject'>,
  { size, zoom, outline }: Pick<JobSpec, 'size' | 'zoom' | 'outline'>,
): SizeMm {
  const turned = { ...size, widthMm: size.heightMm, heightMm: size.widthMm };
  const judge = (as: SizeMm) => {
    const crop = shareOfCover(photo, { aspect: as.widthMm / as.heightMm, zoom });
    const choice = subject && chooseCrop(wishOfSubject(subject), { crop, ...seenOf(as, outline) });
    return { cut: choice?.facesCut ?? 0, shown: crop.width * crop.height };
  };
  const [as, other] = [judge(size), judge(turned)];
  if (other.cut !== as.cut) return other.cut < as.cut ? turned : size;
  return other.shown > as.shown * MUCH_MORE ? turned : size;
}

const seenOf = (size: SizeMm, outline: JobSpec['outline']) =>
  outline ? { seen: seenWithin(size, outline.outline) } : {};

/** A piece is turned for this much more of the photo, a factor. Assumed: for less nobody would turn a card. */
const MUCH_MORE = 1.15;

/** Width and height of the crop that fills a piece, shares of the photo. */
function shareOfCover(
  photo: Pick<Photo, 'width' | 'height'>,
  { aspect, zoom = 1 }: { readonly aspect: number; readonly zoom: number | undefined },
): { readonly width: number; readonly height: number } {
  return {
    width: Math.min(1, (photo.height * aspect) / photo.width) / zoom,
    height: Math.min(1, photo.width / aspect / photo.height) / zoom,
  };
}

/** The tone of the job: what its mode gives, with the values set by hand over it. */
export function chooseToneValues(
  light: Plane<'luminance'>,
  { spec, mask }: { readonly spec: JobSpec; readonly mask?: Plane<'mask'> },
): ToneOptions {
  const { tone, toneValues, profile, grid, viewingDistanceMm } = spec;
  if (tone === 'plain') return { ...TONE_DEFAULTS, ...toneValues };
  const { xUm, yUm } = computeMarkDiametersUm(profile.response, grid);
  const markDiameterUm = Math.sqrt(xUm * yUm);
  return {
    ...chooseTone(light, { grid, markDiameterUm, viewingDistanceMm, ...(mask ? { mask } : {}) }),
    ...toneValues,
  };
}

/**
 * Share of each dot of the piece that may be marked: inside its outline and margin and the picture's own outline, where
 * the photo is and is opaque.
 */
export function markable(
  frame: Frame,
  opaque: Plane<'mask'> | undefined,
  { outline }: Pick<JobSpec, 'outline'>,
): Plane<'mask'> | undefined {
  const { place, width, height } = frame;
  const fills = place.width === width && place.height === height;
  const shown =
    fills || opaque
      ? opaque
      : createPlane('mask', place.width, place.height, new Uint8Array(place.width * place.height).fill(255));
  const masks = [shown && placeOnPiece(shown, frame), pieceMask(frame), outline && outlineMask(frame, outline)];
  return masks
    .filter((mask) => mask !== undefined)
    .reduce<Plane<'mask'> | undefined>((all, mask) => (all ? multiplyMasks(all, mask) : mask), undefined);
}
