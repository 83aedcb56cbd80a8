import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { seeThroughStock } from '../optics/index.ts';
import { bareOf } from './straight.ts';
import type { Beneath, ClearStock, Material, MaterialMark, Seen } from './types.ts';

/** Whether most of a beam of this wavelength comes out of clear stock on its other side. */
export function passesBeam({ passesNm }: Pick<ClearStock, 'passesNm'>, wavelengthNm: number): boolean {
  return passesNm.some(([min, max]) => wavelengthNm >= min && wavelengthNm <= max);
}

const isFor = ({ wavelengthNm: [min, max] }: MaterialMark, wavelengthNm: number) =>
  wavelengthNm >= min && wavelengthNm <= max;

/** What may lie beneath the stock for its marks at a wavelength to be known, the usual first; none where all may. */
export function listBeneath({ marks }: Pick<Material, 'marks'>, wavelengthNm: number): readonly Beneath[] {
  return marks.flatMap((mark) => (isFor(mark, wavelengthNm) && mark.beneath ? [mark.beneath] : []));
}

/**
 * The material as it looks from one side and over one ground: of its marks those over that ground; clear stock whose
 * record tells the burned face, with full marks as they are seen through it.
 */
export function lookThrough(
  material: Material,
  { seen, beneath }: { readonly seen: Seen; readonly beneath?: Beneath },
): Material {
  const { clear } = material;
  const isOther = clear !== undefined && seen === 'through' && material.seen !== 'through';
  const marks = material.marks
    .filter((mark) => beneath === undefined || mark.beneath === undefined || mark.beneath === beneath)
    .map((mark) => (isOther ? seeMarkThrough(mark, material, clear) : mark));
  return marks.length === 0 ? material : { ...material, marks };
}

/**
 * A mark in optical contact with the stock, seen through it. What lies beneath shows through both faces from either
 * side, so that only what the mark adds to it is changed.
 */
function seeMarkThrough(mark: MaterialMark, material: Material, { refractiveIndex }: ClearStock): MaterialMark {
  const [bare, face] = [bareOf(material, mark)[0], mark.full[0]].map(reflectanceOfLightness);
  if (mark.direction === 'darker') return mark;
  const through = bare! + seeThroughStock(face! - bare!, refractiveIndex);
  return { ...mark, full: [Math.round(lightnessOfReflectance(through) * 10) / 10, mark.full[1], mark.full[2]] };
}
