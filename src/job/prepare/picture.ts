import { drawLettering, type Lettering, placeCaption } from '../../caption/index.ts';
import { AppError } from '../../errors.ts';
import { computeLineWidths } from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import {
  type Frame,
  type FrameOptions,
  findBlank,
  framePhoto,
  type Meter,
  type PhotoPixels,
} from '../../photo/index.ts';
import {
  type ColourImage,
  type Photo,
  type PhotoFacts,
  type Plane,
  readColour,
  resampleAlpha,
  resampleLuminance,
} from '../../plane/index.ts';
import type { JobSpec } from '../request/types.ts';
import { type CropFacts, chooseFocus, chooseLay, type Focus } from './choices.ts';
import { bendPicture, spreadPixels, spreadSize } from './round.ts';
import { applyBackdrop, meterSubject, type SeenSubject, type StandingPhoto, standPhoto } from './subject.ts';

/**
 * Long side of the small photo on the ticket, pixels: 240 per inch at the width it has there. Assumed: as fine as print
 * at reading distance.
 */
const THUMB_PX = 480;

/** What the road keeps of a photo once its light is at the dots. */
export interface Picture {
  /** Size of the photo as it stands, pixels. */
  readonly width: number;
  readonly height: number;
  readonly facts: PhotoFacts;
  readonly focus: Focus;
  readonly turn: StandingPhoto['turn'];
  readonly subject: SeenSubject | undefined;
  readonly isSearched: boolean;
  /** The size as the piece lies, and the crop: what `framePhoto` needs beside the request. */
  readonly framing: Pick<
    FrameOptions,
    'widthMm' | 'heightMm' | 'cornerRadiusMm' | 'focus' | 'zoom' | 'bareBelowMm' | 'stretchX'
  >;
  readonly frame: Frame;
  /** What a person should know of the crop. */
  readonly notices: readonly Notice[];
  /** Linear luminance at `frame.place`. */
  readonly light: Plane<'luminance'>;
  /** Opaque share at `frame.place`; undefined when the photo has no transparency. */
  readonly opaque: Plane<'mask'> | undefined;
  /** The crop without the bars that are in this one; absent without any. */
  readonly alone?: CropFacts['alone'];
  /** Words and drawings on the piece; absent without any. */
  readonly lettering?: Lettering;
  /** By what light an automatic tone is set: that of faces, of a subject, or of all of it. */
  readonly meter: Meter;
  /** How the photo's pixels lie under the dots. */
  readonly pixels: PhotoPixels;
  /** Whether the shape of a subject was known, so that its backdrop could be told from it. */
  readonly isBackdropKnown: boolean;
  /** The photo as cropped, small; undefined when nobody will look at it. */
  readonly thumbnail: ColourImage | undefined;
}

export interface TakeOptions {
  readonly spec: JobSpec;
  readonly withThumbnail: boolean;
  /** What the piece shows of it: several marks show colours, which may be of one lightness. */
  readonly shows?: 'tones' | 'colours';
}

/** How many times wider than high. */
const shapeOf = ({ widthMm, heightMm }: SizeMmOf) => widthMm / heightMm;
type SizeMmOf = { readonly widthMm: number; readonly heightMm: number };

/**
 * From the photo to linear light at the dots. The photo is asked for here and let go of here: its pixels are the
 * largest thing of a job, and nothing after needs them.
 * @throws AppError picture-blank when there is nothing to see
 */
export async function takePicture(
  load: () => Promise<Photo>,
  { spec, withThumbnail, shows = 'tones' }: TakeOptions,
): Promise<Picture> {
  const standing = await standPhoto(await load(), spec);
  const { photo, turn, subject, isSearched } = standing;
  const size = spec.lay === 'free' ? chooseLay(standing, spec) : spec.size;
  const { widthMm, heightMm } = size;
  const bareBelowMm = leaveStrip(spec, size);
  // The picture has the piece but for the strip of a caption below it.
  const piece = { widthMm, heightMm: heightMm - bareBelowMm };
  const spread = spreadSize(spec, piece);
  const room = { ...size, ...spread };
  const { focus, notices, zoom = spec.zoom, alone } = await chooseFocus(standing, { ...spec, size: room });
  const framing = {
    widthMm,
    heightMm,
    cornerRadiusMm: size.cornerRadiusMm,
    focus: { x: focus.x, y: focus.y },
    ...(zoom === undefined ? {} : { zoom }),
    ...(bareBelowMm > 0 ? { bareBelowMm } : {}),
    ...(spec.round || spec.around ? { stretchX: shapeOf(spread) / shapeOf(piece) } : {}),
  };
  const frame = framePhoto(photo, { ...spec, ...framing });
  const told = size === spec.size ? [] : [notice('piece-turned', { widthMm, heightMm })];
  const { crop } = frame;
  const placed = { crop, ...spreadPixels(spec, frame), ...(spec.weights ? { weights: spec.weights } : {}) };
  const bend = <S extends 'luminance' | 'mask'>(plane: Plane<S>) => bendPicture(plane, { spec, frame });
  const opaqueFlat = resampleAlpha(photo, placed);
  const drawn = { light: bend(resampleLuminance(photo, placed)), opaque: opaqueFlat && bend(opaqueFlat) };
  const meter = meterSubject(drawn, { spec, subject, placed: { photo, frame } });
  const { light, opaque, ...behind } = applyBackdrop(drawn, { spec, subject, placed: { photo, frame } });
  if (shows === 'tones') refuseBlank(light, opaque);
  const scale = THUMB_PX / Math.max(crop.width, crop.height);
  const thumb = {
    width: Math.max(1, Math.round(crop.width * scale)),
    height: Math.max(1, Math.round(crop.height * scale)),
  };
  return {
    width: photo.width,
    height: photo.height,
    facts: photo.facts,
    focus,
    ...(alone ? { alone } : {}),
    turn,
    subject,
    isSearched,
    framing,
    frame,
    notices: [...standing.notices, ...told, ...notices, ...behind.notices],
    light,
    opaque,
    ...(await letterPiece(frame, spec)),
    meter,
    pixels: { width: crop.width, height: crop.height, left: crop.x % 1, top: crop.y % 1 },
    isBackdropKnown: behind.isKnown,
    thumbnail: withThumbnail ? readColour(photo, { crop, ...thumb }) : undefined,
  };
}

/** Height of the strip along the lower edge that a caption of its own takes, mm; 0 where none does. */
function leaveStrip({ caption, safeMarginMm }: JobSpec, size: JobSpec['size']): number {
  if (caption?.place !== 'below') return 0;
  return size.heightMm - placeCaption(caption, { ...size, safeMarginMm }).topMm;
}

async function letterPiece(
  frame: Frame,
  { caption, artwork, profile, grid }: JobSpec,
): Promise<Pick<Picture, 'lettering'>> {
  if (!caption && !artwork) return {};
  const lettering = await drawLettering({
    piece: frame,
    widths: computeLineWidths(profile, grid),
    ...(caption ? { caption } : {}),
    ...(artwork ? { artwork } : {}),
  });
  return { lettering };
}

/** A piece on which nothing could be seen is nobody's wish: an empty layer, or a crop of nothing but sky. */
function refuseBlank(light: Plane<'luminance'>, opaque: Plane<'mask'> | undefined): void {
  const blank = findBlank(light, opaque);
  if (!blank) return;
  const found =
    blank.kind === 'transparent' ? 'nothing but transparency' : `one tone alone (L* ${blank.lightness.toFixed(1)})`;
  throw new AppError('picture-blank', `nothing to see: found ${found} in what is engraved, needed a picture`, {
    ...blank,
  });
}
