import { computeMarkDiametersUm } from '../../material/index.ts';
import {
  chooseTone,
  type Frame,
  multiplyMasks,
  pieceMask,
  placeOnPiece,
  TONE_DEFAULTS,
  type ToneOptions,
} from '../../photo/index.ts';
import { createPlane, findAttention, type Photo, type Plane } from '../../plane/index.ts';
import type { JobSpec } from '../request/types.ts';

export interface Focus {
  readonly x: number;
  readonly y: number;
  readonly origin: 'given' | 'attention' | 'middle';
}

/** What must stay in sight: as given, else what draws the eye when something is cut off, else the middle. */
export async function chooseFocus(photo: Photo, { focus, fit, size }: JobSpec): Promise<Focus> {
  if (focus) return { x: focus.x, y: focus.y, origin: 'given' };
  if (fit === 'contain') return { x: 0.5, y: 0.5, origin: 'middle' };
  return { ...(await findAttention(photo, size.widthMm / size.heightMm)), origin: 'attention' };
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

/** Share of each dot of the piece that may be marked: inside its outline and margin, where the photo is and is opaque. */
export function markable(frame: Frame, opaque: Plane<'mask'> | undefined): Plane<'mask'> | undefined {
  const { place, width, height } = frame;
  const outline = pieceMask(frame);
  if (place.width === width && place.height === height && !opaque) return outline;
  const shown =
    opaque ?? createPlane('mask', place.width, place.height, new Uint8Array(place.width * place.height).fill(255));
  const placed = placeOnPiece(shown, frame);
  return outline ? multiplyMasks(placed, outline) : placed;
}
