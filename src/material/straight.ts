import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { assumeResponse } from './response.ts';
import type { Material, MaterialMark, Profile, ScreenChoice } from './types.ts';

/** Belongs on every output of a job without a measured profile. */
export const STRAIGHT_CURVE_WARNING =
  'NOT CALIBRATED: no profile of this material, so coverage is a straight line from bare to solid and the tones are a guess. ' +
  'Expect muddy or washed-out faces; burn a tone chart and learn the material first.';

export interface StraightProfileOptions {
  readonly material: Material;
  readonly machine: { readonly name: string; readonly wavelengthNm: number; readonly spotDiameterUm: number };
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  readonly screen: ScreenChoice;
  /** ISO date for the record; the epoch, which stands for never learned, when absent. */
  readonly date?: string;
}

/** The marks of a material at a wavelength, if it has a record of them. */
export function findMark(material: Material, wavelengthNm: number): MaterialMark | undefined {
  return material.marks.find(({ wavelengthNm: [min, max] }) => wavelengthNm >= min && wavelengthNm <= max);
}

/**
 * A stand-in for a material without a profile: lightness straight from bare to full over coverage, everything assumed.
 * Undefined when the material has no marks at the machine's wavelength. Show `STRAIGHT_CURVE_WARNING` with whatever it
 * is used for.
 */
export function straightProfile(options: StraightProfileOptions): Profile | undefined {
  const { material, machine, grid, settings, screen, date = '1970-01-01' } = options;
  const mark = findMark(material, machine.wavelengthNm);
  if (!mark) return undefined;
  const markDiameterUm = mark.markToSpot * machine.spotDiameterUm;
  return {
    schema: 'tonewright-profile/1',
    name: `straight-${material.name}`,
    title: `${material.title}, not measured`,
    material: material.name,
    machine: machine.name,
    grid,
    settings,
    screen,
    direction: mark.direction,
    bare: material.bare,
    full: mark.full,
    points: [
      { coverage: 0, lightness: material.bare[0], spread: 0 },
      { coverage: 1, lightness: mark.full[0], spread: 0 },
    ],
    response: assumeResponse(
      {
        markDiameterXUm: Math.hypot(markDiameterUm, 1000 * grid.pitchMm * ASSUMED_SMEAR),
        markDiameterYUm: markDiameterUm,
        steepness: mark.steepness,
        drive: ASSUMED_DRIVE,
        yuleNielsenN: mark.yuleNielsenN,
      },
      grid,
    ),
    repeatability: ASSUMED_REPEATABILITY,
    origin: 'assumed',
    date,
    note: 'Not measured: a straight curve between assumed colours.',
  };
}

/** Peak dose of one dot over the half dose, a ratio. Assumed: the middle of what is taken for granted in a fit. */
const ASSUMED_DRIVE = 2;
/**
 * Part of a pitch, a share, by which the mark of one dot is drawn out along the scan. Assumed: the beam is on for half
 * of a dot.
 */
const ASSUMED_SMEAR = 0.5;
/** ΔL* between places of one piece. Assumed: a middling material; larger asks for clusters sooner. */
const ASSUMED_REPEATABILITY = 1.5;
