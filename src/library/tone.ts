import { chooseToneValues } from '../job/index.ts';
import type { Profile, RangeFit } from '../material/index.ts';
import {
  adjustTone as adjustPlane,
  FRAME_DEFAULTS,
  type Frame,
  METERED_BY_PICTURE,
  TONE_DEFAULTS,
  TONE_FIELDS,
  type ToneOptions,
} from '../photo/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { type Luminance, type Mask, planeOf, viewPlane } from './views.ts';

export { TONE_DEFAULTS, TONE_FIELDS };

export interface ChooseToneOptions extends Partial<RangeFit> {
  readonly frame: Frame;
  readonly profile: Profile;
  readonly opaque?: Mask | undefined;
}

/**
 * The automatic tone of a picture for what a material can show: black, white and middle by the picture's own
 * quantiles, noise, local contrast and sharpening by its noise and the eye. Light and `opaque` are those of
 * `sampleLight`. As the command has it with `--subject none`: no face is looked for.
 */
export function chooseTone(light: Luminance, options: ChooseToneOptions): ToneOptions {
  const { frame, profile, opaque, range = 'scale', aim = profile.aim } = options;
  const { crop, grid, viewingDistanceMm = FRAME_DEFAULTS.viewingDistanceMm } = frame;
  return chooseToneValues(
    {
      light: planeOf('luminance', light),
      opaque: opaque && planeOf('mask', opaque),
      meter: METERED_BY_PICTURE,
      pixels: { width: crop.width, height: crop.height, left: crop.x % 1, top: crop.y % 1 },
    },
    { tone: 'auto', toneValues: {}, profile, grid, viewingDistanceMm, range, ...(aim ? { aim } : {}) },
  );
}

/**
 * The picture's own tone: exposure, points, midtones, contrast, then noise (guided filter), local contrast and
 * sharpening. `TONE_DEFAULTS` changes nothing; ranges are in `TONE_FIELDS`.
 * @throws AppError option-invalid for a value out of its range
 */
export function adjustTone(light: Luminance, tone: ToneOptions, { grid }: { readonly grid: DotGrid }): Luminance {
  return viewPlane(adjustPlane(planeOf('luminance', light), tone, { grid }));
}
