import {
  type ChartLayout,
  type ChartOptions,
  type DoseCell,
  drawChart,
  drawDoseCells,
  drawWithoutDoseCells,
  layoutChart,
} from '../../chart/index.ts';
import { formatJson } from '../../json.ts';
import { estimateTime, type Machine } from '../../machine/index.ts';
import { fillDotTable } from '../../material/index.ts';
import { countFiring, createDots, type Dots, encodeDots, mirrorDots, type Plane } from '../../plane/index.ts';
import { applyScreen, type ScreenName, takesStrength } from '../../screens/index.ts';
import type { JobFile } from '../prepare/types.ts';
import { levelOfPower } from './dose-axes.ts';
import { drawDoseSvg, writeDoseTable } from './dose-table.ts';
import { drawChartPicture, renderChartPage } from './page.ts';
import { planChartProgram } from './program.ts';
import type { ChartCost, ChartSpec } from './types.ts';

export interface Chart {
  readonly layout: ChartLayout;
  readonly dots: Dots;
  readonly cost: ChartCost;
  /** In the order in which they are to be written; the page, which says "done", last. */
  readonly files: readonly JobFile[];
}

/** A chart as its files: the bitmap, the layout and the page; a dose chart also its drawing and table. */
export async function makeChart(spec: ChartSpec): Promise<Chart> {
  const layout = layoutChart(spec.kind, spec.options);
  const named = { ...layout.screen.options, name: layout.screen.name as ScreenName };
  const marks = spec.profile && takesStrength(named) ? { marks: fillDotTable(spec.profile, layout.grid) } : {};
  const screen = (coverage: Plane<'coverage'>, grid: ChartOptions['grid']) =>
    applyScreen(coverage, { ...named, grid, ...marks });
  const { powerPerDot } = spec;
  const solid = drawChart(layout, screen, levelScreenOf(layout));
  const own = drawDoseCells(layout);
  const inOne = powerPerDot && drawPowers(layout, { ...powerPerDot, solid, levels: spec.machine.levels });
  const asSeen = inOne ?? solid;
  // Looked at through the stock it is burned mirrored, so that tags and letters read from there.
  const dots = layout.seen === 'through' ? mirrorDots(asSeen) : asSeen;
  const cells = inOne ? [] : own;
  const rest = cells.length > 0 ? drawWithoutDoseCells(layout, screen) : dots;
  const picture = await drawChartPicture(asSeen);
  // A program gives each cell its own power, whatever one bitmap can say.
  const apart = { layout, rest: own.length > 0 ? drawWithoutDoseCells(layout, screen) : dots, cells: own };
  const program = planChartProgram(spec, apart);
  const { machine } = spec;
  const cost = {
    ...estimateCost({ layout, rest, cells, machine }),
    ...(inOne && program.files.length > 0 ? { programSeconds: estimateCost({ ...apart, machine }).seconds } : {}),
  };
  const files: JobFile[] = [
    { name: 'chart.png', bytes: encodeDots(dots, layout.grid, { format: 'png' }) },
    ...(cells.length > 0 ? writeDoseFiles({ layout, rest, cells, machine: spec.machine }) : []),
    ...(inOne ? [{ name: 'chart.csv', bytes: writeDoseTable({ layout, cells: own, machine: spec.machine }) }] : []),
    ...program.files,
    { name: 'chart.json', bytes: formatJson(layout, 'chart layout') },
  ];
  const names = files.map(({ name }) => name);
  const page = { spec, layout, cost, picture, files: names, programNotes: program.notes };
  files.push({ name: 'chart.html', bytes: renderChartPage(page) });
  return { layout, dots, cost, files };
}

function levelScreenOf({
  levels,
}: ChartLayout): ((coverage: Plane<'coverage'>, grid: ChartOptions['grid']) => Dots) | undefined {
  if (!levels) return undefined;
  const named = { ...levels.screen.options, name: levels.screen.name as ScreenName };
  return (coverage, grid) => applyScreen(coverage, { ...named, grid });
}

/** The whole dose chart in one bitmap: every dot with its own share of the power that is typed once. */
function drawPowers(
  { patches }: ChartLayout,
  {
    solid,
    levels,
    ownW,
    topW,
  }: NonNullable<ChartSpec['powerPerDot']> & { readonly solid: Dots; readonly levels: number },
): Dots {
  const { width, height, data } = solid;
  const dots = createDots(width, height, levels);
  const own = levelOfPower(ownW, { topW, levels });
  for (let i = 0; i < data.length; i++) if (data[i] > 0) dots.data[i] = own;
  for (const { settings, xDots, yDots, widthDots, heightDots } of patches) {
    if (!settings) continue;
    const level = levelOfPower(settings.powerW, { topW, levels });
    for (let y = yDots; y < yDots + heightDots; y++) {
      dots.data.fill(level, y * width + xDots, y * width + xDots + widthDots);
    }
  }
  return dots;
}

interface ChartParts {
  readonly layout: ChartLayout;
  /** Everything that burns with the chart's own settings. */
  readonly rest: Dots;
  readonly cells: readonly DoseCell[];
  readonly machine: Machine;
}

function writeDoseFiles({ layout, rest, cells, machine }: ChartParts): JobFile[] {
  return [
    { name: 'chart.svg', bytes: drawDoseSvg({ layout, rest, cells }) },
    { name: 'chart.csv', bytes: writeDoseTable({ layout, cells, machine }) },
  ];
}

function estimateCost({ layout, rest, cells, machine }: ChartParts): ChartCost {
  const { motion } = machine;
  const whole = estimateTime(rest, { motion, settings: layout.settings, grid: layout.grid });
  let { seconds } = whole;
  let firing = countFiring(rest);
  for (const { dots, grid, settings } of cells) {
    seconds += estimateTime(dots, { motion, settings, grid }).seconds - motion.jobOverheadS;
    firing += countFiring(dots);
  }
  return { areaCm2: (layout.widthMm * layout.heightMm) / 100, seconds, firing, formula: whole.formula };
}
