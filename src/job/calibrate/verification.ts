import { levelsOfScreen, type Profile, takeRoad, type VerifyLimits } from '../../material/index.ts';
import { mean } from '../../numeric/index.ts';
import { roundTo } from '../page/html.ts';
import { type DriftHistory, listVerified, type VerifiedScreen, type VerifiedScreens } from '../request/history.ts';

export type VerifyResult = 'pass' | 'warn' | 'fail';

/**
 * Print error: how far tones come out that were burned through the profile, ΔL* read less aimed. It is another thing
 * than the fit error, which says how well the profile describes the chart it was learned from.
 */
export interface Verification {
  /** Screen that was verified, and whether the profile measured it or predicts it. */
  readonly screen: string;
  readonly curve: 'measured' | 'predicted';
  /** Power levels per dot; absent where dots fire or not. */
  readonly levels?: number;
  /** Patches between bare and solid. */
  readonly count: number;
  /** Mean and largest |ΔL*| of single patches; means of the worst tenth of them and of the other nine tenths. */
  readonly meanDelta: number;
  readonly worstDelta: number;
  readonly worstTenth: number;
  readonly bestNineTenths: number;
  /** Mean ΔL*: all tones off to one side, which learning again or the old aim mends. */
  readonly bias: number;
  /** Root mean square of what single tones are off beyond the bias: the shape of the curve. */
  readonly shape: number;
  /** Standard deviation between patches of one tone, which nothing mends but a steadier burn; 0 without replicates. */
  readonly scatter: number;
  readonly limits: VerifyLimits;
  readonly result: VerifyResult;
}

/**
 * Limits for a profile, in units of its repeatability so that a coarse material is not asked for what it cannot do. Of
 * patches that only scatter the mean |ΔL*| is 0.8 units and the worst of some thirty 2.5 units. The least values are
 * what the eye accepts between a proof and a print side by side: assumed.
 */
export function chooseLimits(repeatability: number): VerifyLimits {
  const limit = (least: number, units: number) => Math.round(100 * Math.max(least, units * repeatability)) / 100;
  return {
    passMean: limit(1, 1.5),
    passWorst: limit(3, 4),
    warnMean: limit(2, 2.5),
    warnWorst: limit(5, 6),
  };
}

/** Print error from the tones of a verification chart. @throws RangeError without a tone. */
export function verifyTones(
  patches: readonly Pick<DriftPatch, 'role' | 'delta' | 'deltas'>[],
  {
    profile,
    screen,
    levels = 2,
    curve,
  }: Pick<Verification, 'screen' | 'curve' | 'levels'> & {
    readonly profile: Pick<Profile, 'limits' | 'repeatability'>;
  },
): Verification {
  const tones = patches.filter(({ role }) => role === 'tone');
  const deltas = tones.flatMap((tone) => tone.deltas);
  if (deltas.length === 0) throw new RangeError('a verification needs at least one tone');
  const sizes = deltas.map(Math.abs).sort((a, b) => b - a);
  const tenth = Math.max(1, Math.round(sizes.length / 10));
  const bias = mean(deltas);
  let squares = 0;
  let degreesOfFreedom = 0;
  for (const tone of tones) {
    squares += tone.deltas.reduce((sum, delta) => sum + (delta - tone.delta) ** 2, 0);
    degreesOfFreedom += tone.deltas.length - 1;
  }
  const scatter = degreesOfFreedom > 0 ? Math.sqrt(squares / degreesOfFreedom) : 0;
  // What tones are off beyond the bias holds the scatter of their own few patches, too: it is taken away again.
  const between = mean(tones.map(({ delta }) => (delta - bias) ** 2));
  const ofScatter = scatter ** 2 * mean(tones.map((tone) => 1 / tone.deltas.length));
  const limits = profile.limits ?? chooseLimits(profile.repeatability);
  const meanDelta = mean(sizes);
  const worstDelta = sizes[0]!;
  return {
    screen,
    curve,
    ...(levels > 2 ? { levels } : {}),
    count: deltas.length,
    meanDelta,
    worstDelta,
    worstTenth: mean(sizes.slice(0, tenth)),
    bestNineTenths: mean(sizes.slice(sizes.length > tenth ? tenth : 0)),
    bias,
    shape: Math.sqrt(Math.max(0, between - ofScatter)),
    scatter,
    limits,
    result: judge({ meanDelta, worstDelta }, limits),
  };
}

function judge(
  { meanDelta, worstDelta }: Pick<Verification, 'meanDelta' | 'worstDelta'>,
  { passMean, passWorst, warnMean, warnWorst }: VerifyLimits,
): VerifyResult {
  if (meanDelta <= passMean && worstDelta <= passWorst) return 'pass';
  return meanDelta <= warnMean && worstDelta <= warnWorst ? 'warn' : 'fail';
}

/** Print error and fit error in words, each by its name. */
export function sayVerification(verification: Verification, { fit, screen, name }: Profile): readonly string[] {
  const { meanDelta, worstDelta, worstTenth, bestNineTenths, bias, shape, scatter, count, limits, result } =
    verification;
  const verdict = {
    pass: 'passes',
    warn: `is on the edge (it passes up to mean ${roundTo(limits.passMean, 2)}, worst ${roundTo(limits.passWorst, 2)})`,
    fail: `fails (more than mean ${roundTo(limits.warnMean, 2)} or worst ${roundTo(limits.warnWorst, 2)})`,
  }[result];
  const main = Math.abs(bias) >= Math.max(shape, scatter) ? 'bias' : shape >= scatter ? 'shape' : 'scatter';
  const advice = {
    bias: `Most of it is bias: everything is ${bias > 0 ? 'lighter' : 'darker'} than aimed by ${roundTo(Math.abs(bias), 1)} L*. Look at power, focus and the batch before learning again.`,
    shape: 'Most of it is shape: single tones are off to either side. Learn again with more steps.',
    scatter:
      'Most of it is scatter: equal patches differ. Look at clamping, focus over the field and the stock itself.',
  }[main];
  return [
    `Print error: the profile ${verdict}: mean |ΔL*| ${roundTo(meanDelta, 2)}, worst ${roundTo(worstDelta, 2)} of ${count} patches; worst tenth ${roundTo(worstTenth, 2)}, the other nine tenths ${roundTo(bestNineTenths, 2)} on average.`,
    `Bias ${bias < 0 ? '−' : '+'}${roundTo(Math.abs(bias), 2)}, shape ${roundTo(shape, 2)}, scatter ${roundTo(scatter, 2)} L*.${result === 'pass' ? '' : ` ${advice}`}`,
    fit
      ? `Fit error, another thing: the profile describes the chart that it was learned from to ${roundTo(fit.leaveOneOut, 2)} L* (a tone left out).`
      : 'Fit error: not known, as the profile was not learned from a chart.',
    ...(verification.curve === 'predicted'
      ? [
          `This is a test of prediction: ${name} was learned with ${nameScreen(screen.name, levelsOfScreen(screen))}, the chart was burned with ${nameScreen(verification.screen, verification.levels)} or on another grid.`,
        ]
      : []),
  ];
}

/** A screen with the levels of power that its dots have. */
const nameScreen = (name: string, levels = 2) => (levels > 2 ? `${name} of ${levels} levels` : name);

/** Both numbers of a prediction test, in words; empty when no other screen was tried. */
export function sayPrediction({ own, others, ownOnly }: VerifiedScreens, { screen, fit }: Profile): readonly string[] {
  if (others.length === 0) return [];
  const numbers = ({ meanDelta, worstDelta }: VerifiedScreen) =>
    `mean ${roundTo(meanDelta, 2)}, worst ${roundTo(worstDelta, 2)} ΔL*`;
  const ofOwn = own
    ? numbers(own)
    : fit
      ? `not verified yet (fit error ${roundTo(fit.leaveOneOut, 2)} L*)`
      : 'not verified yet';
  return [
    `Its own screen ${nameScreen(screen.name, levelsOfScreen(screen))}: ${ofOwn}. Predicted: ${others.map((one) => `${nameScreen(one.screen, one.levels)}: ${numbers(one)}, ${one.result}`).join('; ')}.`,
    ...(ownOnly ? ['This screen only: another one that the profile was to predict came out beyond its limits.'] : []),
  ];
}

/** What a verification says, and all of its road together. */
export function sayPrint(
  verification: Verification,
  { profile, history }: { readonly profile: Profile; readonly history: DriftHistory | undefined },
): readonly string[] {
  const { levels = 2 } = verification;
  const road = takeRoad(profile, levels);
  const verified = listVerified(history, levels > 2 ? 'levels' : 'dots');
  return [...sayVerification(verification, road), ...sayPrediction(verified, road)];
}

/** One tone of the strip, its replicates averaged. */
export interface DriftPatch {
  readonly ids: readonly string[];
  readonly role: 'bare' | 'solid' | 'tone';
  readonly coverage: number;
  /** L* that the profile's curve has for this coverage. */
  readonly expected: number;
  /** L* as read. */
  readonly lightness: number;
  /** Read less expected: of the replicates' mean, and of each of them. */
  readonly delta: number;
  readonly deltas: readonly number[];
}
