import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError, type ErrorCode } from '../../errors.ts';
import { controlOf, type Machine } from '../../machine/index.ts';
import { describeSolid, type Profile, type Surface } from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import {
  type BurnSettings,
  chooseLineSpacingMm,
  computeArealDoseJPerCm2,
  computeEyeBlurMm,
  computeSpotDiameterUm,
  describeOptics,
  listBeyond,
  sayBeyond,
} from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import type { GivenSettings } from './types.ts';

/** A grid with where it comes from. */
export type ResolvedGrid = DotGrid & { readonly origin: 'profile' | 'given' | 'recommended' };

/** Assumed: grids and doses beyond these are slips of the keyboard, or ruin the piece. */
const LIMITS = {
  /** Dots or lines at most so many spot diameters apart. */
  spots: 5,
  /**
   * At most so many times the dose that was learned, or that the machine starts with; from `warn` times on it is said.
   */
  dose: 4,
  /** From this factor on it is said. Assumed: half as much again is beyond a usual choice. */
  warn: 1.5,
} as const;

/** The spot of a machine: as measured, else from its lens. */
export function spotDiameterUm(machine: Machine): number {
  return machine.spotDiameterUm ?? computeSpotDiameterUm(machine);
}

/**
 * Line spacing for this machine before a material is measured: the same for a chart, a photo and a description of the
 * optics.
 */
export function recommendStartSpacingMm(machine: Machine): number {
  return describeOptics(machine, machine.defaults).recommendedLineSpacingMm;
}

/**
 * As given, else the profile's, else recommended.
 * @throws AppError option-invalid for dots or lines so far apart that no solid comes of them
 */
export function resolveGrid(
  { pitchMm, lineSpacingMm }: { readonly pitchMm?: number; readonly lineSpacingMm?: number },
  { machine, learned }: { readonly machine: Machine; readonly learned: Profile | undefined },
): ResolvedGrid {
  const origin = pitchMm !== undefined || lineSpacingMm !== undefined ? 'given' : learned ? 'profile' : 'recommended';
  refuseWide(pitchMm, { field: 'pitch', what: 'between dots', machine });
  refuseWide(lineSpacingMm, { field: 'spacing', what: 'between lines', machine });
  const spacing = lineSpacingMm ?? learned?.grid.lineSpacingMm ?? recommendStartSpacingMm(machine);
  return { pitchMm: pitchMm ?? learned?.grid.pitchMm ?? spacing, lineSpacingMm: spacing, origin };
}

/** @throws AppError option-invalid */
function refuseWide(
  lengthMm: number | undefined,
  { field, what, machine }: { readonly field: string; readonly what: string; readonly machine: Machine },
): void {
  const spotMm = spotDiameterUm(machine) / 1000;
  if (lengthMm === undefined || lengthMm <= LIMITS.spots * spotMm) return;
  const asUm = lengthMm / 1000;
  const meant = asUm <= LIMITS.spots * spotMm && asUm >= spotMm / 20 ? `; "${show(lengthMm)}um" was meant?` : '';
  throw new AppError(
    'option-invalid',
    `${field}: found ${show(lengthMm)} mm ${what}, ${show(lengthMm / spotMm)} times the ${show(1000 * spotMm)} µm spot of ${machine.name}; needed at most ${show(LIMITS.spots * spotMm)} mm${meant}`,
    { lengthMm, mostMm: LIMITS.spots * spotMm },
  );
}

/**
 * Settings to start with where nothing was learned: the machine's own and those that are given. Without a given speed
 * it is the one nearest to the machine's at which every dot gets the same whole number of pulses; unless something of
 * the dose is given, power is changed so that the dose on this grid is the machine's start dose, as far as its range
 * goes.
 */
export function startSettings(
  machine: Machine,
  { grid, given = {} }: { readonly grid: DotGrid; readonly given?: Partial<BurnSettings> },
): BurnSettings {
  const settings = lockSpeed(machine, { grid, given });
  const { powerW, speedMmPerS, passes } = given;
  if (powerW !== undefined || speedMmPerS !== undefined || passes !== undefined) return settings;
  const ratio = startDoseJPerCm2(machine) / doseOf(settings, grid);
  if (Math.abs(ratio - 1) < 1e-6) return settings;
  const { min, max } = machine.powerW;
  // Three digits, which a person can type.
  const kept = Number((settings.powerW * ratio).toPrecision(3));
  return { ...settings, powerW: Math.min(max, Math.max(min, kept)) };
}

/** Settings that were given, with power in W. */
export function settleGiven(given: GivenSettings | undefined, machine: Machine): Partial<BurnSettings> {
  const { powerPercent, ...settings } = given ?? {};
  if (powerPercent === undefined) return settings;
  const fullW = controlOf(machine)?.fullPowerW ?? machine.powerW.max;
  return { powerW: (powerPercent / 100) * fullW, ...settings };
}

/** Dose of a solid with the machine's own settings on the recommended grid, J/cm². */
function startDoseJPerCm2(machine: Machine): number {
  const spacing = recommendStartSpacingMm(machine);
  const grid = { pitchMm: spacing, lineSpacingMm: spacing };
  return doseOf(lockSpeed(machine, { grid, given: {} }), grid);
}

/** Mean dose of a solid, J/cm². */
export function doseOf(settings: BurnSettings, { lineSpacingMm }: DotGrid): number {
  return computeArealDoseJPerCm2({ ...settings, lineSpacingMm });
}

/** Speed at which every dot gets the same whole number of pulses, where it is free and within the machine's range. */
function lockSpeed(
  machine: Machine,
  { grid, given }: { readonly grid: DotGrid; readonly given: Partial<BurnSettings> },
): BurnSettings {
  const settings = { ...machine.defaults, ...given };
  const { pitchMm, lineSpacingMm } = grid;
  const locked = describeOptics(machine, { ...settings, pitchMm, lineSpacingMm }).lockedSpeedMmPerS;
  const { min, max } = machine.speedMmPerS;
  if (given.speedMmPerS !== undefined || locked === null || locked < min || locked > max) return settings;
  return { ...settings, speedMmPerS: Number(locked.toPrecision(9)) };
}

/**
 * The one gate between settings and what the machine gives.
 * @param of what the settings are, for the message: `prepare`, `mark gold of palette.json`
 * @throws AppError
 */
export function refuseBeyond(
  settings: Partial<BurnSettings>,
  {
    machine,
    of,
    code = 'option-invalid',
  }: { readonly machine: Machine; readonly of: string; readonly code?: ErrorCode },
): void {
  const [first] = listBeyond(settings, machine);
  if (!first) return;
  throw new AppError(
    code,
    `${of}: found ${sayBeyond(first)}, which is what ${machine.name} gives; change the setting, or correct the machine’s record if it states the range wrongly`,
    { setting: first.about, value: first.value, min: first.min, max: first.max },
  );
}

/** Burns beside the dose that is known: what was learned, or what the machine starts with. */
export interface DoseQuestion {
  readonly machine: Machine;
  readonly learned: Profile | undefined;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
}

/** The dose that the profile was learned with, or that the machine starts with, J/cm². */
export function usualDoseJPerCm2({ machine, learned }: Pick<DoseQuestion, 'machine' | 'learned'>): number {
  return learned?.machine === machine.name ? doseOf(learned.settings, learned.grid) : startDoseJPerCm2(machine);
}

/**
 * What to say of a dose that differs from the learned or the start dose; undefined where it hardly does.
 * @throws AppError option-invalid for a dose beyond all sense, unless it was asked for by its settings
 */
export function judgeDose(question: DoseQuestion, { asked = false } = {}): Notice | undefined {
  const { machine, learned, settings, grid } = question;
  const dose = doseOf(settings, grid);
  const usual = usualDoseJPerCm2(question);
  const own = learned?.machine === machine.name;
  const times = dose / usual;
  const whose = own ? `that ${learned.name} was learned with` : `that ${machine.name} starts with`;
  const found = `${show(dose)} J/cm² in a solid, ${sayTimes(times)} the ${show(usual)} J/cm² ${whose}`;
  if (times > LIMITS.dose && !asked) {
    throw new AppError(
      'option-invalid',
      `found ${found}: it burns through or sets the material on fire; needed lines at least ${show(Math.ceil((10000 * grid.lineSpacingMm * times) / LIMITS.dose) / 10000)} mm apart with these settings`,
      { doseJPerCm2: dose, usualJPerCm2: usual },
    );
  }
  if (times < LIMITS.warn && times > 1 / LIMITS.warn) return undefined;
  return times > 1
    ? notice('dose-strong', {
        said: `The dose is ${found}: burn a trial piece first and watch it, or lower the power or raise the speed.`,
        times,
      })
    : notice('dose-faint', {
        said: `The dose is ${found}: the mark may stay faint. Burn a trial piece first, or raise the power or lower the speed.`,
        times,
      });
}

/**
 * Share of the tonal range that the solid may lose against the burned one and still have the full tone. Assumed: less
 * than captures repeat to.
 */
const FULL_TONE_LOSS = 0.02;
/**
 * A spacing within this share of the burned one is no reason to change. Assumed: a tenth saves too little time to burn
 * a chart again.
 */
const SAME_SPACING = 0.1;
/**
 * Spacings that are looked at, as shares of the burned one. Assumed: the response model is not asked beyond what its
 * chart showed.
 */
const REACH = { narrowest: 0.5, widest: 2 } as const;

type Burned = Surface & Pick<Profile, 'grid' | 'settings'>;

/**
 * Line spacing that a measured solid supports, with pitch, power and speed kept: the rule of `chooseLineSpacingMm` with
 * the evenness of the mark itself, among the spacings that reach the full tone. The burned one where it is nearly that,
 * or where no other is better.
 */
export function recommendSpacingMm(profile: Burned): number {
  const { grid, settings, bare, full } = profile;
  const least = (1 - FULL_TONE_LOSS) * Math.abs(full[0] - bare[0]);
  const best = chooseLineSpacingMm({
    ...settings,
    narrowestMm: REACH.narrowest * grid.lineSpacingMm,
    widestMm: REACH.widest * grid.lineSpacingMm,
    unevennessAt: (lineSpacingMm) => {
      const solid = describeSolid(profile, { grid: { ...grid, lineSpacingMm } });
      return Math.abs(solid.lightness - bare[0]) < least ? Number.POSITIVE_INFINITY : solid.unevenness;
    },
  });
  if (best === undefined || Math.abs(best / grid.lineSpacingMm - 1) <= SAME_SPACING) return grid.lineSpacingMm;
  return best;
}

/**
 * More dose by which it is asked whether the solid could become stronger. A factor. Assumed: as much as most shops have
 * to spare.
 */
const MORE_DOSE = 1.25;
/**
 * ΔL* from which a shortfall, or lines in a solid, are worth a word. Assumed: about the least difference that is seen
 * side by side.
 */
const WORTH_SAYING_L = 1;

/** ΔL* that a solid would still gain by a quarter more dose, by the response model; 0 where it is saturated. */
export function gainByMoreDose(profile: Burned): number {
  const now = describeSolid(profile, profile);
  const more = describeSolid(profile, { grid: profile.grid, doseFactor: MORE_DOSE });
  return Math.max(0, Math.abs(more.lightness - profile.bare[0]) - Math.abs(now.lightness - profile.bare[0]));
}

/**
 * Whether the solid that a profile knows holds on this grid: it keeps its tone, and its lines are not seen from the
 * viewing distance. Undefined where there is nothing to do.
 */
export function warnOfSolid(
  profile: Profile,
  { grid, viewingDistanceMm }: { readonly grid: DotGrid; readonly viewingDistanceMm: number },
): Notice | undefined {
  const solid = describeSolid(profile, { grid });
  const lost = Math.abs(profile.full[0] - profile.bare[0]) - Math.abs(solid.lightness - profile.bare[0]);
  const seen = seeLines(profile, { ...solid, lineSpacingMm: grid.lineSpacingMm, viewingDistanceMm });
  if (lost < WORTH_SAYING_L && seen < WORTH_SAYING_L) return undefined;
  const better = recommendSpacingMm(profile);
  const remedy =
    better < 0.99 * grid.lineSpacingMm
      ? `take lines ${show(better)} mm apart`
      : 'learn a chart with closer lines, or with more dose';
  const said =
    lost >= WORTH_SAYING_L
      ? `At ${show(grid.lineSpacingMm)} mm between lines a solid falls ${lost.toFixed(1)} L* short of the full tone: ${remedy}.`
      : `At ${show(grid.lineSpacingMm)} mm between lines a solid shows stripes of ± ${seen.toFixed(1)} L* from ${show(viewingDistanceMm)} mm: ${remedy}.`;
  return notice('solid-uneven', { said, lostL: Math.max(lost, seen) });
}

/** Half the difference of lightness between lines and gaps that the eye's blur leaves, ΔL*. */
function seeLines(
  { bare, full }: Surface,
  {
    strength,
    unevenness,
    lineSpacingMm,
    viewingDistanceMm,
  }: {
    readonly strength: number;
    readonly unevenness: number;
    readonly lineSpacingMm: number;
    readonly viewingDistanceMm: number;
  },
): number {
  const kept = Math.exp(-2 * (Math.PI * (computeEyeBlurMm({ viewingDistanceMm }) / lineSpacingMm)) ** 2);
  const [bareY, fullY] = [reflectanceOfLightness(bare[0]), reflectanceOfLightness(full[0])];
  const at = (share: number) => lightnessOfReflectance(Math.max(0, bareY + share * strength * (fullY - bareY)));
  return Math.abs(at(1 + unevenness * kept) - at(1 - unevenness * kept)) / 2;
}

/** Three significant digits. */
const show = (value: number) => String(Number(value.toPrecision(3)));
const sayTimes = (times: number) => (times >= 1 ? `${show(times)} times` : `${show(100 * times)} % of`);
