// A 24-megapixel baseline JPEG to the 4280 × 2700 dots of a card, bitmap only, through a profile: whole processes, CPU
// time (user + system) and peak memory, the median of interleaved runs, beside general-purpose programs in the same
// run. ImageMagick, netpbm and Pillow take part when they are installed; sharp and Node alone always. `--check` ends
// with 1 when a ratio misses its goal. The ratios carry over to other machines, the milliseconds do not.
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
  /** At most this share of the peer's CPU time, and of its peak memory. */
  readonly cpuGoal?: number;
  readonly memoryGoal?: number;
}

const prepare = (...more: string[]) => [
  process.execPath,
  'dist/tonewright.cjs',
  ...['prepare', photo, '--size', '85.6x54', '--profile', 'anodised-black', '--keep', '0.5,0.5', '--force'],
  ...['--out', out('ours'), ...more],
];
const OURS = 'tonewright prepare --only bitmap --tone plain';
const contestants: Contestant[] = [
  { name: OURS, command: prepare('--tone', 'plain', '--only', 'bitmap') },
  { name: 'tonewright prepare --only bitmap --tone auto', command: prepare('--only', 'bitmap') },
  { name: 'tonewright prepare --tone plain (proof and ticket)', command: prepare('--tone', 'plain') },
  { name: 'sharp alone, scRGB resize, palette PNG', command: [process.execPath, '-e', SHARP_ALONE] },
];
if (has('convert')) {
  const command = `convert ${photo} -colorspace RGB -resize 4280x2700^ -gravity center -extent 4280x2700 -colorspace LinearGray -dither FloydSteinberg -monochrome ${out('im.png')}`;
  contestants.push({
    name: 'ImageMagick, linear light',
    command: ['sh', '-c', command],
    cpuGoal: 0.11,
    memoryGoal: 0.42,
  });
}
if (has('pamditherbw')) {
  const command = `jpegtopnm ${photo} | ppmtopgm | pamscale -xyfill 4280 2700 | pamcut -width 4280 -height 2700 | pamditherbw -fs | pnmtopng > ${out('netpbm.png')}`;
  contestants.push({ name: 'netpbm pipeline', command: ['sh', '-c', command], cpuGoal: 0.4 });
}
if (python) contestants.push({ name: 'Pillow, 8 bit, gamma space', command: [python, out('pillow.py')], cpuGoal: 1 });
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
  { name: 'tonewright --help', command: tenTimes(`${process.execPath} dist/tonewright.cjs --help`) },
  { name: 'node -e 0', command: tenTimes(`${process.execPath} -e 0`) },
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

let missed = 0;
function report(list: readonly Contestant[], ours: string, runs: number): void {
  const cpu = new Map(list.map(({ name }) => [name, [] as number[]]));
  const memory = new Map(list.map(({ name }) => [name, [] as number[]]));
  for (let run = 0; run < runs; run++) {
    for (const { name, command } of list) {
      const { cpu: seconds, mib } = measure(command);
      cpu.get(name)!.push(seconds);
      memory.get(name)!.push(mib);
    }
  }
  const own = { cpu: median(cpu.get(ours)!), mib: median(memory.get(ours)!) };
  for (const { name, cpuGoal, memoryGoal } of list) {
    const seconds = median(cpu.get(name)!);
    const mib = median(memory.get(name)!);
    const ratio = own.cpu / seconds;
    const verdict = cpuGoal === undefined ? '' : ratio <= cpuGoal ? `≤ ${cpuGoal} ok` : `MISSED ${cpuGoal}`;
    const share = own.mib / mib;
    const room =
      memoryGoal === undefined
        ? ''
        : share <= memoryGoal
          ? `memory ${share.toFixed(2)} ≤ ${memoryGoal} ok`
          : `memory ${share.toFixed(2)} MISSED ${memoryGoal}`;
    missed += Number(verdict.startsWith('MISSED')) + Number(room.includes('MISSED'));
    console.log(
      `${name.padEnd(52)} ${seconds.toFixed(3)} s  ${mib.toFixed(0).padStart(5)} MiB  ours/its ${ratio.toFixed(2)} ${verdict} ${room}`,
    );
  }
  const ratioTo = (name: string) => median(cpu.get(name)!) / own.cpu;
  if (ours === OURS) {
    const whole = ratioTo('tonewright prepare --tone plain (proof and ticket)');
    console.log(`everything / bitmap alone: ${whole.toFixed(2)} ${whole <= 2 ? '≤ 2 ok' : 'MISSED 2'}`);
    missed += Number(whole > 2);
  } else {
    const start = 1 / ratioTo('node -e 0');
    console.log(`--help / node -e 0: ${start.toFixed(2)} ${start <= 1.4 ? '≤ 1.4 ok' : 'MISSED 1.4'}`);
    missed += Number(start > 1.4);
  }
}

report(contestants, OURS, RUNS);
console.log('');
console.log('ten starts:');
report(small, 'tonewright --help', 7);
if (process.argv.includes('--check') && missed > 0) process.exitCode = 1;
