import type { Machine } from '../../machine/index.ts';
import { fillDotTable, type Profile } from '../../material/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import { chooseScreen, findLoneStrength, SCREENS, type ScreenOptions, shortestRun } from '../../screens/index.ts';
import { resolveScreen } from './spec.ts';

export interface ScreenNeeds {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly learned: Profile | undefined;
  readonly levels: number;
}

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
export function findScreen(asked: string, { machine, settings, grid, learned, levels }: ScreenNeeds): WantedScreen {
  const run = shortestRunOf(machine, { settings, grid });
  if (asked === 'auto') {
    const knowsMarks = learned !== undefined;
    return chooseScreen({
      grid,
      levels,
      knowsMarks,
      loneStrength: knowsMarks ? findLoneStrength(fillDotTable(learned, grid)) : 1,
      repeatability: learned?.repeatability ?? 0,
      shortestRun: run,
    });
  }
  const name = resolveScreen(asked);
  if (run === 1 || levels > 2 || !SCREENS[name].uses.includes('run')) return { name, options: {} };
  return { name, options: { run }, reason: `${machine.name} needs ${run} dots for on or off at this speed.` };
}

/** Fewest dots for which the machine's beam can stay on, or off. */
export function shortestRunOf(
  { switchingUs }: Machine,
  { settings, grid }: { readonly settings: BurnSettings; readonly grid: DotGrid },
): number {
  if (switchingUs === undefined) return 1;
  return shortestRun(switchingUs, { speedMmPerS: settings.speedMmPerS, pitchMm: grid.pitchMm });
}
