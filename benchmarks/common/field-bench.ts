// Engravers whose beam differs over the field, and what a shop does with them: a profile from a tone chart in the
// middle, a field chart over all of it, and a wedge burned in six pockets. For the benchmarks of fields.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { CaptureImage, ChartLayout } from '../../src/chart/index.ts';
import {
  learnProfile,
  makeChart,
  measureCaptures,
  readCaptures,
  requestScreen,
  resolveChart,
  resolveJob,
} from '../../src/job/index.ts';
import type { PlaceFacts } from '../../src/job/prepare/evenness.ts';
import type { EvennessMap } from '../../src/machine/index.ts';
import { openShop, type Profile } from '../../src/material/index.ts';
import type { DotGrid, Dots } from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { type BeamAt, beamAt } from '../../src/simulation/field.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type FieldModel,
  meanLightness,
  parseMaterialModel,
  type Surface,
} from '../../src/simulation/index.ts';
import { burnOther, drawMaterial, type OtherField } from '../mismatch/engraver.ts';
import { takePicture } from '../mismatch/picture.ts';
import { coverPiece } from './cover-piece.ts';

const DATE = '2026-01-01';
/** Steps of the wedge, and the piece's sides, dots: large enough that grain averages out. */
const PIECE = { steps: 11, widthDots: 704, heightDots: 224 } as const;
/** As first charts and photos have it. */
const SCREEN = 'ostromoukhov';

/** An engraver with a material: burns dots somewhere in its field and scans a chart. */
export interface Bench {
  readonly name: string;
  readonly direction: 'lighter' | 'darker';
  readonly grid: DotGrid;
  readonly fieldMm: readonly [number, number];
  /** The beam at a place of the field: the truth that a map is to find. */
  readonly beamAt: (xMm: number, yMm: number) => BeamAt;
  /** Chance of its charts. */
  readonly seed: number;
  readonly camera: 'known' | 'unknown';
  readonly burn: (dots: Dots, at: { readonly xMm: number; readonly yMm: number }, seed: number) => Surface;
  readonly capture: (piece: Surface, layout: ChartLayout, seed: number) => CaptureImage;
}

/** How a chart is looked at, and the chance of it. */
export interface BenchOptions {
  readonly capture?: 'scan' | 'photo';
  readonly seed?: number;
}

export type OwnField = Omit<FieldModel, 'schema' | 'title'>;

const readModel = (material: string) =>
  parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));

/** Dots that a virtual material is engraved with. */
export const readGrid = (material: string): DotGrid => readModel(material).reference;

/** The project's own virtual engraver. */
export function ownBench(
  name: string,
  {
    material,
    field,
    capture = 'scan',
    seed = 0,
  }: BenchOptions & { readonly material: string; readonly field: OwnField },
): Bench {
  const model = readModel(material);
  const lens: FieldModel = { schema: 'tonewright-simulation-field/1', title: name, ...field };
  const camera = CAMERAS[capture === 'scan' ? 'flatbed-600' : 'phone-straight']!.options;
  return {
    name,
    direction: model.direction,
    grid: model.reference,
    fieldMm: [field.widthMm, field.heightMm],
    beamAt: (xMm, yMm) => beamAt(lens, xMm, yMm),
    seed,
    camera: 'known',
    burn: (dots, at, chance) =>
      engrave(dots, {
        grid: model.reference,
        model,
        seed: chance,
        pixelUm: 25_400 / 600,
        marginMm: 1,
        field: { model: lens, ...at },
      }),
    capture: (piece, _layout, chance) => ({ ...captureSurface(piece, { ...camera, seed: chance }), bits: 8 }),
  };
}

/** The second engraver, with a material by chance. */
export function otherBench(
  name: string,
  {
    material: drawn,
    fieldMm,
    field,
    capture = 'scan',
    seed = 0,
  }: BenchOptions & {
    readonly material: number;
    readonly fieldMm: readonly [number, number];
    readonly field: OtherField;
  },
): Bench {
  const material = drawMaterial(drawn);
  return {
    name,
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    grid: material.grid,
    fieldMm,
    beamAt: field,
    seed,
    camera: 'known',
    burn: (dots, at, chance) =>
      burnOther(dots, {
        material,
        seed: chance,
        perDot: 3,
        field: (xMm, yMm) => field(at.xMm + xMm, at.yMm + yMm),
      }),
    capture: (piece, layout, chance) =>
      takePicture(piece, { layout, material, kind: capture, seed: 2 * chance, withPaper: false }),
  };
}

/** A bench's field chart, read: what its pockets are burned through. */
export interface LearnedField {
  readonly known: Parameters<typeof resolveJob>[1];
  readonly profile: Profile;
  readonly map: EvennessMap;
}

/** Between the chances of two burns of one chart. */
const NEXT_BURN = 500;

/**
 * The charts of a bench, burned and captured once each; the field chart as often as `burns` says, on other stock.
 * @param folder where its shop may lie
 * @throws AppError where one of them is refused
 */
export async function learnField(
  bench: Bench,
  folder: string,
  { burns = 1 }: { readonly burns?: number } = {},
): Promise<LearnedField> {
  const shopDir = join(folder, bench.name.replace(/\W+/g, '-'));
  for (const kind of ['machines', 'profiles', 'evenness']) mkdirSync(join(shopDir, kind), { recursive: true });
  const machine = JSON.parse(readFileSync('shared/machines/gantry-450.json', 'utf8'));
  writeFileSync(
    join(shopDir, 'machines', 'bench.json'),
    JSON.stringify({ ...machine, name: 'bench', fieldMm: bench.fieldMm }),
  );
  const known = { shop: openShop({ shopDir, builtIn: 'shared' }), refused: [] };
  const { grid } = bench;
  const [width, height] = bench.fieldMm;
  const scan = async (request: Parameters<typeof resolveChart>[0], seed: number) => {
    const { layout, dots } = await makeChart(resolveChart(request, known));
    const at = layout.inField ?? { xMm: (width - layout.widthMm) / 2, yMm: (height - layout.heightMm) / 2 };
    return { layout, image: bench.capture(bench.burn(dots, at, bench.seed + seed), layout, bench.seed + seed) };
  };
  const size = `${Math.min(64, width)}x${Math.min(46, height)}`;
  const stock = { machine: 'bench', material: 'stock', direction: bench.direction, ...grid } as const;
  const tone = await scan({ kind: 'tone', ...stock, size, screen: SCREEN }, 1);
  const { profile } = learnProfile([{ name: 'tone', image: tone.image }], {
    layouts: [tone.layout],
    camera: bench.camera,
    date: DATE,
    origin: 'simulated',
    name: 'home',
  });
  writeFileSync(join(shopDir, 'profiles', 'home.json'), JSON.stringify(profile));
  const fields = await Promise.all(
    Array.from({ length: burns }, (_, burn) => scan({ kind: 'field', profile: 'home' }, 2 + NEXT_BURN * burn)),
  );
  const captures = readCaptures(
    fields.map(({ image }, burn) => ({ name: `field-${burn}`, image })),
    { layouts: [fields[0]!.layout], camera: bench.camera },
  );
  const map = measureCaptures(captures, { field: { profile, date: DATE } }).reading as EvennessMap;
  writeFileSync(join(shopDir, 'evenness', 'bench.json'), JSON.stringify(map));
  return { known, profile, map };
}

/** Pieces, and how far they came out from one another. */
export interface Pieces {
  /** L* of every step of every piece. */
  readonly lightness: readonly (readonly number[])[];
  /** Largest difference of two pieces: in the mean over the steps, and of a step. */
  readonly mean: number;
  readonly worst: number;
  readonly facts: readonly PlaceFacts[];
}

export interface BurnOptions {
  readonly known: LearnedField['known'];
  /** Whether each is set for where it lies. */
  readonly corrected: boolean;
  /** Pieces of one stock have one grain: what they differ by is the beam alone. */
  readonly stock?: 'each its own' | 'one';
}

type Place = readonly [xMm: number, yMm: number];

/** Sides of a piece, mm. */
const sidesOf = ({ grid }: Bench) => [PIECE.widthDots * grid.pitchMm, PIECE.heightDots * grid.lineSpacingMm] as const;

/** Middles of six pockets, corner to corner. */
export function listPockets(bench: Bench): readonly Place[] {
  const [width, height] = bench.fieldMm;
  const [widthMm, heightMm] = sidesOf(bench);
  return Array.from({ length: 6 }, (_, pocket): Place => {
    const xMm = widthMm / 2 + 1 + ((pocket % 3) / 2) * (width - widthMm - 2);
    return [xMm, heightMm / 2 + 1 + Math.floor(pocket / 3) * (height - heightMm - 2)];
  });
}

/** A wedge of eleven tones in six pockets. */
export const burnPockets = (bench: Bench, options: BurnOptions): Pieces =>
  burnPieces(bench, listPockets(bench), options);

/** The same six times in the middle of the field: what the stock alone makes them differ by, and no map can mend. */
export const burnInMiddle = (bench: Bench, options: BurnOptions): Pieces => {
  const [width, height] = bench.fieldMm;
  return burnPieces(
    bench,
    listPockets(bench).map(() => [width / 2, height / 2]),
    options,
  );
};

function burnPieces(
  bench: Bench,
  places: readonly Place[],
  { known, corrected, stock = 'each its own' }: BurnOptions,
): Pieces {
  const [widthMm, heightMm] = sidesOf(bench);
  const facts: PlaceFacts[] = [];
  const pieces = places.map(([xMm, yMm], at) => {
    const spec = resolveJob(
      {
        size: `${widthMm}x${heightMm}`,
        profile: 'home',
        tone: 'plain',
        ...(corrected ? { at: `${xMm},${yMm}` } : {}),
      },
      known,
    );
    const stepOf = (x: number, width: number) => Math.min(PIECE.steps - 1, Math.floor((x * PIECE.steps) / width));
    const { coverage, facts: told } = coverPiece(spec, ({ x, width }) => (100 * stepOf(x, width)) / (PIECE.steps - 1));
    if (told) facts.push(told);
    const dots = applyScreen(coverage, requestScreen(spec));
    const corner = { xMm: xMm - widthMm / 2, yMm: yMm - heightMm / 2 };
    const piece = bench.burn(dots, corner, bench.seed + 11 + (stock === 'one' ? 0 : at));
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
  let mean = 0;
  let worst = 0;
  for (const [at, one] of pieces.entries()) {
    for (const other of pieces.slice(at + 1)) {
      const off = one.map((value, step) => Math.abs(value - other[step]!));
      mean = Math.max(mean, off.reduce((sum, value) => sum + value, 0) / off.length);
      worst = Math.max(worst, ...off);
    }
  }
  return { lightness: pieces, mean, worst, facts };
}
