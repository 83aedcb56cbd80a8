import { AppError } from '../../errors.ts';
import { type Frame, findBlank, framePhoto } from '../../photo/index.ts';
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

import { chooseFocus, type Focus } from './choices.ts';

/**
 * Long side of the small photo on the ticket, pixels: 240 per inch at the width it has there. Assumed: as fine as print
 * at reading distance.
 */
const THUMB_PX = 480;

/** What the road keeps of a photo once its light is at the dots. */
export interface Picture {
  /** Size of the photo, pixels. */
  readonly width: number;
  readonly height: number;
  readonly facts: PhotoFacts;
  readonly focus: Focus;
  readonly frame: Frame;
  /** Linear luminance at `frame.place`. */
  readonly light: Plane<'luminance'>;
  /** Opaque share at `frame.place`; undefined when the photo has no transparency. */
  readonly opaque: Plane<'mask'> | undefined;
  /** The photo as cropped, small; undefined when nobody will look at it. */
  readonly thumbnail: ColourImage | undefined;
}

export interface TakeOptions {
  readonly spec: JobSpec;
  readonly withThumbnail: boolean;
  /** What the piece shows of it: several marks show colours, which may be of one lightness. */
  readonly shows?: 'tones' | 'colours';
}

/**
 * From the photo to linear light at the dots. The photo is asked for here and let go of here: its pixels are the largest
 * thing of a job, and nothing after needs them.
 * @throws AppError picture-blank when there is nothing to see
 */
export async function takePicture(
  load: () => Promise<Photo>,
  { spec, withThumbnail, shows = 'tones' }: TakeOptions,
): Promise<Picture> {
  const photo = await load();
  const focus = await chooseFocus(photo, spec);
  const frame = framePhoto(photo, { ...spec, ...spec.size, focus: { x: focus.x, y: focus.y } });
  const { crop, place } = frame;
  const placed = { crop, width: place.width, height: place.height, ...(spec.weights ? { weights: spec.weights } : {}) };
  const light = resampleLuminance(photo, placed);
  const opaque = resampleAlpha(photo, placed);
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
    frame,
    light,
    opaque,
    thumbnail: withThumbnail ? readColour(photo, { crop, ...thumb }) : undefined,
  };
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
