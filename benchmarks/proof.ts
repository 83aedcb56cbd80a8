// Predicted reflectance of a card of dots (4280 × 2700) at viewing size, against a sharp blur of the same plane.
// CPU time, median of interleaved runs; the ratio carries over to other machines, the milliseconds do not.
import { cpuUsage } from 'node:process';
import sharp from 'sharp';
import { assumeResponse, coverageTable, fillDotTable } from '../src/material/index.ts';
import { createDots, createPlane, ONE } from '../src/plane/index.ts';
import { assessTone, predictReflectance } from '../src/proof/index.ts';

sharp.concurrency(1);
const WIDTH = 4280;
const HEIGHT = 2700;
const RUNS = 9;
const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };

const luminance = createPlane('luminance', WIDTH, HEIGHT);
const dots = createDots(WIDTH, HEIGHT);
let seed = 1;
for (let y = 0, at = 0; y < HEIGHT; y++) {
  for (let x = 0; x < WIDTH; x++, at++) {
    const tone = 0.5 + 0.4 * Math.sin(x / 300) * Math.cos(y / 170);
    luminance.data[at] = Math.round(tone * ONE);
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
    dots.data[at] = seed / 4294967296 < tone ? 1 : 0;
  }
}
const response = assumeResponse(
  { markDiameterXUm: 24, markDiameterYUm: 22, steepness: 8, drive: 2, yuleNielsenN: 1 },
  grid,
);
const surface = { response, bare: [18, 0, 0], full: [82, 0, 2] } as const;
const table = fillDotTable(surface);
const points = [
  { coverage: 0, lightness: 18, spread: 0 },
  { coverage: 1, lightness: 82, spread: 0 },
];
const { reflectance } = coverageTable({ points }, { range: 'scale' });
const shown = predictReflectance(dots, { table, width: 1400, height: 883 });
const raw = { width: WIDTH, height: HEIGHT, channels: 1 } as const;
const grey = Buffer.from(dots.data.map((dot) => 255 * dot));

const CANDIDATES: Readonly<Record<string, () => unknown>> = {
  'sharp: Gaussian blur, σ 1 dot': () => sharp(grey, { raw }).blur(1).raw().toBuffer(),
  'sharp: blur, then 1400 wide': () => sharp(grey, { raw }).blur(1).resize(1400).raw().toBuffer(),
  'proof: dot table filled': () => fillDotTable(surface),
  'proof: reflectance, 1400 wide': () => predictReflectance(dots, { table, width: 1400, height: 883 }),
  'proof: |ΔL*| through the eye, after that': () => assessTone(dots, { table, grid, luminance, reflectance, shown }),
  'proof: |ΔL*| through the eye, alone': () => assessTone(dots, { table, grid, luminance, reflectance }),
};

const times = new Map<string, number[]>(Object.keys(CANDIDATES).map((name) => [name, []]));
for (let run = 0; run < RUNS + 2; run++) {
  for (const [name, candidate] of Object.entries(CANDIDATES)) {
    const before = cpuUsage();
    await candidate();
    const { user, system } = cpuUsage(before);
    if (run >= 2) times.get(name)!.push((user + system) / 1000);
  }
}
const median = (values: readonly number[]) => [...values].sort((a, b) => a - b)[values.length >> 1];
const unit = median(times.get('sharp: Gaussian blur, σ 1 dot')!);
for (const [name, values] of times) {
  const middle = median(values);
  console.log(
    `${name.padEnd(42)} ${middle.toFixed(0).padStart(5)} ms CPU (min ${Math.min(...values).toFixed(0)})  ${(middle / unit).toFixed(2)} of sharp's blur`,
  );
}
