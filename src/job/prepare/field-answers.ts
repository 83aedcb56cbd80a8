import { type EvennessMap, evennessTerms, type FieldAnswers, homeTerms } from '../../machine/index.ts';
import type { Profile } from '../../material/index.ts';
import { NORMAL_95 } from '../../numeric/index.ts';

/**
 * Factor by which steepness and half dose of two models of one material may differ for one to answer as the other does.
 * Assumed: learned twice they differ by less, and by what a control strip adjusts.
 */
const SAME_MODEL = 1.3;
/**
 * Standard deviations of how many times the model's change a tone changes, where no chart of the material has measured
 * it. Measured (`benchmarks/field.ts`): as read on the materials there.
 */
const UNMEASURED = { dose: 0.3, width: 0.5 } as const;

/**
 * The same between the tones that were measured, to dose. Measured (`benchmarks/field.ts`): error diffusion answers
 * otherwise at every coverage, by up to a sixth of the change on painted steel.
 */
export const BETWEEN_TONES = 0.08;

/** How many times the model's change a tone changes where dose or width are others. */
export interface Answer {
  readonly dose: number;
  readonly width: number;
}

/** Factors. By definition: as the model says. */
const BY_MODEL: Answer = { dose: 1, width: 1 };

/** What the map's charts measured of the profile's tones; undefined where they were burned on another material. */
export function answersFor(map: EvennessMap | undefined, profile: Profile): FieldAnswers | undefined {
  const answers = map?.answers;
  if (!answers || map.material !== profile.material) return undefined;
  const isNear = (a: number, b: number) => Math.max(a, b) <= SAME_MODEL * Math.min(a, b);
  const { steepness, halfDose } = profile.response;
  return isNear(answers.steepness, steepness) && isNear(answers.halfDose, halfDose) ? answers : undefined;
}

/** How a tone answers, by where it lies between bare (0) and full (1): straight between the measured ones. */
export function answerAt(answers: FieldAnswers | undefined, share: number): Answer {
  const near = nearTones(answers, share);
  if (!near) return BY_MODEL;
  const mix = (key: keyof Answer) => near.reduce((sum, { tone, weight }) => sum + weight * tone[key], 0);
  return { dose: mix('dose'), width: mix('width') };
}

/** The one or two measured tones that a tone lies at or between, with their weights. */
function nearTones(answers: FieldAnswers | undefined, share: number) {
  if (!answers) return undefined;
  const tones = answers.tones.map((tone, index) => ({ ...tone, index })).sort((a, b) => a.share - b.share);
  const above = tones.findIndex((tone) => tone.share >= share);
  if (above <= 0) return [{ tone: above === 0 ? tones[0]! : tones.at(-1)!, weight: 1 }];
  const [a, b] = [tones[above - 1]!, tones[above]!];
  const weight = (share - a.share) / (b.share - a.share);
  return [
    { tone: a, weight: 1 - weight },
    { tone: b, weight },
  ];
}

/** What the model says of a tone at a place: change of L* by dose and by the width beside, and their derivatives. */
export interface ToneThere {
  readonly share: number;
  readonly byDose: number;
  readonly byWidth: number;
  /** L* for the logarithm of either. */
  readonly perDose: number;
  readonly perWidth: number;
}

/** How far tones at a place of the field may be from those at home, ΔL* (95 %), by what the charts told. */
export function toneReachL(
  tones: readonly ToneThere[],
  {
    map,
    answers,
    xMm,
    yMm,
  }: {
    readonly map: EvennessMap;
    readonly answers: FieldAnswers | undefined;
    readonly xMm: number;
    readonly yMm: number;
  },
): readonly number[] {
  const home = homeTerms(map.surface, map);
  const terms = evennessTerms(map.surface, map.fieldMm, xMm, yMm).map((term, at) => term - home[at]!);
  return tones.map((tone) => {
    const parts: (readonly [number, number])[] = [
      ...terms.map((term, at) => [at, tone.perDose * term] as const),
      ...terms.map((term, at) => [terms.length + at, tone.perWidth * term] as const),
    ];
    if (!answers) {
      const variance =
        varianceOf(parts.slice(0, terms.length), map.lnDose.covariance) +
        varianceOf(
          parts.slice(terms.length).map(([at, value]) => [at - terms.length, value] as const),
          map.lnWidth.covariance,
        );
      return (
        NORMAL_95 * Math.sqrt(variance + (UNMEASURED.dose * tone.byDose) ** 2 + (UNMEASURED.width * tone.byWidth) ** 2)
      );
    }
    const from = 2 * terms.length;
    for (const { tone: near, weight } of nearTones(answers, tone.share)!) {
      parts.push([from + near.index, weight * tone.byDose]);
      parts.push([from + answers.tones.length + near.index, weight * tone.byWidth]);
    }
    return NORMAL_95 * Math.hypot(Math.sqrt(varianceOf(parts, answers.covariance)), BETWEEN_TONES * tone.byDose);
  });
}

const varianceOf = (
  parts: readonly (readonly [number, number])[],
  covariance: readonly (readonly number[])[],
): number =>
  Math.max(
    0,
    parts.reduce((sum, [i, a]) => sum + parts.reduce((row, [j, b]) => row + a * b * covariance[i]![j]!, 0), 0),
  );
