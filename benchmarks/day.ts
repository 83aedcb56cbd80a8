// A day on which the beam is 12 % weaker, on the engraver of benchmarks/mismatch, whose physics is unlike the
// response model's. A tone chart is burned on a normal day, scanned once and learned. On the weak day a wedge of
// equal steps of L* is burned through that profile, and through the one that a control strip of the same day has
// adjusted; each step is held against what the profile foretells. Strips are burned and scanned with grain, scatter
// and noise; the wedge's truth is without grain. Seeds from FROM (1) to TO (9); BEAM is the day's power over the
// usual one (0.88).
import { drawChart, layoutChart } from '../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { AppError } from '../src/errors.ts';
import { adjustProfile, checkCapture, learnProfile } from '../src/job/index.ts';
import { aimTones } from '../src/job/request/tones.ts';
import { type Profile, toneCurveOf } from '../src/material/index.ts';
import { createPchip } from '../src/numeric/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import { burnOther, drawMaterial, type OtherMaterial } from './mismatch/engraver.ts';
import { COVERAGES, takePicture, trueLuminance } from './mismatch/picture.ts';

const FROM = Number(process.env.FROM ?? 1);
const TO = Number(process.env.TO ?? FROM + 8);
const BEAM = Number(process.env.BEAM ?? 0.88);
const SCREEN = { name: 'floyd-steinberg', options: {} } as const;
const STEPS = 10;
const DATE = '2026-01-01';

interface Errors {
  readonly mean: number;
  readonly worst: number;
}

const before: Errors[] = [];
const after: Errors[] = [];
let inside = 0;
let asked = 0;
for (let seed = FROM; seed < TO; seed++) {
  try {
    simulate(seed);
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    console.log(`${seed}: refused, ${error.code}: ${error.message}`);
  }
}
print('before', before);
print('after one strip', after);
console.log(`the adjusted 95 % band held ${((100 * inside) / asked).toFixed(1)} % of ${asked} true tones`);

function simulate(seed: number): void {
  const material = drawMaterial(seed);
  const weak = { ...material, drive: BEAM * material.drive };
  const options = {
    machine: 'virtual',
    material: `other-${seed}`,
    direction: material.fullL > material.bareL ? 'lighter' : 'darker',
    settings: { powerW: 10, speedMmPerS: 500, passes: 1, scan: 'two-way' },
    grid: material.grid,
    screen: SCREEN,
  } as const;
  const chart = layoutChart('tone', { ...options, seed, widthMm: 70, heightMm: 46, steps: 12, replicates: 2 });
  const { profile } = learnProfile([{ name: 'scan', image: burnAndScan(chart, material, seed) }], {
    layouts: [chart],
    camera: 'known',
    date: DATE,
    origin: 'simulated',
  });
  const tones = aimTones(profile.points, { kind: 'check', steps: undefined });
  const strip = layoutChart('check', { ...options, tones });
  const check = checkCapture(burnAndScan(strip, weak, seed + 500), { layouts: [strip], profile, camera: 'known' });
  const truth = truthOf(weak, { seed, profile });
  const first = burnWedge(profile, truth);
  before.push(first);
  const { profile: adjusted, adjusted: by, halfAfter } = adjustProfile(profile, { check, date: DATE });
  const second = burnWedge(adjusted, truth);
  after.push(second);
  for (const { coverage, low, high } of adjusted.fit!.band) {
    if (coverage < 0.005 || coverage > 0.995) continue;
    asked++;
    const value = truth.valueAt(coverage);
    if (value >= low && value <= high) inside++;
  }
  console.log(
    `${seed}: mean ${first.mean.toFixed(2)}, worst ${first.worst.toFixed(2)} → ${second.mean.toFixed(2)}, ${second.worst.toFixed(2)} (± ${halfAfter.toFixed(2)} said), ` +
      `dose × ${by.doseFactor[0].toFixed(2)}, width × ${by.widthFactor[0].toFixed(2)}, ${check.verdict}, ${check.cause}`,
  );
}

function burnAndScan(layout: Parameters<typeof drawChart>[0], material: OtherMaterial, seed: number) {
  const dots = drawChart(layout, (coverage) => applyScreen(coverage, { name: SCREEN.name, grid: layout.grid }));
  const piece = burnOther(dots, { material, seed: 3 * seed });
  return takePicture(piece, { layout, material, kind: 'scan', seed, withPaper: false });
}

/** L* of every coverage on the day, the bare surface as in the profile: its exposure is another question. */
function truthOf(material: OtherMaterial, { seed, profile }: { readonly seed: number; readonly profile: Profile }) {
  const luminance = trueLuminance(material, { seed: 3 * seed + 1, screen: SCREEN });
  const scale = reflectanceOfLightness(profile.bare[0]) / luminance[0]!;
  return createPchip(
    COVERAGES,
    luminance.map((value) => lightnessOfReflectance(value * scale)),
  );
}

/** Steps of equal L* that a profile foretells, and what they become. */
function burnWedge(profile: Profile, truth: ReturnType<typeof truthOf>): Errors {
  const curve = toneCurveOf(profile);
  const [from, to] = [profile.points[0]!.lightness, profile.points.at(-1)!.lightness];
  const off = Array.from({ length: STEPS }, (_, step) => {
    const aim = from + ((to - from) * (step + 1)) / STEPS;
    return Math.abs(truth.valueAt(curve.coverageAt(aim)) - aim);
  });
  return { mean: off.reduce((sum, one) => sum + one, 0) / off.length, worst: Math.max(...off) };
}

function print(what: string, errors: readonly Errors[]): void {
  const meanOf = (key: keyof Errors) => errors.reduce((sum, one) => sum + one[key], 0) / errors.length;
  const worst = Math.max(...errors.map((one) => one.worst));
  console.log(
    `${what}: mean ${meanOf('mean').toFixed(2)}, worst step ${meanOf('worst').toFixed(2)} on average and ${worst.toFixed(2)} of all, ${errors.length} materials`,
  );
}
