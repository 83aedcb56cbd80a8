import { lightnessOfReflectance, REC709 } from '../../colour/index.ts';
import {
  controlOf,
  estimateInterval,
  estimateTime,
  findExtents,
  type KnownControl,
  type ProgramFacts,
  placeInControl,
  type TimeEstimate,
  type TimeInterval,
  tracePath,
} from '../../machine/index.ts';
import {
  type CoverageTable,
  createAim,
  knowsLevels,
  levelsOfScreen,
  tellMarkDiametersUm,
} from '../../material/index.ts';
import { knowNotice, type Notice, notice, settleNotices } from '../../notices.ts';
import { describeOptics, isSetting, type OpticsWarning } from '../../optics/index.ts';
import type { Frame, Meter, ToneOptions } from '../../photo/index.ts';
import {
  countValues,
  type DotOrientation,
  type Dots,
  isQuarterTurn,
  ONE,
  type Plane,
  sha256,
} from '../../plane/index.ts';
import { type PriceList, type Quote, quoteOrder } from '../../price/index.ts';
import { describeCounts, meanDose, type SearchFacts } from '../../screens/index.ts';
import { roundTo } from '../page/html.ts';
import { timingOf } from '../request/around.ts';
import { recommendStartSpacingMm } from '../request/grid.ts';
import type { PieceInField } from '../request/place.ts';
import { saySide } from '../request/side.ts';
import type { TwoWayCorrection } from '../request/two-way.ts';
import type { JobSpec, SideSpec } from '../request/types.ts';
import { assessUncertainty, meanBandHalf, warnOfUncertainty } from '../request/uncertainty.ts';
import { mergeCautions } from './cautions.ts';
import { countClipped } from './clipped.ts';
import type { PlaceCorrection, PlaceFacts } from './evenness.ts';
import type { HeatFacts, HeatPlan } from './heat.ts';
import type { Picture } from './picture.ts';
import { describeAround, describeRound } from './round-facts.ts';
import type { StripFacts } from './strip.ts';
import { needsSubject } from './subject.ts';
import type { PowerFacts, RunCost, Ticket } from './types.ts';

/** Clearance of the piece in the field is shared equally: nothing is said yet of where a jig puts it. */
const PLACEMENT_NOTE = 'Centred in the field of the machine';

export interface TicketFacts {
  readonly spec: JobSpec;
  readonly name: string;
  readonly photoFile: string;
  readonly version: string;
  readonly picture: Picture;
  readonly frame: Frame;
  readonly tone: ToneOptions;
  readonly toned: Plane<'luminance'>;
  readonly table: CoverageTable;
  readonly mask: Plane<'mask'> | undefined;
  readonly coverage: Plane<'coverage'>;
  readonly dots: Dots;
  readonly correction?: PlaceCorrection;
  readonly heat?: HeatPlan;
  readonly search?: SearchFacts;
  /** What the bitmap holds: the dots, with the strip where both are joined. */
  readonly burned: Dots;
  readonly strip?: StripFacts;
  readonly time: TimeEstimate;
  /** The shop's, where one is in force. */
  readonly prices?: PriceList;
  readonly bitmapFile: string;
  readonly bitmapSha256: string;
  readonly program?: ProgramFacts;
  readonly prediction: Ticket['prediction'];
  readonly runs?: readonly RunCost[];
  /** What is known so far; the ticket adds what the optics say. */
  readonly warnings: readonly Notice[];
}

/** Gathers what was decided and computed on the road of a photo into its ticket. */
export function writeTicket(facts: TicketFacts): Ticket {
  return describeJob(facts).ticket;
}

/** The ticket, and what it warns of with the numbers and names behind its words. */
export function describeJob(facts: TicketFacts): { readonly ticket: Ticket; readonly speaking: readonly Notice[] } {
  const { spec, name, photoFile, version, picture, frame, tone, table, dots, time } = facts;
  const { machine, profile, material, settings, grid } = spec;
  const control = controlOf(machine);
  const mark = tellMarkDiametersUm(profile, grid);
  const optics = describeOptics(machine, {
    ...settings,
    ...grid,
    markDiameterUm: Math.sqrt(mark.xUm * mark.yUm),
    recommended:
      spec.supportedLineSpacingMm === undefined
        ? { lineSpacingMm: recommendStartSpacingMm(machine), by: 'spot' }
        : { lineSpacingMm: spec.supportedLineSpacingMm, by: 'measured' },
  });
  const counts = countValues(facts.toned, picture.opaque ? { mask: picture.opaque } : {});
  const clipped = countClipped({ ...facts, light: picture.light }, picture.opaque);
  const uncertainty = assessUncertainty(counts, { profile, curve: spec.curve, table });
  const badly = uncertainty && warnOfUncertainty(uncertainty, profile.name);
  const { speaking, resting } = settleNotices(
    [...facts.warnings, ...(badly ? [badly] : []), ...optics.warnings.map(noticeOfOptics)],
    spec.atRest,
  );
  const [widthMm, heightMm] = lyingSize(frame, spec.orientation);
  const middle = spec.place ?? { xMm: machine.fieldMm[0] / 2, yMm: machine.fieldMm[1] / 2 };
  const xMm = spec.place ? round3(middle.xMm - widthMm / 2) : (machine.fieldMm[0] - widthMm) / 2;
  const yMm = spec.place ? round3(middle.yMm - heightMm / 2) : (machine.fieldMm[1] - heightMm) / 2;
  const ticket: Ticket = {
    schema: 'tonewright-ticket/1',
    version,
    name,
    ...(spec.text ? { text: spec.text } : {}),
    photo: {
      file: photoFile,
      sha256: picture.facts.sha256,
      format: picture.facts.format,
      width: picture.width,
      height: picture.height,
      iccProfile: picture.facts.iccProfile ?? null,
      orientation: picture.facts.orientation,
      weights: [...(spec.weights ?? REC709.weights)] as [number, number, number],
    },
    bitmap: {
      file: facts.bitmapFile,
      sha256: facts.bitmapSha256,
      format: spec.format,
      width: facts.burned.width,
      height: facts.burned.height,
      levels: facts.burned.levels,
      firing: meanDose(dots),
    },
    piece: {
      widthMm: frame.widthMm,
      heightMm: frame.heightMm,
      cornerRadiusMm: frame.cornerRadiusMm,
      safeMarginMm: frame.safeMarginMm,
      viewingDistanceMm: frame.viewingDistanceMm,
    },
    grid: { ...grid, origin: spec.gridOrigin },
    frame: {
      fit: frame.fit,
      focus: picture.focus,
      ...(picture.turn.deg === 0 ? {} : { turn: picture.turn }),
      ...(picture.framing.zoom === undefined ? {} : { zoom: picture.framing.zoom }),
      ...(spec.backdrop && picture.isBackdropKnown ? { backdrop: spec.backdrop } : {}),
      ...(spec.outline ? { outline: spec.outline } : {}),
      crop: frame.crop,
      place: frame.place,
    },
    ...(needsSubject(spec) ? { subject: describeSubject(picture) } : {}),
    machine: { name: machine.name, title: machine.title, fieldMm: machine.fieldMm, ...(control ? { control } : {}) },
    material: { name: material.name, title: material.title },
    profile: {
      name: profile.name,
      title: profile.title,
      origin: profile.origin,
      date: profile.date,
      direction: profile.direction,
      bareL: profile.bare[0],
      fullL: profile.full[0],
      sha256: sha256(JSON.stringify(profile)),
      curve: spec.curve,
    },
    settings,
    ...(spec.setByHand ? { setByHand: spec.setByHand } : {}),
    optics,
    tone: {
      mode: spec.tone,
      values: tone,
      range: spec.range,
      aim: describeAim(counts, { spec, table }),
      ...(spec.tone === 'auto' ? { metered: describeMeter(picture.meter) } : {}),
      clippedDark: clipped.dark,
      clippedLight: clipped.light,
    },
    screen: {
      name: spec.screen.name,
      options: spec.screen.options,
      ...(spec.screen.reason ? { reason: spec.screen.reason } : {}),
      ...(facts.runs && facts.runs.length > 0 ? { runs: facts.runs } : {}),
      ...(facts.search ? { search: facts.search } : {}),
    },
    ...(facts.burned.levels > 2 ? { power: describePower(spec) } : {}),
    coverage: describeCounts(countCoverage(counts, facts)),
    prediction: facts.prediction,
    ...(uncertainty ? { uncertainty } : {}),
    time: { ...time, interval: intervalOf(facts) },
    ...(facts.prices ? { price: priceOf(facts, facts.prices) } : {}),
    placement: {
      xMm,
      yMm,
      note: `${spec.place ? sayPlace(spec.place) : PLACEMENT_NOTE}: top left corner (the red point) at ${roundTo(xMm, 3)} mm right and ${roundTo(yMm, 3)} mm down from the field’s top left corner.${sayOrientation(spec.orientation)}${control ? sayInControl({ xMm, yMm, widthMm, heightMm }, { control, fieldMm: machine.fieldMm }) : ''}`,
    },
    ...(spec.place && facts.correction ? { evenness: describeEvenness(spec.place, facts.correction.facts) } : {}),
    ...(facts.heat ? { heat: describeHeat(facts.heat) } : {}),
    ...(spec.twoWay ? { twoWay: describeTwoWay(spec.twoWay, facts) } : {}),
    ...(spec.orientation ? { orientation: spec.orientation } : {}),
    ...(spec.side ? { seen: describeSide(spec.side) } : {}),
    ...(facts.program ? { program: facts.program } : {}),
    ...(spec.round ? { round: describeRound(spec.round) } : {}),
    ...(spec.around ? { around: describeAround(spec.around, { grid, motion: machine.motion }) } : {}),
    ...(facts.strip ? { strip: facts.strip } : {}),
    ...(picture.lettering ? { lettering: picture.lettering.facts } : {}),
    ...describeHandling(material),
    request: spec.request,
    cautions: mergeCautions([...machine.cautions, ...material.cautions]),
    warnings: speaking.map(({ text }) => text),
    ...(speaking.length > 0 ? { warned: speaking.map(knowNotice) } : {}),
    ...(resting.length > 0 ? { atRest: resting.map(knowNotice) } : {}),
    assumptions: spec.assumptions,
  };
  return { ticket, speaking };
}

/** Which road of the profile the levels of power take, and how well it is known. */
function describePower({ profile, levels, curve }: JobSpec): PowerFacts {
  if (!knowsLevels(profile)) {
    return {
      levels,
      by: 'proportion',
      note: `${levels} levels of power per dot, whose marks nobody has measured: each is taken in proportion to its power.`,
    };
  }
  const chartLevels = levelsOfScreen(profile.screen);
  const bandL = meanBandHalf(profile);
  const known =
    curve === 'measured'
      ? `by the curve of its chart of ${chartLevels} levels`
      : `by what its chart of ${chartLevels} levels told of their doses; the curve of this screen is predicted from them`;
  const band = bandL === undefined ? '' : `; that chart is known to ± ${roundTo(bandL, 1)} L* (95 %)`;
  return {
    levels,
    by: 'measured',
    chartLevels,
    ...(bandL === undefined ? {} : { bandL: round3(bandL) }),
    note: `${levels} levels of power per dot, ${known}${band}. Type the power once: black fires with it, each grey with its share.`,
  };
}

const sayPlace = ({ pocket }: PieceInField) =>
  pocket ? `In pocket ${pocket.name} of ${pocket.jig}` : 'Where it was asked for';

/** What was corrected for where the piece lies, by which map. */
function describeEvenness({ map, xMm, yMm, pocket }: PieceInField, facts: PlaceFacts): NonNullable<Ticket['evenness']> {
  const { dose, width, doseReach, correctedL, reachL, givenUpL } = facts;
  const span = ([from, to]: readonly [number, number]) =>
    `${Math.round(100 * from)}${Math.round(100 * from) === Math.round(100 * to) ? '' : ` … ${Math.round(100 * to)}`} %`;
  const given =
    givenUpL >= 0.1
      ? ` All pieces of this field give up ${roundTo(givenUpL, 1)} L* of the full mark, which its weakest usable place does not reach.`
      : '';
  const known = reachL === undefined ? '' : `, and are known to ± ${roundTo(reachL, 1)} L* (95 %) with it`;
  return {
    machine: map.machine,
    charts: map.charts,
    sha256: sha256(JSON.stringify(map)),
    xMm: round3(xMm),
    yMm: round3(yMm),
    ...(pocket ? { pocket } : {}),
    dose: [round3(dose[0]), round3(dose[1])],
    width: [round3(width[0]), round3(width[1])],
    doseReach: round3(doseReach),
    correctedL: round3(correctedL),
    ...(reachL === undefined ? {} : { reachL: round3(reachL) }),
    givenUpL: round3(givenUpL),
    note: `Corrected for where it lies: ${span(dose)} of the dose (known to ± ${Math.round(100 * (doseReach - 1))} %) and ${span(width)} of the spot’s width, by the field chart of ${map.date}; tones would be up to ${roundTo(correctedL, 1)} L* off without${known}. Burn it at this place and no other.${given}`,
  };
}

/** What was taken into account of the heat that dots leave to later ones. */
function describeHeat({ heat: { along, across, lengthMm, total }, scan }: HeatPlan): HeatFacts {
  const percent = (share: number) => Math.round(100 * share);
  const ways = scan === 'two-way' ? 'lines there and back' : 'lines one way';
  return {
    along,
    across,
    lengthMm,
    note: `Heat of earlier dots is taken into account (${ways}, from the top): by the chart a dot of a solid gains ${percent(along)} % of its dose from its own line and ${percent(across)} % from lines before, ${percent(total[1])} … ${percent(total[2])} % together (95 %), over ${roundTo(lengthMm, 2)} mm. Beside dark parts and after edges there are fewer or more dots for it.`,
  };
}

/** µm. Assumed: less is no number to type in. */
const LEAST_LEFT_UM = 0.1;

/** What brings lines there and back together, what is left to type in, and what it saves. */
function describeTwoWay(twoWay: TwoWayCorrection, { spec, burned, time }: TicketFacts): NonNullable<Ticket['twoWay']> {
  const { settings } = spec;
  const oneWay = estimateTime(burned, { ...timingOf(spec), settings: { ...settings, scan: 'one-way' } });
  const savedS = round3(oneWay.seconds - time.seconds);
  const { offsetUm, lowUm, highUm, movedDots, by, dates } = twoWay;
  const [offset, low, high] = [offsetUm, lowUm, highUm].map((um) => roundTo(um, 1));
  const dots = Math.abs(movedDots);
  const left = Math.abs(twoWay.leftUm);
  const taken =
    dots === 0
      ? 'less than half a dot, so the bitmap is as it would be'
      : `the bitmap has each second line ${dots} ${dots === 1 ? 'dot' : 'dots'} further to the ${movedDots < 0 ? 'left' : 'right'}, where its ${dots === 1 ? 'last dot has' : 'last dots have'} no room`;
  const rest =
    left < LEAST_LEFT_UM
      ? ''
      : ` ${roundTo(left, 1)} µm are left: where the control software has an offset for lines that run back, add ${roundTo(-twoWay.leftUm / 1000, 4)} mm to it.`;
  const source =
    by === 'this-speed' ? `spot chart of ${dates[0]}` : `spot charts of ${dates.join(' and ')}, at other speeds`;
  return {
    ...twoWay,
    savedS,
    note: `There and back: lines that run back land ${offset} µm to the right (95 %: ${low} … ${high}; ${source}); ${taken}.${rest} ${savedS > 0 ? `Saves ${roundTo(savedS, 0)} s of one way. ` : ''}What is changed in the control software is measured again.`,
  };
}

/** Where the piece lies in the coordinates that the control software shows. */
function sayInControl(
  { xMm, yMm, widthMm, heightMm }: { xMm: number; yMm: number; widthMm: number; heightMm: number },
  where: { readonly control: KnownControl; readonly fieldMm: readonly [number, number] },
): string {
  const say = (place: { xMm: number; yMm: number }) => {
    const { xMm: x, yMm: y } = placeInControl(place, where);
    return `${roundTo(x, 3)}, ${roundTo(y, 3)}`;
  };
  const { origin } = where.control;
  const at = origin === 'centre' ? 'middle of the field' : `${origin.replace('-', ' ')} corner of the field`;
  return ` In the control software, whose 0, 0 is the ${at}: the middle of the piece at ${say({ xMm: xMm + widthMm / 2, yMm: yMm + heightMm / 2 })}, its top left corner at ${say({ xMm, yMm })} mm.`;
}

/** Width and height of the piece as it lies in the machine, mm. */
export function lyingSize(
  { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number },
  orientation: DotOrientation | undefined,
): readonly [number, number] {
  return isQuarterTurn(orientation) ? [heightMm, widthMm] : [widthMm, heightMm];
}

/** How to lay the piece, where the bitmap is not as the piece is looked at. */
export function sayOrientation(orientation: DotOrientation | undefined): string {
  if (!orientation) return '';
  const { mirrored, turnedDeg } = orientation;
  const turn =
    turnedDeg === 180
      ? ' Lay the piece upside down: the bitmap is turned by half a turn.'
      : turnedDeg === 0
        ? ''
        : ` Lay the piece with its upper edge to the ${turnedDeg === 90 ? 'right' : 'left'}: the bitmap is turned by a quarter.`;
  const mirror = mirrored
    ? ' The bitmap is mirrored: burn it on the back of the piece, and look at it from the front; do not mirror it once more for that.'
    : '';
  return `${mirror}${turn}`;
}

/** How the piece is looked at. */
export function describeSide(side: SideSpec): NonNullable<Ticket['seen']> {
  const { seen, beneath } = side;
  return { seen, ...(beneath ? { beneath } : {}), note: saySide(side) };
}

export function describeHandling({
  before = [],
  after = [],
}: Pick<JobSpec['material'], 'before' | 'after'>): Pick<Ticket, 'handling'> {
  return before.length + after.length > 0 ? { handling: { before, after } } : {};
}

function describeAim(
  counts: Uint32Array,
  { spec, table }: { readonly spec: JobSpec; readonly table: CoverageTable },
): Ticket['tone']['aim'] {
  const aimAt = createAim(spec, table);
  let lost = 0;
  let total = 0;
  for (let value = 0; value <= ONE; value++) {
    const count = counts[value]!;
    if (count === 0) continue;
    total += count;
    lost += count * Math.abs(aimAt(lightnessOfReflectance(value / ONE)) - table.lightness[value]!);
  }
  return {
    scale: spec.aim?.scale ?? 'lightness',
    darkestL: round3(aimAt(0)),
    lightestL: round3(aimAt(100)),
    follows: spec.aim?.follows ?? [],
    lostDeltaL: round3(lost / Math.max(1, total)),
  };
}

/** By what light the tone is set, in words. */
function describeMeter({ by, skins }: Meter): NonNullable<Ticket['tone']['metered']> {
  const faces = skins.length === 1 ? 'one face' : `${skins.length} faces`;
  const what = { faces: `the skin of ${faces}`, subject: 'the subject', picture: 'the whole picture' }[by];
  return { by, note: `Set by ${what}.` };
}

const round3 = (value: number) => Math.round(value * 1000) / 1000;

/** Between which times the bitmap is burned, by what is known of the machine. */
function intervalOf({ spec, burned }: TicketFacts): TimeInterval {
  const { motion, motionUncertainty: uncertainty } = spec.machine;
  const path = tracePath(findExtents(burned), { scan: spec.settings.scan, bare: motion.bare });
  return estimateInterval(path, { ...timingOf(spec), uncertainty });
}

function priceOf({ spec, name, frame, time }: TicketFacts, prices: PriceList): Quote {
  const piece = {
    id: name,
    title: name,
    material: spec.material.name,
    machine: spec.machine.name,
    machineSeconds: time.seconds,
    count: 1,
    widthMm: frame.widthMm,
    heightMm: frame.heightMm,
  };
  return quoteOrder(prices, [piece]);
}

/**
 * How often each coverage occurs: what the table makes of the luminance, unless a mask or words have changed it dot by
 * dot.
 */
function countCoverage(
  luminanceCounts: Uint32Array,
  { table, mask, picture, coverage, correction, heat }: TicketFacts,
): Uint32Array {
  if (mask || picture.lettering || correction || heat) return countValues(coverage);
  const counts = new Uint32Array(ONE + 1);
  for (let value = 0; value <= ONE; value++) counts[table.coverage[value]!]! += luminanceCounts[value]!;
  return counts;
}

const FOUND_BY = {
  faces: 'by the faces',
  shape: 'by its shape',
  contrast: 'by what stands out from the rest',
  given: 'as given',
} as const;

/** By what the subject is known, and what that means. */
function describeSubject({ subject, isSearched, frame, width, height }: Picture): NonNullable<Ticket['subject']> {
  const { crop } = frame;
  const photoLost = round3(1 - (crop.width * crop.height) / (width * height));
  if (subject) {
    const faces = subject.faces.length;
    const count = faces === 0 ? '' : faces === 1 ? ' (one face)' : ` (${faces} faces)`;
    return { by: subject.by, faces, photoLost, note: `Known ${FOUND_BY[subject.by]}${count}.` };
  }
  const note = isSearched
    ? 'Nothing stands out: the crop follows what draws the eye.'
    : 'The models that find faces are not installed (they are optional packages of the program): the crop follows what draws the eye.';
  return { by: 'eye', faces: 0, photoLost, note };
}

/** Settings that the machine does not have are no remark to get used to. */
export function noticeOfOptics({ about, text }: OpticsWarning): Notice {
  const facts = { field: about, said: sayAsSentence(text) };
  return isSetting(about) ? notice('setting-beyond', facts) : notice('optics-doubt', facts);
}

/** A remark that begins with a small letter, as a sentence of its own. */
function sayAsSentence(text: string): string {
  return `${text.charAt(0).toUpperCase()}${text.slice(1)}${text.endsWith('.') ? '' : '.'}`;
}
