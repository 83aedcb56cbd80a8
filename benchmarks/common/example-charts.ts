import { type ChartKind, type ChartLayout, type ChartOptions, drawChart, layoutChart } from '../../src/chart/index.ts';
import { createDots, type Dots, ONE, type Plane } from '../../src/plane/index.ts';
import { createNoise } from './simulate-capture.ts';

/** An invented machine's 0.05 mm dots on an invented stock. */
export const EXAMPLE: ChartOptions = {
  machine: 'example-machine',
  material: 'example-stock',
  direction: 'darker',
  settings: { powerW: 20, speedMmPerS: 800, passes: 1, scan: 'two-way' },
  grid: { pitchMm: 0.05, lineSpacingMm: 0.05 },
  columns: { setting: 'powerW', values: [5, 10, 15, 20, 25] },
  rows: { setting: 'speedMmPerS', values: [200, 400, 800, 1600] },
  inField: { xMm: 0, yMm: 0, widthMm: 85.6, heightMm: 54, profile: 'example-profile' },
  riseMm: 6,
};

export const KINDS: readonly ChartKind[] = ['spot', 'focus', 'dose', 'tone', 'verify', 'check'];

/** A screen for tests: white noise, which has the tone it was asked for and no structure of its own. */
export function screenByChance(coverage: Plane<'coverage'>): Dots {
  const random = createNoise(coverage.data[0]! + 1);
  const dots = createDots(coverage.width, coverage.height);
  for (let i = 0; i < dots.data.length; i++) dots.data[i] = random() * ONE < coverage.data[i]! ? 1 : 0;
  return dots;
}

export const LAYOUTS: Readonly<Record<ChartKind, ChartLayout>> = {
  spot: layoutChart('spot', EXAMPLE),
  focus: layoutChart('focus', EXAMPLE),
  dose: layoutChart('dose', EXAMPLE),
  tone: layoutChart('tone', EXAMPLE),
  field: layoutChart('field', EXAMPLE),
  verify: layoutChart('verify', EXAMPLE),
  check: layoutChart('check', EXAMPLE),
};

const drawn = new Map<ChartLayout, Dots>();

export function drawOnce(layout: ChartLayout): Dots {
  const dots = drawn.get(layout) ?? drawChart(layout, screenByChance);
  drawn.set(layout, dots);
  return dots;
}
