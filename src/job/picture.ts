import { type Frame, framePhoto } from '../photo/index.ts';
import {
  type ColourImage,
  type Photo,
  type PhotoFacts,
  type Plane,
  readColour,
  resampleAlpha,
  resampleLuminance,
} from '../plane/index.ts';
import { chooseFocus, type Focus } from './choices.ts';
import type { JobSpec } from './spec.ts';

/** Long side of the small photo on the ticket, pixels: 240 per inch at the width it has there. */
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

/**
 * From the photo to linear light at the dots. The photo is asked for here and let go of here: its pixels are the largest
 * thing of a job, and nothing after needs them.
 */
export async function takePicture(
  load: () => Promise<Photo>,
  { spec, withThumbnail }: { readonly spec: JobSpec; readonly withThumbnail: boolean },
): Promise<Picture> {
  const photo = await load();
  const focus = await chooseFocus(photo, spec);
  const frame = framePhoto(photo, { ...spec, ...spec.size, focus: { x: focus.x, y: focus.y } });
  const { crop, place } = frame;
  const placed = { crop, width: place.width, height: place.height, ...(spec.weights ? { weights: spec.weights } : {}) };
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
    light: resampleLuminance(photo, placed),
    opaque: resampleAlpha(photo, placed),
    thumbnail: withThumbnail ? readColour(photo, { crop, ...thumb }) : undefined,
  };
}
