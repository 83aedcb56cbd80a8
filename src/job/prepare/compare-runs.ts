import { estimateTime } from '../../machine/index.ts';
import { fillDotTable } from '../../material/index.ts';
import { placeOnPiece } from '../../photo/index.ts';
import { assessTone, weighCells } from '../../proof/index.ts';
import { timingOf } from '../request/around.ts';
import type { JobSpec } from '../request/types.ts';
import type { Picture } from './picture.ts';
import type { HalftoneResult, RunCost } from './types.ts';

export interface RunsOptions {
  readonly spec: JobSpec;
  readonly picture: Picture;
  /** Rows of the result, each 1 … 32. */
  readonly runs: readonly number[];
  /** From a spec to its dots, with the tone already chosen. */
  readonly make: (spec: JobSpec) => Pick<HalftoneResult, 'toned' | 'table' | 'mask' | 'judged' | 'dots'>;
}

/**
 * The gain in time of longer runs against the loss in looks, for a machine that states how fast its beam switches. The
 * power has to follow the speed for the dose to stay what the profile was learned with, so these are what is possible,
 * and not settings. Empty where the machine states nothing, or the screen has no runs.
 */
export function compareRuns({ spec, picture, runs, make }: RunsOptions): readonly RunCost[] {
  const { machine, grid, settings, screen, profile, viewingDistanceMm } = spec;
  const { switchingUs } = machine;
  if (switchingUs === undefined || screen.options.run === undefined) return [];
  const dotTable = fillDotTable(profile, grid);
  return runs.map((run) => {
    const speedMmPerS = Math.min(machine.speedMmPerS.max, (1e6 * run * grid.pitchMm) / switchingUs);
    const options = { ...screen.options, run };
    // Another run is another screen than the profile's, whose curve is then predicted.
    const curve = run === screen.options.run ? spec.curve : 'predicted';
    const { toned, table, mask, judged, dots } = make({ ...spec, curve, screen: { ...screen, options } });
    const { seconds } = estimateTime(dots, { ...timingOf(spec), settings: { ...settings, speedMmPerS } });
    const { mean, p95 } = assessTone(dots, {
      table: dotTable,
      grid,
      luminance: placeOnPiece(toned, picture.frame),
      reflectance: table.reflectance,
      ...(mask ? { mask } : {}),
      ...(judged ? { weights: weighCells(judged, { grid, viewingDistanceMm }) } : {}),
      viewingDistanceMm,
    });
    return { run, speedMmPerS, seconds, meanDeltaL: mean, p95DeltaL: p95 };
  });
}
