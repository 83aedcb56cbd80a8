// A wedge around a tumbler that does not turn, on virtual engravers with real curvature: its tones beside those of the
// same steps on its highest line, prepared as if the piece were flat (before) and as a round one (after), all around
// and within the width that the job calls usable. The profile is learned from a scanned chart. The engravers are the
// project's own (a ray's end is searched for, not computed) and the second one of benchmarks/mismatch, whose beam is no
// Gaussian; none has the optics that its machine's record or its focus chart says: the focus is up to a fifth deeper or
// shallower, and rays come from higher. Arguments: words of the cases' names. DIAMETER (73 mm), ARC (26 mm); with ALL=1
// tones are listed by place.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { CaptureImage, ChartLayout } from '../src/chart/index.ts';
import { learnProfile, makeChart, requestScreen, resolveChart, resolveJob } from '../src/job/index.ts';
import { growthAt } from '../src/job/request/round.ts';
import { openShop } from '../src/material/index.ts';
import { placeOnRound } from '../src/optics/index.ts';
import type { Dots } from '../src/plane/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  engraveRound,
  meanLightness,
  parseMaterialModel,
  type Surface,
} from '../src/simulation/index.ts';
import { coverPiece } from './common/cover-piece.ts';
import { runBenches } from './common/run-benches.ts';
import { burnOther, drawMaterial } from './mismatch/engraver.ts';
import { takePicture } from './mismatch/picture.ts';

const DIAMETER = Number(process.env.DIAMETER ?? 73);
const ARC = Number(process.env.ARC ?? 26);
/** Steps of the wedge, rows of so many millimetres; columns in which tones are measured. */
const STEPS = 7;
const BAND_MM = 2.4;
const COLUMNS = 17;
/** Held to: what is left of the tone's error within the usable width, mean and worst, L*. */
const LIMITS = { mean: 0.4, worst: 2 } as const;

/** Whether the optics or a focus chart told the depth of focus, and how many times the true one it is. */
interface ToldDepth {
  readonly by: 'optics' | 'chart';
  readonly factor: number;
}

interface Bench {
  readonly name: string;
  readonly machine: string;
  readonly direction: 'lighter' | 'darker';
  readonly gridMm: number;
  readonly spotUm: number;
  /** Of the true beam, mm. */
  readonly rayleighMm: number;
  readonly told: ToldDepth;
  readonly burnFlat: (dots: Dots) => Surface;
  readonly burnRound: (dots: Dots) => Surface;
  readonly scan: (piece: Surface, layout: ChartLayout) => CaptureImage;
}

/** The galvo's own lens is 160 mm; its rays come from higher. */
const PUPIL_MM = 190;

function ownBench(material: string, machine: string, told: ToldDepth): Bench {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));
  const grid = model.reference;
  const still = { ...model, grain: [], beam: { ...model.beam, jitterUm: 0 } };
  const pupil = machine.startsWith('galvo') ? { pupilMm: PUPIL_MM } : {};
  return {
    name: material,
    machine,
    direction: model.direction,
    gridMm: grid.pitchMm,
    spotUm: Math.sqrt(model.beam.spotDiameterXUm * model.beam.spotDiameterYUm),
    rayleighMm: model.beam.rayleighLengthMm,
    told,
    burnFlat: (dots) => engrave(dots, { grid, model, seed: 1, pixelUm: 25_400 / 600, marginMm: 1 }),
    burnRound: (dots) =>
      engraveRound(dots, { grid, model: still, seed: 3, pixelUm: 60, roundDiameterMm: DIAMETER, ...pupil }),
    scan: (piece) => ({ ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 }),
  };
}

function otherBench(name: string, seed: number, told: ToldDepth): Bench {
  const material = drawMaterial(seed);
  const spotUm = Math.sqrt(material.spotXUm * material.spotYUm);
  // A laser of 1.06 µm with M² of 1.6 and this spot.
  const rayleighMm = (Math.PI * (spotUm / 2) ** 2) / (1.6 * 1.064) / 1000;
  return {
    name,
    machine: 'gantry-450',
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    gridMm: material.grid.pitchMm,
    spotUm,
    rayleighMm,
    told,
    burnFlat: (dots) => burnOther(dots, { material, seed: 1, perDot: 3 }),
    burnRound: (dots) =>
      burnOther(dots, {
        material,
        seed: 3,
        perDot: 3,
        field: (xMm) => {
          const off = xMm - (dots.width * material.grid.pitchMm) / 2;
          const down = Math.sqrt((DIAMETER / 2) ** 2 - off * off);
          const depth = DIAMETER / 2 - down;
          return { dose: down / (DIAMETER / 2), width: Math.sqrt(1 + (depth / rayleighMm) ** 2) };
        },
      }),
    scan: (piece, layout) => takePicture(piece, { layout, material, kind: 'scan', seed: 2, withPaper: false }),
  };
}

const BENCHES: readonly (() => Bench)[] = [
  () => ownBench('stainless', 'galvo-1064-f160', { by: 'optics', factor: 1.2 }),
  () => ownBench('anodised-black', 'galvo-1064-f160', { by: 'chart', factor: 1.1 }),
  () => ownBench('painted-steel', 'galvo-1064-f160', { by: 'chart', factor: 0.9 }),
  () => ownBench('glass', 'galvo-355-f210', { by: 'chart', factor: 1.15 }),
  () => ownBench('birch', 'gantry-450', { by: 'optics', factor: 0.9 }),
  () => otherBench('other engraver, a threshold', 3, { by: 'chart', factor: 0.85 }),
  () => otherBench('other engraver, saturating', 5, { by: 'optics', factor: 1.2 }),
];

await runBenches(BENCHES, run);

async function run(bench: Bench, folder: string): Promise<void> {
  const shopDir = join(folder, bench.name.replace(/\W+/g, '-'));
  for (const kind of ['machines', 'profiles', 'focus']) mkdirSync(join(shopDir, kind), { recursive: true });
  const machine = JSON.parse(readFileSync(`shared/machines/${bench.machine}.json`, 'utf8'));
  // zR = πw²/(M²λ): M² is what gives the recorded depth with this spot.
  const beamQualityM2 =
    (Math.PI * (bench.spotUm / 2) ** 2) / (machine.wavelengthNm * bench.rayleighMm * bench.told.factor);
  writeFileSync(
    join(shopDir, 'machines', 'bench.json'),
    JSON.stringify({
      ...machine,
      ...{ name: 'bench', spotDiameterUm: bench.spotUm, beamQualityM2: Math.max(1, beamQualityM2) },
    }),
  );
  const known = { shop: openShop({ shopDir, builtIn: ['shared/shop', 'shared'] }), refused: [] };
  const grid = { pitchMm: bench.gridMm, lineSpacingMm: bench.gridMm };
  const stock = { machine: 'bench', material: 'stock', direction: bench.direction, ...grid } as const;
  const { layout, dots } = await makeChart(
    resolveChart({ kind: 'tone', ...stock, size: '64x46', screen: 'ostromoukhov' }, known),
  );
  const image = bench.scan(bench.burnFlat(dots), layout);
  const { profile } = learnProfile([{ name: 'tone', image }], {
    ...{ layouts: [layout], camera: 'known', date: '2026-01-01', origin: 'simulated', name: 'home' },
  } as Parameters<typeof learnProfile>[1]);
  writeFileSync(join(shopDir, 'profiles', 'home.json'), JSON.stringify(profile));
  if (bench.told.by === 'chart') {
    const depthMm = 2 * bench.rayleighMm * bench.told.factor;
    const depthOfFocus = { valueMm: depthMm, lowMm: 0.7 * depthMm, highMm: 1.3 * depthMm };
    const reading = { schema: 'tonewright-focus/1', chart: 'bench', machine: 'bench', material: 'stock', depthOfFocus };
    writeFileSync(join(shopDir, 'focus', 'bench.stock.json'), JSON.stringify(reading));
  }
  const round = prepare(true, known);
  const flat = prepare(false, known, round.widthMm);
  const { usableArcMm, boundBy = 'nothing', focus, spread } = round.spec.round!;
  const lying = round.spec.round!;
  const edge = placeOnRound(round.widthMm / 2, lying);
  const flatPiece = bench.burnRound(flat.dots);
  const all = measure(bench, { dots: flat.dots, piece: flatPiece, usableArcMm: ARC, lying });
  const before = measure(bench, { dots: flat.dots, piece: flatPiece, usableArcMm, lying });
  const after = measure(bench, { dots: round.dots, piece: bench.burnRound(round.dots), usableArcMm, lying });
  const say = ({ mean, worst }: typeof before) => `mean ${mean.toFixed(2)}, worst ${worst.toFixed(1)} L*`;
  const isOff = after.mean > LIMITS.mean || after.worst > LIMITS.worst || after.mean > before.mean + 0.05;
  if (isOff) process.exitCode = 1;
  console.log(
    `${isOff ? '! ' : ''}${bench.name}: flat, all around ${say(all)}; within what is usable ${say(before)} → ${say(after)}; Ø ${DIAMETER} mm, ${usableArcMm.toFixed(1)} of ${ARC} mm usable, bounded by ${boundBy}; edge slants ${edge.slantDeg.toFixed(0)}°, dose × ${edge.dose.toFixed(2)}, spot × ${growthAt(edge.depthMm, 2 * bench.rayleighMm).toFixed(2)}; depth ${(2 * bench.rayleighMm).toFixed(2)} mm, by ${focus.origin} ${focus.depthMm.toFixed(2)}, spread ${spread}; steepness ${profile.response.steepness.toFixed(1)}`,
  );
  if (process.env.ALL) for (const line of after.lines) console.log(line);
}

/** The wedge's dots, bands of equal steps of L*, each the same from side to side. */
function prepare(isRound: boolean, known: Parameters<typeof resolveJob>[1], widthMm = ARC) {
  const spec = resolveJob(
    {
      ...{ size: `${widthMm}x${STEPS * BAND_MM}`, profile: 'home', subject: 'none', tone: 'plain', safeMarginMm: 0 },
      ...(isRound ? { round: { diameterMm: DIAMETER } } : {}),
    } as Parameters<typeof resolveJob>[0],
    known,
  );
  const { coverage } = coverPiece(spec, ({ y, height }) => (100 * Math.floor((y * STEPS) / height)) / (STEPS - 1));
  return { spec, widthMm: spec.size.widthMm, dots: applyScreen(coverage, requestScreen(spec)) };
}

interface Burned {
  readonly dots: Dots;
  readonly piece: Surface;
  readonly usableArcMm: number;
  readonly lying: Parameters<typeof placeOnRound>[1];
}

interface Measured {
  readonly mean: number;
  readonly worst: number;
  readonly lines: readonly string[];
}

/** Tones by band and column, and how far each lies from the same band on the highest line. */
function measure(bench: Bench, { dots, piece, usableArcMm, lying }: Burned): Measured {
  const widthMm = dots.width * bench.gridMm;
  const off: number[][] = [];
  const places = Array.from({ length: (COLUMNS + 1) / 2 }, (_, at) => at);
  for (let band = 0; band < STEPS; band++) {
    const toneAt = (column: number) =>
      meanLightness(piece, {
        xMm: (widthMm * column) / COLUMNS,
        yMm: band * BAND_MM + 0.4,
        widthMm: widthMm / COLUMNS,
        heightMm: BAND_MM - 0.8,
      });
    const middle = toneAt((COLUMNS - 1) / 2);
    off.push(
      places.map((at) => {
        const [left, right] = [(COLUMNS - 1) / 2 - at, (COLUMNS - 1) / 2 + at];
        return (toneAt(left) + toneAt(right)) / 2 - middle;
      }),
    );
  }
  const isUsable = places.map((at) => {
    const outer = Math.min(widthMm / 2, ((at + 0.5) * widthMm) / COLUMNS);
    return placeOnRound(outer, lying).arcMm <= usableArcMm / 2 + 1e-9;
  });
  const errors = off.flatMap((row) => row.filter((_, at) => at > 0 && isUsable[at]).map(Math.abs));
  const lines = places.map((at) => {
    const { depthMm, dose } = placeOnRound((at * widthMm) / COLUMNS, lying);
    const growth = growthAt(depthMm, 2 * bench.rayleighMm);
    return `  ${isUsable[at] ? ' ' : '-'} spot × ${growth.toFixed(3)} dose × ${dose.toFixed(3)}: ${off.map((row) => row[at]!.toFixed(2).padStart(6)).join(' ')}`;
  });
  return { mean: errors.reduce((sum, error) => sum + error, 0) / errors.length, worst: Math.max(...errors), lines };
}
