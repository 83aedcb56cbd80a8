import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import {
  type CoverageTable,
  type ExposureBand,
  type HeatFit,
  knowsHeat,
  type Profile,
  toneCurveOf,
} from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import { mean, NORMAL_95_ROUNDED } from '../../numeric/index.ts';
import { ONE } from '../../plane/index.ts';
import { roundTo } from '../page/html.ts';

/**
 * A tone that is known worse than this is badly known, ΔL*. Assumed: side by side everybody sees so much
 * (commonPractice).
 */
const BADLY_KNOWN_L = 3;
/** Tones of a picture are looked at in steps of so much L*. Assumed: finer than uncertainty changes. */
const STEP_L = 1;

/** How well it is known how light the whole of a picture is: half the 95 % interval, ΔL*, all tones together. */
export interface ExposureUncertainty {
  /** What it rests on; `unknown` for a profile that was learned before it was asked, which has no figures. */
  readonly basis: ExposureBand['basis'] | 'unknown';
  /** Mean over the picture, and largest of the tones that make up at least a thousandth of it. */
  readonly meanL?: number;
  readonly worstL?: number;
}

/**
 * How well the tones of a picture are known to one another: half the width in which 95 of 100 patches burned now should
 * lie, ΔL*, were the whole as light as the profile says. How light that is, is `exposure`.
 */
export interface ToneUncertainty {
  /** Mean over the picture, and largest of the tones that make up at least a thousandth of it. */
  readonly meanL: number;
  readonly worstL: number;
  /** Share of the picture, 0 … 1, whose tones are known to no better than `BADLY_KNOWN_L`. */
  readonly badShare: number;
  /** Stretches of L* on the work that are badly known and occur in the picture. */
  readonly badly: readonly { readonly fromL: number; readonly toL: number; readonly share: number }[];
  readonly exposure: ExposureUncertainty;
}

/** Half the 95 % interval of a CIE L* whose luminance is known to a factor, ΔL*. */
export function exposureHalf(lightness: number, factor: number): number {
  const luminance = reflectanceOfLightness(lightness);
  return (lightnessOfReflectance(luminance * factor) - lightnessOfReflectance(luminance / factor)) / 2;
}

/** What it rests on how light the whole is, in words. */
function sayExposureBasis(exposure: ExposureBand | undefined): string {
  switch (exposure?.basis) {
    case 'reference':
      return `measured against L* ${roundTo(exposure.lightness!, 1)} ± ${roundTo(exposure.tolerance!, 1)} in the picture`;
    case 'scanner':
      return 'a scanner’s own white';
    case 'none':
      return 'the capture’s own exposure; white paper beside the chart would tell';
    default:
      return 'the profile was learned before this was asked';
  }
}

/** One thing that is known of a profile's tones, how well, and what that means to whoever burns by it. */
export interface KnownFact {
  readonly name: 'shape' | 'lightness' | 'heat';
  readonly label: string;
  readonly value: string;
  readonly meaning: string;
}

/** Heat that a chart told of, or that it told none. */
function listHeat(heat: HeatFit): KnownFact {
  const percent = (share: number) => Math.round(100 * share);
  const [, low, high] = heat.total;
  const told = knowsHeat({ heat });
  const interval = `${percent(low)} … ${percent(high)} % (95 %)`;
  return {
    name: 'heat',
    label: 'Heat of earlier dots',
    value: told
      ? `a solid’s dots gain ${percent(heat.along)} % of dose along the line and ${percent(heat.across)} % from lines before, together ${interval}, over ${roundTo(heat.lengthMm, 2)} mm`
      : `not told by this chart: ${interval} holds none`,
    meaning: told
      ? 'Dots beside dark parts burn more, dots after bare ones less. Photographs are screened with that in mind.'
      : 'Dots beside dark parts may burn a little more. Nothing is changed for it, since there may be no heat at all.',
  };
}

/** Both bands of a profile, for people: its shape, and how light the whole is. Empty when nothing was measured. */
export function listKnown(profile: Pick<Profile, 'fit' | 'exposure' | 'bare' | 'full' | 'heat'>): readonly KnownFact[] {
  const { fit, exposure, bare, full } = profile;
  const meanHalf = meanBandHalf(profile);
  if (!fit || meanHalf === undefined) return [];
  const worstHalf = Math.max(...fit.band.map(({ low, high }) => (high - low) / 2));
  const [dark, light] = [bare[0], full[0]].sort((a, b) => a - b) as [number, number];
  return [
    {
      name: 'shape',
      label: 'Shape of the tones',
      value: `± ${roundTo(meanHalf, 1)} L* on average, ± ${roundTo(worstHalf, 1)} at worst (95 %)`,
      meaning: 'Whether steps of the photograph come out as even steps: what the eye sees first in one piece.',
    },
    {
      name: 'lightness',
      label: 'How light the whole is',
      value: exposure
        ? `± ${roundTo(exposureHalf(light, exposure.factor), 1)} L* in the light tones, ± ${roundTo(exposureHalf(dark, exposure.factor), 1)} in the dark (95 %): ${sayExposureBasis(exposure)}`
        : `not known: ${sayExposureBasis(exposure)}`,
      meaning:
        'All tones together may be lighter or darker by so much than the profile says. It matters when pieces of several materials must match, not within one piece.',
    },
    ...(profile.heat ? [listHeat(profile.heat)] : []),
  ];
}

/**
 * Half the width of a profile's band at a CIE L*, ΔL*; undefined when nothing was measured. A curve that is predicted
 * for another screen or grid is known less well by what the response model leaves over of the chart.
 */
export function knownTo(
  profile: Pick<Profile, 'points' | 'fit'>,
  curve: 'measured' | 'predicted',
): ((lightness: number) => number) | undefined {
  const { fit } = profile;
  if (!fit || fit.band.length === 0) return undefined;
  const more = curve === 'predicted' ? NORMAL_95_ROUNDED * fit.modelRms : 0;
  const tones = toneCurveOf(profile);
  const known = fit.band
    .map(({ coverage, low, high }) => {
      return { lightness: tones.lightnessAt(coverage), half: Math.hypot((high - low) / 2, more) };
    })
    .sort((a, b) => a.lightness - b.lightness);
  return (lightness) => halfAt(known, lightness);
}

/** Half the width of a profile's band, mean over its coverages, ΔL*; undefined when nothing was measured. */
export function meanBandHalf({
  fit,
}: {
  readonly fit?: Pick<NonNullable<Profile['fit']>, 'band'> | undefined;
}): number | undefined {
  return fit && fit.band.length > 0 ? mean(fit.band.map(({ low, high }) => (high - low) / 2)) : undefined;
}

/** What a profile has learned of levels of power, for people; undefined where nothing. */
export function sayLevelRoad({ levels }: Pick<Profile, 'levels'>): string | undefined {
  if (!levels) return undefined;
  const { count, screen, fit, doseByLevel } = levels;
  const half = meanBandHalf({ fit });
  const first = doseByLevel.findIndex(([, dose]) => dose > NO_DOSE);
  const idle = first > 1 ? doseByLevel[first - 1]![0] : 0;
  const middle = doseByLevel.find(([, dose]) => dose >= 0.5)![0];
  return [
    `${count} levels, measured with ${screen.name}: shape ± ${roundTo(half ?? 0, 1)} L* on average (95 %)`,
    `a tone left out is missed by ${roundTo(fit.leaveOneOut, 2)} L*`,
    ...(idle > 0 ? [`next to nothing arrives up to ${Math.round(100 * idle)} % of the scale`] : []),
    `half of the dose at ${Math.round(100 * middle)} %`,
  ].join('; ');
}

/** Dose that leaves nothing, a share of the full one. Assumed: less than any mark needs. */
const NO_DOSE = 0.02;

/**
 * The profile's band, carried to a picture.
 * @param counts how often each luminance 0 … ONE occurs in the toned picture
 * @returns undefined when the profile has no band: nothing was measured
 */
export function assessUncertainty(
  counts: ArrayLike<number>,
  {
    profile,
    curve,
    table,
  }: {
    readonly profile: Pick<Profile, 'points' | 'fit' | 'exposure'>;
    readonly curve: 'measured' | 'predicted';
    readonly table: Pick<CoverageTable, 'lightness'>;
  },
): ToneUncertainty | undefined {
  const halfOf = knownTo(profile, curve);
  if (!halfOf) return undefined;
  const shares = new Float64Array(Math.ceil(100 / STEP_L) + 1);
  let total = 0;
  for (let value = 0; value <= ONE; value++) {
    const count = counts[value]!;
    if (count === 0) continue;
    shares[Math.round(table.lightness[value]! / STEP_L)] += count;
    total += count;
  }
  const { exposure } = profile;
  let sum = 0;
  let worstL = 0;
  let sumTogether = 0;
  let worstTogether = 0;
  let badShare = 0;
  const badly: { fromL: number; toL: number; share: number }[] = [];
  for (let step = 0; step < shares.length; step++) {
    const share = shares[step]! / Math.max(1, total);
    const half = halfOf(step * STEP_L);
    sum += share * half;
    const together = exposure ? exposureHalf(step * STEP_L, exposure.factor) : 0;
    sumTogether += share * together;
    if (share >= 0.001) {
      worstL = Math.max(worstL, half);
      worstTogether = Math.max(worstTogether, together);
    }
    if (!(half > BADLY_KNOWN_L) || share === 0) continue;
    badShare += share;
    const last = badly.at(-1);
    if (last && step * STEP_L - last.toL <= STEP_L) {
      last.toL = step * STEP_L;
      last.share += share;
    } else badly.push({ fromL: step * STEP_L, toL: step * STEP_L, share });
  }
  return {
    meanL: round3(sum),
    worstL: round3(worstL),
    badShare: round3(badShare),
    badly: badly.map(({ fromL, toL, share }) => ({ fromL, toL, share: round3(share) })),
    exposure: exposure
      ? { basis: exposure.basis, meanL: round3(sumTogether), worstL: round3(worstTogether) }
      : { basis: 'unknown' },
  };
}

/** In words how well a ticket knows how light the whole is. */
export function sayExposure({ basis, meanL, worstL }: ExposureUncertainty): string {
  if (meanL === undefined || worstL === undefined) {
    return 'not known: the profile was learned before this was asked';
  }
  const why = {
    reference: 'measured against a reference',
    scanner: 'by a scanner’s own white',
    none: 'no reference in the capture',
  }[basis as ExposureBand['basis']];
  return `± ${roundTo(meanL, 1)} L* on average, ± ${roundTo(worstL, 1)} at worst (95 %; ${why})`;
}

const round3 = (value: number) => Math.round(value * 1000) / 1000;

function halfAt(known: readonly { readonly lightness: number; readonly half: number }[], lightness: number): number {
  const above = known.findIndex((point) => point.lightness >= lightness);
  if (above < 0) return known.at(-1)!.half;
  if (above === 0) return known[0]!.half;
  const [a, b] = [known[above - 1]!, known[above]!];
  const way = b.lightness - a.lightness;
  return way > 0 ? a.half + ((lightness - a.lightness) / way) * (b.half - a.half) : Math.max(a.half, b.half);
}

/** What a person should know before burning; undefined when no more than a hundredth of the picture is badly known. */
export function warnOfUncertainty({ badShare, badly }: ToneUncertainty, name: string): Notice | undefined {
  if (badShare <= 0.01) return undefined;
  const where = badly.map(({ fromL, toL }) => (fromL === toL ? `L* ${fromL}` : `L* ${fromL} … ${toL}`)).join(', ');
  const said = `${roundTo(100 * badShare, 0)} % of the picture lies in tones that ${name} knows to no better than ± ${BADLY_KNOWN_L} L* (${where}): a tone chart drawn after this profile, with more patches there, halves that with four times as many.`;
  return notice('tones-unsure', { profile: name, said, share: badShare });
}

/** Tones of a material that can be told from one another. */
export interface UsableSpan {
  /** Tones that are three standard deviations of one patch apart, from bare to the end of the curve. */
  readonly tones: number;
  /** Coverages between which a tone is told from bare and from the end of the curve. */
  readonly from: number;
  readonly to: number;
}

/**
 * Standard deviations by which two patches differ when nobody confuses them. Assumed: chance passes three once in
 * hundreds.
 */
const APART = 3;

/** Counted along the curve with the scatter that each tone has of its own. */
export function measureSpan({ points, repeatability }: Pick<Profile, 'points' | 'repeatability'>): UsableSpan {
  const tones = toneCurveOf({ points });
  const end = points.at(-1)!.coverage;
  const scatterAt = (coverage: number) => {
    const above = points.findIndex((point) => point.coverage >= coverage);
    const [a, b] = [points[Math.max(0, above - 1)]!, points[above < 0 ? points.length - 1 : above]!];
    const spread = Math.max(a.spread, b.spread);
    return Math.max(0.01, spread > 0 ? spread : repeatability);
  };
  const steps = 400;
  let way = 0;
  let from = end;
  let to = 0;
  const first = points[0]!.lightness;
  const last = points.at(-1)!.lightness;
  for (let i = 0; i <= steps; i++) {
    const coverage = points[0]!.coverage + ((end - points[0]!.coverage) * i) / steps;
    const lightness = tones.lightnessAt(coverage);
    const scatter = scatterAt(coverage);
    if (i > 0) {
      const before = tones.lightnessAt(coverage - (end - points[0]!.coverage) / steps);
      way += Math.abs(lightness - before) / (APART * scatter);
    }
    if (Math.abs(lightness - first) >= APART * scatter) from = Math.min(from, coverage);
    if (Math.abs(lightness - last) >= APART * scatter) to = Math.max(to, coverage);
  }
  return { tones: 1 + Math.floor(way + 1e-6), from, to: Math.max(from, to) };
}
