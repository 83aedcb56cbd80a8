// How right pictures come out: a tone chart is burned by the virtual engraver, captured by virtual cameras and learned;
// a wedge of 11 equal L* steps is made through the profile, burned on another piece, and its true L* held against the
// straight line from bare to full. The engraver's physics shares no code with the fit. Arguments: names of materials in
// shared/simulation, or `all`; four of them without.
import { readdirSync, readFileSync } from 'node:fs';
import { cpuUsage } from 'node:process';
import { drawChart, layoutChart } from '../src/chart/index.ts';
import { type Learned, learnProfile } from '../src/job/calibrate/learn.ts';
import { predictPoints } from '../src/job/request/curve.ts';
import { coverageTable, invertProfile, type TonePoint } from '../src/material/index.ts';
import { createDots, createPlane, type Dots, luminanceOfLightness } from '../src/plane/index.ts';
import { applyScreen, type ScreenName } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type MaterialModel,
  meanLightness,
  parseMaterialModel,
  type Surface,
} from '../src/simulation/index.ts';

const FOLDER = 'shared/simulation';
const DEFAULT_MATERIALS = ['slate', 'leather', 'birch', 'glass'];
const CAMERA_NAMES = ['flatbed-600', 'flatbed-300', 'phone-straight', 'phone-tilted', 'phone-contrasty'];
const SCREEN: ScreenName = 'floyd-steinberg';
const OTHER_SCREENS: readonly ScreenName[] = ['blue-noise', 'clustered-dot'];
/** Mean and worst |ΔL*| that the wedge is held to. */
const TARGETS = { flatbed: [1, 3], phone: [1.5, 4], unknown: [2, 5], screen: [2, 5], straight: [0, 0] } as const;
const STEPS = 11;
const STEP_MM = 6;
const RIM_MM = 1;
/** Samples of the deposit a dot in each direction; three, as for pictures, leave 10 % of a sharp mark's width open. */
const CHART_SAMPLES = 6;
const SEEDS = { chart: 1, wedge: 77, camera: 5 } as const;

interface Wedge {
  readonly mean: number;
  readonly worst: number;
  /** True L* of each step, and of bare and solid on the same piece. */
  readonly lightness: readonly number[];
  readonly bare: number;
  readonly full: number;
}

const asked = process.argv.slice(2);
const every = readdirSync(FOLDER)
  .filter((file) => file.endsWith('.json'))
  .map((file) => file.slice(0, -5));
const names = asked[0] === 'all' ? every : asked.length > 0 ? asked : DEFAULT_MATERIALS;
const failures: string[] = [];
for (const name of names)
  measureMaterial(parseMaterialModel(JSON.parse(readFileSync(`${FOLDER}/${name}.json`, 'utf8'))));
console.log(failures.length === 0 ? 'All within the targets.' : `Beyond the targets: ${failures.join('; ')}`);

function measureMaterial(model: MaterialModel): void {
  const grid = model.reference;
  const { name, direction, settings } = model;
  const layout = layoutChart('tone', {
    machine: 'virtual',
    material: name,
    direction,
    settings,
    grid,
    screen: { name: SCREEN, options: {} },
  });
  const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: SCREEN, grid }));
  const piece = engrave(chart, { grid, model, seed: SEEDS.chart, marginMm: 3, oversample: CHART_SAMPLES });
  const mark = measureVisibleMark(model);
  console.log(`\n${name}: visible mark ${mark.xUm.toFixed(1)} × ${mark.yUm.toFixed(1)} µm`);
  const straight = burnWedge(model, straightPoints(piece, layout), SCREEN);
  report(name, 'uncalibrated', straight, 'straight');
  for (const camera of CAMERA_NAMES) {
    const kind = camera === 'phone-contrasty' ? 'unknown' : camera.startsWith('flatbed') ? 'flatbed' : 'phone';
    const capture = captureSurface(piece, { ...CAMERAS[camera]!.options, seed: SEEDS.camera });
    const started = cpuUsage();
    const learned = learnProfile([{ name: camera, image: { ...capture, bits: 8 } }], {
      layouts: [layout],
      camera: kind === 'unknown' ? 'unknown' : 'known',
      date: '2026-01-01',
      origin: 'simulated',
    });
    const seconds = cpuUsage(started).user / 1e6;
    const wedge = burnWedge(model, learned.profile.points, SCREEN);
    report(name, camera, wedge, kind, `${describe(learned, wedge, mark)}, ${seconds.toFixed(1)} s of CPU`);
    if (camera !== 'flatbed-600') continue;
    for (const screen of OTHER_SCREENS) {
      const points = predictPoints({ profile: learned.profile, grid, screen: { name: screen, options: {} } });
      report(name, `${camera}, ${screen} predicted`, burnWedge(model, points, screen), 'screen');
    }
  }
}

function report(name: string, what: string, wedge: Wedge, kind: keyof typeof TARGETS, more = ''): void {
  const [mean, worst] = TARGETS[kind];
  const fails = mean > 0 && (wedge.mean > mean || wedge.worst > worst);
  if (fails) failures.push(`${name} ${what}`);
  const figures = `mean ${wedge.mean.toFixed(2)} worst ${wedge.worst.toFixed(2)} ΔL*`;
  console.log(`  ${fails ? '!' : ' '} ${what.padEnd(36)} ${figures}  ${more}`);
}

/** Mark width against what is seen, the interval's verdict, and the share of steps inside the band. */
function describe(
  { report: { markX, markY, curve }, profile }: Learned,
  wedge: Wedge,
  mark: { xUm: number; yUm: number },
) {
  const off = (found: number, truth: number) => `${(100 * (found / truth - 1)).toFixed(1)} %`;
  // Exposure scales luminance, which moves L* along a straight line: compared as shares of the range.
  const [bare, full] = [profile.bare[0], profile.full[0]];
  const inside = wedge.lightness.filter((lightness, at) => {
    const share = (lightness - wedge.bare) / (wedge.full - wedge.bare);
    const wanted = wedgeLightness(profile.points, at);
    const point = curve.reduce((a, b) => (Math.abs(b.lightness - wanted) < Math.abs(a.lightness - wanted) ? b : a));
    const half = (point.high - point.low) / 2;
    return Math.abs(bare + share * (full - bare) - wanted) <= half;
  }).length;
  return `mark ${off(markX.value, mark.xUm)} × ${off(markY.value, mark.yUm)}, ${inside} of ${STEPS} steps in the band`;
}

/** L* that step `at` of the wedge asks for. */
function wedgeLightness(points: readonly TonePoint[], at: number): number {
  const ends = [points[0]!.lightness, points.at(-1)!.lightness];
  const [dark, light] = [Math.min(...ends), Math.max(...ends)];
  return dark + ((light - dark) * at) / (STEPS - 1);
}

/** The wedge through a tone curve: bare, 11 steps from dark to light, solid; burned on a fresh piece. */
function burnWedge(model: MaterialModel, points: readonly TonePoint[], screen: ScreenName): Wedge {
  const grid = model.reference;
  const side = Math.round(STEP_MM / grid.pitchMm);
  const height = Math.round(STEP_MM / grid.lineSpacingMm);
  const luminance = createPlane('luminance', STEPS * side, height);
  for (let i = 0; i < luminance.data.length; i++) {
    const step = Math.floor((i % luminance.width) / side);
    luminance.data[i] = luminanceOfLightness((100 * step) / (STEPS - 1));
  }
  const coverage = invertProfile(luminance, { table: coverageTable({ points }, { range: 'scale' }) });
  const dots = withSolid(applyScreen(coverage, { name: screen, grid }), side);
  const piece = engrave(dots, { grid, model, seed: SEEDS.wedge, marginMm: STEP_MM });
  const stepMm = side * grid.pitchMm;
  const heightMm = height * grid.lineSpacingMm;
  const lightnessAt = (column: number) =>
    meanLightness(piece, {
      xMm: column * stepMm + RIM_MM,
      yMm: RIM_MM,
      widthMm: stepMm - 2 * RIM_MM,
      heightMm: heightMm - 2 * RIM_MM,
    });
  const full = lightnessAt(STEPS);
  const bare = lightnessAt(-1);
  const [dark, light] = [Math.min(bare, full), Math.max(bare, full)];
  const lightness = Array.from({ length: STEPS }, (_, step) => lightnessAt(step));
  const errors = lightness.map((value, step) => Math.abs(value - dark - ((light - dark) * step) / (STEPS - 1)));
  return {
    mean: errors.reduce((sum, error) => sum + error, 0) / STEPS,
    worst: Math.max(...errors),
    lightness,
    bare,
    full,
  };
}

function withSolid(dots: Dots, side: number): Dots {
  const width = dots.width + side;
  const data = new Uint8Array(width * dots.height).fill(dots.levels - 1);
  for (let y = 0; y < dots.height; y++) {
    data.set(dots.data.subarray(y * dots.width, (y + 1) * dots.width), y * width);
  }
  return createDots(width, dots.height, dots.levels, data);
}

/** The curve of somebody who has measured nothing but bare and solid. */
function straightPoints(piece: Surface, layout: ReturnType<typeof layoutChart>): readonly TonePoint[] {
  return (['bare', 'solid'] as const).map((role, coverage) => {
    const { xMm, yMm, widthMm, heightMm } = layout.patches.find((patch) => patch.role === role)!;
    return { coverage, lightness: meanLightness(piece, { xMm, yMm, widthMm, heightMm }), spread: 0 };
  });
}

/**
 * Width of one lone dot on a perfectly even surface, µm: between the places where half of the dot's own greatest change
 * of luminance is seen.
 */
function measureVisibleMark(model: MaterialModel): { xUm: number; yUm: number } {
  const grid = model.reference;
  const even = {
    ...model,
    grain: [],
    lightSpread: { ...model.lightSpread, share: 0 },
    beam: { ...model.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0, returnOffsetUm: 0 },
  };
  const size = 15;
  const dots = createDots(size, size);
  dots.data[(size * size - 1) / 2] = 1;
  const pixelUm = (1000 * Math.min(grid.pitchMm, grid.lineSpacingMm)) / 32;
  const piece = engrave(dots, { grid, model: even, seed: 1, pixelUm, oversample: 32 });
  const light = Float64Array.from({ length: piece.width * piece.height }, (_, i) => {
    const [r, g, b] = piece.rgb.subarray(3 * i, 3 * i + 3);
    return 0.2126 * r! + 0.7152 * g! + 0.0722 * b!;
  });
  const change = light.map((value) => Math.abs(value - light[0]!));
  const half = change.reduce((most, value) => Math.max(most, value), 0) / 2;
  const [row, column] = [piece.height >> 1, piece.width >> 1];
  // Between two pixels the contour is where a straight line crosses it: whole pixels would be 3 % of a fine dot.
  const widthOf = (length: number, valueAt: (i: number) => number) => {
    const inside = Array.from({ length }, (_, i) => i).filter((i) => valueAt(i) > half);
    const [first, last] = [inside[0]!, inside.at(-1)!];
    const before = (valueAt(first) - half) / (valueAt(first) - valueAt(first - 1));
    const after = (valueAt(last) - half) / (valueAt(last) - valueAt(last + 1));
    return last - first + before + after;
  };
  const x = widthOf(piece.width, (i) => change[row * piece.width + i]!);
  const y = widthOf(piece.height, (j) => change[j * piece.width + column]!);
  return { xUm: 1000 * x * piece.pixelWidthMm, yUm: 1000 * y * piece.pixelHeightMm };
}
