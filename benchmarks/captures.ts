// Finds and reads charts in 240 made captures over turn, perspective, blur, light, contrast (down to 8 ΔL* between bare and
// solid), both mark directions, lens distortion and JPEG quality, and counts what became of them. A capture is misread when it
// comes back as another chart, when a patch is placed further off than half the border, or when a tone that was not
// rejected is off by more than the noise explains. Three 12-megapixel photos are timed. `--check` ends with 1 when a goal is
// missed; COUNT and SEED make shorter or other runs.
import sharp from 'sharp';
import {
  type CaptureImage,
  type ChartLayout,
  type Located,
  locateChart,
  placeOnCapture,
  type Readings,
  readPatches,
} from '../src/chart/index.ts';
import { AppError } from '../src/errors.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/plane/index.ts';
import { drawOnce, LAYOUTS } from '../tests/chart/examples.ts';
import {
  type CameraOptions,
  createNoise,
  inkOf,
  type Simulated,
  simulateCapture,
} from '../tests/chart/simulate-capture.ts';
import { median } from './median.ts';

const COUNT = Number(process.env.COUNT ?? 240);
const SEED = Number(process.env.SEED ?? 1);
/** Largest error of a tone that is not a misreading, L*: twice the scatter of dots by chance in the smallest patch. */
const TONE_LIMIT = 2.5;
const known = Object.values(LAYOUTS);
const kinds = [LAYOUTS.tone, LAYOUTS.tone, LAYOUTS.verify, LAYOUTS.spot, LAYOUTS.dose, LAYOUTS.check];

interface Case {
  readonly name: string;
  readonly layout: ChartLayout;
  readonly camera: CameraOptions;
  readonly jpeg: number | undefined;
}

function makeCase(at: number): Case {
  const random = createNoise(SEED * 1000 + at);
  const between = (low: number, high: number) => low + (high - low) * random();
  const layout = kinds[at % kinds.length]!;
  const strip = layout.kind === 'check';
  const scan = at % 4 === 0;
  // Difference of L* between bare and solid: 8, 15, 30 or 60, on the side that has room.
  const difference = [8, 15, 30, 60][Math.floor(at / 2) % 4]!;
  const lighter = Math.floor(at / 8) % 2 === 1;
  const bareLightness = lighter ? between(12, 90 - difference) : between(difference + 8, 88);
  const solidLightness = bareLightness + (lighter ? difference : -difference);
  const width = scan ? (strip ? 900 : 1300) : 1600;
  const height = scan ? (strip ? 900 : 1300) : 1200;
  const turnDeg = scan ? [0, 90, 180, 270][at % 3]! + between(-4, 4) : between(0, 360);
  const pxPerMm = scan ? 11.81 : strip ? between(13, 17) : between(8.6, 10);
  const blurPx = scan ? between(0.5, 1) : between(0.7, 2.4);
  const camera: CameraOptions = {
    width,
    height,
    pxPerMm,
    turnDeg,
    tiltX: scan ? 0 : between(-0.16, 0.16),
    tiltY: scan ? 0 : between(-0.12, 0.12),
    k1: scan ? 0 : between(-0.03, 0.03),
    bare: reflectanceOfLightness(bareLightness),
    solid: reflectanceOfLightness(solidLightness),
    table: random() < 0.5 ? 0.04 : 0.6,
    lightX: scan ? between(-0.03, 0.03) : between(-0.35, 0.35),
    lightY: scan ? between(-0.03, 0.03) : between(-0.25, 0.25),
    vignetting: scan ? 0 : between(0, 0.3),
    blurPx,
    noise: scan ? 1 : between(1, 4),
    seed: at + 1,
  };
  const jpeg = at % 3 === 0 ? undefined : Math.round(between(60, 95));
  const name = `${layout.kind} ${scan ? 'scan' : 'photo'} Δ${difference} ${lighter ? 'lighter' : 'darker'} blur ${blurPx.toFixed(1)} jpeg ${jpeg ?? '–'}`;
  return { name, layout, camera, jpeg };
}

async function compress(capture: CaptureImage, quality: number): Promise<CaptureImage> {
  const { width, height, rgb } = capture;
  const file = await sharp(rgb, { raw: { width, height, channels: 3 } })
    .jpeg({ quality })
    .toBuffer();
  const data = await sharp(file).raw().toBuffer();
  return { width, height, rgb: new Uint8Array(data), bits: 8 };
}

/** Largest distance of a patch's middle from where the camera put it, mm. */
function worstPlace({ place }: Simulated, located: Located): number {
  let worst = 0;
  for (const { xMm, yMm, widthMm, heightMm } of located.layout.patches) {
    const x = xMm + widthMm / 2;
    const y = yMm + heightMm / 2;
    const [tx, ty] = place(x, y);
    const [px, py] = placeOnCapture(located.map, x, y);
    worst = Math.max(worst, Math.hypot(px - tx, py - ty) / located.pxPerMm);
  }
  return worst;
}

/** Largest error of a patch that was read, L*. */
function worstTone({ readings }: Readings, { bare, solid }: CameraOptions, layout: ChartLayout): number {
  let worst = 0;
  for (const { id, mean } of readings) {
    const patch = layout.patches.find((one) => one.id === id)!;
    const dots = drawOnce(layout);
    let fired = 0;
    for (let y = 0; y < patch.heightDots; y++) {
      for (let x = 0; x < patch.widthDots; x++) fired += dots.data[(patch.yDots + y) * dots.width + patch.xDots + x]!;
    }
    const share = fired / (patch.widthDots * patch.heightDots);
    const truth = bare + (solid - bare) * share;
    worst = Math.max(worst, Math.abs(lightnessOfReflectance(bare * mean) - lightnessOfReflectance(truth)));
  }
  return worst;
}

/** ONLY=12 runs a single capture. */
const only = process.env.ONLY === undefined ? undefined : Number(process.env.ONLY);
const places: number[] = [];
const tones: number[] = [];
const times: number[] = [];
const refused = new Map<string, number>();
const misread: string[] = [];
for (let at = only ?? 0; at < (only === undefined ? COUNT : only + 1); at++) {
  const { name, layout, camera, jpeg } = makeCase(at);
  const simulated = simulateCapture(inkOf(drawOnce(layout), layout), layout, camera);
  const capture = jpeg === undefined ? simulated.capture : await compress(simulated.capture, jpeg);
  const start = process.cpuUsage();
  try {
    const located = locateChart(capture, known);
    const readings = readPatches(capture, located);
    times.push(process.cpuUsage(start).user / 1000);
    const place = worstPlace(simulated, located);
    const tone = worstTone(readings, camera, layout);
    places.push(place);
    tones.push(tone);
    if (located.layout !== layout || place > layout.borderMm / 2 || tone > TONE_LIMIT) {
      misread.push(`${at}: ${name}: ${located.layout.kind}, place ${place.toFixed(3)} mm, tone ${tone.toFixed(2)} L*`);
    }
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    refused.set(error.code, (refused.get(error.code) ?? 0) + 1);
    console.log(`refused ${at}: ${name}: ${error.code}: ${error.message}`);
  }
}

const large: number[] = [];
for (let run = 0; run < Number(process.env.LARGE ?? 3); run++) {
  const { capture } = simulateCapture(inkOf(drawOnce(LAYOUTS.tone), LAYOUTS.tone), LAYOUTS.tone, {
    width: 4000,
    height: 3000,
    pxPerMm: 30,
    turnDeg: 8 + 170 * run,
    tiltX: 0.1,
    bare: 0.5,
    solid: 0.08,
    lightX: 0.3,
    vignetting: 0.2,
    noise: 3,
    seed: run + 1,
  });
  const start = process.cpuUsage();
  readPatches(capture, locateChart(capture, known));
  const used = process.cpuUsage(start);
  large.push((used.user + used.system) / 1000);
}

for (const line of misread) console.log(`misread ${line}`);
const gone = [...refused.values()].reduce((sum, n) => sum + n, 0);
const worst = (values: readonly number[]) => values.reduce((most, value) => Math.max(most, value), 0);
console.log(
  `captures ${COUNT}: read ${places.length}, misread ${misread.length}, refused ${gone} ${JSON.stringify([...refused])}`,
);
console.log(
  `place: median ${median(places).toFixed(3)} mm, worst ${worst(places).toFixed(3)} mm (half a border is 0.2 mm and more)`,
);
console.log(`tone: median of the worst patch ${median(tones).toFixed(2)} L*, worst ${worst(tones).toFixed(2)} L*`);
console.log(`CPU: median ${median(times).toFixed(0)} ms a capture, worst ${worst(times).toFixed(0)} ms`);
if (large.length > 0)
  console.log(`12 megapixels: ${large.map((ms) => `${ms.toFixed(0)} ms`).join(', ')} of CPU (goal 2000)`);
if (process.argv.includes('--check') && (misread.length > 0 || gone > 0 || worst(large) > 2000)) process.exitCode = 1;
