import { createPchip, tabulate } from '../numeric/index.ts';
import type { LevelDose, Profile, ResponseModel } from './types.ts';

/**
 * The profile as dots of some levels see it: for more than two, where it holds a road of levels, with that one's
 * screen, curve and band, and with its doses in the response; as it is otherwise. All that asks a profile for its
 * curve, its dot table or its band then has those of the road.
 */
export function takeRoad(profile: Profile, levels: number): Profile {
  const { levels: road, ...own } = profile;
  if (levels <= 2 || !road) return profile;
  const { screen, points, doseByLevel, fit } = road;
  const quality = own.fit && { fit: { ...own.fit, ...fit } };
  return { ...own, screen, points, response: { ...own.response, doseByLevel }, ...quality };
}

/** Whether a profile, as `takeRoad` gave it, has measured what becomes of levels. */
export const knowsLevels = ({ response }: Pick<Profile, 'response'>): boolean => response.doseByLevel !== undefined;

/** Levels that a screen gives; 2 when it says nothing of them. */
export const levelsOfScreen = ({ options }: Profile['screen']): number => Number(options.levels ?? 2);

/** Share of a full dot's dose that each of some levels gives, 0 … 1: in proportion where nothing was measured. */
export function tabulateLevelDoses({ doseByLevel }: ResponseModel, levels: number): Float64Array {
  const share = doseByLevel ? curveOf(doseByLevel) : (level: number) => level;
  return tabulate(new Float64Array(levels), (level) => share(level / (levels - 1)));
}

function curveOf(doses: readonly LevelDose[]): (level: number) => number {
  const curve = createPchip(
    doses.map(([level]) => level),
    doses.map(([, dose]) => dose),
  );
  return (level) => Math.min(1, Math.max(0, curve.valueAt(level)));
}

/** Most points of a curve of levels, a count. Assumed: as fine as a tone curve bends. */
const LEVEL_POINTS = 48;

/**
 * Mean levels at which a curve of levels has its points, shares: bends lie at the levels, and between few of them it
 * bends as dots that fire or not do; between many it is smooth.
 */
export function listLevelCoverages(count: number): readonly number[] {
  const steps = count - 1;
  const parts = steps <= 4 ? 6 * steps : steps <= LEVEL_POINTS / 2 ? 2 * steps : Math.min(steps, LEVEL_POINTS);
  return Array.from({ length: parts + 1 }, (_, at) => Number((at / parts).toFixed(5)));
}
