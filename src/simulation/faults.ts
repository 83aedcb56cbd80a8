import type { CameraOptions } from './cameras.ts';
import type { MaterialModel } from './material-model.ts';
import type { Surface } from './surface.ts';

/**
 * How far a tilted piece leaves focus from its middle line on, mm per mm. Assumed: a crumb of 2 mm under a card of 54
 * mm.
 */
export const TILT = 0.04;

/**
 * Factors: how much a dirty lens takes and blurs. Assumed: dirt that a shop may overlook and a control strip must see.
 */
export const DIRTY_LENS = { power: 0.8, spot: 1.15, origin: 'assumed' } as const;

/** The same material under a lens that was not cleaned: less power at the work, in a wider spot. */
export function dirtyLens(model: MaterialModel): MaterialModel {
  return {
    ...model,
    settings: { ...model.settings, powerW: model.settings.powerW * DIRTY_LENS.power },
    beam: {
      ...model.beam,
      spotDiameterXUm: model.beam.spotDiameterXUm * DIRTY_LENS.spot,
      spotDiameterYUm: model.beam.spotDiameterYUm * DIRTY_LENS.spot,
    },
  };
}

/**
 * Faults of taking the picture, shares of the picture and of full scale. Assumed: strong enough that a reader must
 * refuse.
 */
export const CAPTURE_FAULTS = {
  /** Light beyond what the sensor holds: the lightest places of the piece come this many times over its top. */
  clipped: { over: 1.6, origin: 'assumed' },
  /** A lamp mirrored in the piece; only where a camera stands over it. */
  glare: { x: 0.3, y: 0.35, sigma: 0.12, strength: 0.9, origin: 'assumed' },
} as const;

export type CaptureFault = keyof typeof CAPTURE_FAULTS;

/**
 * The same camera with faults.
 * @throws RangeError for glare on a flatbed, whose lamp moves with the sensor
 */
export function spoilCamera(
  camera: CameraOptions,
  { faults, surface }: { readonly faults: readonly CaptureFault[]; readonly surface: Pick<Surface, 'rgb'> },
): CameraOptions {
  let spoilt = camera;
  for (const fault of faults) {
    if (fault === 'clipped') spoilt = { ...spoilt, exposure: CAPTURE_FAULTS.clipped.over / findLightest(surface) };
    if (fault === 'glare') {
      if (spoilt.kind !== 'phone') throw new RangeError('a flatbed has no glare: its lamp moves with the sensor');
      const { x, y, sigma, strength } = CAPTURE_FAULTS.glare;
      spoilt = { ...spoilt, glareX: x, glareY: y, glareSigma: sigma, glareStrength: strength };
    }
  }
  return spoilt;
}

/** Reflectance that one place in fifty exceeds. */
function findLightest({ rgb }: Pick<Surface, 'rgb'>): number {
  const step = 3 * Math.max(1, Math.floor(rgb.length / 3 / 20_000));
  const seen: number[] = [];
  for (let i = 1; i < rgb.length; i += step) seen.push(rgb[i]!);
  seen.sort((a, b) => a - b);
  return Math.max(1e-3, seen[Math.floor(0.98 * (seen.length - 1))]!);
}
