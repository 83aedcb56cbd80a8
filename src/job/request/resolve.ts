import { type ArtworkRequest, type Drawing, placeCaption, readArtwork, shapeCaption } from '../../caption/index.ts';
import { AppError } from '../../errors.ts';
import { type Machine, refuseProgram } from '../../machine/index.ts';
import {
  type AimCurve,
  assumeMaterial,
  compareHalftone,
  compareSettings,
  countsMarks,
  fillDotTable,
  findMark,
  knowsLevels,
  type MarkDirection,
  type Material,
  type Profile,
  passesBeam,
  type RefusedMaterial,
  type ScreenChoice,
  type SettingsWarning,
  type Shop,
  straightProfile,
  takeRoad,
} from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { type DotGrid, type DotOrientation, isProgramFormat, isQuarterTurn } from '../../plane/index.ts';
import { SCREEN_OPTIONS, SCREENS, type ScreenName, type ScreenOptions, takesStrength } from '../../screens/index.ts';
import { parseSizeMm, type SizeMm } from '../../units.ts';
import { parseAim, warnOfAim, warnOfExposures } from './aim.ts';
import { resolveAround, stepGrid } from './around.ts';
import { listMarkTones } from './curve.ts';
import {
  judgeDose,
  recommendSpacingMm,
  refuseBeyond,
  resolveGrid,
  settleGiven,
  spotDiameterUm,
  startSettings,
  warnOfSolid,
} from './grid.ts';
import { listVerified, readHistory } from './history.ts';
import { keepRequest } from './kept.ts';
import { resolvePlace } from './place.ts';
import {
  findMaterial,
  readMachine,
  readProfile,
  refuseMaterial,
  refuseOversize,
  tryMaterial,
  tryReadMachine,
} from './records.ts';
import { listRested } from './rested.ts';
import { flattenSize, resolveRound } from './round.ts';
import {
  defaultScreen,
  findScreen,
  refuseUncounted,
  type ScreenChoiceNeeds,
  type ScreenNeeds,
  screenOptionsOf,
  shortestRunOf,
} from './screen.ts';
import { resolveSide } from './side.ts';
import { resolveTwoWay } from './two-way.ts';
import { type AroundSpec, JOB_DEFAULTS, type JobRequest, type JobSpec, type RoundSpec } from './types.ts';

/** An assumption of a job: its profile was not measured. */
export const sayAssumedProfile = ({ name, origin }: Pick<Profile, 'name' | 'origin'>) =>
  `The profile ${name} (${origin}).`;

/**
 * Turn names into records and defaults into values.
 * @throws AppError name-unknown, file-invalid, option-invalid, material-refused, size-exceeds-field, profile-unusable,
 * program-impossible
 */
export function resolveJob(
  request: JobRequest,
  { shop, refused }: { readonly shop: Shop; readonly refused: readonly RefusedMaterial[] },
): JobSpec {
  refuseMaterial(request.material, refused);
  const asked = resolveSize(request);
  const found = findRecords(request, { shop, refused });
  const { machine, learned, levels } = found;
  const { material, seen, side, notices: ofSide } = resolveSide(request, found);
  const named = { ...found, material };
  refuseBesideRound(request);
  const { size, grid, around } = resolveShape(request, {
    size: asked,
    grid: resolveGrid(request, { machine, learned }),
    machine,
  });
  const own = learned?.machine === machine.name ? learned : undefined;
  const given = settleGiven(request.settings, machine);
  refuseUnset(given, machine);
  refuseBeyond(given, { machine, of: 'the settings' });
  const settings = own ? { ...own.settings, ...given } : startSettings(machine, { grid, given });
  if (learned) refuseBeyond(settings, { machine, of: `profile ${learned.name}`, code: 'profile-unusable' });
  const lain = { ...(around ? { rotateDeg: 90 as const } : {}), ...request };
  const orientation = resolveOrientation({ ...lain, mirror: lain.mirror === true || seen === 'through' }, grid);
  const screen = resolveWantedScreen(request, { machine, settings, grid, learned, levels });
  refuseUncounted({ screen, levels }, learned);
  const { reason: _, ...choice } = screen;
  const profile = learned ?? assumeProfile({ material, machine, grid, settings, screen: choice });
  // A rotary brings all of the width below the beam.
  const flat = around ? { ...size, widthMm: 0 } : size;
  refuseOversize(isQuarterTurn(orientation) ? turned(flat) : flat, machine);
  const format = request.format ?? JOB_DEFAULTS.format;
  if (isProgramFormat(format)) {
    const lying = isQuarterTurn(orientation) ? turned(size) : size;
    refuseProgram(machine, { widthMm: lying.widthMm, settings, grid, turnMm: around?.turnMm });
  }
  const viewingDistanceMm = request.viewingDistanceMm ?? JOB_DEFAULTS.viewingDistanceMm;
  const differences = findDifferences(shop, { learned, machine, grid, screen, settings });
  const isOther = learned !== undefined && compareHalftone(learned, { grid, screen }).length > 0;
  const predicted = learned !== undefined && needsPrediction(learned, { grid, screen });
  const aim = resolveAim(request, { shop, learned });
  const rested = listRested(shop);
  const laid = isQuarterTurn(orientation) ? turned(size) : size;
  const place = resolvePlace(request, { shop, machine, lying: [laid.widthMm, laid.heightMm] });
  if (place && !learned) {
    throw new AppError(
      'option-invalid',
      'at: found a material without a profile, needed a profile to correct through',
      {
        options: ['profile'],
      },
    );
  }
  const round =
    request.round &&
    resolveRound(request.round, {
      ...{ machine, shop, grid, screen, levels, profile },
      material: material?.name ?? profile.material,
      learned: own,
      isMeasured: !predicted,
      arcMm: asked.widthMm,
    });
  if (around && around.diametersMm[0] !== around.diametersMm[1] && !own) {
    throw new AppError(
      'profile-unusable',
      `around: found no profile that was learned with ${machine.name}, needed one for a cone: only a learned response tells what closer lines leave`,
      { machine: machine.name, options: ['around'] },
    );
  }
  const { twoWay, notices: ofTwoWay } = resolveTwoWay({ settings, grid, machine }, shop);
  return {
    size,
    safeMarginMm: request.safeMarginMm ?? JOB_DEFAULTS.safeMarginMm,
    viewingDistanceMm,
    machine,
    material: material ?? { name: profile.material, title: profile.material, cautions: [] },
    profile,
    curve: predicted ? 'predicted' : 'measured',
    grid: { pitchMm: grid.pitchMm, lineSpacingMm: grid.lineSpacingMm },
    gridOrigin: grid.origin,
    ...(own ? { supportedLineSpacingMm: recommendSpacingMm(own) } : {}),
    settings,
    ...(Object.keys(given).length > 0 ? { setByHand: listSet(given) } : {}),
    request: keepRequest(request, learned),
    ...(orientation ? { orientation } : {}),
    screen,
    fit: request.fit ?? JOB_DEFAULTS.fit,
    ...(request.focus ? { focus: request.focus } : {}),
    ...(request.zoom !== undefined && request.zoom !== 1 ? { zoom: request.zoom } : {}),
    ...(request.turnDeg === undefined ? {} : { turnDeg: request.turnDeg }),
    subject: request.subject ?? JOB_DEFAULTS.subject,
    ...(!round && !around && isFree(request, size, machine) ? { lay: 'free' as const } : {}),
    ...(request.backdrop && request.backdrop !== 'keep' ? { backdrop: request.backdrop } : {}),
    ...resolveOutline(request),
    tone: request.tone ?? JOB_DEFAULTS.tone,
    toneValues: request.toneValues ?? {},
    range: request.range ?? JOB_DEFAULTS.range,
    ...(aim ? { aim } : {}),
    ...(request.weights ? { weights: request.weights } : {}),
    format,
    levels,
    ...(place ? { place } : {}),
    ...(round ? { round } : {}),
    ...(around ? { around } : {}),
    ...(twoWay ? { twoWay } : {}),
    ...(side ? { side } : {}),
    ...(request.strip ? { strip: request.strip } : {}),
    ...(request.text ? { text: request.text } : {}),
    ...resolveLettering(request, { size, shop }),
    warnings: [
      ...listDoseWarnings({ machine, learned, own, settings, grid, viewingDistanceMm, given }),
      ...listProfileWarnings(request, named),
      ...ofSide,
      ...(learned ? listDifferences(learned, differences) : []),
      ...listScreenWarnings(request, { machine, settings, grid, screen, levels }),
      ...(isOther && learned ? listPredictionWarnings(learned, shop) : []),
      ...(aim ? listAimWarnings(aim, { shop, profile, asked: request.aim }) : []),
      ...(round ? listRoundWarnings(round) : []),
      ...ofTwoWay,
    ],
    ...(rested.length > 0 ? { atRest: rested } : {}),
    assumptions: listAssumptions(machine, profile),
  };
}

/** The records that a request names. */
interface NamedRecords {
  readonly machine: Machine;
  /** Absent where the shop has no record of what the profile was learned on. */
  readonly material: Material | undefined;
  /** On the road that the job's levels take through it. */
  readonly learned: Profile | undefined;
  readonly levels: number;
}

function findRecords(
  request: JobRequest,
  { shop, refused }: { readonly shop: Shop; readonly refused: readonly RefusedMaterial[] },
): NamedRecords {
  const { levels = JOB_DEFAULTS.levels } = request;
  const learned = request.profile === undefined ? undefined : takeRoad(readProfile(request.profile, shop), levels);
  if (learned) for (const text of [learned.material, learned.title]) refuseMaterial(text, refused);
  const machineName = request.machine ?? learned?.machine;
  if (machineName === undefined) {
    throw new AppError('option-invalid', 'found neither a machine nor a profile, needed at least one of the two', {
      options: ['profile', 'machine'],
    });
  }
  const machine = readMachine(machineName, shop);
  // A profile may be of a material that the shop has no record of: its chart was drawn from a direction alone.
  const material =
    request.material === undefined && learned
      ? tryMaterial(learned.material, shop)
      : request.direction === undefined
        ? findMaterial(request.material, shop)
        : findOrAssume(request.material, { direction: request.direction, machine, shop });
  return { machine, material, learned, levels };
}

/** @throws AppError option-invalid when the shop knows that the material marks otherwise on this machine */
function findOrAssume(
  asked: string | undefined,
  { direction, machine, shop }: { readonly direction: MarkDirection; readonly machine: Machine; readonly shop: Shop },
): Material | undefined {
  if (asked === undefined) return undefined;
  const known = tryMaterial(asked, shop);
  const mark = known && findMark(known, machine.wavelengthNm);
  if (mark && mark.direction !== direction) {
    throw new AppError(
      'option-invalid',
      `direction: found ${direction}, but ${known.title} is known to mark ${mark.direction} at ${machine.wavelengthNm} nm (${machine.name})`,
    );
  }
  return mark ? known : assumeMaterial(known ?? asked, { direction, wavelengthNm: machine.wavelengthNm });
}

/** What of a request its screen is found by. */
export type ScreenWish = Pick<JobRequest, 'screen' | 'screenOptions' | 'viewingDistanceMm'>;

/** Whether the tone curve of a screen and a grid is another one than the profile's own, and is predicted. */
export function needsPrediction(profile: Profile, halftone: Pick<JobSpec, 'grid' | 'screen'>): boolean {
  return compareHalftone(profile, halftone).length > 0 || countsMarks(profile, halftone);
}

/** The screen that was asked for or chosen, with the options that it reads. */
export function resolveWantedScreen(request: ScreenWish, needs: ScreenChoiceNeeds): JobSpec['screen'] {
  const { learned, levels } = needs;
  const wanted = findScreen(request.screen ?? defaultScreen(learned), needs);
  return {
    name: wanted.name,
    options: screenOptionsOf(wanted.name, {
      known: knownToJob(request),
      request: { ...request, screenOptions: { ...wanted.options, ...request.screenOptions } },
      learned,
      levels,
    }),
    ...(wanted.reason === undefined ? {} : { reason: wanted.reason }),
  };
}

/** In what a job differs from what its profile was learned with. */
function findDifferences(
  shop: Shop,
  { learned, ...job }: Omit<ScreenNeeds, 'levels'> & Pick<JobSpec, 'screen'>,
): readonly SettingsWarning[] {
  if (!learned) return [];
  const learnedOn = learned.machine === job.machine.name ? undefined : tryReadMachine(learned.machine, shop);
  return compareSettings(learned, { ...job, ...(learnedOn ? { learnedOn } : {}) });
}

interface DoseFacts extends Omit<ScreenNeeds, 'levels'> {
  /** The profile, where it was learned on this machine. */
  readonly own: Profile | undefined;
  readonly viewingDistanceMm: number;
  /** Settings of the request. */
  readonly given: Partial<BurnSettings>;
}

function listDoseWarnings({ own, viewingDistanceMm, given, ...burn }: DoseFacts): readonly Notice[] {
  const asked = given.powerW !== undefined || given.speedMmPerS !== undefined || given.passes !== undefined;
  const dose = judgeDose(burn, { asked });
  const solid = own && warnOfSolid(own, { grid: burn.grid, viewingDistanceMm });
  return [...(dose ? [dose] : []), ...(solid ? [solid] : [])];
}

/** What stands behind the profile, and whether it is of this material. */
function listProfileWarnings(request: JobRequest, { material, learned, levels }: NamedRecords): readonly Notice[] {
  if (!learned) {
    const isUnknown = material?.origin.kind === 'assumed' && material.cautions.length === 0;
    return [
      notice('tone-guessed'),
      ...(isUnknown ? [notice('material-unrecorded', { material: material.title })] : []),
    ];
  }
  const { name: profile, origin } = learned;
  return [
    ...(levels > 2 && !knowsLevels(learned) ? [notice('levels-unmeasured', { levels, profile })] : []),
    ...(origin === 'assumed' ? [notice('profile-assumed', { profile })] : []),
    ...(origin === 'simulated' ? [notice('profile-simulated', { profile })] : []),
    ...(material ? [] : [notice('material-unrecorded', { material: learned.material })]),
    ...(request.material !== undefined && request.material !== learned.material
      ? [notice('profile-of-another', { profile, learned: learned.material, asked: request.material })]
      : []),
  ];
}

/** Fields by which the dots differ: the curve is then predicted, which one notice says for all of them. */
const OF_THE_DOTS: readonly SettingsWarning['field'][] = ['pitch', 'lineSpacing', 'screen'];

function listDifferences({ name: profile }: Profile, differences: readonly SettingsWarning[]): readonly Notice[] {
  const dots = differences.filter(({ field }) => OF_THE_DOTS.includes(field));
  return [
    ...differences
      .filter((one) => !dots.includes(one))
      .map(({ field, message }) => notice('job-differs', { profile, field, difference: message })),
    ...(dots.length > 0
      ? [notice('curve-predicted', { profile, differences: dots.map(({ message }) => message) })]
      : []),
  ];
}

/** What of the request the screen does not read, and what the machine cannot follow. */
function listScreenWarnings(
  request: JobRequest,
  { machine, settings, grid, screen, levels }: Omit<ScreenNeeds, 'learned'> & Pick<JobSpec, 'screen'>,
): readonly Notice[] {
  const unread = Object.keys(request.screenOptions ?? {}).filter(
    (key) => !SCREENS[screen.name].uses.includes(key as keyof ScreenOptions),
  );
  const options = unread.map((key) => SCREEN_OPTIONS[key as keyof ScreenOptions].title);
  const run = shortestRunOf(machine, { settings, grid });
  const isShort = Number(screen.options.run ?? 1) < run && levels === 2 && !SCREENS[screen.name].clusters;
  return [
    ...(options.length > 0 ? [notice('screen-deaf', { screen: screen.name, options })] : []),
    ...(isShort ? [notice('runs-short', { machine: machine.name, run, screen: screen.name })] : []),
    ...(levels > machine.levels
      ? [notice('levels-unstated', { levels, machine: machine.name, stated: machine.levels })]
      : []),
  ];
}

/** Size and grid of the dots of a piece that is not flat. */
function resolveShape<G extends DotGrid>(
  { round, around }: JobRequest,
  { size, grid, machine }: { readonly size: SizeMm; readonly grid: G; readonly machine: Machine },
): { readonly size: SizeMm; readonly grid: G; readonly around?: AroundSpec } {
  if (round) return { size: flattenSize(size, round, machine), grid };
  if (!around) return { size, grid };
  const stepped = stepGrid(around, { grid, widthMm: size.widthMm });
  return { grid: stepped.grid, ...resolveAround(around, { size, ...stepped }) };
}

/** @throws AppError option-invalid for what a round piece cannot have */
function refuseBesideRound(request: JobRequest): void {
  const { round, around, fit, backdrop, rotateDeg, at, strip } = request;
  if (!round && !around) return;
  const shape = around ? 'around' : 'round';
  const bent = round || around?.overlapMm || (around && around.diametersMm[0] !== around.diametersMm[1]);
  const turn = around ? 90 : 0;
  const found = [
    ...(round && around ? [['round', 'a rotary, needed one of the two']] : []),
    ...(bent && fit === 'contain' ? [['fit', 'contain, needed cover: the picture goes from edge to edge']] : []),
    ...(bent && backdrop !== undefined && backdrop !== 'keep' ? [['backdrop', `${backdrop}, needed keep`]] : []),
    ...((rotateDeg ?? turn) % 180 === turn
      ? []
      : [
          [
            'rotate',
            around
              ? `${rotateDeg} degrees, needed 90 or 270: lines run along the axis`
              : `${rotateDeg} degrees, needed 0 or 180: the axis lies down the bitmap`,
          ],
        ]),
    ...(around && at !== undefined ? [['at', 'a place in the field, needed none: it turns below one line']] : []),
    ...(strip === 'joined' ? [['strip', 'a joined strip, needed one apart: strips are flat']] : []),
  ];
  const [first] = found;
  if (first) {
    throw new AppError('option-invalid', `${first[0]}: found a round piece beside ${first[1]}`, {
      options: [shape, first[0]],
    });
  }
}

function listRoundWarnings({ arcMm, usableArcMm, featherMm, toneErrorL, boundBy }: RoundSpec): readonly Notice[] {
  if (boundBy === undefined) return [];
  return [notice('round-feathered', { arcMm, usableArcMm, featherMm, toneErrorL, boundBy })];
}

function listPredictionWarnings(learned: Profile, shop: Shop): readonly Notice[] {
  const road = knowsLevels(learned) ? 'levels' : 'dots';
  if (!listVerified(readHistory(learned.name, shop), road).ownOnly) return [];
  const { name: profile, screen, grid } = learned;
  const { pitchMm, lineSpacingMm } = grid;
  return [notice('screen-untested', { profile, screen: screen.name, grid: `${pitchMm} × ${lineSpacingMm}` })];
}

function listAimWarnings(
  aim: AimCurve,
  { shop, profile, asked }: { readonly shop: Shop; readonly profile: Profile; readonly asked: string | undefined },
): readonly Notice[] {
  const beyond = warnOfAim(aim, profile);
  const apart = warnOfExposures(aim, { shop, profile, asked });
  return [...(beyond ? [beyond] : []), ...(apart ? [apart] : [])];
}

/** What of the machine and of the profile rests on no measurement. */
function listAssumptions(machine: Machine, profile: Profile): readonly string[] {
  const groups = Object.entries(machine.origins).filter(([, { kind }]) => kind === 'assumed');
  return [
    ...groups.map(([group]) => `The machine’s ${group} (${machine.name}).`),
    ...(profile.origin === 'measured' ? [] : [sayAssumedProfile(profile)]),
  ];
}

function findDrawing({ name, ...rest }: ArtworkRequest, shop: Shop): Drawing {
  const found = shop.readDrawing(name);
  readArtwork(found.svg, found.file);
  return { ...rest, ...found };
}

/**
 * Words as curves, and a drawing that was looked through.
 * @throws AppError name-unknown, path-*, option-invalid, letter-missing, caption-too-large, artwork-unusable
 */
function resolveLettering(
  { caption: asked, artwork: wanted, safeMarginMm = JOB_DEFAULTS.safeMarginMm }: JobRequest,
  { size, shop }: { readonly size: SizeMm; readonly shop: Shop },
): Pick<JobSpec, 'caption' | 'artwork'> {
  const artwork = wanted && findDrawing(wanted, shop);
  const caption = asked && shapeCaption(asked);
  // On the bare edge there is as much room as the photo's own shape leaves.
  if (caption && caption.place !== 'edge') placeCaption(caption, { ...size, safeMarginMm });
  return {
    ...(caption ? { caption } : {}),
    ...(artwork ? { artwork } : {}),
  };
}

/** The aim that was asked for, else the profile's; none where lightness is kept as it is. */
function resolveAim(
  { aim, range }: JobRequest,
  { shop, learned }: { readonly shop: Shop; readonly learned: Profile | undefined },
): AimCurve | undefined {
  if (aim === undefined) return range === 'absolute' ? undefined : learned?.aim;
  if (range === 'absolute') {
    throw new AppError(
      'option-invalid',
      'aim: found the range absolute beside it, which keeps the photo’s own lightness; needed one of the two',
    );
  }
  return parseAim(aim, shop);
}

function resolveSize({ size, cornerRadiusMm, lay }: JobRequest): SizeMm {
  const asked = parseSizeMm(size, 'size');
  const { widthMm, heightMm } = asked;
  const [short, long] = [Math.min(widthMm, heightMm), Math.max(widthMm, heightMm)];
  const laid =
    lay === undefined
      ? asked
      : { ...asked, widthMm: lay === 'upright' ? short : long, heightMm: lay === 'upright' ? long : short };
  return cornerRadiusMm === undefined ? laid : { ...laid, cornerRadiusMm };
}

const turned = (size: SizeMm): SizeMm => ({ ...size, widthMm: size.heightMm, heightMm: size.widthMm });

/** Names of settings that were given, in the order of a record. */
const listSet = (given: Partial<BurnSettings>) =>
  (['powerW', 'speedMmPerS', 'rateKHz', 'pulseNs', 'passes', 'scan'] as const).filter(
    (key) => given[key] !== undefined,
  );

/** @throws AppError option-invalid for pulses of a machine that has none to set */
function refuseUnset(given: Partial<BurnSettings>, machine: Machine): void {
  for (const [key, field, what] of [
    ['rateKHz', 'rate', 'pulse rate'],
    ['pulseNs', 'pulse', 'pulse duration'],
  ] as const) {
    if (given[key] === undefined || machine[key] !== undefined) continue;
    throw new AppError(
      'option-invalid',
      `${field}: found ${given[key]}, but ${machine.name} has no ${what} to set; leave it out, or state its range in the machine’s record`,
    );
  }
}

/**
 * How the dots go into the bitmap; undefined for as the piece is looked at.
 * @throws AppError option-invalid for a quarter turn of dots that are not square
 */
function resolveOrientation(
  { mirror = false, rotateDeg = 0 }: JobRequest,
  { pitchMm, lineSpacingMm }: DotGrid,
): DotOrientation | undefined {
  if (!mirror && rotateDeg === 0) return undefined;
  if (rotateDeg % 180 !== 0 && Math.abs(pitchMm - lineSpacingMm) > 1e-9) {
    throw new AppError(
      'option-invalid',
      `rotate: found ${rotateDeg} degrees for dots of ${pitchMm} × ${lineSpacingMm} mm, which turn by half turns only; needed 0 or 180, or a pitch that is the line spacing`,
    );
  }
  return { mirrored: mirror, turnedDeg: rotateDeg };
}

function resolveOutline({ outline = 'rectangle', vignetteMm = 0 }: JobRequest): Pick<JobSpec, 'outline'> {
  return outline === 'rectangle' && vignetteMm === 0 ? {} : { outline: { outline, vignetteMm } };
}

/** A named size says nothing of how the piece lies: it may lie either way, where the machine reaches both. */
function isFree({ size, lay }: JobRequest, { widthMm, heightMm }: SizeMm, { fieldMm }: Machine): boolean {
  const isNamed = !/[x×]/i.test(size);
  return isNamed && lay === undefined && widthMm !== heightMm && heightMm <= fieldMm[0] && widthMm <= fieldMm[1];
}

/** What a job knows and a chart does not: how the marks add up, and from where the piece is looked at. */
function knownToJob({ viewingDistanceMm }: Pick<JobRequest, 'viewingDistanceMm'>): Partial<ScreenOptions> {
  return { response: 'table', viewingDistanceMm: viewingDistanceMm ?? JOB_DEFAULTS.viewingDistanceMm };
}

function assumeProfile({
  material,
  machine,
  grid,
  settings,
  screen,
}: {
  material: Material | undefined;
  machine: Machine;
  grid: DotGrid;
  settings: BurnSettings;
  screen: ScreenChoice;
}): Profile {
  if (!material) {
    throw new AppError('option-invalid', 'found neither a profile nor a material, needed one of the two');
  }
  const { pitchMm, lineSpacingMm } = grid;
  const profile = straightProfile({
    material,
    machine: { name: machine.name, wavelengthNm: machine.wavelengthNm, spotDiameterUm: spotDiameterUm(machine) },
    grid: { pitchMm, lineSpacingMm },
    settings,
    screen,
  });
  if (!profile) {
    const passes = material.clear !== undefined && passesBeam(material.clear, machine.wavelengthNm);
    const known = material.marks.map(({ wavelengthNm: [min, max] }) => (min === max ? `${min}` : `${min}–${max}`));
    throw new AppError(
      'profile-unusable',
      `${material.title} has no known mark at ${machine.wavelengthNm} nm (${machine.name}); known are ${known.join(', ')} nm; ${passes ? 'the beam passes it and marks nothing but what lies on or beneath it; needed another machine, or, where it bears a coat that marks,' : 'needed'} to be told whether it marks lighter or darker`,
      { wavelengthNm: machine.wavelengthNm, options: ['direction'] },
    );
  }
  if (!takesStrength({ ...screen.options, name: screen.name as ScreenName })) return profile;
  // Such a screen takes strengths for coverages, so that a straight line would be no guess but a mistake.
  const points = listMarkTones(fillDotTable(profile)).map((tone) => ({ ...tone, spread: 0 }));
  return { ...profile, points };
}
