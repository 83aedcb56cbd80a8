// What a tone chart's page promises: for each virtual material and two cameras, a tone chart is burned, captured once
// and learned; a verification chart is burned through the profile on another piece, and its true L* held against its
// aims. Prints shared/simulation-errors.json. Arguments: names of materials in shared/simulation; all without.
import { readdirSync, readFileSync } from 'node:fs';
import { type ChartLayout, drawChart, layoutChart } from '../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { learnProfile } from '../src/job/calibrate/learn.ts';
import { toneCurveOf } from '../src/material/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  luminanceOf,
  type MaterialModel,
  meanReflectance,
  parseMaterialModel,
  type Surface,
} from '../src/simulation/index.ts';

const FOLDER = 'shared/simulation';
const CAMERA_NAMES = ['flatbed-300', 'phone-straight'];
const SCREEN = 'floyd-steinberg';
const SEEDS = { chart: 1, camera: 5, verify: 77 } as const;
const TONES = 14;
/** Records of shared/materials that behave as a virtual material does. */
const STANDS_FOR: Readonly<Record<string, readonly string[]>> = {
  acrylic: ['acrylic-cast'],
  'anodised-black': ['anodised-black'],
  birch: ['birch-plywood', 'maple', 'cork'],
  'coated-brass': ['coated-brass'],
  glass: ['clear-glass'],
  leather: ['leather-vegetable'],
  slate: ['slate'],
  stainless: ['stainless-steel'],
};

const asked = process.argv.slice(2);
const every = readdirSync(FOLDER).map((file) => file.replace(/\.json$/, ''));
const rows = (asked.length > 0 ? asked : every).flatMap((name) =>
  measure(parseMaterialModel(JSON.parse(readFileSync(`${FOLDER}/${name}.json`, 'utf8')))),
);
console.log(
  JSON.stringify(
    {
      schema: 'tonewright-simulation-errors/1',
      unit: 'ΔL*',
      origin: {
        kind: 'measured',
        note: 'On the virtual engraver: one capture of a tone chart, then a verification chart burned through the profile on another piece; true L* against aims (benchmarks/chart-errors.ts).',
      },
      rows,
    },
    null,
    2,
  ),
);

function measure(model: MaterialModel) {
  const { name, direction, settings, reference: grid } = model;
  const screen = { name: SCREEN, options: {} } as const;
  const draw = (layout: ChartLayout) => drawChart(layout, (plane) => applyScreen(plane, { name: SCREEN, grid }));
  const options = { machine: 'virtual', material: name, direction, settings, grid, screen };
  const layout = layoutChart('tone', options);
  const piece = engrave(draw(layout), { grid, model, seed: SEEDS.chart, pixelUm: 25_400 / 600, marginMm: 2 });
  return CAMERA_NAMES.map((camera) => {
    const image = { ...captureSurface(piece, { ...CAMERAS[camera]!.options, seed: SEEDS.camera }), bits: 8 as const };
    const { profile } = learnProfile([{ name: camera, image }], {
      layouts: [layout],
      camera: 'known',
      date: '2026-01-01',
      origin: 'simulated',
    });
    const curve = toneCurveOf(profile);
    const [bare, full] = [profile.points[0]!.lightness, profile.points.at(-1)!.lightness];
    const tones = Array.from({ length: TONES }, (_, at) => {
      const aimLightness = bare + ((full - bare) * (at + 0.5)) / TONES;
      return { coverage: curve.coverageAt(aimLightness), aimLightness };
    });
    const verify = layoutChart('verify', { ...options, tones });
    const burned = engrave(draw(verify), { grid, model, seed: SEEDS.verify, pixelUm: 25_400 / 600 });
    const errors = compareTruth(burned, verify, reflectanceOfLightness(profile.bare[0]));
    console.error(name, camera, errors);
    return { model: name, materials: STANDS_FOR[name] ?? [], direction, camera, ...errors };
  });
}

/** True L* of the aimed patches, bare taken as in the profile, since a capture's exposure scales everything. */
function compareTruth(burned: Surface, { patches, borderMm }: ChartLayout, bareInProfile: number) {
  const luminanceAt = (patch: ChartLayout['patches'][number]) =>
    luminanceOf(
      meanReflectance(burned, {
        xMm: patch.xMm + borderMm,
        yMm: patch.yMm + borderMm,
        widthMm: patch.widthMm - 2 * borderMm,
        heightMm: patch.heightMm - 2 * borderMm,
      }),
    );
  const bares = patches.filter(({ role }) => role === 'bare').map(luminanceAt);
  const bare = bares.reduce((sum, value) => sum + value, 0) / bares.length;
  const deltas = patches
    .filter(({ aimLightness }) => aimLightness !== undefined)
    .map((patch) =>
      Math.abs(lightnessOfReflectance((luminanceAt(patch) / bare) * bareInProfile) - patch.aimLightness!),
    );
  const round = (value: number) => Math.round(value * 100) / 100;
  return {
    meanDelta: round(deltas.reduce((sum, delta) => sum + delta, 0) / deltas.length),
    worstDelta: round(Math.max(...deltas)),
  };
}
