// A wedge of 11 equal steps of L*, burned from behind and looked at through its stock, on virtual panes: tones through
// a profile that was learned at the burned face (before), and through one whose chart was burned and scanned as the
// piece is looked at (after). Off from the straight line between the wedge's own ends, and from what the proof shows.
// The panes light a mark from within by what lies around it (`src/simulation/pane.ts`, a ring of light that comes back
// from the smooth face), which no profile knows; two marks are of the second engraver of benchmarks/mismatch.
// Arguments: words of the cases' names; with ALL=1 each step is listed.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import {
  learnProfile,
  makeChart,
  requestScreen,
  resolveChart,
  resolveJob,
  tabulateCoverage,
} from '../src/job/index.ts';
import { openShop } from '../src/material/index.ts';
import { createPlane, type Dots, mirrorDots, ONE } from '../src/plane/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  meanLightness,
  type PaneModel,
  parseMaterialModel,
  type Surface,
  seeThroughPane,
} from '../src/simulation/index.ts';
import { runBenches } from './common/run-benches.ts';
import { burnOther, drawMaterial } from './mismatch/engraver.ts';

const STEPS = 11;
const BAND_MM = 7;
const HEIGHT_MM = 20;
/** Held to: shape and promise through the profile that was learned through the stock, L*. */
const LIMITS = { mean: 0.4, worst: 1, promised: 1 } as const;
const MACHINE = 'gantry-10600';

interface Bench {
  readonly name: string;
  readonly gridMm: number;
  readonly bareL: number;
  readonly pane: PaneModel;
  readonly burn: (dots: Dots, seed: number) => Surface;
}

const GLASS: PaneModel = { refractiveIndex: 1.52, thicknessMm: 4, transmittance: 0.98 };
const ACRYLIC: PaneModel = { refractiveIndex: 1.49, thicknessMm: 3, transmittance: 0.99 };

function ownBench(name: string, material: string, pane: PaneModel): Bench {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));
  const grid = model.reference;
  return {
    name,
    pane,
    gridMm: grid.pitchMm,
    bareL: model.colour.bare[0],
    burn: (dots, seed) => engrave(dots, { grid, model, seed, pixelUm: 25_400 / 600, marginMm: 1 }),
  };
}

function otherBench(name: string, seed: number, pane: PaneModel): Bench {
  const material = drawMaterial(seed);
  return {
    name,
    pane,
    gridMm: material.grid.pitchMm,
    bareL: material.bareL,
    burn: (dots, piece) => burnOther(dots, { material, seed: piece, perDot: 3 }),
  };
}

const BENCHES: readonly (() => Bench)[] = [
  () => ownBench('glass, 4 mm', 'glass', GLASS),
  () => ownBench('glass, 10 mm', 'glass', { ...GLASS, thicknessMm: 10, transmittance: 0.95 }),
  () => ownBench('acrylic, 3 mm', 'acrylic', ACRYLIC),
  () => otherBench('other engraver, acrylic', 2, ACRYLIC),
  () => otherBench('other engraver, glass', 4, GLASS),
];

await runBenches(BENCHES, run);

/** The piece as it is looked at. */
function look(surface: Surface, seen: 'face' | 'through', { bareL, pane }: Bench): Surface {
  if (seen === 'face') return surface;
  const colour = { bare: [bareL, 0, 0], half: [bareL, 0, 0], full: [bareL, 0, 0], faded: [bareL, 0, 0] } as const;
  return seeThroughPane(surface, { colour, pane });
}

async function run(bench: Bench, folder: string): Promise<void> {
  const shopDir = join(folder, bench.name.replace(/\W+/g, '-'));
  mkdirSync(join(shopDir, 'profiles'), { recursive: true });
  const known = { shop: openShop({ shopDir, builtIn: ['shared/shop', 'shared'] }), refused: [] };
  const grid = { pitchMm: bench.gridMm, lineSpacingMm: bench.gridMm };
  const stock = { machine: MACHINE, material: 'clear-glass', ...grid } as const;
  const results = [];
  for (const seen of ['face', 'through'] as const) {
    const asks = { kind: 'tone', ...stock, seen, screen: 'ostromoukhov' } as const;
    const { layout, dots } = await makeChart(resolveChart(asks, known));
    const piece = look(bench.burn(dots, 1), seen, bench);
    const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 as const };
    const { profile } = learnProfile([{ name: seen, image }], {
      ...{ layouts: [layout], camera: 'known', date: '2026-01-01', origin: 'simulated', name: `learned-${seen}` },
    } as Parameters<typeof learnProfile>[1]);
    if ((profile.seen ?? 'face') !== seen) throw new Error(`${bench.name}: learned as seen ${profile.seen}`);
    writeFileSync(join(shopDir, 'profiles', `${profile.name}.json`), JSON.stringify(profile));
    results.push(measure(bench, profile.name, known));
  }
  const [before, after] = results as [ReturnType<typeof measure>, ReturnType<typeof measure>];
  const isOff = after.mean > LIMITS.mean || after.worst > LIMITS.worst || after.promised > LIMITS.promised;
  if (isOff) process.exitCode = 1;
  const say = ({ mean, worst, promised }: typeof before) =>
    `mean ${mean.toFixed(2)}, worst ${worst.toFixed(1)}, promise ${promised.toFixed(1)} L* off`;
  console.log(`${isOff ? '! ' : ''}${bench.name}: at its face ${say(before)} → through the stock ${say(after)}`);
  if (process.env.ALL)
    for (const [at, line] of [before, after].entries()) console.log(`  ${at ? 'after ' : 'before'} ${line.lines}`);
}

/** Steps of a wedge that is burned from behind and looked at through the stock. */
function measure(bench: Bench, profile: string, known: Parameters<typeof resolveJob>[1]) {
  const size = `${STEPS * BAND_MM}x${HEIGHT_MM}`;
  const spec = resolveJob({ size, profile, seen: 'through', subject: 'none', tone: 'plain', safeMarginMm: 0 }, known);
  const { grid } = spec;
  const width = Math.round(spec.size.widthMm / grid.pitchMm);
  const height = Math.round(spec.size.heightMm / grid.lineSpacingMm);
  const { table } = tabulateCoverage(spec);
  const coverage = createPlane('coverage', width, height);
  const promised: number[] = [];
  for (let x = 0; x < width; x++) {
    const step = Math.min(STEPS - 1, Math.floor((x * STEPS) / width));
    const lightness = (100 * step) / (STEPS - 1);
    const light = lightness > 8 ? ((lightness + 16) / 116) ** 3 : lightness / 903.3;
    const value = Math.round(ONE * light);
    promised[step] = table.lightness[value]!;
    for (let y = 0; y < height; y++) coverage.data[y * width + x] = table.coverage[value]!;
  }
  const dots = applyScreen(coverage, requestScreen(spec));
  const burned = bench.burn(spec.orientation?.mirrored ? mirrorDots(dots) : dots, 3);
  const piece = look(burned, 'through', bench);

  const tones = promised.map((_, step) =>
    meanLightness(piece, {
      xMm: step * BAND_MM + 1.5,
      yMm: 4,
      widthMm: BAND_MM - 3,
      heightMm: HEIGHT_MM - 8,
    }),
  );
  const [first, last] = [tones[0]!, tones.at(-1)!];
  const off = tones.map((tone, step) => tone - (first + ((last - first) * step) / (STEPS - 1)));
  const far = tones.map((tone, step) => Math.abs(tone - promised[step]!));
  return {
    mean: off.reduce((sum, one) => sum + Math.abs(one), 0) / STEPS,
    worst: Math.max(...off.map(Math.abs)),
    promised: far.reduce((sum, one) => sum + one, 0) / STEPS,
    lines: tones.map((tone, step) => `${tone.toFixed(1)} (${promised[step]!.toFixed(1)})`).join(' '),
  };
}
