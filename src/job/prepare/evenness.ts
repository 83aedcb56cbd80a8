import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import { type Evenness, type EvennessMap, evennessAt, type FieldAnswers, listEvenness } from '../../machine/index.ts';
import {
  type CoverageTable,
  DERIVED_COVERAGES,
  invertCurve,
  type TonePoint,
  toneCurveOf,
} from '../../material/index.ts';
import { createPchip } from '../../numeric/index.ts';
import { computeChordMm } from '../../optics/index.ts';
import type { Frame } from '../../photo/index.ts';
import { createPlane, type DotOrientation, ONE, type Plane } from '../../plane/index.ts';
import { girthAt } from '../request/around.ts';
import { tonesAtGirths, tonesUnderBeams } from '../request/beam-shift.ts';
import { keepMonotone } from '../request/curve.ts';
import type { PieceInField } from '../request/place.ts';
import { roundBeam } from '../request/round.ts';
import type { AroundSpec, JobSpec } from '../request/types.ts';
import { answerAt, answersFor, type ToneThere, toneReachL } from './field-answers.ts';

/**
 * What the solid may be short of, ΔL*, where a place still counts as usable: pieces of all usable places aim at what
 * the weakest of them reaches. Assumed: the eye sees a step of this size side by side, and a shop gives away no more.
 */
const MOST_LOSS_L = 3;
/** So much of it is no loss, ΔL*. Assumed: ends that differ by less are one, and a model is no surer of a solid. */
const FREE_LOSS_L = 1;
/** How far beyond the charts a piece may reach, share of the covered side. Assumed: half a patch is still the same. */
const BEYOND_SHARE = 0.04;
/** Places along each side of the covered field that the range is looked for at, a count. Assumed: a smooth field. */
const LOOKED_AT = 9;
/** Largest distance of two places of a piece whose curves are computed, mm, and most of them along a side, a count. */
const NODE = { distanceMm: 8, most: 12 } as const; // Assumed: between them a smooth field is straight.
/** The same across a round piece, mm and a count. Assumed: between them the cosine of its slant is straight. */
const BENT_NODE = { distanceMm: 2, most: 40 } as const;

/** Step of a numerical derivative, in the logarithm of a factor. Assumed: a hundredth is straight and no noise. */
const STEP = 0.01;

/** The tone curve of a job at places of the machine's field. */
interface CurveInField {
  /** At home, as far as every usable place can follow. */
  readonly points: readonly TonePoint[];
  /** Change of lightness by coverage where the beam is another, ΔL*, at `DERIVED_COVERAGES`. */
  readonly shiftAt: (beam: BeamFactors) => readonly number[];
  /** What a solid is short of at a place against home, ΔL*. */
  readonly lossAt: (beam: BeamFactors) => number;
  /** What the model says of tones under a beam, and how far it may be off, for the reach of a correction. */
  readonly tonesUnder?: (beam: BeamFactors) => readonly ToneThere[];
  readonly answers?: FieldAnswers;
  /** What all pieces give up of the full mark, so that every usable place reaches as far, ΔL*. */
  readonly givenUpL: number;
}

/** What of a job says by how much the beam differs over its piece: where that lies, and how its surface is bent. */
export type PlacedSpec = Pick<
  JobSpec,
  'profile' | 'grid' | 'screen' | 'levels' | 'curve' | 'place' | 'orientation' | 'round' | 'around'
>;

/** Whether the beam differs over the piece. */
export const isPlaced = ({ place, round, around }: Pick<JobSpec, 'place' | 'round' | 'around'>): boolean =>
  place !== undefined || round !== undefined || (around !== undefined && !isTube(around));

const isTube = ({ diametersMm: [upper, lower] }: AroundSpec) => upper === lower;

/** Factors of dose and width, as those of a field; on a cone, of its girth. */
interface BeamFactors extends Pick<Evenness, 'dose' | 'width'> {
  readonly girth?: number;
}
/** By definition: without a unit, as learned. */
const HOME: BeamFactors = { dose: 1, width: 1 };

const times = (a: BeamFactors, b: BeamFactors): BeamFactors => ({
  dose: a.dose * b.dose,
  width: a.width * b.width,
  girth: (a.girth ?? 1) * (b.girth ?? 1),
});

/**
 * What the bend of the surface does to the beam; shares of the piece's width and height, as it is looked at. On a cone
 * lines lie closer where it is thinner, while each dot stays as it is.
 */
function bendBeam(
  { round, around }: Pick<PlacedSpec, 'round' | 'around'>,
  widthMm: number,
): (u: number, w: number) => BeamFactors {
  if (round) {
    return (u) => {
      const { dose, width } = roundBeam(Math.abs(u - 0.5) * widthMm, round);
      return { dose, width: round.spread === 'corrected' ? width : 1 };
    };
  }
  if (!around || isTube(around)) return () => HOME;
  return (_u, w) => {
    const girth = girthAt(around, w);
    return { dose: 1 / girth, width: 1, girth };
  };
}

/** Beams at the ends of a cone, which all of its tones keep to; a round piece is cut where its edge cannot follow. */
const listBentEnds = (spec: PlacedSpec): readonly BeamFactors[] =>
  spec.around ? [bendBeam(spec, 1)(0.5, 0), bendBeam(spec, 1)(0.5, 1)] : [HOME];

/** Curves that were computed, by their profile: a look at a photo asks for the same one again and again. */
const known = new WeakMap<JobSpec['profile'], Map<string, CurveInField>>();

/**
 * The tone curve of a job's screen and grid over the field: the profile's response model says what other dose and width
 * make of the very dots of its screen, and that change is added to the curve of home.
 */
export function curveInField(spec: PlacedSpec, { home }: { readonly home: readonly TonePoint[] }): CurveInField {
  const { profile, grid, screen, levels, curve, place, round, around } = spec;
  const key = JSON.stringify([grid, screen.name, screen.options, levels, curve, place?.map, round, around]);
  const ofProfile = known.get(profile) ?? new Map<string, CurveInField>();
  known.set(profile, ofProfile);
  const found = ofProfile.get(key) ?? computeCurve(spec, home);
  ofProfile.set(key, found);
  return found;
}

/** Change of lightness at `DERIVED_COVERAGES` on a cone, where no field is known. */
function shiftsOnCone(spec: PlacedSpec, { diametersMm: [upper, lower] }: AroundSpec): CurveInField['shiftAt'] {
  const ends = [(2 * upper) / (upper + lower), (2 * lower) / (upper + lower)] as const;
  const tones = tonesAtGirths(spec, [Math.min(...ends), Math.max(...ends)]);
  const base = tones(1);
  return ({ girth = 1 }) => tones(girth).map((lightness, at) => lightness - base[at]!);
}

function shiftsUnderBeams(
  spec: PlacedSpec,
  met: readonly BeamFactors[],
): Pick<CurveInField, 'shiftAt' | 'tonesUnder' | 'answers'> {
  const logs = (key: 'dose' | 'width') => met.map((one) => Math.log(one[key]));
  const rangeOf = (values: readonly number[]) => [Math.min(0, ...values), Math.max(0, ...values)] as const;
  const tones = tonesUnderBeams(spec, { lnDose: rangeOf(logs('dose')), lnWidth: rangeOf(logs('width')) });
  const base = tones({ lnDose: 0, lnWidth: 0 });
  const answers = answersFor(spec.place?.map, spec.profile);
  const shares = base.map((lightness) => (lightness - base[0]!) / (base.at(-1)! - base[0]!));
  const answerOf = shares.map((share) => answerAt(answers, share));
  const shiftAt = ({ dose, width }: BeamFactors) => {
    const weaker = tones({ lnDose: Math.log(dose), lnWidth: 0 });
    const there = tones({ lnDose: Math.log(dose), lnWidth: Math.log(width) });
    return answerOf.map(
      (answer, at) => answer.dose * (weaker[at]! - base[at]!) + answer.width * (there[at]! - weaker[at]!),
    );
  };
  const tonesUnder = ({ dose, width }: BeamFactors): readonly ToneThere[] => {
    const [lnDose, lnWidth] = [Math.log(dose), Math.log(width)];
    const at = (byDose: number, byWidth: number) => tones({ lnDose: lnDose + byDose, lnWidth: lnWidth + byWidth });
    const [weaker, there] = [tones({ lnDose, lnWidth: 0 }), at(0, 0)];
    const [more, less, wider, narrower] = [at(STEP, 0), at(-STEP, 0), at(0, STEP), at(0, -STEP)];
    return shares.map((share, index) => ({
      share,
      byDose: weaker[index]! - base[index]!,
      byWidth: there[index]! - weaker[index]!,
      perDose: (answerOf[index]!.dose * (more[index]! - less[index]!)) / (2 * STEP),
      perWidth: (answerOf[index]!.width * (wider[index]! - narrower[index]!)) / (2 * STEP),
    }));
  };
  return { shiftAt, tonesUnder, ...(answers ? { answers } : {}) };
}

function computeCurve(spec: PlacedSpec, home: readonly TonePoint[]): CurveInField {
  const { place, round, around } = spec;
  const inField: readonly BeamFactors[] = place
    ? listEvenness(place.map, { columns: LOOKED_AT, rows: LOOKED_AT })
    : [HOME];
  const places = inField.flatMap((one) => listBentEnds(spec).map((bent) => times(one, bent)));
  const edge = round && roundBeam(computeChordMm(round.arcMm, round) / 2, round);
  const met = edge ? [...places, ...places.map((one) => times(one, edge))] : places;
  const told: Pick<CurveInField, 'shiftAt' | 'tonesUnder' | 'answers'> = around
    ? { shiftAt: shiftsOnCone(spec, around) }
    : shiftsUnderBeams(spec, met);
  const { shiftAt } = told;
  const sign = home.at(-1)!.lightness > home[0]!.lightness ? 1 : -1;
  const lossAt = (beam: BeamFactors) => -sign * shiftCurve(shiftAt(beam))(home.at(-1)!.coverage);
  const losses = places.map(lossAt).filter((loss) => loss <= MOST_LOSS_L);
  const givenUpL = Math.max(0, Math.max(...losses) - FREE_LOSS_L);
  return {
    points: endBefore(home, home.at(-1)!.lightness - sign * givenUpL),
    ...told,
    lossAt,
    givenUpL,
  };
}

const shiftCurve = (shifts: readonly number[]) => createPchip(DERIVED_COVERAGES, shifts).valueAt;

/** A curve that ends at a lightness before its own end. */
function endBefore(points: readonly TonePoint[], lightness: number): readonly TonePoint[] {
  const last = points.at(-1)!;
  if (Math.abs(lightness - last.lightness) < 1e-9) return points;
  const coverage = toneCurveOf({ points }).coverageAt(lightness);
  const kept = points.filter((point) => point.coverage < coverage - 1e-6);
  return [...kept, { coverage, lightness, spread: last.spread }];
}

/** How a piece is corrected for where it lies. */
export interface PlaceCorrection {
  readonly columns: number;
  readonly rows: number;
  /** Coverage 0 … ONE for luminance 0 … ONE at each place, row by row, as the piece is looked at. */
  readonly coverage: readonly Uint16Array[];
  /** Change of reflectance that the beam of the place makes, for reflectances 0 … 1 at home. */
  readonly seen: readonly Float32Array[];
  readonly facts: PlaceFacts;
}

export interface PlaceFacts {
  /** Dose and width over the piece against where the profile was learned: smallest and largest factor. */
  readonly dose: readonly [number, number];
  readonly width: readonly [number, number];
  /** The largest factor by which the dose may lie to either side, 95 %. */
  readonly doseReach: number;
  /** What tones would be off by without the correction, largest over piece and tones, ΔL*. */
  readonly correctedL: number;
  /** What tones may be off by from those at home with it, ΔL* (95 %, mean of squares over tones and corners). */
  readonly reachL?: number;
  readonly givenUpL: number;
}

/** Steps of reflectance of the proof's correction, a count. Assumed: finer than its picture's codes. */
const SEEN_STEPS = 1024;

/**
 * Curves at places of a piece, and what they make of a wanted lightness.
 * @throws AppError place-unusable where the field is not known, or a solid is too weak there
 */
export function correctForPlace(
  spec: PlacedSpec,
  {
    home,
    table,
    curve,
    frame,
  }: {
    readonly home: readonly TonePoint[];
    readonly table: CoverageTable;
    readonly curve: CurveInField;
    readonly frame: Pick<Frame, 'widthMm' | 'heightMm'>;
  },
): PlaceCorrection {
  const columns = spec.round ? countNodes(frame.widthMm, BENT_NODE) : spec.place ? countNodes(frame.widthMm) : 2;
  const rows = spec.place || spec.around ? countNodes(frame.heightMm) : 2;
  const shares = Array.from(
    { length: columns * rows },
    (_, at) => [(at % columns) / (columns - 1), Math.floor(at / columns) / (rows - 1)] as const,
  );
  const inField = spec.place ? beamsInField(shares, { place: spec.place, spec, frame }) : undefined;
  const bent = bendBeam(spec, frame.widthMm);
  const bentAt = shares.map(([u, w]) => bent(u, w));
  // A round piece is cut where it cannot follow: its own plan says so.
  refuseWeak(inField ?? shares.map(() => HOME), { curve, spec, bent: spec.round ? shares.map(() => HOME) : bentAt });
  const beams = bentAt.map((one, at) => times(inField?.[at] ?? HOME, one));
  const ownCurve = toneCurveOf({ points: home });
  let correctedL = 0;
  const shifts = beams.map((beam) => curve.shiftAt(beam));
  for (const shift of shifts) for (const one of shift) correctedL = Math.max(correctedL, Math.abs(one));
  const coverage = shifts.map((shift) => {
    const shiftOf = shiftCurve(shift);
    const local = home.map((point) => ({ ...point, lightness: point.lightness + shiftOf(point.coverage) }));
    return invertCurve(keepMonotone(local), table.lightness);
  });
  const seen = shifts.map((shift) => {
    const shiftOf = shiftCurve(shift);
    return Float32Array.from({ length: SEEN_STEPS + 1 }, (_, step) => {
      const reflectance = step / SEEN_STEPS;
      const lightness = lightnessOfReflectance(reflectance);
      const moved = lightness + shiftOf(ownCurve.coverageAt(lightness));
      return reflectanceOfLightness(Math.max(0, moved)) - reflectance;
    });
  });
  const ends = (key: 'dose' | 'width') => {
    const values = (inField ?? [HOME]).map((one) => one[key]);
    return [Math.min(...values), Math.max(...values)] as const;
  };
  return {
    columns,
    rows,
    coverage,
    seen,
    facts: {
      dose: ends('dose'),
      width: ends('width'),
      doseReach: Math.max(...(inField ?? []).map(({ doseReach }) => doseReach), 1),
      correctedL,
      ...(spec.place && inField && curve.tonesUnder
        ? { reachL: reachOfPiece(spec.place, { curve, tonesUnder: curve.tonesUnder, inField, shares, spec, frame }) }
        : {}),
      givenUpL: curve.givenUpL,
    },
  };
}

function reachOfPiece(
  place: PieceInField,
  {
    curve: { answers },
    tonesUnder,
    inField,
    shares,
    spec,
    frame,
  }: {
    readonly curve: CurveInField;
    readonly tonesUnder: NonNullable<CurveInField['tonesUnder']>;
    readonly inField: readonly BeamFactors[];
    readonly shares: readonly (readonly [number, number])[];
    readonly spec: PlacedSpec;
    readonly frame: Pick<Frame, 'widthMm' | 'heightMm'>;
  },
): number {
  const isCorner = ([u, w]: readonly [number, number]) => (u === 0 || u === 1) && (w === 0 || w === 1);
  const squares = shares.flatMap((share, at) => {
    if (!isCorner(share)) return [];
    const lies = lyingPlace(share, { frame, place, orientation: spec.orientation });
    const reaches = toneReachL(tonesUnder(inField[at]!), { map: place.map, answers, ...lies });
    return reaches.map((one) => one * one);
  });
  return Math.sqrt(squares.reduce((sum, one) => sum + one, 0) / squares.length);
}

const countNodes = (sideMm: number, { distanceMm, most }: { distanceMm: number; most: number } = NODE) =>
  Math.min(most, Math.max(2, Math.ceil(sideMm / distanceMm) + 1));

/** @throws AppError place-unusable where the field is not known */
function beamsInField(
  shares: readonly (readonly [number, number])[],
  {
    place,
    spec,
    frame,
  }: {
    readonly place: PieceInField;
    readonly spec: PlacedSpec;
    readonly frame: Pick<Frame, 'widthMm' | 'heightMm'>;
  },
): readonly Evenness[] {
  const places = shares.map((share) => lyingPlace(share, { frame, place, orientation: spec.orientation }));
  refuseUnknown(places, place.map);
  const beamAt = evennessAt(place.map);
  return places.map(({ xMm, yMm }) => beamAt(xMm, yMm));
}

/** Where a point of the piece, shares of its width and height as it is looked at, lies in the field, mm. */
function lyingPlace(
  [u, w]: readonly [number, number],
  {
    frame,
    place,
    orientation,
  }: {
    readonly orientation: DotOrientation | undefined;
    readonly frame: Pick<Frame, 'widthMm' | 'heightMm'>;
    readonly place: PieceInField;
  },
): { readonly xMm: number; readonly yMm: number } {
  const [x, y] = lie([u - 0.5, w - 0.5], { sides: [frame.widthMm, frame.heightMm], orientation });
  return { xMm: place.xMm + x, yMm: place.yMm + y };
}

/** Mirrored first, then turned clockwise by quarters: right becomes down. */
function lie(
  [u, w]: readonly [number, number],
  {
    sides: [width, height],
    orientation,
  }: { readonly sides: readonly [number, number]; readonly orientation: DotOrientation | undefined },
): readonly [number, number] {
  let [x, y] = [(orientation?.mirrored ? -u : u) * width, w * height];
  for (let deg = 0; deg < (orientation?.turnedDeg ?? 0); deg += 90) [x, y] = [-y, x];
  return [x, y];
}

function refuseUnknown(places: readonly { readonly xMm: number; readonly yMm: number }[], map: EvennessMap): void {
  const { covered } = map;
  const slack = BEYOND_SHARE * Math.min(covered.widthMm, covered.heightMm);
  const beyond = Math.max(
    ...places.map(({ xMm, yMm }) =>
      Math.max(
        covered.xMm - xMm,
        covered.yMm - yMm,
        xMm - covered.xMm - covered.widthMm,
        yMm - covered.yMm - covered.heightMm,
      ),
    ),
  );
  if (beyond <= slack) return;
  throw new AppError(
    'place-unusable',
    `found a piece that reaches ${beyond.toFixed(1)} mm beyond the part of the field that was measured (${map.charts.join(', ')}: ${covered.widthMm} × ${covered.heightMm} mm from ${covered.xMm}, ${covered.yMm} mm), needed it within; burn a field chart there, too`,
    { beyond },
  );
}

function refuseWeak(
  inField: readonly BeamFactors[],
  {
    curve,
    spec: { place, around },
    bent,
  }: { readonly curve: CurveInField; readonly spec: PlacedSpec; readonly bent: readonly BeamFactors[] },
): void {
  const beams = inField.map((one, at) => times(one, bent[at]!));
  const worst = beams.reduce((a, b) => (curve.lossAt(b) > curve.lossAt(a) ? b : a));
  const loss = curve.lossAt(worst);
  if (loss <= MOST_LOSS_L) return;
  const where = [
    ...(place ? [`by the field of ${place.map.machine}`] : []),
    ...(around ? ['at the wider end of the cone, where lines lie further apart'] : []),
  ];
  throw new AppError(
    'place-unusable',
    `found a place with ${Math.round(100 * worst.dose)} % of the dose ${where.join(', ')}, where even a solid is ${loss.toFixed(1)} L* short of the full mark, needed ${MOST_LOSS_L} L* or less; more dots cannot make up for it: ${place ? 'lay the piece nearer to the middle' : 'engrave a lower part of it'}, or learn the material with more dose in reserve`,
    { loss, dose: worst.dose },
  );
}

/**
 * Coverage of the toned picture, each dot by the curve of its place: between the places of a piece straight.
 * @param place where the picture lies on the piece, dots, and the piece's size
 */
export function invertAtPlace(
  toned: Plane<'luminance'>,
  {
    correction,
    frame,
  }: { readonly correction: PlaceCorrection; readonly frame: Pick<Frame, 'width' | 'height' | 'place'> },
): Plane<'coverage'> {
  const out = createPlane('coverage', toned.width, toned.height);
  const across = nodesAlong({ count: toned.width, from: frame.place.x, of: frame.width, nodes: correction.columns });
  const down = nodesAlong({ count: toned.height, from: frame.place.y, of: frame.height, nodes: correction.rows });
  for (let y = 0; y < toned.height; y++) {
    const row = { at: y * toned.width, width: toned.width, node: down.node[y]!, share: down.share[y]! };
    invertRow(out.data, toned.data, { row, across, columns: correction.columns, tables: correction.coverage });
  }
  return out;
}

interface NodesAlong {
  /** The node before each dot, and how far it lies towards the next, 0 … 1. */
  readonly node: Uint16Array;
  readonly share: Float32Array;
}

function nodesAlong({
  count,
  from,
  of,
  nodes,
}: {
  count: number;
  from: number;
  of: number;
  nodes: number;
}): NodesAlong {
  const node = new Uint16Array(count);
  const share = new Float32Array(count);
  for (let i = 0; i < count; i++) {
    const at = ((from + i + 0.5) / of) * (nodes - 1);
    node[i] = Math.min(nodes - 2, Math.floor(at));
    share[i] = at - node[i]!;
  }
  return { node, share };
}

interface InvertedRow {
  readonly row: { readonly at: number; readonly width: number; readonly node: number; readonly share: number };
  readonly across: NodesAlong;
  readonly columns: number;
  readonly tables: readonly Uint16Array[];
}

/** A loop of its own, which the engine compiles once. */
function invertRow(out: Uint16Array, toned: Uint16Array, { row, across, columns, tables }: InvertedRow): void {
  const { at, width, node, share } = row;
  for (let x = 0; x < width; x++) {
    const value = toned[at + x]!;
    const first = node * columns + across.node[x]!;
    const right = across.share[x]!;
    const above = tables[first]![value]! * (1 - right) + tables[first + 1]![value]! * right;
    const below = tables[first + columns]![value]! * (1 - right) + tables[first + columns + 1]![value]! * right;
    out[at + x] = Math.min(ONE, Math.round(above + share * (below - above)));
  }
}

/** What is seen of dots that burn at a place, from what they would show at home. */
export function seeAtPlace(seen: Plane<'reflectance'>, correction: PlaceCorrection | undefined): Plane<'reflectance'> {
  if (!correction) return seen;
  const { width, height, data } = seen;
  const out = createPlane('reflectance', width, height);
  const across = nodesAlong({ count: width, from: 0, of: width, nodes: correction.columns });
  const down = nodesAlong({ count: height, from: 0, of: height, nodes: correction.rows });
  const { columns } = correction;
  for (let i = 0; i < data.length; i++) {
    const [x, y] = [i % width, Math.floor(i / width)];
    const step = Math.min(SEEN_STEPS, Math.max(0, Math.round(data[i]! * SEEN_STEPS)));
    const first = down.node[y]! * columns + across.node[x]!;
    const right = across.share[x]!;
    const shiftOf = (node: number) => correction.seen[node]![step]!;
    const above = shiftOf(first) * (1 - right) + shiftOf(first + 1) * right;
    const below = shiftOf(first + columns) * (1 - right) + shiftOf(first + columns + 1) * right;
    out.data[i] = Math.max(0, data[i]! + above + down.share[y]! * (below - above));
  }
  return out;
}
