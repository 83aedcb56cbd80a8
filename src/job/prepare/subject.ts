import { type Notice, notice } from '../../notices.ts';
import {
  type CropWish,
  type FaceToKeep,
  type Frame,
  maskBackdrop,
  multiplyMasks,
  type PhotoPart,
  refineMatte,
  softenBackdrop,
} from '../../photo/index.ts';
import { decodePhoto, type Photo, type Plane, readColour, turnPhoto } from '../../plane/index.ts';
import {
  describeShare,
  type Face,
  findSubject,
  loadModels,
  type Point,
  type QuarterTurn,
  readShare,
  SEARCHED_PX,
  type Share,
} from '../../subject/index.ts';
import type { JobSpec } from '../request/types.ts';

/** Whom or what the photo is of, as it stands on the piece. Places are shares of the photo. */
export interface SeenSubject {
  /** By what it is known: found by faces, by the shape of people, by standing out; or somebody said it. */
  readonly by: 'faces' | 'people' | 'contrast' | 'given';
  /** The most important first. */
  readonly faces: readonly FaceToKeep[];
  readonly box: PhotoPart;
  /**
   * Share of each pixel of a small picture that is the subject's; undefined where only a part of the photo is known.
   */
  readonly share: Share | undefined;
}

/** A photo as it will stand on the piece. */
export interface StandingPhoto {
  readonly photo: Photo;
  /** By how much it was turned, degrees clockwise, and who said so. */
  readonly turn: { readonly deg: number; readonly origin: 'given' | 'faces' };
  readonly subject: SeenSubject | undefined;
  /** Whether the subject was looked for; not where nothing depends on it, or where no models are installed. */
  readonly isSearched: boolean;
  readonly notices: readonly Notice[];
}

/** Whether anything of this job depends on its subject: what somebody has decided needs no looking for. */
export function needsSubject({ subject, focus, fit, tone, backdrop }: JobSpec): boolean {
  if (subject === 'none') return false;
  return backdrop !== undefined || tone === 'auto' || (fit === 'cover' && focus === undefined);
}

/** The photo upright, and whom or what it is of. */
export async function standPhoto(photo: Photo, spec: JobSpec): Promise<StandingPhoto> {
  const given = spec.turnDeg;
  const upright = given ? turnPhoto(photo, given) : photo;
  const turn = { deg: given ?? 0, origin: 'given' as const };
  const as = (subject: SeenSubject | undefined, isSearched = false) => ({
    photo: upright,
    turn,
    subject,
    isSearched,
    notices: [],
  });
  const { subject } = spec;
  if (!needsSubject(spec)) return as(undefined);
  if (typeof subject === 'object') return as(await readGiven(subject));
  const models = loadModels();
  if (!models) return as(undefined);
  const found = findSubject(copySmall(upright), models);
  // Who has said how the photo stands, or where its crop lies, has seen it; and so has a camera that wrote down its
  // turn.
  const isAsked = given === undefined && spec.focus === undefined;
  if (found.turn !== 0 && found.isCertain && isAsked && photo.facts.exif === undefined) {
    const seen = found.subject && describe(found.subject);
    return {
      photo: turnPhoto(upright, found.turn),
      turn: { deg: found.turn, origin: 'faces' },
      subject: seen,
      isSearched: true,
      notices: [notice('photo-turned', { turnDeg: found.turn, faces: seen?.faces.length ?? 0 })],
    };
  }
  const kept = found.turn !== 0 && found.isCertain ? findSubject(copySmall(upright), models, { turns: 'none' }) : found;
  return {
    ...as(kept.subject && describe(kept.subject), true),
    notices: found.turn !== 0 && isAsked ? [notice('photo-maybe-turned', { turnDeg: found.turn as QuarterTurn })] : [],
  };
}

function copySmall(photo: Photo) {
  const scale = Math.min(1, SEARCHED_PX / Math.max(photo.width, photo.height));
  return readColour(photo, {
    crop: { x: 0, y: 0, width: photo.width, height: photo.height },
    width: Math.max(1, Math.round(photo.width * scale)),
    height: Math.max(1, Math.round(photo.height * scale)),
  });
}

function describe({ by, faces, box, share }: NonNullable<ReturnType<typeof findSubject>['subject']>): SeenSubject {
  return { by, faces: faces.map(faceToKeep), box, share };
}

/**
 * Where a face looks: how far the nose lies to one side of the middle between the ears. By definition ±1 where it
 * reaches an ear.
 */
function faceToKeep({ box, eyes, nose, ears: [left, right] }: Face): FaceToKeep {
  const middle = (left.x + right.x) / 2;
  const half = Math.max(Math.abs(right.x - left.x) / 2, box.width / 8);
  return {
    box,
    eyesY: (eyes[0].y + eyes[1].y) / 2,
    look: Math.min(1, Math.max(-1, (nose.x - middle) / half)),
  };
}

async function readGiven(asked: PhotoPart | { readonly mask: string }): Promise<SeenSubject | undefined> {
  if (!('mask' in asked)) return { by: 'given', faces: [], box: asked, share: undefined };
  const picture = await decodePhoto(Buffer.from(asked.mask, 'base64'), 'the picture of the subject');
  const small = copySmall(picture);
  const data = Float32Array.from({ length: small.width * small.height }, (_, at) => small.rgb[3 * at]! / 255);
  const share = { width: small.width, height: small.height, data };
  const { box } = describeShare(share);
  return box && { by: 'given', faces: [], box, share };
}

/** A picture at the dots: the part of the photo that it shows, and its size. */
interface PlacedPicture {
  readonly photo: { readonly width: number; readonly height: number };
  readonly frame: Pick<Frame, 'crop' | 'place'>;
}

/** The part of the photo, shares of its width and height, that a place of the picture shows, dots. */
function openPlaces({ photo, frame: { crop, place } }: PlacedPicture): (x: number, y: number) => Point {
  return (x, y) => ({
    x: (crop.x + (x / place.width) * crop.width) / photo.width,
    y: (crop.y + (y / place.height) * crop.height) / photo.height,
  });
}

/** What the picture becomes by its backdrop: other light, or less of it that is burned. */
export function applyBackdrop(
  { light, opaque }: { readonly light: Plane<'luminance'>; readonly opaque: Plane<'mask'> | undefined },
  {
    spec,
    subject,
    placed,
  }: { readonly spec: JobSpec; readonly subject: SeenSubject | undefined; readonly placed: PlacedPicture },
): {
  readonly light: Plane<'luminance'>;
  readonly opaque: Plane<'mask'> | undefined;
  readonly isKnown: boolean;
  readonly notices: readonly Notice[];
} {
  const { backdrop, grid } = spec;
  if (backdrop === undefined) return { light, opaque, isKnown: false, notices: [] };
  const share = subject?.share;
  if (!share) return { light, opaque, isKnown: false, notices: [notice('backdrop-kept')] };
  const placeAt = openPlaces(placed);
  const { crop, place } = placed.frame;
  const knownEveryDots = (place.width * placed.photo.width) / (share.width * crop.width);
  const matte = refineMatte(light, { grid, shareAt: (x, y) => readShare(share, placeAt(x, y)), knownEveryDots });
  const notices = subject.by === 'contrast' ? [notice('backdrop-unsure')] : [];
  if (backdrop === 'soften') return { light: softenBackdrop(light, matte), opaque, isKnown: true, notices };
  const burned = maskBackdrop(matte, { backdrop, grid });
  return { light, opaque: opaque ? multiplyMasks(opaque, burned) : burned, isKnown: true, notices };
}

/** What the crop should keep of a subject. */
export function wishOfSubject({ faces, box, share }: SeenSubject): CropWish {
  return { faces, box, ...(share ? { weights: share } : {}) };
}
