import type { Lab } from '../colour/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { assumeResponse } from './response.ts';
import type { MarkDirection, Material, MaterialMark, Profile, ScreenChoice } from './types.ts';

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

/** Colour of the surface that a mark stands on. */
export const bareOf = (material: Pick<Material, 'bare'>, mark: Pick<MaterialMark, 'bare'>): Lab =>
  mark.bare ?? material.bare;

/** Lightness that is taken for a surface and its mark where nobody measured, L*. Assumed: common stock. */
export const ASSUMED_LIGHTNESS = {
  lighter: { bare: 20, full: 75 },
  darker: { bare: 80, full: 25 },
} as const;

/** A material of which only the name and the way of marking are known; or one whose mark at this wavelength is not. */
export function assumeMaterial(
  known: Material | string,
  { direction, wavelengthNm }: { readonly direction: MarkDirection; readonly wavelengthNm: number },
): Material {
  const { bare, full } = ASSUMED_LIGHTNESS[direction];
  const own = typeof known === 'string' ? undefined : known;
  const bareL = own?.bare[0] ?? bare;
  const mark: MaterialMark = {
    wavelengthNm: [wavelengthNm, wavelengthNm],
    direction,
    full: [direction === 'lighter' ? Math.max(full, (bareL + 100) / 2) : Math.min(full, bareL / 2), 0, 0],
    markToSpot: ASSUMED_MARK.toSpot,
    steepness: ASSUMED_MARK.steepness,
    yuleNielsenN: ASSUMED_MARK.yuleNielsenN,
    note: 'Nothing but the direction is known.',
    source: 'commonPractice',
  };
  if (own) return { ...own, marks: [...own.marks, mark] };
  const title = known as string;
  return {
    schema: 'tonewright-material/1',
    name: nameOf(title),
    title,
    aliases: [],
    bare: [bareL, 0, 0],
    marks: [mark],
    cautions: [],
    origin: { kind: 'assumed', note: 'Nothing but a name and the direction of its mark is known.' },
  };
}

/** Width of a mark as a share of the spot, steepness, light scatter. Assumed: a middling material. */
const ASSUMED_MARK = { toSpot: 0.8, steepness: 5, yuleNielsenN: 1 } as const;

const nameOf = (title: string) =>
  title
    .toLowerCase()
    .normalize('NFD')
    .replace(/\p{M}/gu, '')
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-+|-+$/g, '')
    .slice(0, 60) || 'unnamed';

/**
 * A stand-in for a material without a profile: lightness straight from bare to full over coverage, everything assumed.
 * Undefined when the material has no marks at the machine's wavelength. The notice `tone-guessed` belongs to whatever
 * it is used for.
 */
export function straightProfile(options: StraightProfileOptions): Profile | undefined {
  const { material, machine, grid, settings, screen, date = '1970-01-01' } = options;
  const mark = findMark(material, machine.wavelengthNm);
  if (!mark) return undefined;
  const bare = bareOf(material, mark);
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
    bare,
    full: mark.full,
    points: [
      { coverage: 0, lightness: bare[0], spread: 0 },
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
