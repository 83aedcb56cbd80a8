import { power } from '../numeric/index.ts';
import { describeSolid } from './solid.ts';
import type { Surface } from './types.ts';

/** What changed of the beam since a surface was learned. Factors; 1 is as it was. */
export interface BeamChange {
  /** Dose of the same settings: power that arrives at the work, taken-up light of the stock. */
  readonly dose: number;
  /** 1/e² diameter of a dot's dose, both ways: focus, a dirty lens. */
  readonly width: number;
}

/**
 * A surface under another beam, with the same settings typed in. Strengths are given in those of the solid, so that
 * another dose is another half dose and another fading, and the full colour becomes that of the weaker or stronger
 * solid.
 */
export function adjustSurface(surface: Surface, { dose, width }: BeamChange): Surface {
  const { response, bare, full } = surface;
  const widened = {
    ...response,
    doseDiameterXUm: response.doseDiameterXUm * width,
    doseDiameterYUm: response.doseDiameterYUm * width,
  };
  const { lightness } = describeSolid(
    { ...surface, response: widened },
    { grid: response.reference, doseFactor: dose },
  );
  const share = (lightness - bare[0]) / (full[0] - bare[0]);
  const along = (from: number, to: number) => from + share * (to - from);
  return {
    bare,
    full: [lightness, along(bare[1], full[1]), along(bare[2], full[2])],
    response: {
      ...widened,
      halfDose: response.halfDose / dose,
      fading: 1 - power(1 - response.fading, dose * dose),
    },
  };
}
