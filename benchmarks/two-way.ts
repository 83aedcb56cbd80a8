// Lines there and back that land apart, before and after the vernier of a spot chart: charts are burned with known
// offsets on the project's own virtual engraver and on the second one of benchmarks/mismatch, whose laws no fit knows,
// and scanned once at 600 dpi. Told is how far lines lie apart: as they are, by the reading's error once the number is
// typed in, and as the bitmap's whole dots leave it. Held to a tenth of a dot where lines leave no heat to speak of, as
// a line that warms the next one marks further along its own way. Arguments: words of the cases' names.
import { readFileSync } from 'node:fs';
import type { CaptureImage, ChartLayout } from '../src/chart/index.ts';
import { makeChart, measureCaptures, readCaptures, resolveChart, type SpotReading } from '../src/job/index.ts';
import { openShop } from '../src/material/index.ts';
import type { Dots } from '../src/plane/index.ts';
import { CAMERAS, captureSurface, engrave, parseMaterialModel } from '../src/simulation/index.ts';
import { burnOther, drawMaterial } from './mismatch/engraver.ts';
import { takePicture } from './mismatch/picture.ts';

/** Dots. What is asked of the reading. */
const GOAL_DOTS = 0.1;
/** Offsets that are burned, dots: either way, between dots, and farther than a quarter of the vernier's period. */
const FINE_OFFSETS: readonly number[] = [-2.6, 5.35, -4.75, 1.85];
/** The same where dots are so coarse that the chart's tags would not be read. */
const COARSE_OFFSETS: readonly number[] = [-0.6, 1.35];

/** Readings of each case, a count. Four tell what a case is like; more are asked of those that were told falsely. */
const READINGS = { usual: 4, coarse: 2, doubtful: 16 } as const;
const DOUBTFUL: readonly string[] = ['coated-brass', 'other 5'];

interface Case {
  readonly name: string;
  readonly direction: 'lighter' | 'darker';
  readonly gridMm: number;
  readonly scan: (dots: Dots, layout: ChartLayout, options: { offsetUm: number; seed: number }) => CaptureImage;
}

function ownCase(material: string): Case {
  const model = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${material}.json`, 'utf8')));
  return {
    name: material,
    direction: model.direction,
    gridMm: model.reference.pitchMm,
    scan: (dots, _layout, { offsetUm, seed }) => {
      const piece = engrave(dots, {
        grid: model.reference,
        model: { ...model, beam: { ...model.beam, returnOffsetUm: offsetUm } },
        seed,
        settings: { ...model.settings, scan: 'two-way' },
        pixelUm: 25_400 / 600,
        marginMm: 1,
      });
      return { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed }), bits: 8 };
    },
  };
}

function otherCase(seed: number): Case {
  const material = drawMaterial(seed);
  return {
    name: `other ${seed} (${material.law.kind})`,
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    gridMm: material.grid.pitchMm,
    scan: (dots, layout, { offsetUm, seed: chance }) =>
      takePicture(burnOther(dots, { material, seed: chance, perDot: 4, returnOffsetUm: offsetUm }), {
        layout,
        material,
        kind: 'scan',
        seed: 2 * chance,
        withPaper: false,
      }),
  };
}

const CASES: readonly (() => Case)[] = [
  ...['coated-brass', 'anodised-black', 'slate', 'stainless'].map((name) => () => ownCase(name)),
  ...[4, 5, 8].map((seed) => () => otherCase(seed)),
];

const asked = process.argv.slice(2).filter((word) => !word.startsWith('-'));
const known = { shop: openShop({ builtIn: 'shared' }), refused: [] };
for (const makeCase of CASES) {
  const one = makeCase();
  if (asked.length > 0 && !asked.some((word) => one.name.includes(word))) continue;
  const from = performance.now();
  const { layout, dots } = await makeChart(
    resolveChart(
      {
        kind: 'spot',
        machine: 'gantry-450',
        direction: one.direction,
        pitchMm: one.gridMm,
        lineSpacingMm: one.gridMm,
        size: `${Math.max(64, 2400 * one.gridMm).toFixed(0)}x${Math.max(46, 1700 * one.gridMm).toFixed(0)}`,
        settings: { scan: 'two-way' },
      },
      known,
    ),
  );
  const dotUm = 1000 * one.gridMm;
  const offsets = dotUm > 50 ? COARSE_OFFSETS : FINE_OFFSETS;
  const isDoubtful = DOUBTFUL.some((name) => one.name.startsWith(name));
  const count = isDoubtful ? READINGS.doubtful : dotUm > 50 ? READINGS.coarse : READINGS.usual;
  const told = Array.from({ length: count }, (_, at) => {
    const offset = offsets[at % offsets.length]!;
    const image = one.scan(dots, layout, { offsetUm: offset * dotUm, seed: 3 + at });
    const captures = readCaptures([{ name: 'spot', image }], { layouts: [layout], camera: 'known' });
    const { twoWay } = measureCaptures(captures).reading as SpotReading;
    return {
      offset,
      found: twoWay && twoWay.offsetUm / dotUm,
      reach: twoWay && (twoWay.highUm - twoWay.lowUm) / 2 / dotUm,
    };
  });
  const errors = told.flatMap(({ offset, found }) => (found === undefined ? [] : [Math.abs(found - offset)]));
  if (errors.length < told.length) {
    console.log(`${one.name}: ${told.length - errors.length} of ${told.length} not told`);
    if (errors.length === 0) continue;
  }
  const missed = told.filter(({ offset, found, reach }) => found !== undefined && Math.abs(found - offset) > reach!);
  if (missed.length > 0) console.log(`! ${one.name}: ${missed.length} of ${told.length} beyond their intervals`);
  const worst = Math.max(...errors);
  const left = told.map(({ offset, found = 0 }) => Math.abs(offset - Math.round(found)));
  const mean = (list: readonly number[]) => list.reduce((sum, value) => sum + value, 0) / list.length;
  console.log(
    `${worst <= GOAL_DOTS ? '' : '! '}${one.name}, dots of ${dotUm.toFixed(0)} µm: lines apart ${mean(offsets.map(Math.abs)).toFixed(2)} dots in the mean → ${mean(errors).toFixed(3)} by the number (worst ${worst.toFixed(3)}), ${mean(left).toFixed(2)} by whole dots; ` +
      `${told.map(({ offset, found, reach }) => `${offset} → ${found?.toFixed(3)} ± ${reach?.toFixed(3)}`).join(', ')}; ${((performance.now() - from) / 1000).toFixed(0)} s`,
  );
}
