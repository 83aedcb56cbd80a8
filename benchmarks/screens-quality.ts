// How good the screens look: error after the eye's filter with the response model as the printer, spectra, and what
// goes wrong in error diffusion. `node build.js --bench && node dist/bench/screens-quality.js [--check]`; pictures in
// out/screens-quality.
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { predictCurve } from '../src/job/request/curve.ts';
import { fillDotTable } from '../src/material/index.ts';
import { createPchip } from '../src/numeric/index.ts';
import { computeEyeBlurMm, VIEWING } from '../src/optics/index.ts';
import {
  createPlane,
  type Dots,
  encodeColour,
  luminanceOfLightness,
  ONE,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../src/plane/index.ts';
import { assessTone, predictLightness } from '../src/proof/index.ts';
import { diffuseFixed } from '../src/screens/diffusion.ts';
import { applyScreen, SCREENS } from '../src/screens/index.ts';
import { FLOYD_STEINBERG } from '../src/screens/kernels.ts';
import {
  type BenchMaterial,
  listVariants,
  openPrinter,
  type Variant,
  WIDE_MARKS,
} from './screens-quality/materials.ts';
import { drawPlot } from './screens-quality/plot.ts';
import { structuralSimilarity } from './screens-quality/similarity.ts';
import {
  leaning,
  patternAnisotropyDb,
  peakFrequency,
  principalFrequency,
  radialSpectrum,
} from './screens-quality/spectrum.ts';

const OUT = join('out', 'screens-quality');
mkdirSync(OUT, { recursive: true });
let hasMissed = false;
const judge = (isMet: boolean) => {
  hasMissed ||= !isMet;
  return isMet ? 'met' : 'MISSED';
};

// --- Error after the eye's filter.

/** L* wanted of the nine even planes. */
const FLAT_L = [5, 15, 25, 35, 50, 65, 75, 85, 95];
const PHOTOS = ['portrait.png', 'cat.png', 'dandelion.jpg'];
/** Share of the longer side of a field that is left out at its border, as the eye's filter sees less there. */
const BORDER = 0.08;

function fieldOf(width: number, height: number, lightnessAt: (x: number) => number): Plane<'luminance'> {
  const plane = createPlane('luminance', width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = Math.round(luminanceOfLightness(lightnessAt(i % width)));
  return plane;
}

const flats = FLAT_L.map((lightness) => fieldOf(224, 224, () => lightness));
const ramp = fieldOf(768, 128, (x) => (100 * (x + 0.5)) / 768);
const photos = await Promise.all(
  PHOTOS.map(async (file) => {
    const photo = await readPhoto(join('images', 'photos', file));
    const width = 480;
    const height = Math.round((photo.height * width) / photo.width);
    return resampleLuminance(photo, { crop: { x: 0, y: 0, width: photo.width, height: photo.height }, width, height });
  }),
);

interface Score {
  /** Mean squared ΔL* after the eye's filter. */
  readonly square: number;
  readonly similarity: number;
}

function score(material: BenchMaterial, luminance: Plane<'luminance'>, print: ReturnType<typeof openPrinter>): Score {
  const { dots, table, reflectance } = print(luminance);
  const { wanted, predicted } = assessTone(dots, { table, grid: material.grid, luminance, reflectance });
  const { width, height } = wanted;
  const border = Math.ceil(BORDER * Math.max(width, height));
  const [left, top] = [Math.min(border, (width - 1) >> 1), Math.min(border, (height - 1) >> 1)];
  let sum = 0;
  let count = 0;
  for (let y = top; y < height - top; y++) {
    for (let x = left; x < width - left; x++, count++) {
      sum += (wanted.data[y * width + x] - predicted.data[y * width + x]) ** 2;
    }
  }
  return { square: sum / count, similarity: structuralSimilarity(wanted, predicted) };
}

const meanOf = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
const root = (scores: readonly Score[]) => Math.sqrt(meanOf(scores.map(({ square }) => square)));

const blur = computeEyeBlurMm();
console.log(
  `Error after the eye: root mean square ΔL*, both pictures blurred by a Gaussian of ${blur.toFixed(3)} mm (half contrast where Näsänen 1984 has it, ` +
    `${VIEWING.viewingDistanceMm} mm away, ${VIEWING.luminanceCdPerM2} cd/m²); the printer is the dot table.`,
);
console.log('Plain: the screen as published. Curve: through the tone curve of the screen. Strengths need no curve.');
const PLAIN: Variant = { label: 'floyd-steinberg, plain', name: 'floyd-steinberg', options: {} };
for (const material of WIDE_MARKS) {
  const { title, grid, markToPitch } = material;
  console.log(`\n${title}: marks of ${markToPitch} × the pitch of ${grid.pitchMm} mm`);
  console.log(`${''.padEnd(36)}   flats    ramp  photos    SSIM  of plain  of curve`);
  let plain = 0;
  let curved = 0;
  for (const variant of [PLAIN, ...listVariants()]) {
    const print = openPrinter(material, variant, variant === PLAIN ? 'none' : 'own');
    const groups = [flats, [ramp], photos].map((planes) => planes.map((plane) => score(material, plane, print)));
    const all = Math.sqrt(meanOf(groups.map((scores) => root(scores) ** 2)));
    if (variant === PLAIN) plain = all;
    else if (variant.label === 'floyd-steinberg') curved = all;
    const goal = variant.name === 'direct-search' ? 0.5 : variant.label === 'floyd-steinberg, model-based' ? 0.75 : 0;
    const verdict = goal > 0 ? `  goal ${goal} of plain: ${judge(all / plain <= goal)}` : '';
    const columns = groups.map((scores) => root(scores).toFixed(3).padStart(8)).join('');
    const similarity = meanOf(groups[2]!.map((found) => found.similarity));
    const ofCurve = curved > 0 ? (all / curved).toFixed(2) : '';
    console.log(
      `${variant.label.padEnd(36)}${columns}${similarity.toFixed(4).padStart(8)}${(all / plain).toFixed(3).padStart(10)}${ofCurve.padStart(10)}${verdict}`,
    );
  }
}

// --- Spectra.

const SPECTRAL = [
  'floyd-steinberg',
  'floyd-steinberg, model-based',
  'ostromoukhov',
  'ostromoukhov, model-based',
  'zhou-fang',
  'zhou-fang, model-based',
  'blue-noise',
  'green-noise',
  'bayer',
] as const;
const TONES = [1 / 16, 1 / 8, 1 / 4, 1 / 3, 1 / 2] as const;
const spectral = listVariants().filter(({ label }) => (SPECTRAL as readonly string[]).includes(label));
/** Strengths are those of stainless; the dots are square. */
const square = WIDE_MARKS[1]!;
console.log('\nPrincipal frequency, cycles per dot: measured (theory: √g, held at ½), and greatest anisotropy, dB');
console.log(
  '(ten periodograms of 128 × 128; an isotropic pattern has −10 dB; goal for zhou-fang and blue-noise: within a fifth, and no more than 0 dB)',
);
console.log(`${''.padEnd(30)}${TONES.map((tone) => `g = ${tone.toFixed(3)}`.padStart(22)).join('')}`);
const drawn = new Map<number, { label: string; spectrum: ReturnType<typeof radialSpectrum> }[]>();
for (const variant of spectral) {
  const cells = TONES.map((tone) => {
    const spectrum = radialSpectrum(variant, tone, square);
    drawn.set(tone, [...(drawn.get(tone) ?? []), { label: variant.label, spectrum }]);
    const scale = variant.name === 'green-noise' ? 2 : 1;
    const theory = principalFrequency(spectrum.share) / scale;
    const peak = peakFrequency(spectrum);
    const hasGoal = variant.label === 'blue-noise' || variant.label.startsWith('zhou-fang');
    const mark = hasGoal && judge(Math.abs(peak / theory - 1) <= 0.2) === 'MISSED' ? '!' : '';
    const worms = patternAnisotropyDb(spectrum);
    if (variant.label.startsWith('zhou-fang') || variant.label === 'blue-noise') judge((worms ?? 0) <= 0);
    const anisotropy = worms?.toFixed(0) ?? 'checks';
    return `${peak.toFixed(3)}${mark} (${theory.toFixed(3)}) ${anisotropy}`.padStart(22);
  });
  console.log(`${variant.label.padEnd(30)}${cells.join('')}`);
}
for (const [tone, curves] of drawn) {
  const name = `g-${tone.toFixed(3)}`;
  const marks = [{ x: principalFrequency(tone), label: 'theory' }];
  const x = { label: 'cycles per dot', max: 0.7 };
  const power = curves.map(({ label, spectrum: { frequencies, power: p } }) => ({
    label,
    points: frequencies.map((f, i) => [f, p[i]!] as const),
  }));
  const title = `Radially averaged power, coverage ${tone.toFixed(3)}`;
  writeFileSync(
    join(OUT, `power-${name}.svg`),
    drawPlot(power, { title, x, y: { label: 'of white noise', min: 0, max: 4 }, marks }),
  );
  const anisotropy = curves.map(({ label, spectrum: { frequencies, anisotropyDb } }) => ({
    label,
    points: frequencies.map((f, i) => [f, anisotropyDb[i]!] as const),
  }));
  const level = [{ y: -10, label: 'isotropic' }];
  const y = { label: 'anisotropy, dB', min: -15, max: 25 };
  writeFileSync(
    join(OUT, `anisotropy-${name}.svg`),
    drawPlot(anisotropy, { title: `Anisotropy, coverage ${tone.toFixed(3)}`, x, y, marks: level }),
  );
}

// --- What goes wrong in error diffusion.

async function writeDots(name: string, dots: Dots, enlarge: number): Promise<void> {
  const width = dots.width * enlarge;
  const rgb = new Uint8Array(3 * width * dots.height * enlarge);
  for (let i = 0; i < rgb.length / 3; i++) {
    const bit = dots.data[Math.floor(i / width / enlarge) * dots.width + Math.floor((i % width) / enlarge)];
    rgb.fill(bit === 0 ? 255 : 0, 3 * i, 3 * i + 3);
  }
  await writeFileSync(
    join(OUT, `${name}.png`),
    await encodeColour({ width, height: dots.height * enlarge, rgb }, { format: 'png' }),
  );
}

function evenPlane(share: number, width: number, height: number): Plane<'coverage'> {
  const plane = createPlane('coverage', width, height);
  plane.data.fill(Math.round(share * ONE));
  return plane;
}

console.log('\nBand at the top of a sky of 2 %: tone of the first 16 rows, of the tone asked for');
const sky = evenPlane(0.02, 1024, 96);
const firstRows = ({ data }: Dots) =>
  data.subarray(0, 16 * 1024).reduce((sum, bit) => sum + bit, 0) / (16 * 1024 * 0.02);
const asPublished = diffuseFixed(sky, { kernel: FLOYD_STEINBERG, scan: 'serpentine', levels: 2 });
console.log(`${'floyd-steinberg, as published'.padEnd(36)}${firstRows(asPublished).toFixed(2).padStart(8)}`);
await writeDots('sky-as-published', asPublished, 1);
for (const variant of listVariants()) {
  if (Object.keys(variant.options).length > 0 || variant.name === 'direct-search') continue;
  const dots = applyScreen(sky, { name: variant.name, grid: square.grid });
  const found = firstRows(dots);
  const hasGoal = SCREENS[variant.name].family === 'diffusion' && SCREENS[variant.name].weightSum === 1;
  const verdict = !hasGoal ? '' : `  goal 0.9 … 1.1: ${judge(Math.abs(found - 1) <= 0.1)}`;
  console.log(`${variant.label.padEnd(36)}${found.toFixed(2).padStart(8)}${verdict}`);
  if (variant.name === 'floyd-steinberg') await writeDots('sky-floyd-steinberg', dots, 1);
}

console.log('\nOff the tone curve at simple fractions, where textures are unlike those of the tones beside them: ΔL*');
const FRACTIONS = [1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4] as const;
for (const material of WIDE_MARKS) {
  for (const variant of listVariants().filter(({ label }) =>
    /^(floyd-steinberg|zhou-fang)(, model-based)?$/.test(label),
  )) {
    const table = fillDotTable(material.surface, material.grid);
    const screen = { name: variant.name, options: variant.options as Readonly<Record<string, string | number>> };
    const points = predictCurve(material.surface, { screen, grid: material.grid });
    const curve = createPchip(
      points.map(({ coverage }) => coverage),
      points.map(({ lightness }) => lightness),
    );
    const rect = { x: 24, y: 24, width: 208, height: 208 };
    const off = FRACTIONS.map((share) => {
      const request = { ...variant.options, name: variant.name, grid: material.grid, marks: table };
      return predictLightness(applyScreen(evenPlane(share, 256, 256), request), { table, rect }) - curve.valueAt(share);
    });
    const isHeld = variant.options.errorOf ? `  goal 0.3: ${judge(off.every((value) => Math.abs(value) <= 0.3))}` : '';
    console.log(
      `${`${material.title}, ${variant.label}`.padEnd(44)}${off.map((value) => value.toFixed(2).padStart(8)).join('')}${isHeld}`,
    );
  }
}

console.log('\nLeaning to one side: difference of left and right autocorrelation at g = 0.3, of the variance');
const raster: Variant = { label: 'floyd-steinberg, raster', name: 'floyd-steinberg', options: { scan: 'raster' } };
for (const variant of [raster, ...spectral]) {
  console.log(`${variant.label.padEnd(36)}${leaning(variant, 0.3, square).toFixed(4).padStart(8)}`);
}
for (const variant of spectral) {
  for (const [word, share] of [
    ['half', 1 / 2],
    ['third', 1 / 3],
    ['quarter', 1 / 4],
  ] as const) {
    const marks = variant.options.errorOf ? { marks: fillDotTable(square.surface, square.grid) } : {};
    const request = { ...variant.options, name: variant.name, grid: square.grid, ...marks };
    const dots = applyScreen(evenPlane(share, 128, 128), request);
    await writeDots(`${variant.label.replace(/[^a-z]+/g, '-')}-${word}`, dots, 3);
  }
}
console.log(`\npictures and plots in ${OUT}`);
if (hasMissed && process.argv.includes('--check')) process.exitCode = 1;
