import * as v from 'valibot';
import { NORMAL_95 } from '../numeric/index.ts';
import { QUANTITIES, within } from '../quantities.ts';
import { parseRecord, refuseFaults } from '../schema.ts';

/** A part of a field, mm from the field's upper left corner; x right, y down. */
export interface FieldPart {
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
}

/**
 * Terms of a smooth surface over the field, in shares of half its diagonal from its middle. `round` is what a scan lens
 * does whose axis lies near the middle, `tilt` what the way to a gantry's head does at first, `steep` a lens that falls
 * off towards its rim, with its axis anywhere.
 */
export const EVENNESS_SURFACES = {
  even: [() => 1],
  tilt: [() => 1, (u) => u, (_u, w) => w],
  round: [() => 1, (u) => u, (_u, w) => w, (u, w) => u * u + w * w],
  quadratic: [() => 1, (u) => u, (_u, w) => w, (u) => u * u, (u, w) => u * w, (_u, w) => w * w],
  steep: [
    () => 1,
    (u) => u,
    (_u, w) => w,
    (u) => u * u,
    (u, w) => u * w,
    (_u, w) => w * w,
    (u, w) => u * (u * u + w * w),
    (u, w) => w * (u * u + w * w),
    (u, w) => (u * u + w * w) ** 2,
  ],
} as const satisfies Readonly<Record<string, readonly ((u: number, w: number) => number)[]>>;

export type EvennessSurface = keyof typeof EVENNESS_SURFACES;

/** A quantity as a sum of terms, and how well each is known. */
export interface EvennessTerms {
  readonly coefficients: readonly number[];
  readonly covariance: readonly (readonly number[])[];
}

/**
 * How tones of the charts answered where the beam differs, against what the response model of their profile says. They
 * hold for its material, while a model of it says about the same.
 */
export interface FieldAnswers {
  /** Of that model: how steeply strength follows dose, and the dose of half strength in doses of a solid. */
  readonly steepness: number;
  readonly halfDose: number;
  /** Where a tone lies between bare (0) and full (1), and how many times the model's change it changed by either. */
  readonly tones: readonly { readonly share: number; readonly dose: number; readonly width: number }[];
  /** Of the coefficients of `lnDose` and `lnWidth`, then of the tones' answers to dose and to width. */
  readonly covariance: readonly (readonly number[])[];
}

/** How dose and mark width differ over the field of one machine and lens, as a field chart told. */
export interface EvennessMap {
  readonly schema: 'tonewright-evenness/1';
  readonly machine: string;
  readonly fieldMm: readonly [number, number];
  /** Hashes of the charts, the profile that they were read through, and its material. */
  readonly charts: readonly string[];
  readonly profile: string;
  readonly material: string;
  /** ISO date of the reading. */
  readonly date: string;
  /** Part of the field that the charts covered: beyond it nothing is known. */
  readonly covered: FieldPart;
  /** Where the profile's own chart is taken to lie: dose and width are counted by their mean there. */
  readonly home: FieldPart;
  readonly surface: EvennessSurface;
  /** Logarithms of dose and of width, of which the mean over `home` is to be taken away. */
  readonly lnDose: EvennessTerms;
  readonly lnWidth: EvennessTerms;
  /** Absent in maps that were read before tones were measured for themselves. */
  readonly answers?: FieldAnswers;
  /** Patches that were read. */
  readonly patches: number;
  /** What the patches differ by from the profile, root mean square, ΔL*: as one beam, with the map, and predicted. */
  readonly unevenL: number;
  readonly leftL: number;
  /** Of patches that the surface had not seen. */
  readonly crossL: number;
  /** What tones set by the map may be off by, mean of squares over the field, ΔL* (95 %); absent in older maps. */
  readonly reachL?: number;
  /** What follows, in sentences. */
  readonly notes: readonly string[];
}

const terms = v.strictObject({
  coefficients: v.array(within(-10, 10)),
  covariance: v.array(v.array(within(-100, 100))),
});
const part = v.strictObject({
  xMm: QUANTITIES.placeMm,
  yMm: QUANTITIES.placeMm,
  widthMm: QUANTITIES.sizeMm,
  heightMm: QUANTITIES.sizeMm,
});
const SCHEMA = v.strictObject({
  schema: v.literal('tonewright-evenness/1'),
  machine: v.pipe(v.string(), v.nonEmpty()),
  fieldMm: v.strictTuple([QUANTITIES.sizeMm, QUANTITIES.sizeMm]),
  charts: v.array(v.string()),
  profile: v.string(),
  material: v.string(),
  date: v.pipe(v.string(), v.regex(/^\d{4}-\d{2}-\d{2}$/, 'a day such as 2026-01-31')),
  covered: part,
  home: part,
  surface: v.picklist(Object.keys(EVENNESS_SURFACES) as EvennessSurface[]),
  lnDose: terms,
  lnWidth: terms,
  answers: v.exactOptional(
    v.strictObject({
      steepness: within(0, 1e4),
      halfDose: within(0, 1e4),
      tones: v.array(v.strictObject({ share: within(0, 1), dose: within(-10, 10), width: within(-10, 10) })),
      covariance: v.array(v.array(within(-100, 100))),
    }),
  ),
  patches: v.pipe(v.number(), v.integer(), v.minValue(1)),
  unevenL: within(0, 100),
  leftL: within(0, 100),
  crossL: within(0, 100),
  reachL: v.exactOptional(within(0, 100)),
  notes: v.array(v.string()),
});

/** An evenness map from parsed JSON. `where` is what messages call it. @throws AppError file-invalid */
export function parseEvenness(json: unknown, where: string): EvennessMap {
  const what = `evenness ${where}`;
  const map: EvennessMap = parseRecord(SCHEMA, { json, what });
  const count = EVENNESS_SURFACES[map.surface].length;
  for (const field of ['lnDose', 'lnWidth'] as const) {
    const { coefficients, covariance } = map[field];
    const fits = [coefficients, covariance, ...covariance].every((list) => list.length === count);
    if (fits) continue;
    const found = `${coefficients.length} coefficients and a covariance of ${covariance.length} rows`;
    refuseFaults([{ field, found, needed: `${count} of each for the surface "${map.surface}"` }], what);
  }
  const { answers } = map;
  if (!answers) return map;
  const size = 2 * (count + answers.tones.length);
  if (answers.covariance.length === size && answers.covariance.every((row) => row.length === size)) return map;
  const found = `${answers.tones.length} tones and a covariance of ${answers.covariance.length} rows`;
  refuseFaults([{ field: 'answers', found, needed: `${size} rows of as many for the surface "${map.surface}"` }], what);
  return map;
}

/** Dose and width at a place against those where the profile was learned: factors, each with its 95 % interval. */
export interface Evenness {
  readonly dose: number;
  readonly width: number;
  /** Factors by which the truth may lie to either side. */
  readonly doseReach: number;
  readonly widthReach: number;
}

/** Places along a side of `home` over which its mean is taken, a count. Assumed: exact for squares, near it beyond. */
const HOME_STEPS = 5;
/** Terms of a surface at a place of the field, mm from its upper left corner. */
export function evennessTerms(surface: EvennessSurface, fieldMm: readonly [number, number], xMm: number, yMm: number) {
  const [width, height] = fieldMm;
  const half = Math.hypot(width, height) / 2;
  const [u, w] = [(xMm - width / 2) / half, (yMm - height / 2) / half];
  return EVENNESS_SURFACES[surface].map((term) => term(u, w));
}

/** Terms of a surface in the mean over where the profile's own chart lies. */
export function homeTerms(
  surface: EvennessSurface,
  { fieldMm, home }: Pick<EvennessMap, 'fieldMm' | 'home'>,
): readonly number[] {
  const places = Array.from({ length: HOME_STEPS ** 2 }, (_, at) => {
    const [column, row] = [at % HOME_STEPS, Math.floor(at / HOME_STEPS)];
    const xMm = home.xMm + ((column + 0.5) / HOME_STEPS) * home.widthMm;
    const yMm = home.yMm + ((row + 0.5) / HOME_STEPS) * home.heightMm;
    return evennessTerms(surface, fieldMm, xMm, yMm);
  });
  return places[0]!.map((_, term) => places.reduce((sum, place) => sum + place[term]!, 0) / places.length);
}

/** The beam at places of the field, by a map. */
export function evennessAt(map: EvennessMap): (xMm: number, yMm: number) => Evenness {
  const termsAt = (xMm: number, yMm: number) => evennessTerms(map.surface, map.fieldMm, xMm, yMm);
  const mean = homeTerms(map.surface, map);
  const readTerms = ({ coefficients, covariance }: EvennessTerms, against: readonly number[]) => {
    const value = against.reduce((sum, term, at) => sum + term * coefficients[at]!, 0);
    const variance = against.reduce(
      (sum, a, i) => sum + a * against.reduce((row, b, j) => row + b * covariance[i]![j]!, 0),
      0,
    );
    return { factor: Math.exp(value), reach: Math.exp(NORMAL_95 * Math.sqrt(Math.max(0, variance))) };
  };
  return (xMm, yMm) => {
    const against = termsAt(xMm, yMm).map((term, at) => term - mean[at]!);
    const dose = readTerms(map.lnDose, against);
    const width = readTerms(map.lnWidth, against);
    return { dose: dose.factor, width: width.factor, doseReach: dose.reach, widthReach: width.reach };
  };
}

/** A place of the covered field with the beam there. */
export interface EvennessPlace extends Evenness {
  readonly xMm: number;
  readonly yMm: number;
}

/** The beam at `columns` × `rows` places of the covered part, its edges included, row by row. */
export function listEvenness(
  map: EvennessMap,
  { columns, rows }: { readonly columns: number; readonly rows: number },
): readonly EvennessPlace[] {
  const at = evennessAt(map);
  const { covered } = map;
  return Array.from({ length: columns * rows }, (_, index) => {
    const xMm = covered.xMm + ((index % columns) / (columns - 1)) * covered.widthMm;
    const yMm = covered.yMm + (Math.floor(index / columns) / (rows - 1)) * covered.heightMm;
    return { xMm, yMm, ...at(xMm, yMm) };
  });
}
