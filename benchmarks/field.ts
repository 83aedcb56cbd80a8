// Six pockets over a field in which the beam differs, before and after its field chart: on the project's own virtual
// engraver (a scan lens, a gantry) and on the second one of benchmarks/mismatch, with laws of the field that no surface
// of the map has. A profile is learned from a tone chart in the middle of the field, a field chart is burned over all
// of it and scanned once, and a wedge of eleven tones is prepared for each pocket and burned there. Told is how far the
// pockets differ from one another: the largest mean |ΔL*| of a pair, and of single steps. Held to half an L* in the
// mean. Arguments: words of the cases' names.
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { CaptureImage, ChartLayout } from '../src/chart/index.ts';
import { AppError } from '../src/errors.ts';
import {
  learnProfile,
  makeChart,
  measureCaptures,
  readCaptures,
  requestScreen,
  resolveChart,
  resolveJob,
  tabulateCoverage,
} from '../src/job/index.ts';
import { invertAtPlace } from '../src/job/prepare/evenness.ts';
import { correctPiece } from '../src/job/prepare/run.ts';
import type { EvennessMap } from '../src/machine/index.ts';
import { openShop, type Profile } from '../src/material/index.ts';
import { createPlane, type Dots, ONE } from '../src/plane/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type FieldModel,
  meanLightness,
  parseMaterialModel,
  type Surface,
} from '../src/simulation/index.ts';
import { burnOther, drawMaterial, type OtherField } from './mismatch/engraver.ts';
import { takePicture } from './mismatch/picture.ts';

/** Most that two pockets may differ by, mean |ΔL*|. */
const GOAL_L = 0.5;
const DATE = '2026-01-01';
/** Steps of the wedge, and the piece's sides, dots: large enough that grain averages out. */
const PIECE = { steps: 11, widthDots: 704, heightDots: 224 } as const;
/** As first charts and photos have it. */
const SCREEN = 'ostromoukhov';

/** An engraver with a material: burns dots somewhere in its field and scans a chart. */
interface Bench {
  readonly name: string;
  readonly direction: 'lighter' | 'darker';
  readonly gridMm: number;
  readonly fieldMm: readonly [number, number];
  readonly burn: (dots: Dots, at: { readonly xMm: number; readonly yMm: number }, seed: number) => Surface;
  readonly scan: (piece: Surface, layout: ChartLayout, seed: number) => CaptureImage;
}

function ownBench(name: string, material: string, field: Omit<FieldModel, 'schema' | 'title'>): Bench {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));
  const lens: FieldModel = { schema: 'tonewright-simulation-field/1', title: name, ...field };
  const { pitchMm } = model.reference;
  return {
    name,
    direction: model.direction,
    gridMm: pitchMm,
    fieldMm: [field.widthMm, field.heightMm],
    burn: (dots, at, seed) =>
      engrave(dots, {
        grid: model.reference,
        model,
        seed,
        pixelUm: 25_400 / 600,
        marginMm: 1,
        field: { model: lens, ...at },
      }),
    scan: (piece, _layout, seed) => ({
      ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed }),
      bits: 8,
    }),
  };
}

function otherBench(name: string, seed: number, fieldMm: readonly [number, number], field: OtherField): Bench {
  const material = drawMaterial(seed);
  return {
    name,
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    gridMm: material.grid.pitchMm,
    fieldMm,
    burn: (dots, at, chance) =>
      burnOther(dots, {
        material,
        seed: chance,
        perDot: 3,
        field: (xMm, yMm) => field(at.xMm + xMm, at.yMm + yMm),
      }),
    scan: (piece, layout, chance) =>
      takePicture(piece, { layout, material, kind: 'scan', seed: 2 * chance, withPaper: false }),
  };
}

const even = { cornerLoss: 0, cornerGrowth: 0, order: 2, travelLoss: 0, travelGrowth: 0 } as const;
const LENS = { ...even, widthMm: 70, heightMm: 70, cornerLoss: 0.2, cornerGrowth: 0.08 } as const;
const BENCHES: readonly (() => Bench)[] = [
  () => ownBench('lens, painted steel', 'painted-steel', LENS),
  () => ownBench('lens off its axis, anodised', 'anodised-blue', { ...LENS, axisMm: [30, 40], order: 2.6 }),
  () =>
    ownBench('gantry, birch', 'birch', {
      ...even,
      widthMm: 180,
      heightMm: 130,
      travelLoss: 0.18,
      travelGrowth: 0.06,
    }),
  // cos⁴ of a lens of 80 mm, a rim that cuts, and a tilted board.
  () =>
    otherBench('other lens', 2, [80, 64], (xMm, yMm) => {
      const r = Math.hypot(xMm - 38, yMm - 33);
      const rim = 1 - 0.12 / (1 + Math.exp((46 - r) / 3));
      return { dose: Math.cos(Math.atan(r / 80)) ** 4 * rim, width: 1 + 0.09 * (r / 45) ** 2 + 0.0006 * xMm };
    }),
  // A beam that spreads on its way: its width is the hyperbola of a Gaussian beam, a stop takes its rim.
  () =>
    otherBench('other gantry', 5, [80, 60], (xMm, yMm) => {
      const way = (xMm + yMm) / 140;
      return { dose: 1 - 0.2 * way ** 1.5, width: Math.sqrt(1 + 0.15 * way ** 2) };
    }),
];

const asked = process.argv.slice(2).filter((word) => !word.startsWith('-'));
const folder = mkdtempSync(join(tmpdir(), 'field-'));
let failed = false;
try {
  for (const makeBench of BENCHES) {
    const bench = makeBench();
    if (asked.length > 0 && !asked.some((word) => bench.name.includes(word))) continue;
    await run(bench);
  }
} finally {
  rmSync(folder, { recursive: true });
}
process.exitCode = failed ? 1 : 0;

async function run(bench: Bench): Promise<void> {
  const from = performance.now();
  const name = bench.name.replace(/\W+/g, '-');
  const shopDir = join(folder, name);
  for (const kind of ['machines', 'profiles', 'evenness']) mkdirSync(join(shopDir, kind), { recursive: true });
  const machine = JSON.parse(readFileSync('shared/machines/gantry-450.json', 'utf8'));
  writeFileSync(
    join(shopDir, 'machines', 'bench.json'),
    JSON.stringify({ ...machine, name: 'bench', fieldMm: bench.fieldMm }),
  );
  const known = { shop: openShop({ shopDir, builtIn: 'shared' }), refused: [] };
  const grid = { pitchMm: bench.gridMm, lineSpacingMm: bench.gridMm };
  const [width, height] = bench.fieldMm;
  const scan = async (request: Parameters<typeof resolveChart>[0], seed: number) => {
    const { layout, dots } = await makeChart(resolveChart(request, known));
    const at = layout.inField ?? { xMm: (width - layout.widthMm) / 2, yMm: (height - layout.heightMm) / 2 };
    return { layout, image: bench.scan(bench.burn(dots, at, seed), layout, seed) };
  };
  try {
    const size = `${Math.min(64, width)}x${Math.min(46, height)}`;
    const stock = { machine: 'bench', material: 'stock', direction: bench.direction, ...grid } as const;
    const tone = await scan({ kind: 'tone', ...stock, size, screen: SCREEN }, 1);
    const { profile } = learnProfile([{ name: 'tone', image: tone.image }], {
      layouts: [tone.layout],
      camera: 'known',
      date: DATE,
      origin: 'simulated',
      name: 'home',
    });
    writeFileSync(join(shopDir, 'profiles', 'home.json'), JSON.stringify(profile));
    const field = await scan({ kind: 'field', profile: 'home' }, 2);
    const captures = readCaptures([{ name: 'field', image: field.image }], {
      layouts: [field.layout],
      camera: 'known',
    });
    const map = measureCaptures(captures, { field: { profile, date: DATE } }).reading as EvennessMap;
    writeFileSync(join(shopDir, 'evenness', 'bench.json'), JSON.stringify(map));
    const before = burnPockets(bench, { known, profile, corrected: false });
    const after = burnPockets(bench, { known, profile, corrected: true });
    const fails = after.mean > GOAL_L;
    failed ||= fails;
    console.log(
      `${fails ? '! ' : ''}${bench.name}: pockets differed by ${before.mean.toFixed(2)} L* in the mean, ${before.worst.toFixed(2)} at worst → ${after.mean.toFixed(2)}, ${after.worst.toFixed(2)}; ` +
        `${map.surface}, left ${map.leftL.toFixed(2)}, unseen ${map.crossL.toFixed(2)}, ${((performance.now() - from) / 1000).toFixed(0)} s`,
    );
    if (asked.length > 0) console.log(map.notes.join('\n'), after.facts.join('\n'));
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    failed = true;
    console.log(`! ${bench.name}: refused, ${error.code}: ${error.message}`);
  }
}

interface PocketsOptions {
  readonly known: Parameters<typeof resolveJob>[1];
  readonly profile: Profile;
  readonly corrected: boolean;
}

/** The largest difference of two of six pockets, in the mean over a wedge's steps and of one step. */
function burnPockets(bench: Bench, { known, corrected }: PocketsOptions) {
  const [width, height] = bench.fieldMm;
  const [widthMm, heightMm] = [PIECE.widthDots * bench.gridMm, PIECE.heightDots * bench.gridMm];
  const facts: string[] = [];
  const pockets = Array.from({ length: 6 }, (_, pocket) => {
    const xMm = widthMm / 2 + 1 + ((pocket % 3) / 2) * (width - widthMm - 2);
    const yMm = heightMm / 2 + 1 + Math.floor(pocket / 3) * (height - heightMm - 2);
    const spec = resolveJob(
      {
        size: `${widthMm}x${heightMm}`,
        profile: 'home',
        tone: 'plain',
        ...(corrected ? { at: `${xMm},${yMm}` } : {}),
      },
      known,
    );
    const { pitchMm, lineSpacingMm } = spec.grid;
    const frame = { width: Math.round(widthMm / pitchMm), height: Math.round(heightMm / lineSpacingMm) };
    const whole = { ...frame, widthMm, heightMm, place: { x: 0, y: 0, ...frame } };
    const toned = createPlane('luminance', frame.width, frame.height);
    const stepOf = (x: number) => Math.min(PIECE.steps - 1, Math.floor((x * PIECE.steps) / frame.width));
    for (let at = 0; at < toned.data.length; at++) {
      const lightness = (100 * stepOf(at % frame.width)) / (PIECE.steps - 1);
      toned.data[at] = Math.round(ONE * (lightness > 8 ? ((lightness + 16) / 116) ** 3 : lightness / 903.3));
    }
    const { table } = tabulateCoverage(spec);
    const coverage = createPlane('coverage', frame.width, frame.height);
    const correction = correctPiece(spec, { table, frame: whole });
    if (correction) {
      facts.push(JSON.stringify(correction.facts));
      coverage.data.set(invertAtPlace(toned, { correction, frame: whole }).data);
    } else for (let at = 0; at < toned.data.length; at++) coverage.data[at] = table.coverage[toned.data[at]!]!;
    const dots = applyScreen(coverage, requestScreen(spec));
    const corner = { xMm: xMm - widthMm / 2, yMm: yMm - heightMm / 2 };
    const piece = bench.burn(dots, corner, 11 + pocket);
    const stepMm = widthMm / PIECE.steps;
    return Array.from({ length: PIECE.steps }, (_, step) =>
      meanLightness(piece, {
        xMm: (step + 0.2) * stepMm,
        yMm: heightMm / 6,
        widthMm: 0.6 * stepMm,
        heightMm: (2 * heightMm) / 3,
      }),
    );
  });
  if (process.env.DEBUG) for (const one of pockets) console.log(one.map((value) => value.toFixed(2)).join(' '));
  let mean = 0;
  let worst = 0;
  for (const [at, one] of pockets.entries()) {
    for (const other of pockets.slice(at + 1)) {
      const off = one.map((value, step) => Math.abs(value - other[step]!));
      mean = Math.max(mean, off.reduce((sum, value) => sum + value, 0) / off.length);
      worst = Math.max(worst, ...off);
    }
  }
  return { mean, worst, facts };
}
