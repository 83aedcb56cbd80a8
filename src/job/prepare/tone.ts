import { computeMarkDiametersUm, createAim, toneCurveOf } from '../../material/index.ts';
import { chooseTone, type PhotoPart, TONE_DEFAULTS, type ToneOptions, type ToneReach } from '../../photo/index.ts';
import type { JobSpec } from '../request/types.ts';
import type { Picture } from './picture.ts';

/** What of a job its tone is chosen by. */
export type ToneWish = Pick<
  JobSpec,
  'tone' | 'toneValues' | 'profile' | 'grid' | 'viewingDistanceMm' | 'range' | 'aim'
>;

/** The tone of the job: what its mode gives, with the values set by hand over it. */
export function chooseToneValues(
  { light, opaque, meter, pixels }: Pick<Picture, 'light' | 'opaque' | 'meter' | 'pixels'>,
  spec: ToneWish,
): ToneOptions {
  const { tone, toneValues, profile, grid, viewingDistanceMm } = spec;
  if (tone === 'plain') return { ...TONE_DEFAULTS, ...toneValues };
  const { xUm, yUm } = computeMarkDiametersUm(profile.response, grid);
  const markDiameterUm = Math.sqrt(xUm * yUm);
  const mask = opaque ? { mask: opaque } : {};
  const asked = { grid, markDiameterUm, viewingDistanceMm, meter, pixels, reach: reachOf(spec) };
  return { ...chooseTone(light, { ...asked, ...mask }), ...toneValues };
}

/** Faces whose skin an automatic tone brings out less than the rest. */
export function facesOf({ meter }: Pick<Picture, 'meter'>): { readonly faces: readonly PhotoPart[] } {
  return { faces: meter.skins.map(({ box }) => box) };
}

/** What the work shows of a picture's lightness. */
function reachOf({ profile, range, aim }: Pick<JobSpec, 'profile' | 'range' | 'aim'>): ToneReach {
  const own = toneCurveOf(profile);
  const spanL = own.lightest - own.darkest;
  const aimAt = createAim({ range, ...(aim ? { aim } : {}) }, own);
  return {
    spanL,
    lightnessAt(share) {
      const wanted = own.darkest + share * spanL;
      // The aim rises: halved so often that no tone is left between.
      let [low, high] = [0, 100];
      for (let step = 0; step < 20; step++) {
        const middle = (low + high) / 2;
        if (aimAt(middle) < wanted) low = middle;
        else high = middle;
      }
      return (low + high) / 2;
    },
  };
}
