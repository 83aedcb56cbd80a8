// A 24-megapixel baseline JPEG to the 4280 × 2700 dots of a card through a profile, at the defaults and at cheaper
// settings: whole processes, CPU time (user + system) and peak memory, the median of interleaved runs, beside
// general-purpose programs in the same run. ImageMagick, netpbm and Pillow take part when they are installed; sharp and
// Node alone always. `--check` ends with 1 when a goal is missed. The ratios carry over to other machines, the
// milliseconds do not.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { makeLargePhoto } from './large-photo.ts';
import { median } from './median.ts';

const RUNS = Number(process.env.RUNS ?? 7);
const TIME = '/usr/bin/time';
const folder = join(tmpdir(), 'tonewright-bench');
mkdirSync(folder, { recursive: true });
const photo = await makeLargePhoto();
const out = (name: string) => join(folder, name);
const has = (program: string) => spawnSync('sh', ['-c', `command -v ${program}`]).status === 0;

const SHARP_ALONE = `
const sharp = require('sharp');
sharp(${JSON.stringify(photo)}).pipelineColourspace('scrgb').resize(4280, 2700, { fit: 'cover' }).toColourspace('b-w')
  .png({ palette: true, colours: 2, dither: 1 }).toFile(${JSON.stringify(out('sharp.png'))});`;
const PILLOW = `
from PIL import Image, ImageOps
im = Image.open(${JSON.stringify(photo)}).convert('L')
ImageOps.fit(im, (4280, 2700), Image.LANCZOS).convert('1').save(${JSON.stringify(out('pillow.png'))}, dpi=(1270, 1270))
`;
writeFileSync(out('pillow.py'), PILLOW);
const python = ['/usr/bin/python3', 'python3'].find((name) => spawnSync(name, ['-c', 'import PIL']).status === 0);

interface Contestant {
  readonly name: string;
  readonly command: readonly string[];
}

/** A share that one program's CPU time, or its peak memory, may take of another's in the same run. */
interface Goal {
  readonly ours: string;
  readonly of: string;
  readonly atMost: number;
  readonly measure?: 'memory';
}

const prepare = (...more: string[]) => [
  process.execPath,
  'dist/tonewright.cjs',
  ...['prepare', photo, '--size', '85.6x54', '--profile', 'anodised-black', '--keep', '0.5,0.5', '--force'],
  ...['--out', out('ours'), ...more],
];
const PLAIN = 'prepare --only bitmap --tone plain --screen floyd-steinberg';
const AUTO_TONE = 'prepare --only bitmap --screen floyd-steinberg';
const DEFAULT = 'prepare --only bitmap --subject none';
const FOUND = 'prepare --only bitmap';
const EVERYTHING = 'prepare --subject none (proof, ticket and page)';
const IMAGEMAGICK = 'ImageMagick, linear light';
const NETPBM = 'netpbm pipeline';
const PILLOW_8_BIT = 'Pillow, 8 bit, gamma space';
const HELP = 'tonewright --help';
const NODE = 'node -e 0';
/** Seconds of CPU that finding the subject may add to the default. */
const SUBJECT_SECONDS = 0.5;
const GOALS: readonly Goal[] = [
  { ours: PLAIN, of: IMAGEMAGICK, atMost: 0.11 },
  { ours: PLAIN, of: IMAGEMAGICK, atMost: 0.4, measure: 'memory' },
  { ours: PLAIN, of: NETPBM, atMost: 0.4 },
  { ours: PLAIN, of: PILLOW_8_BIT, atMost: 0.8 },
  { ours: AUTO_TONE, of: PILLOW_8_BIT, atMost: 0.95 },
  { ours: DEFAULT, of: PILLOW_8_BIT, atMost: 1 },
  { ours: DEFAULT, of: IMAGEMAGICK, atMost: 0.4, measure: 'memory' },
  { ours: EVERYTHING, of: DEFAULT, atMost: 1.6 },
  { ours: HELP, of: NODE, atMost: 1.4 },
];
const byHand = ['--subject', 'none', '--screen', 'floyd-steinberg', '--only', 'bitmap'];
const contestants: Contestant[] = [
  { name: PLAIN, command: prepare('--tone', 'plain', ...byHand) },
  { name: AUTO_TONE, command: prepare(...byHand) },
  { name: DEFAULT, command: prepare('--subject', 'none', '--only', 'bitmap') },
  { name: FOUND, command: prepare('--subject', 'auto', '--only', 'bitmap') },
  { name: EVERYTHING, command: prepare('--subject', 'none') },
  { name: 'sharp alone, scRGB resize, palette PNG', command: [process.execPath, '-e', SHARP_ALONE] },
];
if (has('convert')) {
  const command = `convert ${photo} -colorspace RGB -resize 4280x2700^ -gravity center -extent 4280x2700 -colorspace LinearGray -dither FloydSteinberg -monochrome ${out('im.png')}`;
  contestants.push({ name: IMAGEMAGICK, command: ['sh', '-c', command] });
}
if (has('pamditherbw')) {
  const command = `jpegtopnm ${photo} | ppmtopgm | pamscale -xyfill 4280 2700 | pamcut -width 4280 -height 2700 | pamditherbw -fs | pnmtopng > ${out('netpbm.png')}`;
  contestants.push({ name: NETPBM, command: ['sh', '-c', command] });
}
if (python) contestants.push({ name: PILLOW_8_BIT, command: [python, out('pillow.py')] });
for (const [program, there] of [
  ['ImageMagick', has('convert')],
  ['netpbm', has('pamditherbw')],
  ['Pillow', python !== undefined],
] as const) {
  if (!there) console.log(`${program} is not installed: it takes no part`);
}

/** Ten starts a measurement: the clock of whole processes ticks in hundredths of a second. */
const tenTimes = (command: string) => ['sh', '-c', `for i in 1 2 3 4 5 6 7 8 9 10; do ${command} > /dev/null; done`];
const small: Contestant[] = [
  { name: HELP, command: tenTimes(`${process.execPath} dist/tonewright.cjs --help`) },
  { name: NODE, command: tenTimes(`${process.execPath} -e 0`) },
];

/** CPU seconds and peak MiB of a whole process with all its children. */
function measure(command: readonly string[]): { cpu: number; mib: number } {
  const timed = existsSync(TIME);
  const argv = timed
    ? [TIME, '-f', '%U %S %M', ...command]
    : ['bash', '-c', 'TIMEFORMAT="%U %S 0"; time "$@"', 'bash', ...command];
  const { stderr, status } = spawnSync(argv[0]!, argv.slice(1), { encoding: 'utf8' });
  if (status !== 0) throw new Error(`${command.slice(0, 4).join(' ')} ended with ${status}: ${stderr}`);
  const [user, system, kib] = stderr.trim().split('\n').at(-1)!.split(' ').map(Number);
  return { cpu: user! + system!, mib: kib! / 1024 };
}

/** Median CPU seconds and peak MiB of each program, over interleaved runs. */
const measured = new Map<string, { readonly cpu: number; readonly memory: number }>();
function run(list: readonly Contestant[], runs: number): void {
  const seen = list.map(() => [] as { cpu: number; mib: number }[]);
  for (let i = 0; i < runs; i++) {
    list.forEach(({ command }, at) => {
      seen[at]!.push(measure(command));
    });
  }
  list.forEach(({ name }, at) => {
    const cpu = median(seen[at]!.map((one) => one.cpu));
    const memory = median(seen[at]!.map(({ mib }) => mib));
    measured.set(name, { cpu, memory });
    console.log(`${name.padEnd(60)} ${cpu.toFixed(3)} s  ${memory.toFixed(0).padStart(5)} MiB`);
  });
}

run(contestants, RUNS);
console.log('ten starts:');
run(small, RUNS);
console.log('');
let missed = 0;
function judge(what: string, found: number, atMost: number): void {
  missed += Number(found > atMost);
  console.log(`${what.padEnd(100)} ${found.toFixed(2)}  ${found <= atMost ? 'met' : 'MISSED'} ${atMost}`);
}
for (const { ours, of, atMost, measure: kind = 'cpu' } of GOALS) {
  const [own, peer] = [measured.get(ours)!, measured.get(of)];
  if (peer) judge(`${kind === 'cpu' ? 'CPU' : 'memory'} of ${ours}, of ${of}`, own[kind] / peer[kind], atMost);
}
judge('CPU of finding the subject, s', measured.get(FOUND)!.cpu - measured.get(DEFAULT)!.cpu, SUBJECT_SECONDS);
if (process.argv.includes('--check') && missed > 0) process.exitCode = 1;
