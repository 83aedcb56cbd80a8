// Screens that count marks where the beam is weaker than at home: a corner with 80 % of the dose and marks of the same
// beam a little wider. Three ways to reach the wanted tones there are compared by what the eye still sees: without any
// correction, with the corrected curve and the marks of home, and with the marks of the place. The printer is the dot
// table of the place. `node build.js --bench && node dist/bench/marks-in-field.js [--check]`: with --check a way that
// is worse with the marks of the place than with those of home ends with 1.
import { listMarkTones } from '../src/job/request/curve.ts';
import { adjustSurface, coverageTable, DERIVED_COVERAGES, fillDotTable, invertProfile } from '../src/material/index.ts';
import {
  averageField,
  createPlane,
  type DotTable,
  EVEN_FIELDS,
  luminanceOfLightness,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../src/plane/index.ts';
import { assessTone, predictLightness } from '../src/proof/index.ts';
import { applyScreen, type ScreenRequest } from '../src/screens/index.ts';
import { type BenchMaterial, WIDE_MARKS } from './screens-quality/materials.ts';

/** The beam of the corner against home, factors. */
const CORNER = { dose: 0.8, width: 1.04 } as const;
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

function measure(material: BenchMaterial, request: Omit<ScreenRequest, 'grid' | 'marks'>) {
  const { surface, grid } = material;
  const home = fillDotTable(surface, grid);
  const place = fillDotTable(adjustSurface(surface, CORNER), grid);
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
for (const request of REQUESTS) {
  for (const material of WIDE_MARKS) {
    for (const [at, ways] of measure(material, request).entries()) {
      const [, atHome, atPlace] = ways.map(([far]) => far!);
      isWorse ||= atPlace! >= atHome!;
      const cells = ways.map(([far, near]) => `${far!.toFixed(3)} ${near!.toFixed(3)}`.padStart(18)).join('');
      console.log(`${`${request.name}, ${material.title}, ${at ? 'portrait' : 'ramp'}`.padEnd(50)}${cells}`);
    }
  }
}
if (isWorse && process.argv.includes('--check')) process.exitCode = 1;
