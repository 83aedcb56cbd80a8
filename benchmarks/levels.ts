// Power per dot, from end to end through the commands: a tone chart with levels is burned on the virtual engraver,
// whose laser makes of levels what a hidden mapping says, scanned and learned; a wedge of eleven equal steps of L* is
// prepared with levels, burned on another piece (grain, wobble and scatter of their own), and each step's true L* is
// held against what was aimed at. `before` is the same wedge through a profile of dots that fire or not, which takes
// levels in proportion; `counted` and `searched` go by what each level leaves; `other` is another number of levels or
// another screen than the chart's. Names of cases may be given as arguments; SEED (1) begins the seeds.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { lightnessOfReflectance, reflectanceOfLightness } from '../src/colour/index.ts';
import { type Profile, parseProfile } from '../src/material/index.ts';
import { decodeNpy } from '../src/simulation/index.ts';

const PROGRAM = resolve('dist/tonewright.cjs');
const SEED = Number(process.env.SEED ?? 1);
const STEPS = 11;
const [STEP_MM, HIGH_MM] = [6, 10];

interface Case {
  readonly name: string;
  readonly material: readonly string[];
  readonly model: string;
  readonly levels: number;
  readonly mapping: string;
  /** Options of `prepare` by which another count or screen is tried with the same profile. */
  readonly other: readonly string[];
}

// The first was tuned on; the others have been looked at afterwards.
const CASES: readonly Case[] = [
  of('birch', ['birch-plywood'], { levels: 16, mapping: 'tube', other: ['--levels', '256'] }),
  of('kraft-card', ['card', '--direction', 'darker'], { levels: 256, mapping: 'diode', other: ['--levels', '8'] }),
  of('leather', ['leather-vegetable'], {
    levels: 16,
    mapping: 'display-curve',
    other: ['--levels', '16', '--screen', 'blue-noise'],
  }),
  of('painted-steel', ['paint', '--direction', 'darker'], {
    levels: 8,
    mapping: 'diode',
    other: ['--levels', '8', '--screen', 'bayer'],
  }),
  of('slate', ['slate', '--direction', 'lighter'], { levels: 4, mapping: 'tube', other: ['--levels', '16'] }),
  of('anodised-black', ['black', '--direction', 'lighter'], {
    levels: 256,
    mapping: 'display-curve',
    other: ['--levels', '32'],
  }),
];

function of(model: string, material: readonly string[], rest: Pick<Case, 'levels' | 'mapping' | 'other'>): Case {
  return { name: model, material, model, ...rest };
}

let burns = 0;
const folder = mkdtempSync(join(tmpdir(), 'levels-'));
async function measure({ name, material, model, levels, mapping, other }: Case): Promise<void> {
  const photo = await drawWedge();
  const learned = learn([...material], { name: `${name}-levels`, levels, model, mapping });
  const plain = learn([...material], { name: `${name}-dots`, levels: 2, model, mapping });
  const asked = ['--levels', String(levels)];
  const before = burn(photo, { profile: plain, options: asked, model, mapping });
  const after = burn(photo, { profile: learned, options: asked, model, mapping });
  const binary = burn(photo, { profile: learned, options: [], model, mapping });
  const counted = burn(photo, { profile: learned, options: [...asked, '--screen', 'auto'], model, mapping });
  const searched = burn(photo, { profile: learned, options: [...asked, '--screen', 'direct-search'], model, mapping });
  const tried = burn(photo, { profile: learned, options: other, model, mapping });
  console.log(
    `${name}, ${levels}, ${mapping}: before ${say(before)} → ${say(after)} (${after.curve}, said ± ${after.saidL}); ` +
      `counted ${say(counted)} (said ± ${counted.saidL}), searched ${say(searched)}; ` +
      `${other.join(' ')}: ${say(tried)} (${tried.curve}, said ± ${tried.saidL}); dots that fire or not ${say(binary)}`,
  );
}

const say = ({ mean, worst }: { readonly mean: number; readonly worst: number }) =>
  `${mean.toFixed(2)}, ${worst.toFixed(2)}`;

function run(...words: readonly string[]): string {
  return execFileSync(process.execPath, [PROGRAM, ...words], {
    cwd: folder,
    encoding: 'utf8',
    stdio: ['ignore', 'pipe', 'ignore'],
  });
}

/** Greys of equal steps of L*, black to white, with the L* that 8 bits leave of each. */
async function drawWedge() {
  const codes = Array.from({ length: STEPS }, (_, at) => {
    const y = reflectanceOfLightness((100 * at) / (STEPS - 1));
    return Math.round(255 * (y <= 0.0031308 ? 12.92 * y : 1.055 * y ** (1 / 2.4) - 0.055));
  });
  const [width, height] = [STEPS * 60, (60 * HIGH_MM) / STEP_MM];
  const data = Buffer.alloc(width * height);
  for (let i = 0; i < data.length; i++) data[i] = codes[Math.floor((i % width) / 60)]!;
  const path = join(folder, 'wedge.png');
  await sharp(data, { raw: { width, height, channels: 1 } })
    .png()
    .toFile(path);
  const lightness = codes.map((code) => {
    const v = code / 255;
    return lightnessOfReflectance(v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  });
  return { path, lightness };
}

interface Burned {
  readonly model: string;
  readonly mapping: string;
}

function learn(
  material: readonly string[],
  { name, levels, model, mapping }: Burned & { name: string; levels: number },
): string {
  const chart = join(folder, `${name}-chart`);
  const more = levels > 2 ? ['--levels', String(levels)] : [];
  run('chart', 'tone', '--machine', 'gantry-450', '--material', ...material, ...more, '--out', chart);
  const piece = ['--material-model', model, '--levels', mapping, '--seed', String(SEED)];
  run('simulate', 'engrave', join(chart, 'chart.png'), ...piece, '--out', join(chart, 'piece.npy'));
  run('simulate', 'capture', join(chart, 'piece.npy'), '--camera', 'flatbed-600', '--out', join(chart, 'scan.png'));
  const profile = join(folder, `${name}.json`);
  run('learn', join(chart, 'scan.png'), '--chart', join(chart, 'chart.json'), '--out', profile);
  return profile;
}

interface Wedge extends Burned {
  readonly profile: string;
  readonly options: readonly string[];
}

function burn({ path, lightness }: Awaited<ReturnType<typeof drawWedge>>, { profile, options, model, mapping }: Wedge) {
  const out = join(folder, `job-${++burns}`);
  const size = `${STEPS * STEP_MM}x${HIGH_MM}`;
  const words = ['--size', size, '--profile', profile, '--machine', 'gantry-450', '--tone', 'plain', ...options];
  run('prepare', path, ...words, '--subject', 'none', '--keep', '0.5,0.5', '--out', out);
  const ticket = JSON.parse(readFileSync(join(out, 'wedge.ticket.json'), 'utf8'));
  const piece = join(out, 'piece.npy');
  const seed = String(SEED + 1000 + burns);
  run(
    'simulate',
    'engrave',
    join(out, 'wedge.png'),
    '--material-model',
    model,
    '--levels',
    mapping,
    '--seed',
    seed,
    '--out',
    piece,
  );
  const known: Profile = parseProfile(JSON.parse(readFileSync(profile, 'utf8')), profile);
  const { lightestL, darkestL } = ticket.tone.aim;
  const off = stepsOf(piece, known).map((found, at) => {
    return Math.abs(found - (darkestL + ((lightestL - darkestL) * lightness[at]!) / 100));
  });
  return {
    mean: off.reduce((sum, one) => sum + one, 0) / off.length,
    worst: Math.max(...off),
    curve: String(ticket.profile.curve),
    saidL: ticket.uncertainty ? ticket.uncertainty.meanL.toFixed(1) : '–',
  };
}

/** True L* of the middle of each step, its bare surface as the profile has it: exposure is another question. */
function stepsOf(path: string, { bare, direction }: Profile): readonly number[] {
  const { shape, data } = decodeNpy(readFileSync(path));
  const [height, width] = shape as [number, number];
  const wide = width / STEPS;
  const luminance = Array.from({ length: STEPS }, (_, step) => {
    let sum = 0;
    let count = 0;
    for (let y = Math.round(0.15 * height); y < 0.85 * height; y++) {
      for (let x = Math.round((step + 0.15) * wide); x < (step + 0.85) * wide; x++) {
        const at = 3 * (y * width + x);
        sum += 0.2126 * data[at]! + 0.7152 * data[at + 1]! + 0.0722 * data[at + 2]!;
        count++;
      }
    }
    return sum / count;
  });
  const bareAt = direction === 'darker' ? STEPS - 1 : 0;
  const scale = reflectanceOfLightness(bare[0]) / luminance[bareAt]!;
  return luminance.map((value) => lightnessOfReflectance(value * scale));
}

const wanted = process.argv.slice(2);
console.log('material, levels, mapping: mean and worst |ΔL*| of eleven steps; what the ticket says of the band (95 %)');
for (const one of CASES.filter(({ name }) => wanted.length === 0 || wanted.includes(name))) await measure(one);
rmSync(folder, { recursive: true, force: true });
