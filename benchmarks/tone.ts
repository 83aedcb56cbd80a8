// CPU time of the tone stage on a card of 4280 × 2700 dots, against sharp's own chain for the same intent (stretch,
// local contrast, sharpen) on 8-bit coded values, in one run, interleaved. sharp works on 8 bits and on several
// threads; CPU time counts them all.
import sharp from 'sharp';
import { encodeSrgb } from '../src/colour/index.ts';
import { adjustTone, chooseTone } from '../src/photo/index.ts';
import { ONE, readPhoto, resampleLuminance } from '../src/plane/index.ts';

const RUNS = 7;
const WIDTH = 4280;
const HEIGHT = 2700;
const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };

const photo = await readPhoto('images/photos/dandelion.jpg');
const cropHeight = Math.min(photo.height, (photo.width * HEIGHT) / WIDTH);
const crop = { x: 0, y: 0, width: Math.min(photo.width, (cropHeight * WIDTH) / HEIGHT), height: cropHeight };
const luminance = resampleLuminance(photo, { crop, width: WIDTH, height: HEIGHT });
const coded = Uint8Array.from(luminance.data, (value) => Math.round(255 * encodeSrgb(value / ONE)));
const tone = chooseTone(luminance, { grid, markDiameterUm: 40, viewingDistanceMm: 300 });
const raw = { raw: { width: WIDTH, height: HEIGHT, channels: 1 as const } };

const rivals: Readonly<Record<string, () => unknown>> = {
  'tonewright: choose the values': () => chooseTone(luminance, { grid, markDiameterUm: 40, viewingDistanceMm: 300 }),
  'tonewright: apply them (auto)': () => adjustTone(luminance, tone, { grid }),
  'sharp: normalise + sharpen, 8 bits': () => sharp(coded, raw).normalise().sharpen({ sigma: 4.5 }).raw().toBuffer(),
  'sharp: normalise + clahe + sharpen, 8 bits': () =>
    sharp(coded, raw)
      .normalise()
      .clahe({ width: 110, height: 110, maxSlope: 2 })
      .sharpen({ sigma: 4.5 })
      .raw()
      .toBuffer(),
};

const times = new Map(Object.keys(rivals).map((name) => [name, [] as number[]]));
for (let run = -1; run < RUNS; run++) {
  for (const [name, work] of Object.entries(rivals)) {
    const from = process.cpuUsage();
    await work();
    const { user, system } = process.cpuUsage(from);
    if (run >= 0) times.get(name)!.push((user + system) / 1000);
  }
}

console.log(`tone of ${WIDTH} × ${HEIGHT} dots, CPU ms: median (least … most) of ${RUNS} interleaved runs`);
for (const [name, found] of times) {
  const sorted = found.sort((a, b) => a - b);
  const [least, median, most] = [sorted[0], sorted[RUNS >> 1], sorted[RUNS - 1]].map(Math.round);
  console.log(`${name.padEnd(44)} ${String(median).padStart(6)} (${least} … ${most})`);
}
const median = (name: string) => times.get(name)![RUNS >> 1];
const ratio = median('tonewright: apply them (auto)') / median('sharp: normalise + clahe + sharpen, 8 bits');
console.log(`apply / sharp with clahe: ${ratio.toFixed(2)}`);
