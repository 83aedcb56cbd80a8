import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { GRID_FIELDS, QUANTITIES, SETTINGS_FIELDS, within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import { SOURCES, type SourceKey } from '../sources.ts';
import { bareOf } from './straight.ts';
import {
  BENEATH,
  type LevelDose,
  type MarkDirection,
  type Material,
  type Profile,
  type RefusedMaterial,
} from './types.ts';

/** Of differences and scatter of lightness. */
const deltaL = v.pipe(within(0, 100, 'ΔL*'), v.gtValue(0, 'a number above 0'));
/** Width of what a lone dot's dose falls off over, µm: from a wavelength to marks that no bitmap resolves (assumed). */
const doseDiameter = within(0.5, 2000, 'µm');
/** Hill exponents from the flattest that a fit finds to steps; assumed. */
const steepness = within(0.01, 1000);
const text = v.pipe(v.string('text'), v.nonEmpty('text that is not empty'));
const name = v.pipe(
  v.string('text'),
  v.regex(/^[a-z0-9]+(?:[-.][a-z0-9]+)*$/, 'a name of lower-case letters, digits and hyphens'),
);
const lab = v.tuple([within(0, 100), within(-128, 128), within(-128, 128)], 'three numbers [L*, a*, b*]');
const source = v.picklist(Object.keys(SOURCES) as SourceKey[], 'a key of the bibliography');
const direction = v.picklist(['lighter', 'darker'], '"lighter" or "darker"');
const through = v.literal('through', '"through"');
const beneath = v.picklist(BENEATH, '"dark" or "light"');
const grid = v.strictObject(GRID_FIELDS, 'an object');
const cautions = v.array(v.strictObject({ text, source }, 'an object'), 'a list');
const aliases = v.array(
  v.pipe(
    text,
    v.check((value) => value === value.toLowerCase(), 'lower-case text'),
  ),
  'a list',
);

const wavelengths = v.tuple([QUANTITIES.wavelengthNm, QUANTITIES.wavelengthNm], 'two numbers [min, max]');
/** Of what is clear to the eye: from air to beyond the heaviest glass (assumed). */
const refractiveIndex = within(1, 3);
const settings = v.strictObject(SETTINGS_FIELDS, 'an object');
const date = v.pipe(v.string('text'), v.isoDate('a date such as 2026-03-31'));

/** Fields that records of several kinds have. */
export const RECORD_RULES = { date, grid, lab, name, settings, text } as const;

const factor = within(1e-3, 1e3);
const interval = v.tuple([factor, factor, factor], 'three numbers [value, low, high]');

const screen = v.strictObject(
  {
    name: text,
    options: v.record(v.string(), v.union([v.string(), within(-1e9, 1e9)], 'text or a number'), 'an object'),
  },
  'an object',
);
const points = v.pipe(
  v.array(
    v.strictObject({ coverage: within(0, 1), lightness: within(0, 100), spread: within(0, 100) }, 'an object'),
    'a list',
  ),
  v.minLength(2, 'at least 2 points'),
);
const band = v.array(
  v.strictObject({ coverage: within(0, 1), low: within(0, 100), high: within(0, 100) }, 'an object'),
  'a list',
);

const PROFILE = v.strictObject(
  {
    schema: v.literal('tonewright-profile/1', '"tonewright-profile/1"'),
    name,
    title: text,
    material: text,
    machine: text,
    grid,
    settings,
    screen,
    direction,
    bare: lab,
    full: lab,
    points,
    response: v.strictObject(
      {
        doseDiameterXUm: doseDiameter,
        doseDiameterYUm: doseDiameter,
        halfDose: within(1e-4, 1e4),
        steepness,
        fading: within(0, 0.9),
        yuleNielsenN: within(1, 100),
        reference: grid,
      },
      'an object',
    ),
    repeatability: within(0, 100),
    origin: v.picklist(['measured', 'simulated', 'assumed'], '"measured", "simulated" or "assumed"'),
    date,
    note: v.string('text'),
    captures: v.exactOptional(
      v.strictObject(
        { count: within(1, 1000), camera: v.picklist(['known', 'unknown'], '"known" or "unknown"') },
        'an object',
      ),
    ),
    aim: v.exactOptional(
      v.strictObject(
        {
          scale: v.picklist(['lightness', 'density'], '"lightness" or "density"'),
          darkest: v.exactOptional(within(0, 100)),
          lightest: v.exactOptional(within(0, 100)),
          follows: v.exactOptional(v.array(text, 'a list')),
        },
        'an object',
      ),
    ),
    limits: v.exactOptional(
      v.strictObject({ passMean: deltaL, passWorst: deltaL, warnMean: deltaL, warnWorst: deltaL }, 'an object'),
    ),
    fit: v.exactOptional(
      v.strictObject(
        {
          band,
          markDiameterXUm: v.tuple([QUANTITIES.diameterUm, QUANTITIES.diameterUm], 'two numbers [low, high]'),
          markDiameterYUm: v.tuple([QUANTITIES.diameterUm, QUANTITIES.diameterUm], 'two numbers [low, high]'),
          leaveOneOut: within(0, 100),
          modelRms: within(0, 100),
          warnings: v.array(text, 'a list'),
        },
        'an object',
      ),
    ),
    exposure: v.exactOptional(
      v.strictObject(
        {
          basis: v.picklist(['reference', 'scanner', 'none'], '"reference", "scanner" or "none"'),
          factor: within(1, 100),
          lightness: v.exactOptional(within(0, 100)),
          tolerance: v.exactOptional(within(0, 100)),
        },
        'an object',
      ),
    ),
    adjusted: v.exactOptional(
      v.strictObject({ from: name, date, chart: text, doseFactor: interval, widthFactor: interval }, 'an object'),
    ),
    seen: v.exactOptional(through),
    beneath: v.exactOptional(beneath),
    levels: v.exactOptional(
      v.strictObject(
        {
          count: v.pipe(
            v.number('a whole number 3 … 256'),
            v.integer('a whole number 3 … 256'),
            v.minValue(3, 'a whole number 3 … 256'),
            v.maxValue(256, 'a whole number 3 … 256'),
          ),
          screen,
          points,
          doseByLevel: v.pipe(
            v.array(v.tuple([within(0, 1), within(0, 1)], 'two numbers [level, dose]'), 'a list'),
            v.minLength(2, 'at least 2 levels'),
          ),
          fit: v.strictObject({ band, leaveOneOut: within(0, 100), modelRms: within(0, 100) }, 'an object'),
        },
        'an object',
      ),
    ),
    heat: v.exactOptional(
      v.strictObject(
        {
          along: within(0, 2),
          across: within(0, 2),
          lengthMm: within(1e-3, 100, 'mm'),
          total: v.tuple([within(-4, 4), within(-4, 4), within(-4, 4)], 'three numbers [value, low, high]'),
        },
        'an object',
      ),
    ),
  },
  'an object',
);

const MATERIAL = v.strictObject(
  {
    schema: v.literal('tonewright-material/1', '"tonewright-material/1"'),
    name,
    title: text,
    aliases,
    bare: lab,
    marks: v.pipe(
      v.array(
        v.strictObject(
          {
            wavelengthNm: wavelengths,
            direction,
            full: lab,
            markToSpot: within(0.01, 100),
            steepness,
            yuleNielsenN: within(1, 100),
            note: v.string('text'),
            source,
            beneath: v.exactOptional(beneath),
            bare: v.exactOptional(lab),
          },
          'an object',
        ),
        'a list',
      ),
      v.minLength(1, 'at least 1 mark'),
    ),
    before: v.exactOptional(cautions),
    after: v.exactOptional(cautions),
    cautions,
    origin: v.strictObject(
      { kind: v.picklist(['published', 'measured', 'assumed'], '"published", "measured" or "assumed"'), note: text },
      'an object',
    ),
    clear: v.exactOptional(
      v.strictObject({ passesNm: v.array(wavelengths, 'a list'), refractiveIndex, source }, 'an object'),
    ),
    seen: v.exactOptional(through),
  },
  'an object',
);

const REFUSED = v.array(v.strictObject({ name, title: text, aliases, reason: text, source }, 'an object'), 'a list');

/**
 * Profile from parsed JSON.
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid naming the field, what was found and what was needed; profile-unusable when coverage or
 * lightness of the points are not strictly monotone.
 */
export function parseProfile(json: unknown, where: string): Profile {
  const profile: Profile = parseRecord(PROFILE, { json, what: where });
  refuseUnordered(profile.points, { field: 'points', where, direction: profile.direction });
  if (profile.levels) {
    refuseUnordered(profile.levels.points, { field: 'levels.points', where, direction: profile.direction });
    refuseDoses(profile.levels.doseByLevel, where);
  }
  return profile;
}

/** @throws AppError profile-unusable where coverage or lightness is not strictly monotone */
function refuseUnordered(
  points: Profile['points'],
  { field, where, direction }: { readonly field: string; readonly where: string; readonly direction: MarkDirection },
): void {
  const sign = direction === 'lighter' ? 1 : -1;
  for (let i = 1; i < points.length; i++) {
    const found = `${field}.${i - 1} and ${field}.${i}`;
    if (!(points[i].coverage > points[i - 1].coverage)) {
      throw new AppError(
        'profile-unusable',
        `${where}: ${found}: found coverage ${points[i - 1].coverage} then ${points[i].coverage}, needed coverage that rises`,
        { where, field: `${field}.${i}.coverage` },
      );
    }
    if (!((points[i].lightness - points[i - 1].lightness) * sign > 0)) {
      throw new AppError(
        'profile-unusable',
        `${where}: ${found}: found L* ${points[i - 1].lightness} then ${points[i].lightness}, needed L* that only ${sign > 0 ? 'rises' : 'falls'} for marks ${direction} than bare`,
        { where, field: `${field}.${i}.lightness` },
      );
    }
  }
}

/** @throws AppError profile-unusable where levels do not rise from 0 to 1, or doses fall */
function refuseDoses(doses: readonly LevelDose[], where: string): void {
  const [first, last] = [doses[0], doses.at(-1)!];
  const at = doses.findIndex(([level, dose], i) => i > 0 && !(level > doses[i - 1][0] && dose >= doses[i - 1][1]));
  if (at < 0 && first[0] === 0 && first[1] === 0 && last[0] === 1 && last[1] === 1) return;
  const found =
    at < 0 ? `${first.join(', ')} … ${last.join(', ')}` : `${doses[at - 1].join(', ')} then ${doses[at].join(', ')}`;
  throw new AppError(
    'profile-unusable',
    `${where}: levels.doseByLevel: found ${found}, needed levels and doses that rise from 0, 0 to 1, 1`,
    { where, field: 'levels.doseByLevel' },
  );
}

/** Material from parsed JSON. @throws AppError file-invalid naming the field, what was found and what was needed. */
export function parseMaterial(json: unknown, where: string): Material {
  const material: Material = parseRecord(MATERIAL, { json, what: where });
  material.marks.forEach((mark, i) => {
    if (
      mark.wavelengthNm[0] > mark.wavelengthNm[1] ||
      mark.full[0] > bareOf(material, mark)[0] !== (mark.direction === 'lighter')
    ) {
      throw new AppError(
        'file-invalid',
        `${where}: marks.${i}: found ${mark.wavelengthNm.join(' … ')} nm, ${mark.direction}, L* ${mark.full[0]} on bare ${bareOf(material, mark)[0]}; needed wavelengths from small to large and an L* on the side of bare that the direction names`,
        { where, field: `marks.${i}` },
      );
    }
  });
  return material;
}

/** The list of refused materials from parsed JSON. @throws AppError file-invalid naming the field. */
export function parseRefused(json: unknown, where: string): readonly RefusedMaterial[] {
  return parseRecord(REFUSED, { json, what: where });
}
