import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { type ChartLayout, drawChart, layoutChart } from '../../src/chart/index.ts';
import { encodeColour } from '../../src/plane/index.ts';
import { applyScreen, type ScreenName } from '../../src/screens/index.ts';
import { CAMERAS, captureSurface, engrave, parseMaterialModel } from '../../src/simulation/index.ts';

const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/birch.json', 'utf8')));

/** A small tone chart on birch. */
export const TONE_CHART: ChartLayout = layoutChart('tone', {
  machine: 'gantry-10600',
  material: 'birch-plywood',
  direction: 'darker',
  settings: model.settings,
  grid: model.reference,
  screen: { name: 'floyd-steinberg', options: {} },
  widthMm: 60,
  heightMm: 45,
  steps: 7,
  replicates: 1,
});

/**
 * Burns a chart on simulated birch and scans it: a PNG. Another seed is another piece and another scan; on a sheet of
 * white paper where its L* is given.
 */
export async function scanOf(layout: ChartLayout, seed: number, paperL?: number): Promise<Uint8Array> {
  const { grid, screen } = layout;
  const dots = drawChart(layout, (coverage) =>
    applyScreen(coverage, { ...screen.options, name: screen.name as ScreenName, grid }),
  );
  const piece = engrave(dots, { grid, model, seed, marginMm: 3 });
  const sheet =
    paperL === undefined ? {} : { paper: { colour: [paperL, 0.5, -2], side: 'around', widthMm: 25 } as const };
  return encodeColour(captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, ...sheet, seed }), { format: 'png' });
}

/** The chart and its scan as files of a folder. */
export async function burnInto(
  folder: string,
  { layout = TONE_CHART, chart = 'chart.json', scan = 'scan.png', seed = 1 } = {},
): Promise<void> {
  writeFileSync(join(folder, chart), JSON.stringify(layout));
  writeFileSync(join(folder, scan), await scanOf(layout, seed));
}
