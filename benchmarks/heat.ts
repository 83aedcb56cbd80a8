// Whether heat that earlier dots leave behind is worth learning: the virtual engraver's own heat is taken away, left
// as it is, and tripled; a tone chart is burned, scanned and learned as ever, and a wedge of eleven equal steps of L*
// and a face are burned with the profile, one way and there and back. What the response model leaves over of the
// patches says whether a chart sees the heat; what wedge and face are off says what it costs. Materials have no grain
// of their own here. `node build.js --bench && node dist/bench/heat.js`
import { readFileSync } from 'node:fs';
import { drawChart, layoutChart } from '../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { learnProfile } from '../src/job/index.ts';
import { predictPoints } from '../src/job/request/curve.ts';
import { coverageTable, fillDotTable, invertProfile } from '../src/material/index.ts';
import { createPlane, luminanceOfLightness, type Plane, readPhoto, resampleLuminance } from '../src/plane/index.ts';
import { convertToLightness, filterByEye } from '../src/proof/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import { CAMERAS, captureSurface, engrave, type MaterialModel, parseMaterialModel } from '../src/simulation/index.ts';

const STEPS = 11;
const MATERIALS = [
  { name: 'leather', machine: 'gantry-450', material: 'leather-vegetable', direction: 'darker' },
  { name: 'anodised-black', machine: 'galvo-355-f210', material: 'anodised-black', direction: 'lighter' },
  { name: 'stainless', machine: 'galvo-1064-f160', material: 'stainless-steel', direction: 'darker' },
] as const;
const FACTORS = [0, 1, 3] as const;
const SCREENS = [
  { name: 'ostromoukhov', options: { errorOf: 'marks' } },
  { name: 'direct-search', options: { response: 'table' } },
] as const;

/** The material without what is its own chance, and with so much of its heat. */
function warm(model: MaterialModel, factor: number, scan: 'one-way' | 'two-way'): MaterialModel {
  const beam = { ...model.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0, returnOffsetUm: 0 };
  const { heat } = model;
  return {
    ...model,
    beam: { ...beam, returnDelayUs: 0 },
    heat: { ...heat, gainAlong: factor * heat.gainAlong, gainAcross: factor * heat.gainAcross },
    settings: { ...model.settings, scan },
    grain: model.grain.map((one) => ({ ...one, thresholdSd: 0, reflectanceSd: 0 })),
  };
}

/** A wedge above a face, in dots. */
async function drawPicture() {
  const [width, wedgeRows, rows] = [440, 80, 440];
  const portrait = await readPhoto('images/photos/portrait.png');
  const crop = { x: 0, y: 0, width: portrait.width, height: portrait.height };
  const face = resampleLuminance(portrait, { crop, width, height: rows });
  const plane = createPlane('luminance', width, wedgeRows + rows);
  for (let i = 0; i < width * wedgeRows; i++) {
    const step = Math.floor(((i % width) * STEPS) / width);
    plane.data[i] = luminanceOfLightness((100 * step) / (STEPS - 1));
  }
  plane.data.set(face.data, width * wedgeRows);
  return { plane, wedgeRows };
}
const { plane, wedgeRows } = await drawPicture();

function judge(burned: Float32Array, reflectance: Float32Array, bareL: number, grid: MaterialModel['reference']) {
  const { width, height } = plane;
  const bareOf = (step: number) => meanStep(burned, step);
  const wantedAt = (i: number) => reflectance[plane.data[i]!]!;
  const wantedSteps = Array.from({ length: STEPS }, (_, step) => wantedAt(Math.round(((step + 0.5) * width) / STEPS)));
  const bareStep = Math.abs(wantedSteps[0]! - reflectanceOfLightness(bareL)) < 1e-3 ? 0 : STEPS - 1;
  const scale = wantedSteps[bareStep]! / bareOf(bareStep);
  const off = wantedSteps.map((wanted, step) =>
    Math.abs(lightnessOfReflectance(wanted) - lightnessOfReflectance(scale * meanStep(burned, step))),
  );
  const rows = height - wedgeRows;
  const part = (valueAt: (i: number) => number): Plane<'reflectance'> => {
    const cut = createPlane('reflectance', width, rows);
    for (let i = 0; i < cut.data.length; i++) cut.data[i] = valueAt(width * wedgeRows + i);
    return cut;
  };
  const eye = { viewingDistanceMm: 300, cellXMm: grid.pitchMm, cellYMm: grid.lineSpacingMm };
  const a = convertToLightness(filterByEye(part(wantedAt), eye)).data;
  const b = convertToLightness(
    filterByEye(
      part((i) => scale * burned[i]!),
      eye,
    ),
  ).data;
  const seen = Math.sqrt(a.reduce((sum, value, i) => sum + (value - b[i]!) ** 2, 0) / a.length);
  const mean = off.reduce((sum, one) => sum + one, 0) / STEPS;
  return `wedge ${mean.toFixed(2)}, ${Math.max(...off).toFixed(2)}, face ${seen.toFixed(2)}`;
}

function meanStep(burned: Float32Array, step: number): number {
  const { width } = plane;
  let sum = 0;
  let count = 0;
  for (let y = Math.round(0.25 * wedgeRows); y < 0.75 * wedgeRows; y++) {
    for (let x = Math.round(((step + 0.25) * width) / STEPS); x < ((step + 0.75) * width) / STEPS; x++, count++) {
      sum += burned[y * width + x]!;
    }
  }
  return sum / count;
}

for (const { name, machine, material, direction } of MATERIALS) {
  const cold = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8')));
  for (const scan of ['one-way', 'two-way'] as const) {
    for (const factor of FACTORS) {
      const model = warm(cold, factor, scan);
      const { reference: grid, settings } = model;
      const screen = { name: 'ostromoukhov', options: {} };
      const options = { machine, material, direction, settings, grid, screen, widthMm: 60, heightMm: 42 };
      const layout = layoutChart('tone', { ...options, steps: 9, replicates: 1 });
      const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'ostromoukhov', grid }));
      const piece = engrave(chart, { grid, model, seed: 4, settings, marginMm: 3 });
      const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 as const };
      const { profile } = learnProfile([{ name: 'scan.png', image }], {
        layouts: [layout],
        camera: 'known',
        date: '2026-01-01',
      });
      const marks = fillDotTable(profile, grid);
      const results = SCREENS.map((one) => {
        const points = predictPoints({ profile, grid, screen: one });
        const table = coverageTable({ points }, { range: 'scale' });
        const dots = applyScreen(invertProfile(plane, { table }), { ...one.options, name: one.name, grid, marks });
        const burned = cellsOf(engrave(dots, { grid, model, seed: 9, settings, pixelUm: (1000 * grid.pitchMm) / 3 }));
        return `${one.name}: ${judge(burned, table.reflectance, profile.bare[0], grid)}`;
      });
      const { gainAlong, gainAcross } = model.heat;
      console.log(
        `${name} ${scan}, heat ${(100 * gainAlong).toFixed(0)} % along, ${(100 * gainAcross).toFixed(0)} % across: left over of the patches ${profile.fit!.modelRms.toFixed(2)} ΔL*; ${results.join('; ')}`,
      );
    }
  }
}

/** Luminance of each dot's cell. */
function cellsOf({ width: wide, height: tall, rgb }: ReturnType<typeof engrave>): Float32Array {
  const { width, height } = plane;
  const cells = new Float32Array(width * height);
  const counts = new Uint16Array(width * height);
  for (let y = 0; y < tall; y++) {
    const row = Math.min(height - 1, Math.floor(((y + 0.5) * height) / tall));
    for (let x = 0; x < wide; x++) {
      const at = row * width + Math.min(width - 1, Math.floor(((x + 0.5) * width) / wide));
      const from = 3 * (y * wide + x);
      cells[at]! += 0.2126 * rgb[from]! + 0.7152 * rgb[from + 1]! + 0.0722 * rgb[from + 2]!;
      counts[at]!++;
    }
  }
  return cells.map((sum, at) => sum / counts[at]!);
}
