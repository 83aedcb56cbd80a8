// What an eye sees of dots that have levels of power, from end to end through the commands: a tone chart with levels is
// burned on the virtual engraver, scanned and learned; a wedge of eleven equal steps of L* above a face is prepared by
// plain diffusion in several levels, by the diffusion that counts what each leaves, and by the search, and burned. The
// materials have no grain of their own here, so that what is seen is the screen's. Tones are those of the wedge, by
// mean and worst |ΔL*|; the face is blurred by the eye at 300 mm (and at half of that), and its root mean square ΔL*
// is what is left of the screen. `node build.js --bench && node dist/bench/levels-seen.js [case ...]`; SEED (1) begins
// the seeds, PICTURE names a folder that the burned faces are written into, the three beside one another
// (images/figures/levels-seen.jpg is that of slate).
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { parseProfile } from '../src/material/index.ts';
import { createPlane } from '../src/plane/index.ts';
import { convertToLightness, filterByEye } from '../src/proof/index.ts';
import { decodeNpy } from '../src/simulation/index.ts';

const PROGRAM = resolve('dist/tonewright.cjs');
const SEED = Number(process.env.SEED ?? 1);
const STEPS = 11;
const SIDE_MM = 55;
const WEDGE_MM = 10;

const CASES = [
  { name: 'birch', material: ['birch-plywood'], levels: 16, mapping: 'tube' },
  { name: 'leather', material: ['leather-vegetable'], levels: 16, mapping: 'display-curve' },
  { name: 'kraft-card', material: ['card', '--direction', 'darker'], levels: 256, mapping: 'diode' },
  { name: 'painted-steel', material: ['paint', '--direction', 'darker'], levels: 8, mapping: 'diode' },
  { name: 'slate', material: ['slate', '--direction', 'lighter'], levels: 4, mapping: 'tube' },
] as const;
type Case = (typeof CASES)[number];

const SCREENS = [
  { label: 'plain', options: [] },
  { label: 'counted', options: ['--screen', 'auto'] },
  { label: 'searched', options: ['--screen', 'direct-search'] },
] as const;

const folder = mkdtempSync(join(tmpdir(), 'levels-seen-'));

function run(...words: readonly string[]): string {
  return execFileSync(process.execPath, [PROGRAM, ...words], {
    cwd: folder,
    encoding: 'utf8',
    stdio: ['ignore', 'pipe', 'ignore'],
  });
}

/** The material without what is its own chance: grain, wobble and scatter of energy. */
function calm(name: string): string {
  const model = JSON.parse(readFileSync(resolve('shared/simulation', `${name}.json`), 'utf8'));
  const quiet = {
    ...model,
    beam: { ...model.beam, jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0 },
    grain: model.grain.map((layer: object) => ({ ...layer, thresholdSd: 0, reflectanceSd: 0 })),
  };
  const path = join(folder, `${name}-calm.json`);
  writeFileSync(path, JSON.stringify(quiet));
  return path;
}

const linear = (code: number) => (code <= 10.31475 ? code / 255 / 12.92 : ((code / 255 + 0.055) / 1.055) ** 2.4);
const coded = (y: number) => Math.round(255 * (y <= 0.0031308 ? 12.92 * y : 1.055 * y ** (1 / 2.4) - 0.055));

interface Picture {
  readonly path: string;
  readonly width: number;
  readonly height: number;
  readonly wedgeRows: number;
  readonly codes: Uint8Array;
}

/** One pixel a dot, so that nothing is resampled. */
async function drawPicture(name: string, { pitchMm, lineSpacingMm }: { pitchMm: number; lineSpacingMm: number }) {
  const width = Math.round(SIDE_MM / pitchMm);
  const rows = Math.round(SIDE_MM / lineSpacingMm);
  const wedgeRows = Math.round(WEDGE_MM / lineSpacingMm);
  const face = await sharp(resolve('images/photos/portrait.png'))
    .resize(width, rows, { fit: 'cover' })
    .toColourspace('b-w')
    .raw()
    .toBuffer();
  const codes = new Uint8Array(width * (wedgeRows + rows));
  for (let i = 0; i < width * wedgeRows; i++) {
    const step = Math.floor(((i % width) * STEPS) / width);
    codes[i] = coded(reflectanceOfLightness((100 * step) / (STEPS - 1)));
  }
  codes.set(face.subarray(0, width * rows), width * wedgeRows);
  const path = join(folder, `${name}.png`);
  await sharp(Buffer.from(codes), { raw: { width, height: wedgeRows + rows, channels: 1 } })
    .png()
    .toFile(path);
  return { path, width, height: wedgeRows + rows, wedgeRows, codes };
}

/** Luminance of each dot's cell. */
function cellsOf(path: string, { width, height }: Picture): Float32Array {
  const { shape, data } = decodeNpy(readFileSync(path));
  const [tall, wide] = shape as [number, number];
  const cells = new Float32Array(width * height);
  const counts = new Uint16Array(width * height);
  for (let y = 0; y < tall; y++) {
    const row = Math.min(height - 1, Math.floor((y * height) / tall));
    for (let x = 0; x < wide; x++) {
      const at = row * width + Math.min(width - 1, Math.floor((x * width) / wide));
      const from = 3 * (y * wide + x);
      cells[at]! += 0.2126 * data[from]! + 0.7152 * data[from + 1]! + 0.0722 * data[from + 2]!;
      counts[at]!++;
    }
  }
  return cells.map((sum, at) => sum / counts[at]!);
}

async function measure({ name, material, levels, mapping }: Case): Promise<void> {
  const chart = join(folder, `${name}-chart`);
  run('chart', 'tone', '--machine', 'gantry-450', '--material', ...material, '--levels', `${levels}`, '--out', chart);
  const quiet = calm(name);
  const burnt = ['--material-model', quiet, '--levels', mapping, '--seed', `${SEED}`];
  run('simulate', 'engrave', join(chart, 'chart.png'), ...burnt, '--out', join(chart, 'piece.npy'));
  run('simulate', 'capture', join(chart, 'piece.npy'), '--camera', 'flatbed-600', '--out', join(chart, 'scan.png'));
  const path = join(folder, `${name}.json`);
  run('learn', join(chart, 'scan.png'), '--chart', join(chart, 'chart.json'), '--out', path);
  const profile = parseProfile(JSON.parse(readFileSync(path, 'utf8')), path);
  const picture = await drawPicture(name, profile.grid);
  const faces: Float32Array[] = [];
  for (const { label, options } of SCREENS) {
    const out = join(folder, `${name}-${label}`);
    const begun = performance.now();
    const words = ['--profile', path, '--machine', 'gantry-450', '--levels', `${levels}`, '--tone', 'plain'];
    const size = `${picture.width * profile.grid.pitchMm}x${picture.height * profile.grid.lineSpacingMm}`;
    run('prepare', picture.path, '--size', size, ...words, '--subject', 'none', ...options, '--out', out);
    const seconds = (performance.now() - begun) / 1000;
    const ticket = JSON.parse(readFileSync(join(out, `${name}.ticket.json`), 'utf8'));
    const piece = join(out, 'piece.npy');
    const burn = ['--material-model', quiet, '--levels', mapping, '--seed', `${SEED + 9}`];
    run('simulate', 'engrave', join(out, `${name}.png`), ...burn, '--out', piece);
    const { tones, seen, near } = judge(cellsOf(piece, picture), picture, { profile, aim: ticket.tone.aim });
    const effort = `${picture.width} × ${picture.height} dots in ${seconds.toFixed(1)} s`;
    console.log(
      `${name.padEnd(14)} ${String(levels).padStart(3)} ${mapping.padEnd(14)} ${label.padEnd(9)} wedge ${tones}; face seen ${seen.toFixed(2)}, from half as far ${near.toFixed(2)}; ${effort} (${ticket.profile.curve})`,
    );
    faces.push(cellsOf(piece, picture));
  }
  if (process.env.PICTURE) await keepPicture(faces, picture, `${name}-seen.jpg`);
}

interface Known {
  readonly profile: ReturnType<typeof parseProfile>;
  readonly aim: { readonly lightestL: number; readonly darkestL: number };
}

function judge(burned: Float32Array, picture: Picture, { profile, aim }: Known) {
  const { width, height, wedgeRows, codes } = picture;
  const { bare, direction, grid } = profile;
  const stepWide = width / STEPS;
  const luminance = Array.from({ length: STEPS }, (_, step) => {
    let sum = 0;
    let count = 0;
    for (let y = Math.round(0.2 * wedgeRows); y < 0.8 * wedgeRows; y++) {
      for (let x = Math.round((step + 0.2) * stepWide); x < (step + 0.8) * stepWide; x++, count++) {
        sum += burned[y * width + x]!;
      }
    }
    return sum / count;
  });
  const scale = reflectanceOfLightness(bare[0]) / luminance[direction === 'darker' ? STEPS - 1 : 0]!;
  const aimed = (code: number) =>
    aim.darkestL + ((aim.lightestL - aim.darkestL) * lightnessOfReflectance(linear(code))) / 100;
  const off = luminance.map((y, step) => {
    const code = codes[Math.round((step + 0.5) * stepWide)]!;
    return Math.abs(lightnessOfReflectance(y * scale) - aimed(code));
  });
  const rows = height - wedgeRows;
  const wanted = createPlane('reflectance', width, rows);
  const got = createPlane('reflectance', width, rows);
  for (let i = 0; i < width * rows; i++) {
    wanted.data[i] = reflectanceOfLightness(aimed(codes[width * wedgeRows + i]!));
    got.data[i] = burned[width * wedgeRows + i]! * scale;
  }
  const seenFrom = (viewingDistanceMm: number) => {
    const eye = { viewingDistanceMm, cellXMm: grid.pitchMm, cellYMm: grid.lineSpacingMm };
    const a = convertToLightness(filterByEye(wanted, eye)).data;
    const b = convertToLightness(filterByEye(got, eye)).data;
    const margin = 12;
    let sum = 0;
    let count = 0;
    for (let y = margin; y < rows - margin; y++) {
      for (let x = margin; x < width - margin; x++, count++) sum += (a[y * width + x]! - b[y * width + x]!) ** 2;
    }
    return Math.sqrt(sum / count);
  };
  const mean = off.reduce((sum, one) => sum + one, 0) / STEPS;
  return { tones: `${mean.toFixed(2)}, ${Math.max(...off).toFixed(2)}`, seen: seenFrom(300), near: seenFrom(150) };
}

/** The middle of each face, a dot two pixels wide. */
async function keepPicture(faces: readonly Float32Array[], { width, height }: Picture, name: string): Promise<void> {
  const [left, top, wide, tall, gap] = [230, 260, 200, 220, 10];
  const parts = faces.map(async (face, at) => {
    const raw = Buffer.from(Uint8Array.from(face, (y) => coded(Math.min(1, Math.max(0, y)))));
    const input = await sharp(raw, { raw: { width, height, channels: 1 } })
      .extract({ left, top, width: wide, height: tall })
      .resize(2 * wide, 2 * tall, { kernel: 'nearest' })
      .png()
      .toBuffer();
    return { input, left: at * (2 * wide + gap), top: 0 };
  });
  const size = { width: faces.length * (2 * wide + gap) - gap, height: 2 * tall };
  await sharp({ create: { ...size, channels: 3, background: '#fff' } })
    .composite(await Promise.all(parts))
    .greyscale()
    .jpeg({ quality: 86 })
    .toFile(join(process.env.PICTURE!, name));
}

const wanted = process.argv.slice(2);
console.log('material, levels, mapping, screen: wedge mean and worst |ΔL*|; face root mean square ΔL*');
for (const one of CASES.filter(({ name }) => wanted.length === 0 || wanted.includes(name))) await measure(one);
rmSync(folder, { recursive: true, force: true });
