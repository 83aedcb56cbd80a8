// Screens against the straightforward loop and general-purpose libraries, CPU time, in one run.
// `node build.js --bench && node dist/bench/screens.js [--check]`: with --check a missed goal ends with status 1.
import * as imageQ from 'image-q';
import sharp from 'sharp';
import { fillDotTable } from '../src/material/index.ts';
import { createRandom, median } from '../src/numeric/index.ts';
import { createDots, createPlane, type Dots, ONE, type Plane } from '../src/plane/index.ts';
import { diffuseFloydSteinberg } from '../src/screens/floyd-steinberg.ts';
import { applyScreen, type ScreenName, type ScreenOptions } from '../src/screens/index.ts';
import { type DiffusionKernel, FLOYD_STEINBERG, JARVIS_JUDICE_NINKE } from '../src/screens/kernels.ts';
import { WIDE_MARKS } from './screens-quality/materials.ts';

const WIDTH = 2500;
const HEIGHT = 1600;
const DOTS = WIDTH * HEIGHT;
const RUNS = 9;
const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };

/** A photograph's statistics without a photograph: slow gradients, edges, grain; seeded. */
function createTestPlane(): Plane<'coverage'> {
  const random = createRandom(1);
  const plane = createPlane('coverage', WIDTH, HEIGHT);
  const edges = Array.from({ length: 40 }, () => [random.nextUnit(), random.nextUnit(), random.nextUnit() - 0.5]);
  for (let y = 0, at = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++, at++) {
      let value = 0.3 + (0.4 * x) / WIDTH + 0.05 * (random.nextUnit() - 0.5);
      const [left, top, step] = edges[((x >> 8) + 7 * (y >> 8)) % edges.length] as [number, number, number];
      if ((x & 255) > 255 * left && (y & 255) > 255 * top) value += step;
      plane.data[at] = Math.round(ONE * Math.min(1, Math.max(0, value)));
    }
  }
  return plane;
}

/**
 * Error diffusion as one writes it first: whole-number rows, a branch, and the error pushed on to the kernel's dots.
 */
function pushInRows(coverage: Plane<'coverage'>, kernel: DiffusionKernel, scan: 'raster' | 'serpentine'): Dots {
  const { width, height, data } = coverage;
  const dots = createDots(width, height);
  const dx = kernel.taps.map(([ahead]) => ahead);
  const dy = kernel.taps.map(([, below]) => below);
  const share = kernel.taps.map(([, , part]) => part);
  const rows = [0, 1, 2].map(() => new Int32Array(width + 4));
  for (let y = 0; y < height; y++) {
    const step = scan === 'serpentine' && y % 2 === 1 ? -1 : 1;
    for (let i = 0; i < width; i++) {
      const x = step > 0 ? i : width - 1 - i;
      const owed = data[y * width + x] + Math.floor(rows[0]![x + 2] / kernel.divisor);
      let error = owed;
      if (owed > ONE / 2) {
        dots.data[y * width + x] = 1;
        error = owed - ONE;
      }
      for (let tap = 0; tap < share.length; tap++) rows[dy[tap]!]![x + 2 + dx[tap]! * step] += error * share[tap]!;
    }
    rows.push(rows.shift()!.fill(0));
  }
  return dots;
}

/** The same for the four shares of Floyd and Steinberg, written out: the stronger yardstick. */
function pushFourShares(coverage: Plane<'coverage'>, scan: 'raster' | 'serpentine'): Dots {
  const { width, height, data } = coverage;
  const dots = createDots(width, height);
  let here = new Int32Array(width + 2);
  let below = new Int32Array(width + 2);
  for (let y = 0; y < height; y++) {
    const step = scan === 'serpentine' && y % 2 === 1 ? -1 : 1;
    below.fill(0);
    for (let i = 0; i < width; i++) {
      const x = step > 0 ? i : width - 1 - i;
      const owed = data[y * width + x] + ((here[x + 1] + 8) >> 4);
      let error = owed;
      if (owed >= (ONE + 1) / 2) {
        dots.data[y * width + x] = 1;
        error = owed - ONE;
      }
      here[x + 1 + step] += 7 * error;
      below[x + 1 - step] += 3 * error;
      below[x + 1] += 5 * error;
      below[x + 1 + step] += error;
    }
    [here, below] = [below, here];
  }
  return dots;
}

function compareDotByDot(coverage: Plane<'coverage'>, thresholds: Uint16Array, size: number): Dots {
  const { width, height, data } = coverage;
  const dots = createDots(width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      dots.data[y * width + x] = data[y * width + x] >= thresholds[(y % size) * size + (x % size)] ? 1 : 0;
    }
  }
  return dots;
}

const plane = createTestPlane();
const bytes = Buffer.from(plane.data.map((value) => Math.round((value * 255) / ONE)));
const marks = fillDotTable(WIDE_MARKS[0]!.surface, GRID);
const ours = (name: ScreenName, options: Partial<ScreenOptions> = {}) =>
  applyScreen(plane, { name, grid: GRID, marks, ...options }).data[1];

/** A threshold per dot of the blue-noise mask, found by what fires: the straightforward loop gets the same mask. */
const SIZE = 128;
const thresholds = new Uint16Array(SIZE * SIZE);
{
  const flat = createPlane('coverage', SIZE, SIZE);
  for (let bit = 1 << 14; bit > 0; bit >>= 1) {
    for (let i = 0; i < thresholds.length; i++) flat.data[i] = thresholds[i] + bit - 1;
    const { data } = applyScreen(flat, { name: 'blue-noise', grid: GRID });
    for (let i = 0; i < thresholds.length; i++) if (data[i] === 0) thresholds[i] += bit;
  }
}

/** image-q is some hundred times slower: a quarter of a megapixel, its time per dot compared. */
const SMALL = { width: 500, height: 500 };
function quantizeWithImageQ(): number {
  const points = new Uint8Array(SMALL.width * SMALL.height * 4).fill(255);
  for (let i = 0; i < SMALL.width * SMALL.height; i++) points.fill(bytes[i], 4 * i, 4 * i + 3);
  const palette = new imageQ.utils.Palette();
  palette.add(imageQ.utils.Point.createByRGBA(0, 0, 0, 255));
  palette.add(imageQ.utils.Point.createByRGBA(255, 255, 255, 255));
  const { ErrorDiffusionArray, ErrorDiffusionArrayKernel } = imageQ.image;
  const kernel = ErrorDiffusionArrayKernel.FloydSteinberg;
  return new ErrorDiffusionArray(new imageQ.distance.Euclidean(), kernel, true, 0, true)
    .quantizeSync(imageQ.utils.PointContainer.fromUint8Array(points, SMALL.width, SMALL.height), palette)
    .toUint8Array()[0]!;
}

interface Case {
  readonly name: string;
  readonly run: () => unknown;
  readonly dots?: number;
  /** Name of the case that this one is held against, and the largest ratio of CPU time. */
  readonly goal?: readonly [against: string, ratio: number];
}

const cases: readonly Case[] = [
  { name: 'straightforward raster', run: () => pushFourShares(plane, 'raster') },
  {
    name: 'floyd-steinberg raster',
    run: () => ours('floyd-steinberg', { scan: 'raster' }),
    goal: ['straightforward raster', 0.6],
  },
  { name: 'straightforward serpentine', run: () => pushFourShares(plane, 'serpentine') },
  {
    name: 'floyd-steinberg serpentine',
    run: () => ours('floyd-steinberg'),
    goal: ['straightforward serpentine', 0.6],
  },
  {
    name: 'floyd-steinberg raster, plain TypeScript',
    run: () => diffuseFloydSteinberg(plane, { scan: 'raster', arithmetic: 'scalar' }),
    goal: ['straightforward raster', 0.6],
  },
  {
    name: 'floyd-steinberg serpentine, plain TypeScript',
    run: () => diffuseFloydSteinberg(plane, { scan: 'serpentine', arithmetic: 'scalar' }),
    goal: ['straightforward serpentine', 0.6],
  },
  { name: 'straightforward by taps', run: () => pushInRows(plane, FLOYD_STEINBERG, 'serpentine') },
  { name: 'straightforward Jarvis', run: () => pushInRows(plane, JARVIS_JUDICE_NINKE, 'serpentine') },
  { name: 'jarvis-judice-ninke', run: () => ours('jarvis-judice-ninke'), goal: ['straightforward Jarvis', 0.6] },
  { name: 'burkes', run: () => ours('burkes') },
  { name: 'ostromoukhov', run: () => ours('ostromoukhov') },
  { name: 'zhou-fang', run: () => ours('zhou-fang') },
  {
    name: 'floyd-steinberg, model-based',
    run: () => ours('floyd-steinberg', { errorOf: 'marks' }),
    goal: ['floyd-steinberg serpentine', 3],
  },
  {
    name: 'jarvis-judice-ninke, model-based',
    run: () => ours('jarvis-judice-ninke', { errorOf: 'marks' }),
    goal: ['jarvis-judice-ninke', 3],
  },
  {
    name: 'ostromoukhov, model-based',
    run: () => ours('ostromoukhov', { errorOf: 'marks' }),
    goal: ['ostromoukhov', 3],
  },
  { name: 'floyd-steinberg, edges', run: () => ours('floyd-steinberg', { edges: 1 }) },
  { name: 'floyd-steinberg, runs of 4', run: () => ours('floyd-steinberg', { run: 4 }) },
  { name: 'green-noise', run: () => ours('green-noise') },
  { name: 'straightforward mask', run: () => compareDotByDot(plane, thresholds, SIZE) },
  { name: 'blue-noise', run: () => ours('blue-noise'), goal: ['straightforward mask', 0.3] },
  { name: 'clustered-dot', run: () => ours('clustered-dot') },
  { name: 'floyd-steinberg 16 levels', run: () => ours('floyd-steinberg', { levels: 16 }) },
  {
    name: 'sharp, palette of two, dithered',
    run: () =>
      sharp(bytes, { raw: { width: WIDTH, height: HEIGHT, channels: 1 } })
        .png({ palette: true, colours: 2, dither: 1, compressionLevel: 1 })
        .toBuffer(),
  },
  { name: 'image-q, Floyd-Steinberg', run: quantizeWithImageQ, dots: SMALL.width * SMALL.height },
];

const times = new Map(cases.map(({ name }) => [name, [] as number[]]));
// One turn to warm up, then the cases in turn, so that a busy moment of the machine falls on all of them.
for (let turn = 0; turn <= RUNS; turn++) {
  for (const { name, run, dots = DOTS } of cases) {
    const before = process.cpuUsage();
    await run();
    const { user, system } = process.cpuUsage(before);
    if (turn > 0) times.get(name)!.push(((user + system) * 1000) / dots);
  }
}

const expected = compareDotByDot(plane, thresholds, SIZE).data;
const isSame = applyScreen(plane, { name: 'blue-noise', grid: GRID }).data.every((bit, i) => bit === expected[i]);
let hasMissed = !isSame;
console.log(`${DOTS / 1e6} million dots, CPU ns per dot, median of ${RUNS} runs (least … most)`);
for (const { name, goal } of cases) {
  const own = times.get(name)!;
  const range = `${Math.min(...own).toFixed(2)} … ${Math.max(...own).toFixed(2)}`;
  let verdict = '';
  if (goal) {
    const ratio = median(own) / median(times.get(goal[0])!);
    const isMet = ratio <= goal[1];
    hasMissed ||= !isMet;
    verdict = `  ${ratio.toFixed(2)} of "${goal[0]}", goal ${goal[1]}: ${isMet ? 'met' : 'MISSED'}`;
  }
  console.log(`${name.padEnd(45)} ${median(own).toFixed(2).padStart(9)}  (${range})${verdict}`);
}
if (!isSame) console.log('the mask’s dots differ from the straightforward loop’s: MISSED');
if (hasMissed && process.argv.includes('--check')) process.exitCode = 1;
