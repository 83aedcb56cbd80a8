import { type Notice, notice } from '../../notices.ts';
import { tabulate } from '../../numeric/index.ts';
import {
  type CropRequest,
  type FaceToKeep,
  type Frame,
  guideShares,
  METERED_BY_PICTURE,
  type Meter,
  maskBackdrop,
  meterPicture,
  multiplyMasks,
  type PhotoPart,
  refineMatte,
  skinRatio,
  softenBackdrop,
} from '../../photo/index.ts';
import {
  type ColourImage,
  decodePhoto,
  lightnessOfLuminance,
  type Photo,
  type Plane,
  readColour,
  resampleLuminance,
  turnPhoto,
} from '../../plane/index.ts';
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
  /** By what it is known: found by faces, by a shape, by standing out; or somebody said it. */
  readonly by: 'faces' | 'shape' | 'contrast' | 'given';
  /** Whether its share is decided; so where absent. */
  readonly isSure?: boolean;
  /** The most important first. */
  readonly faces: readonly FaceToKeep[];
  readonly box: PhotoPart;
  /**
   * Share of each pixel of a small picture that is the subject's; undefined where only a part of the photo is known.
   */
  readonly share: Share | undefined;
  /** Faces within a subject that somebody named: its crop is as named, its tone is set by them. */
  readonly facesWithin?: readonly PhotoPart[];
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
  const models = loadModels();
  if (typeof subject === 'object') {
    const seen = await readGiven(subject, { photo, upright, turnDeg: turn.deg });
    if (!seen || !models || spec.tone !== 'auto') return as(seen);
    const { subject: found } = findSubject(copySmall(upright), models, { turns: 'none' });
    const isWithin = ({ x, y, width, height }: PhotoPart) =>
      shareOf(seen, { x: x + width / 2, y: y + height / 2 }) >= 0.5;
    const boxes = found?.faces.map(({ box }) => box) ?? [];
    return as({ ...seen, facesWithin: boxes.filter(isWithin) });
  }
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

const copySmall = (photo: Photo) =>
  readColour(photo, { crop: { x: 0, y: 0, width: photo.width, height: photo.height }, ...sizeOfCopy(photo) });

function sizeOfCopy({ width, height }: Pick<Photo, 'width' | 'height'>) {
  const scale = Math.min(1, SEARCHED_PX / Math.max(width, height));
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
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

interface Stand {
  readonly photo: Photo;
  /** The photo as it stands on the piece. */
  readonly upright: Photo;
  readonly turnDeg: number;
}

async function readGiven(asked: PhotoPart | { readonly mask: string }, stand: Stand): Promise<SeenSubject | undefined> {
  if (!('mask' in asked)) return { by: 'given', faces: [], box: asked, share: undefined };
  const picture = await decodePhoto(Buffer.from(asked.mask, 'base64'), 'the picture of the subject');
  const small = copySmall(picture);
  const data = tabulate(new Float32Array(small.width * small.height), (at) => small.rgb[3 * at]! / 255);
  const share = standShare({ width: small.width, height: small.height, data }, stand);
  const { box } = describeShare(share);
  return box && { by: 'given', faces: findFacesWithin(share, stand.upright), box, share };
}

/** A shape tells nothing of faces, and the crop and the tone are for them: those inside it count as if looked for. */
function findFacesWithin(share: Share, upright: Photo): readonly FaceToKeep[] {
  const models = loadModels();
  const found = models && findSubject(copySmall(upright), models, { turns: 'none' }).subject;
  const isWithin = ({ box: { x, y, width, height } }: Face) =>
    readShare(share, { x: x + width / 2, y: y + height / 2 }) >= 0.5;
  return (found?.faces ?? []).filter(isWithin).map(faceToKeep);
}

/** The share of a photo as it came, where its parts lie once it stands: both turns are about the middle. */
function standShare(share: Share, { photo, upright, turnDeg }: Stand): Share {
  if (turnDeg === 0) return share;
  return sampleTurned(share, { from: photo, to: upright, size: sizeOfCopy(upright), turnDeg });
}

interface TurnedSampling {
  /** Pixels of the picture that the share is of, and of the one that is turned clockwise against it. */
  readonly from: { readonly width: number; readonly height: number };
  readonly to: { readonly width: number; readonly height: number };
  /** Of the result. */
  readonly size: { readonly width: number; readonly height: number };
  readonly turnDeg: number;
}

function sampleTurned(share: Share, { from, to, size: { width, height }, turnDeg }: TurnedSampling): Share {
  const angle = (turnDeg * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const u = ((x + 0.5) / width - 0.5) * to.width;
      const v = ((y + 0.5) / height - 0.5) * to.height;
      const place = { x: 0.5 + (u * cos + v * sin) / from.width, y: 0.5 + (v * cos - u * sin) / from.height };
      data[y * width + x] = readShare(share, place);
    }
  }
  return { width, height, data };
}

/**
 * Radius in which a mask is brought to the edges of the picture, a share of its long side. Assumed: as far as hair
 * stands off a head.
 */
const SEAM = 1 / 160;

/**
 * The subject of a photo as a picture to paint on: as the photo came, before any turn, white where the subject is, with
 * edges that follow those of the photo. Black where nothing is known.
 */
export async function drawSubjectShare(photo: Photo, spec: JobSpec): Promise<ColourImage> {
  // Somebody asks for it, whatever else of the job depends on it.
  const subject = spec.subject === 'none' ? 'auto' : spec.subject;
  const standing = await standPhoto(photo, { ...spec, subject, backdrop: spec.backdrop ?? 'soften' });
  const size = sizeOfCopy(photo);
  const { width, height } = size;
  const seen = standing.subject && (standing.subject.share ?? shareOfBox(standing.subject.box, size));
  const rgb = new Uint8Array(3 * width * height);
  if (!seen) return { width, height, rgb };
  const { data } = sampleTurned(seen, {
    from: standing.photo,
    to: photo,
    size,
    turnDeg: -standing.turn.deg,
  });
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const light = resampleLuminance(photo, { crop, width, height });
  const guide = tabulate(new Float32Array(light.data.length), (at) => lightnessOfLuminance(light.data[at]!) / 100);
  const radius = Math.max(2, Math.round(SEAM * Math.max(width, height)));
  const edged = guideShares(data, { width, height, data: guide }, radius);
  for (let at = 0; at < edged.length; at++) {
    rgb.fill(Math.round(255 * Math.min(1, Math.max(0, edged[at]!))), 3 * at, 3 * at + 3);
  }
  return { width, height, rgb };
}

function shareOfBox(box: PhotoPart, { width, height }: { readonly width: number; readonly height: number }): Share {
  const data = tabulate(new Float32Array(width * height), (at) => {
    const [x, y] = [((at % width) + 0.5) / width, (Math.floor(at / width) + 0.5) / height];
    return x >= box.x && x <= box.x + box.width && y >= box.y && y <= box.y + box.height ? 1 : 0;
  });
  return { width, height, data };
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

/** Long side of the copy of a subject's share that metering reads, pixels. Assumed: finer than the models' own edge. */
const METERED_PX = 160;

/** The light of the photo's subject, as far as an automatic tone goes by it. */
export function meterSubject(
  { light, opaque }: { readonly light: Plane<'luminance'>; readonly opaque: Plane<'mask'> | undefined },
  {
    spec,
    subject,
    placed,
  }: {
    readonly spec: JobSpec;
    readonly subject: SeenSubject | undefined;
    readonly placed: PlacedPicture & { readonly photo: Photo };
  },
): Meter {
  if (spec.tone !== 'auto' || !subject) return METERED_BY_PICTURE;
  const { crop, place } = placed.frame;
  const boxes = subject.facesWithin ?? subject.faces.map(({ box }) => box);
  const faces = boxes.map((box) => ({
    x: (box.x * placed.photo.width - crop.x) / crop.width,
    y: (box.y * placed.photo.height - crop.y) / crop.height,
    width: (box.width * placed.photo.width) / crop.width,
    height: (box.height * placed.photo.height) / crop.height,
  }));
  const scale = METERED_PX / Math.max(place.width, place.height);
  const width = Math.max(1, Math.round(place.width * scale));
  const height = Math.max(1, Math.round(place.height * scale));
  const placeAt = openPlaces({ photo: placed.photo, frame: { crop, place: { ...place, width, height } } });
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) data[y * width + x] = shareOf(subject, placeAt(x + 0.5, y + 0.5));
  }
  const isGiven = subject.by === 'given';
  const redOverBlue = boxes.map((box) => skinRatio(copyPart(placed.photo, box)));
  return meterPicture(light, { subject: { faces, share: { width, height, data }, isGiven, redOverBlue }, opaque });
}

/** Side of the copy of a face by which the colour of its skin is told, pixels. Assumed: a median needs no more. */
const SKIN_PX = 32;

function copyPart(photo: Photo, { x, y, width, height }: PhotoPart): ColourImage {
  const crop = { x: x * photo.width, y: y * photo.height, width: width * photo.width, height: height * photo.height };
  return readColour(photo, { crop, width: SKIN_PX, height: SKIN_PX });
}

/** What of a place is the subject's; all of its box where no more is known. */
function shareOf({ share, box }: SeenSubject, at: Point): number {
  if (share) return readShare(share, at);
  return at.x >= box.x && at.y >= box.y && at.x < box.x + box.width && at.y < box.y + box.height ? 1 : 0;
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
  const notices = subject.by === 'contrast' || subject.isSure === false ? [notice('backdrop-unsure')] : [];
  if (backdrop === 'soften') return { light: softenBackdrop(light, matte), opaque, isKnown: true, notices };
  const burned = maskBackdrop(matte, { backdrop, grid });
  return { light, opaque: opaque ? multiplyMasks(opaque, burned) : burned, isKnown: true, notices };
}

/** What the crop should keep of a subject. */
export function cropRequestOf({ by, faces, box, share }: SeenSubject): CropRequest {
  return { faces, box, fromTop: by === 'shape', ...(share ? { weights: share } : {}) };
}
