// Screens that count marks where the beam is weaker than at home: a corner with 80 % of the dose and marks of the same
// beam a little wider, and one with spots 1.4 times as wide. Three ways to reach the wanted tones there are compared by
// what the eye still sees: without any correction, with the corrected curve and the marks of home, and with the marks
// of the place. First the printer is the dot table of the place; then the virtual engraver, learned at home, whose
// marks no table has made. `node build.js --bench && node dist/bench/marks-in-field.js [--check]`: with --check a way
// that is worse by the table with the marks of the place than with those of home ends with 1.
import { readFileSync } from 'node:fs';
import { drawChart, layoutChart } from '../src/chart/index.ts';
import { reflectanceOfLightness } from '../src/colour/index.ts';
import { learnProfile } from '../src/job/index.ts';
import { listMarkTones } from '../src/job/request/curve.ts';
import { adjustSurface, coverageTable, DERIVED_COVERAGES, fillDotTable, invertProfile } from '../src/material/index.ts';
import {
  averageField,
  createPlane,
  type DotGrid,
  type DotTable,
  EVEN_FIELDS,
  luminanceOfLightness,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../src/plane/index.ts';
import { assessTone, convertToLightness, filterByEye, predictLightness } from '../src/proof/index.ts';
import { applyScreen, type ScreenRequest } from '../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  type Surface as Engraved,
  engrave,
  type MaterialModel,
  parseMaterialModel,
} from '../src/simulation/index.ts';
import { type BenchMaterial, WIDE_MARKS } from './screens-quality/materials.ts';

/** The beam of the corners against home, factors. */
const CORNERS = [
  { dose: 0.8, width: 1.04 },
  { dose: 0.85, width: 1.4 },
] as const;
type Corner = (typeof CORNERS)[number];
/** How far the near look is, mm: grain is seen from there. */
const NEAR_MM = 100;

const ramp = createPlane('luminance', 768, 160);
for (let i = 0; i < ramp.data.length; i++) {
  ramp.data[i] = Math.round(luminanceOfLightness((100 * ((i % 768) + 0.5)) / 768));
}
const portrait = await readPhoto('images/photos/portrait.png');
const whole = { x: 0, y: 0, width: portrait.width, height: portrait.height };
const face = resampleLuminance(portrait, { crop: whole, width: 600, height: 600 });

type Tones = readonly { readonly coverage: number; readonly lightness: number }[];

/** Points that a curve can be inverted over, no further than `last`. */
function usable(points: Tones, last: number) {
  const sign = points.at(-1)!.lightness > points[0]!.lightness ? 1 : -1;
  let best = Number.NEGATIVE_INFINITY;
  return points
    .filter(({ lightness }) => {
      const isNext = sign * lightness > best + 1e-3 && sign * (lightness - last) < 1e-3;
      if (isNext) best = sign * lightness;
      return isNext;
    })
    .map((point) => ({ ...point, spread: 0 }));
}

type Asked = Omit<ScreenRequest, 'grid' | 'marks'>;

/** The three ways, and the aim that all of them can reach. */
function planWays({ home, place, grid }: { home: DotTable; place: DotTable; grid: DotGrid }, request: Asked) {
  const { job } = EVEN_FIELDS;
  const asked = request.name === 'direct-search' ? ({ name: 'ostromoukhov', errorOf: 'marks' } as const) : request;
  const moved = DERIVED_COVERAGES.map((coverage) => ({
    coverage,
    lightness: averageField(coverage, job, {
      halftone: (plane) => applyScreen(plane, { ...asked, grid, marks: home }),
      meanOf: (dots, rect) => predictLightness(dots, { table: place, rect }),
    }),
  }));
  const atHome = listMarkTones(home);
  const atPlace = listMarkTones(place);
  const sign = atHome.at(-1)!.lightness > atHome[0]!.lightness ? 1 : -1;
  const ends = [atHome, atPlace, moved].map((tones) => tones.at(-1)!.lightness);
  const last = sign * Math.min(...ends.map((end) => sign * end));
  // What all three can reach, the same aim for each.
  const aim = coverageTable({ points: usable(atPlace, last) }, { range: 'scale' });
  const ways: [Tones, DotTable][] = [
    [atHome, home],
    [moved, home],
    [atPlace, place],
  ];
  return { ways, aim, last };
}

function measure(material: BenchMaterial, corner: Corner, request: Asked) {
  const { surface, grid } = material;
  const home = fillDotTable(surface, grid);
  const place = fillDotTable(adjustSurface(surface, corner), grid);
  const { ways, aim, last } = planWays({ home, place, grid }, request);
  return [ramp, face].map((luminance) =>
    ways.map(([tones, marks]) => {
      const points = usable(tones, last);
      const table = coverageTable({ points }, { range: 'scale' });
      const wanted = invertProfile(luminance, { table });
      const dots = applyScreen(wanted, { ...request, grid, marks });
      return [300, NEAR_MM].map((viewingDistanceMm) =>
        seen(assessTone(dots, { table: place, grid, luminance, reflectance: aim.reflectance, viewingDistanceMm })),
      );
    }),
  );
}

function seen({ wanted, predicted }: { wanted: Plane<'lightness'>; predicted: Plane<'lightness'> }): number {
  const square = wanted.data.reduce((sum, value, i) => sum + (value - predicted.data[i]!) ** 2, 0);
  return Math.sqrt(square / wanted.data.length);
}

const REQUESTS = [
  { name: 'floyd-steinberg', errorOf: 'marks' },
  { name: 'ostromoukhov', errorOf: 'marks' },
  { name: 'zhou-fang', errorOf: 'marks' },
  { name: 'direct-search', response: 'table' },
] as const;

console.log(`Root mean square ΔL* after the eye, from 300 mm and from ${NEAR_MM} mm`);
console.log(
  `${''.padEnd(50)}${['uncorrected', 'marks of home', 'marks of place'].map((h) => h.padStart(18)).join('')}`,
);
let isWorse = false;
for (const corner of CORNERS) {
  console.log(`the dot table of a corner with ${corner.dose} of the dose and spots ${corner.width} times as wide`);
  for (const request of REQUESTS) {
    for (const material of WIDE_MARKS) {
      for (const [at, ways] of measure(material, corner, request).entries()) {
        const [, atHome, atPlace] = ways.map(([far]) => far!);
        isWorse ||= atPlace! >= atHome!;
        const cells = ways.map(([far, near]) => `${far!.toFixed(3)} ${near!.toFixed(3)}`.padStart(18)).join('');
        console.log(`${`${request.name}, ${material.title}, ${at ? 'portrait' : 'ramp'}`.padEnd(50)}${cells}`);
      }
    }
  }
}
if (isWorse && process.argv.includes('--check')) process.exitCode = 1;

// --- The same on the virtual engraver, whose marks no table has made: learned at home, burned in the corner.

const BURNED = [
  { name: 'leather', machine: 'gantry-450', material: 'leather-vegetable', direction: 'darker' },
  { name: 'stainless', machine: 'galvo-1064-f160', material: 'stainless-steel', direction: 'darker' },
] as const;
const SCREENS_BURNED = [REQUESTS[1], REQUESTS[3]] as const;

for (const { name, machine, material, direction } of BURNED) {
  const model = calm(parseMaterialModel(JSON.parse(readFileSync(`shared/simulation/${name}.json`, 'utf8'))));
  const { reference: grid, settings } = model;
  const options = { machine, material, direction, settings, grid, screen: { name: 'ostromoukhov', options: {} } };
  const layout = layoutChart('tone', { ...options, widthMm: 60, heightMm: 42, steps: 9, replicates: 1 });
  const chart = drawChart(layout, (coverage) => applyScreen(coverage, { name: 'ostromoukhov', grid }));
  const scanned = captureSurface(engrave(chart, { grid, model, seed: 4, settings, marginMm: 3 }), {
    ...CAMERAS['flatbed-600']!.options,
    seed: 5,
  });
  const image = { ...scanned, bits: 8 as const };
  const { profile } = learnProfile([{ name: 'scan.png', image }], {
    layouts: [layout],
    camera: 'known',
    date: '2026-01-01',
  });
  const home = fillDotTable(profile, grid);
  for (const corner of CORNERS) {
    const place = fillDotTable(adjustSurface(profile, corner), grid);
    const beam = {
      ...model.beam,
      spotDiameterXUm: corner.width * model.beam.spotDiameterXUm,
      spotDiameterYUm: corner.width * model.beam.spotDiameterYUm,
    };
    const there = { grid, model: { ...model, beam }, seed: 9, pixelUm: (1000 * grid.pitchMm) / 3 };
    for (const request of SCREENS_BURNED) {
      const { ways, aim, last } = planWays({ home, place, grid }, request);
      const seenBy = ways.map(([tones, marks]) => {
        const table = coverageTable({ points: usable(tones, last) }, { range: 'scale' });
        const dots = applyScreen(invertProfile(face, { table }), { ...request, grid, marks });
        const piece = engrave(dots, { ...there, settings: { ...settings, powerW: corner.dose * settings.powerW } });
        return seenOnPiece(piece, { grid, reflectance: aim.reflectance, bareL: profile.bare[0] });
      });
      const [uncorrected, atHome, atPlace] = seenBy.map((value) => value.toFixed(3).padStart(9));
      console.log(
        `engraved ${name}, ${corner.dose} dose, ${corner.width} wide, ${request.name}: ${uncorrected} ${atHome} ${atPlace}`,
      );
    }
  }
}

/** The material without what is its own chance. */
function calm(model: MaterialModel): MaterialModel {
  const beam = { ...model.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0 };
  return { ...model, beam, grain: model.grain.map((one) => ({ ...one, thresholdSd: 0, reflectanceSd: 0 })) };
}

/** Root mean square ΔL* of a burned face as the eye sees it, against the aim; its brightest or darkest is the bare. */
function seenOnPiece(
  piece: Engraved,
  { grid, reflectance, bareL }: { readonly grid: DotGrid; readonly reflectance: Float32Array; readonly bareL: number },
): number {
  const { width, height } = face;
  const wanted = createPlane('reflectance', width, height);
  const burned = createPlane('reflectance', width, height);
  const counts = new Uint16Array(width * height);
  for (let y = 0; y < piece.height; y++) {
    const row = Math.min(height - 1, Math.floor(((y + 0.5) * height) / piece.height));
    for (let x = 0; x < piece.width; x++) {
      const at = row * width + Math.min(width - 1, Math.floor(((x + 0.5) * width) / piece.width));
      const from = 3 * (y * piece.width + x);
      const { rgb } = piece;
      burned.data[at]! += 0.2126 * rgb[from]! + 0.7152 * rgb[from + 1]! + 0.0722 * rgb[from + 2]!;
      counts[at]!++;
    }
  }
  for (let i = 0; i < burned.data.length; i++) burned.data[i]! /= counts[i]!;
  // A capture tells tones relative to one another: the bare surface, the lightest here, is as the profile has it.
  const bare = burned.data.reduce((most, value) => Math.max(most, value), 0);
  const scale = reflectanceOfLightness(bareL) / bare;
  for (let i = 0; i < burned.data.length; i++) {
    burned.data[i]! *= scale;
    wanted.data[i] = reflectance[face.data[i]!]!;
  }
  const eye = { viewingDistanceMm: 300, cellXMm: grid.pitchMm, cellYMm: grid.lineSpacingMm };
  const a = convertToLightness(filterByEye(wanted, eye)).data;
  const b = convertToLightness(filterByEye(burned, eye)).data;
  return Math.sqrt(a.reduce((sum, value, i) => sum + (value - b[i]!) ** 2, 0) / a.length);
}
