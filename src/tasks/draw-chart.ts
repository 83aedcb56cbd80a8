import { join } from 'node:path';
import type { ChartLayout } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  type ChartCost,
  type ChartRequest,
  type ExpectedError,
  makeChart,
  parseSimulationErrors,
  resolveChart,
  saySettings,
} from '../job/index.ts';
import { controlOf } from '../machine/index.ts';
import { readJson } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { keepLayout } from './keep-layout.ts';
import { sharedFolder } from './shop.ts';

export interface DrawChartRequest {
  readonly chart: ChartRequest;
  /** Folder for the files; absent: one of its own beside the layout that the shop keeps. */
  readonly out?: string;
  /** Replaces an earlier chart in the folder. */
  readonly force?: boolean;
}

export interface DrawnChartRecord {
  /** Paths of what was written, in its sequence. */
  readonly files: readonly string[];
  readonly layout: ChartLayout;
  readonly cost: ChartCost;
  /** What a profile learned from it will err by, where the simulation tells it. */
  readonly expectedError: ExpectedError | undefined;
  /** Path of the layout in the shop, by which a capture of it is read; absent without a shop folder. */
  readonly kept?: string;
  /** Its own settings as they are typed into the control software. */
  readonly typed: string;
  readonly warnings: readonly string[];
  /** The same, with what they speak of. */
  readonly speaking: readonly Notice[];
}

/**
 * Draws a chart: its dots, its layout, its page and what else its kind needs; the shop keeps the layout.
 * @throws AppError those of `resolveChart`; path-missing without a folder and without a shop; result-exists
 */
export async function drawChart(
  { chart, out, force = false }: DrawChartRequest,
  { shop, refused, warn, progress }: TaskContext,
): Promise<DrawnChartRecord> {
  const path = join(sharedFolder(), 'simulation-errors.json');
  const simulated = parseSimulationErrors(readJson(path), path);
  const spec = resolveChart(chart, { shop, refused: refused(), simulated });
  for (const text of spec.warnings) warn(text);
  progress('drawing the chart');
  const { layout, cost, files } = await makeChart(spec);
  const folder = out ?? folderOf(layout, shop.shopDir);
  const written = files.map(({ name, bytes }) => ({ path: join(folder, name), bytes }));
  progress('writing');
  await writeFilesAtomic(written, { force });
  const kept = await keepLayout(layout, { shop, warn });
  const { expectedError, warnings, speaking, machine } = spec;
  return {
    files: written.map((file) => file.path),
    layout,
    cost,
    expectedError,
    ...(kept === undefined ? {} : { kept }),
    typed: saySettings(layout.settings, controlOf(machine)),
    warnings,
    speaking,
  };
}

function folderOf({ hash }: ChartLayout, shopDir: string | undefined): string {
  if (shopDir !== undefined) return join(shopDir, 'charts', hash);
  throw new AppError('path-missing', 'found no shop folder, needed one for the files of the chart, or another folder');
}
