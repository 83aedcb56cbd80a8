// Whether heat that earlier dots leave behind is worth learning: the virtual engraver's own heat is taken away, left
// as it is, and tripled; a tone chart is burned, scanned and learned as ever, and a wedge of eleven equal steps of L*
// and a face are burned with the profile, one way and there and back: without the heat that the chart tells, with it,
// and with the engraver's own numbers, told or not. Materials have no grain of their own here, and the chart is burned
// with it. Then the engraver of benchmarks/mismatch, whose heat is another law: how far the chart's heat is from its
// own, and whether faces gain. `node build.js --bench && node dist/bench/heat.js`; ONLY names materials, SEEDS how many
// of the other engraver's.
import { readFileSync } from 'node:fs';
import { type CaptureImage, type ChartLayout, drawChart, layoutChart } from '../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { learnProfile } from '../src/job/index.ts';
import { mendHeat, planHeat } from '../src/job/prepare/heat.ts';
import { predictPoints } from '../src/job/request/curve.ts';
import {
  coverageTable,
  fillDotTable,
  type HeatFit,
  invertProfile,
  knowsHeat,
  type Profile,
} from '../src/material/index.ts';
import {
  createPlane,
  type DotGrid,
  type Dots,
  luminanceOfLightness,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../src/plane/index.ts';
import { convertToLightness, filterByEye } from '../src/proof/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type MaterialModel,
  parseMaterialModel,
  type Surface,
} from '../src/simulation/index.ts';
import { burnOther, drawMaterial } from './mismatch/engraver.ts';
import { takePicture } from './mismatch/picture.ts';

const STEPS = 11;
const CHART_SCREEN = { name: 'ostromoukhov', options: {} };
const percent = (share: number) => `${(100 * share).toFixed(0)} %`;
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

const only = process.env.ONLY?.split(',');
for (const { name, machine, material, direction } of MATERIALS) {
  if (only && !only.includes(name)) continue;
  const cold = parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8')));
  for (const scan of ['one-way', 'two-way'] as const) {
    for (const factor of FACTORS) {
      const model = warm(cold, factor, scan);
      const { reference: grid, settings } = model;
      const layout = layoutChart('tone', { machine, material, direction, settings, grid, screen: CHART_SCREEN });
      const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'ostromoukhov', grid }));
      const burning = { ...model, beam: cold.beam, grain: cold.grain };
      const piece = engrave(chart, { grid, model: burning, seed: 4, settings, marginMm: 3 });
      const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 as const };
      const { gainAlong, gainAcross, lengthAlongUm, lengthAcrossUm } = model.heat;
      // Doses add by a power there, so that a gain of energy is a larger one of what adds up.
      const order = 1 / model.law.accumulation;
      const told = judgeProfile(learn(image, layout), {
        grid,
        scan,
        own: {
          along: (1 + gainAlong) ** order - 1,
          across: (1 + gainAcross) ** order - 1,
          lengthMm: Math.sqrt(lengthAlongUm * lengthAcrossUm) / 1000,
        },
        burn: (dots) => engrave(dots, { grid, model, seed: 9, settings, pixelUm: (1000 * grid.pitchMm) / 3 }),
      });
      console.log(`${name} ${scan}, heat × ${factor}: ${told}`);
    }
  }
}

const SEEDS = Number(process.env.SEEDS ?? 3);
let [asked, held, wrongly] = [0, 0, 0];
for (let seed = 1; seed <= SEEDS; seed++) {
  for (const factor of FACTORS) {
    const drawn = drawMaterial(seed);
    const material = { ...drawn, heatLines: factor * drawn.heatLines, heatDots: factor * drawn.heatDots };
    const { grid } = material;
    const layout = layoutChart('tone', {
      ...{ machine: 'virtual', material: `other-${seed}`, grid, screen: CHART_SCREEN, seed },
      direction: material.fullL > material.bareL ? 'lighter' : 'darker',
      settings: { powerW: 10, speedMmPerS: 500, passes: 1, scan: 'one-way' },
    });
    const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'ostromoukhov', grid }));
    const piece = burnOther(chart, { material, seed: 3 * seed });
    try {
      const profile = learn(takePicture(piece, { layout, material, kind: 'scan', seed, withPaper: true }), layout);
      const [along, across] = [3 * material.heatDots, 3 * material.heatLines];
      const { total } = profile.heat!;
      asked++;
      if (total[1] <= along + across && along + across <= total[2]) held++;
      if (total[1] > 0 && along + across === 0) wrongly++;
      const even = { ...material, energySd: 0, jitterUm: 0, wobbleUm: 0, grainDose: 0, grainLight: 0 };
      const own = { along, across, lengthMm: 2 * grid.pitchMm };
      const burn = (dots: Dots) => burnOther(dots, { material: even, seed: 1 });
      const isTold = knowsHeat(profile);
      const told = isTold ? judgeProfile(profile, { grid, scan: 'one-way', own, burn }) : sayHeat(profile);
      console.log(`engraver ${seed} (${material.law.kind}), heat ${percent(along)} + ${percent(across)}: ${told}`);
    } catch (error) {
      console.log(`engraver ${seed}, heat × ${factor}: ${(error as Error).message.slice(0, 100)}`);
    }
  }
}
console.log(`other engraver: ${held} of ${asked} intervals hold the heat; told where there is none: ${wrongly}`);

function learn(image: CaptureImage, layout: ChartLayout): Profile {
  const options = { layouts: [layout], camera: 'known', date: '2026-01-01' } as const;
  return learnProfile([{ name: 'scan.png', image }], options).profile;
}

function sayHeat({ heat, fit }: Profile): string {
  if (!heat) return 'no heat asked for';
  const { along, across, total } = heat;
  const interval = `${percent(total[1])} … ${percent(total[2])}`;
  const told = total[1] > 0 ? `${percent(along)} + ${percent(across)} told (${interval})` : `not told (${interval})`;
  return `${told}, left over of the patches ${fit!.modelRms.toFixed(2)} ΔL*`;
}

interface Judging {
  readonly grid: DotGrid;
  readonly scan: 'one-way' | 'two-way';
  /** The engraver's own heat. */
  readonly own: Omit<HeatFit, 'total'>;
  readonly burn: (dots: Dots) => Surface;
}

/** What is off without the heat that the chart told, with it, and with the engraver's own. */
function judgeProfile(profile: Profile, { grid, scan, own, burn }: Judging): string {
  const settings = { ...profile.settings, scan };
  const marks = fillDotTable(profile, grid);
  const results = SCREENS.map(({ name, options }) => {
    const screen = { name, options };
    const points = predictPoints({ profile, grid, screen });
    const table = coverageTable({ points }, { range: 'scale' });
    const even = invertProfile(plane, { table });
    const asked = { profile, grid, screen, levels: 2, settings };
    const offBy = (heat: HeatFit | undefined) => {
      const { heat: _, ...bare } = profile;
      const known = heat ? { ...bare, heat } : bare;
      const plan = planHeat({ ...asked, profile: known }, points);
      const dots = applyScreen(plan ? mendHeat(even, plan) : even, { ...options, name, grid, marks });
      return judge(cellsOf(burn(dots)), table.reflectance, profile.bare[0], grid);
    };
    const isTold = knowsHeat(profile);
    const isThere = own.along + own.across > 0;
    return [
      `${name}: ${offBy(undefined)}`,
      ...(isTold ? [`told ${offBy(profile.heat)}`] : []),
      ...(isThere ? [`own ${offBy({ ...own, total: [1, 1, 1] })}`] : []),
    ].join(' → ');
  });
  return `${sayHeat(profile)}; ${results.join('; ')}`;
}

/** Luminance of each dot's cell; where cells are finer than the surface's pixels, that of the pixel in its middle. */
function cellsOf({ width: wide, height: tall, rgb }: Surface): Float32Array {
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
  return cells.map((sum, at) => {
    if (counts[at]! > 0) return sum / counts[at]!;
    const x = Math.floor((((at % width) + 0.5) * wide) / width);
    const from = 3 * (Math.floor(((Math.floor(at / width) + 0.5) * tall) / height) * wide + x);
    return 0.2126 * rgb[from]! + 0.7152 * rgb[from + 1]! + 0.0722 * rgb[from + 2]!;
  });
}
