// What a focus chart finds on virtual lasers whose focus is known: best focus, astigmatism and depth of focus, on
// materials with other laws, other spots, and optics whose record is wrong by up to a third. Before the chart the focus
// is off by what was planted; after it, by what the reading leaves. Each figure with its 95 % interval; counted is how
// often the interval holds the truth. Arguments: names of virtual materials; all without.
import { readdirSync, readFileSync } from 'node:fs';
import { drawChart, layoutChart, locateChart, readPatches } from '../src/chart/index.ts';
import { AppError } from '../src/errors.ts';
import { type MeasuredMm, readFocus } from '../src/job/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import { CAMERAS, captureSurface, engrave, type MaterialModel, parseMaterialModel } from '../src/simulation/index.ts';

/** Planted: best focus and astigmatism in Rayleigh ranges; the record's depth of focus against the true one. */
const CASES = [
  { focus: 0, astigmatism: 0, record: 1 },
  { focus: 0.6, astigmatism: 0, record: 1.3 },
  { focus: -1.1, astigmatism: 0.4, record: 0.75 },
] as const;
/** Rise of the ramp in the depths of focus of the record, as the chart takes it. */
const RISE_DEPTHS = 3;
/** Limits. Best focus and astigmatism in Rayleigh ranges, mean; intervals that hold the truth, a share. */
const LIMITS = { focus: 0.1, astigmatism: 0.15, covered: 0.85 } as const;

const names = readdirSync('shared/simulation')
  .map((file) => file.replace(/\.json$/, ''))
  .filter((name) => process.argv.length < 3 || process.argv.includes(name));

interface Found {
  readonly off: number;
  readonly off0: number;
  readonly astigmatism: number;
  readonly depth: number;
  readonly held: readonly boolean[];
  readonly valueMm: number;
  /** Whether the reading asks for another chart. */
  readonly again: boolean;
}

/** As a shop does it: where the first chart finds the focus off the middle, it is set there and burned again. */
function burnTwice(model: MaterialModel, at: number): Found {
  const planted = CASES[at % CASES.length]!.focus;
  const first = burnAndRead(model, at, planted);
  if (!first.again) return first;
  const second = burnAndRead(model, at, planted - first.valueMm / model.beam.rayleighLengthMm);
  return { ...second, off0: first.off0 };
}

function burnAndRead(model: MaterialModel, at: number, offRanges: number): Found {
  const planted = CASES[at % CASES.length]!;
  const { beam, reference: grid, settings, direction } = model;
  const range = beam.rayleighLengthMm;
  const focusMm = offRanges * range;
  const astigmatismMm = planted.astigmatism * range;
  const riseMm = RISE_DEPTHS * 2 * range * planted.record;
  const about = { machine: 'virtual', material: model.name, direction, settings, grid };
  const layout = layoutChart('focus', { ...about, widthMm: 70, heightMm: 54, riseMm, replicates: 12 });
  const dots = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'floyd-steinberg', grid }));
  const tilt = -riseMm / layout.heightMm;
  const piece = engrave(dots, { grid, model, seed: 5 + at, tilt, focusMm, astigmatismMm, marginMm: 3 });
  const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 9 + at }), bits: 8 } as const;
  const read = readPatches(image, locateChart(image, [layout]));
  const spotDiameterUm = Math.sqrt(beam.spotDiameterXUm * beam.spotDiameterYUm) * Math.sqrt(planted.record);
  const focus = readFocus(read, layout, { beam: { spotDiameterUm, depthOfFocusMm: 2 * range * planted.record } });
  const holds = ({ lowMm, highMm }: MeasuredMm, truth: number) => truth >= lowMm && truth <= highMm;
  const say = ({ valueMm, lowMm, highMm }: MeasuredMm) =>
    `${valueMm.toFixed(2)} (${lowMm.toFixed(2)} … ${highMm.toFixed(2)})`;
  console.log(
    `${model.name.padEnd(16)} focus ${focusMm.toFixed(2)} → ${say(focus.best)}, astigmatism ${astigmatismMm.toFixed(2)} → ${say(focus.astigmatism)}, depth ${(2 * range).toFixed(2)} → ${say(focus.depthOfFocus)} mm`,
  );
  return {
    valueMm: focus.best.valueMm,
    again: focus.notes.some((text) => text.includes('burn the chart once more')),
    off0: Math.abs(offRanges),
    off: Math.abs(focus.best.valueMm - focusMm) / range,
    astigmatism: Math.abs(focus.astigmatism.valueMm - astigmatismMm) / range,
    depth: Math.abs(Math.log(focus.depthOfFocus.valueMm / (2 * range))),
    held: [holds(focus.best, focusMm), holds(focus.astigmatism, astigmatismMm), holds(focus.depthOfFocus, 2 * range)],
  };
}

const all = names.flatMap((name, at) => {
  try {
    return [burnTwice(parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8'))), at)];
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    console.log(`${name.padEnd(16)} refused: ${error.message}`);
    return [];
  }
});
const mean = (read: (one: Found) => number) => all.reduce((sum, one) => sum + read(one), 0) / all.length;
const worst = (read: (one: Found) => number) => Math.max(...all.map(read));
const held = all.flatMap((one) => one.held);
const covered = held.filter(Boolean).length / held.length;
console.log(
  `Best focus off by ${mean(({ off0 }) => off0).toFixed(2)} Rayleigh ranges before the chart, ${mean(({ off }) => off).toFixed(3)} after it (worst ${worst(({ off }) => off).toFixed(3)}).`,
);
console.log(
  `Astigmatism off by ${mean((one) => one.astigmatism).toFixed(3)} (worst ${worst((one) => one.astigmatism).toFixed(3)}); depth of focus by a factor of ${Math.exp(mean(({ depth }) => depth)).toFixed(2)} (worst ${Math.exp(worst(({ depth }) => depth)).toFixed(2)}).`,
);
console.log(`${held.filter(Boolean).length} of ${held.length} intervals hold the truth.`);
const isFine =
  mean(({ off }) => off) <= LIMITS.focus &&
  mean((one) => one.astigmatism) <= LIMITS.astigmatism &&
  covered >= LIMITS.covered;
console.log(isFine ? 'All within the limits.' : 'Beyond the limits.');
process.exitCode = isFine ? 0 : 1;
