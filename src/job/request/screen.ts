import { AppError } from '../../errors.ts';
import type { Machine } from '../../machine/index.ts';
import { fillDotTable, knowsLevels, type Profile } from '../../material/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import {
  chooseScreen,
  DISPERSED_SCREEN,
  findLoneStrength,
  NEUTRAL_OPTIONS,
  SCREEN_NAMES,
  SCREENS,
  type ScreenName,
  type ScreenOptions,
  type ScreenRequest,
  shortestRun,
  takesStrength,
} from '../../screens/index.ts';
import { JOB_DEFAULTS, type JobRequest, type JobSpec } from './types.ts';

export interface ScreenNeeds {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly learned: Profile | undefined;
  readonly levels: number;
}

/** The same where only the screen is to be found: little of the machine decides it. */
export type ScreenChoiceNeeds = Omit<ScreenNeeds, 'machine'> & {
  readonly machine: Pick<Machine, 'name' | 'switchingUs'>;
};

export interface WantedScreen {
  readonly name: ReturnType<typeof resolveScreen>;
  /** What the choice adds to the screen's own defaults; values given by hand go over it. */
  readonly options: Partial<ScreenOptions>;
  /** Why, where the program chose. */
  readonly reason?: string;
}

/**
 * The screen asked for by name, or with `auto` the one for the material and the machine; on a machine that states how
 * fast its beam switches, with runs that it can follow.
 * @throws AppError name-unknown
 */
export function findScreen(
  asked: string,
  { machine, settings, grid, learned, levels }: ScreenChoiceNeeds,
): WantedScreen {
  const run = shortestRunOf(machine, { settings, grid });
  if (asked === 'auto') {
    const knowsMarks = learned !== undefined;
    return chooseScreen({
      grid,
      levels,
      knowsLevels: learned !== undefined && knowsLevels(learned),
      knowsMarks,
      loneStrength: knowsMarks ? findLoneStrength(fillDotTable(learned, grid)) : 1,
      repeatability: learned?.repeatability ?? 0,
      shortestRun: run,
    });
  }
  const name = resolveScreen(asked);
  // Levels are searched by what they leave, or not at all.
  if (levels > 2 && SCREENS[name].family === 'search') return { name, options: { response: 'table' } };
  if (run === 1 || levels > 2 || !SCREENS[name].uses.includes('run')) return { name, options: {} };
  return { name, options: { run }, reason: `${machine.name} needs ${run} dots for on or off at this speed.` };
}

/**
 * What to screen with where nobody said: the automatic choice, unless a profile was learned with another screen than
 * that takes by itself. Then photo and profile agree, and old profiles keep the dots that they were measured with.
 */
export function defaultScreen(learned: Pick<Profile, 'screen'> | undefined): string {
  return learned === undefined || learned.screen.name === DISPERSED_SCREEN ? JOB_DEFAULTS.screen : learned.screen.name;
}

/** Fewest dots for which the machine's beam can stay on, or off. */
export function shortestRunOf(
  { switchingUs }: Pick<Machine, 'switchingUs'>,
  { settings, grid }: { readonly settings: BurnSettings; readonly grid: DotGrid },
): number {
  if (switchingUs === undefined) return 1;
  return shortestRun(switchingUs, { speedMmPerS: settings.speedMmPerS, pitchMm: grid.pitchMm });
}

export function resolveScreen(name: string): ScreenName {
  const found = SCREEN_NAMES.find((known) => known === name);
  if (!found) {
    throw new AppError('name-unknown', `found no screen "${name}"; there are ${SCREEN_NAMES.join(', ')}`, {
      asked: name,
    });
  }
  return found;
}

/**
 * The options that this screen reads: its defaults, then what is known, then the profile's for the same screen, then
 * the request's.
 */
export function screenOptionsOf(
  name: ScreenName,
  {
    request,
    learned,
    levels,
    known = {},
  }: {
    request: Pick<JobRequest, 'screenOptions'>;
    learned: Profile | undefined;
    levels: number;
    known?: Partial<ScreenOptions>;
  },
): Readonly<Record<string, string | number>> {
  const own = learned?.screen.name === name ? learned.screen.options : {};
  const { uses, defaults } = SCREENS[name];
  const all: Readonly<Record<string, string | number | undefined>> = {
    ...defaults,
    ...known,
    ...own,
    ...request.screenOptions,
  };
  // What changes nothing is left out, so that records from before an option existed still name the same screen.
  const neutral: Readonly<Record<string, string | number>> = NEUTRAL_OPTIONS;
  const entries = uses
    .filter((key) => key !== 'levels' && all[key] !== undefined && all[key] !== neutral[key])
    .map((key) => [key, all[key]] as const);
  const options = Object.fromEntries(entries) as Record<string, string | number>;
  return levels === JOB_DEFAULTS.levels ? options : { ...options, levels };
}

/**
 * A screen that counts what levels of power leave needs them measured: in proportion it would count wrong dots exactly.
 * @throws AppError profile-unusable
 */
export function refuseUncounted(
  { screen, levels }: Pick<JobSpec, 'screen' | 'levels'>,
  learned: Profile | undefined,
): void {
  if (levels === JOB_DEFAULTS.levels || (learned && knowsLevels(learned))) return;
  if (!takesStrength({ ...screen.options, name: screen.name })) return;
  const which = learned ? `profile "${learned.name}", which knows dots that fire or not` : 'no profile';
  throw new AppError(
    'profile-unusable',
    `levels: found ${levels} with ${SCREENS[screen.name].title} counting what each leaves, and ${which}; needed a profile learned from a tone chart with levels, or a screen that takes them in proportion`,
    { levels, options: ['profile', 'screen', 'levels'] },
  );
}

/** The job's screen with what it knows of the marks. */
export function requestScreen({
  screen,
  profile,
  grid,
  levels,
}: Pick<JobSpec, 'screen' | 'profile' | 'grid' | 'levels'>): ScreenRequest {
  const request = { ...screen.options, name: screen.name };
  // The linear search needs the table, too: for the width of a mark.
  const isNeeded = takesStrength(request) || SCREENS[screen.name].family === 'search';
  return { ...request, levels, grid, ...(isNeeded ? { marks: fillDotTable(profile, grid) } : {}) };
}
