// Kills at random moments over the commands that write: 300, or COUNT of them, from SEED on. Afterwards no file is
// half-written, what belongs to others is as it was, nothing that was kept is lost, and the same command typed again
// leaves what it leaves when nobody kills it. `node dist/bench/kills.js`
import { spawn, spawnSync } from 'node:child_process';
import {
  copyFileSync,
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { createRandom } from '../src/numeric/index.ts';
import { sha256 } from '../src/plane/index.ts';

const COUNT = Number(process.env.COUNT ?? 300);
const SEED = Number(process.env.SEED ?? 1);
const PROGRAM = resolve('dist/tonewright.cjs');
const folder = mkdtempSync(join(tmpdir(), 'tonewright-kills-'));

interface Case {
  readonly name: string;
  readonly args: readonly string[];
  /** Files that each run makes anew or adds to, with the time in them: whole JSON, and no entry fewer. */
  readonly grows?: RegExp;
}

const SHOP = ['--shop', 'shop'];
const CASES: readonly Case[] = [
  {
    name: 'prepare',
    args: ['prepare', 'cat.png', '--size', '8x6', '--profile', 'leather-patch', '--out', 'out', '--force'],
  },
  {
    name: 'prepare with a strip',
    args: [
      'prepare',
      'cat.png',
      '--size',
      '20x6',
      '--profile',
      'leather-patch',
      '--strip',
      '--out',
      'out',
      '--force',
      ...SHOP,
    ],
  },
  {
    name: 'order',
    args: ['order', 'photos', '--size', '4x3', '--profile', 'leather-patch', '--out', 'order', '--force'],
  },
  {
    name: 'chart',
    args: [
      'chart',
      'tone',
      '--machine',
      'gantry-450',
      '--material',
      'birch-plywood',
      '--out',
      'chart',
      '--force',
      ...SHOP,
    ],
  },
  { name: 'plate', args: ['plate', 'cards-2x3', '--out', 'jig', '--force'] },
  { name: 'plates of an order', args: ['plate', '--jobs', 'made', '--out', 'plates', '--force'] },
  { name: 'proof', args: ['proof', 'made/a.png', '--profile', 'leather-patch', '--out', 'proof.png', '--force'] },
  {
    name: 'learn',
    args: ['learn', 'scan.png', '--chart', 'drawn/chart.json', '--name', 'own', '--out', 'own.json', '--force'],
  },
  {
    name: 'machine new',
    args: [
      'machine',
      'new',
      '--title',
      'My galvo',
      '--like',
      'galvo-1064-f160',
      '--focal-length',
      '160',
      '--field',
      '110x110',
      '--full-power',
      '20',
      '--power-unit',
      '%',
      '--speed-unit',
      'mm/s',
      '--rate-unit',
      'kHz',
      '--fires',
      'black',
      '--origin',
      'bottom-left',
      '--force',
      ...SHOP,
    ],
  },
  {
    name: 'material new',
    args: [
      'material',
      'new',
      '--title',
      'Painted steel, red',
      '--machine',
      'gantry-450',
      '--direction',
      'darker',
      '--force',
      ...SHOP,
    ],
  },
  { name: 'burned', args: ['burned', 'made/a.ticket.json', '--count', '2', ...SHOP], grows: /^shop\/burned\// },
];

const run = (cwd: string, args: readonly string[]) =>
  spawnSync(process.execPath, [PROGRAM, ...args], { cwd, encoding: 'utf8' });

/** Every file below a folder, with the hash of its bytes. */
function hashAll(root: string): ReadonlyMap<string, string> {
  const names = readdirSync(root, { recursive: true, encoding: 'utf8' }).filter((name) =>
    statSync(join(root, name)).isFile(),
  );
  return new Map(names.map((name) => [name.replaceAll('\\', '/'), sha256(readFileSync(join(root, name)))]));
}

/** What all commands need, and files of others in every folder that they write to. */
function makeBase(): string {
  const base = join(folder, 'base');
  for (const name of [
    'photos',
    'shop/profiles',
    'shop/machines',
    'shop/materials',
    'out',
    'order',
    'chart',
    'jig',
    'plates',
    'made',
  ]) {
    mkdirSync(join(base, name), { recursive: true });
  }
  for (const name of ['cat.png', 'photos/a.png', 'photos/b.png'])
    copyFileSync('images/photos/cat.png', join(base, name));
  const must = (...args: readonly string[]) => {
    const { status, stderr } = run(base, args);
    if (status !== 0) throw new Error(`${args.join(' ')}: ${stderr}`);
  };
  must('order', 'photos', '--size', '4x3', '--profile', 'leather-patch', '--out', 'made', ...SHOP);
  must('chart', 'tone', '--machine', 'gantry-450', '--material', 'birch-plywood', '--out', 'drawn', ...SHOP);
  must(
    'simulate',
    'capture',
    'drawn/chart.png',
    '--material-model',
    'birch',
    '--camera',
    'flatbed-600',
    '--out',
    'scan.png',
  );
  must('burned', 'made/a.ticket.json', '--count', '1', ...SHOP);
  for (const name of ['out', 'order', 'chart', 'jig', 'plates', 'made', 'shop', 'shop/profiles', '.']) {
    writeFileSync(join(base, name, 'of-another.txt'), `kept by hand in ${name}`);
    writeFileSync(join(base, name, '.tonewright-no.tmp'), 'looks like one of ours');
  }
  return base;
}

const faults: string[] = [];
const base = makeBase();
const begin = (): string => {
  const place = join(folder, 'place');
  rmSync(place, { recursive: true, force: true });
  cpSync(base, place, { recursive: true });
  return place;
};
const before = hashAll(base);

/** What the command leaves over an earlier result of its own, and how long it takes, ms. */
const whole = CASES.map(({ name, args }) => {
  const place = begin();
  const began = performance.now();
  const { status, stderr } = run(place, args);
  if (status !== 0) throw new Error(`${name}: ${stderr}`);
  return { after: hashAll(place), ms: performance.now() - began };
});

const killed = new Map<string, number>();
const random = createRandom(SEED);
for (let kill = 0; kill < COUNT; kill++) {
  const at = kill % CASES.length;
  const { name, args, grows } = CASES[at]!;
  const { after, ms } = whole[at]!;
  const place = begin();
  // Every other time over a whole earlier result.
  const isOver = random.nextBelow(2) === 1 && !grows;
  if (isOver) run(place, args);
  const waitMs = 30 + random.nextUnit() * 1.1 * ms;
  const child = spawn(process.execPath, [PROGRAM, ...args], { cwd: place, stdio: 'ignore' });
  const timer = setTimeout(() => child.kill('SIGKILL'), waitMs);
  const signal = await new Promise((done) => child.once('exit', (_, by) => done(by)));
  clearTimeout(timer);
  if (signal !== null) killed.set(name, (killed.get(name) ?? 0) + 1);
  const say = (what: string) =>
    faults.push(`${name}, seed ${SEED}, kill ${kill} after ${waitMs.toFixed(0)} ms: ${what}`);

  const left = hashAll(place);
  for (const [file, hash] of before) {
    if (grows?.test(file)) continue;
    const wanted = [hash, after.get(file)];
    if (!wanted.includes(left.get(file)) && !(left.get(file) === undefined && after.get(file) !== hash))
      say(`${file} is another or gone`);
  }
  for (const [file, hash] of left) {
    if (grows?.test(file)) JSON.parse(readFileSync(join(place, file), 'utf8'));
    else if (after.has(file) && after.get(file) !== hash && before.get(file) !== hash && !/journal/.test(file))
      say(`${file} is half-written`);
  }
  const { status, stderr } = run(place, args);
  if (status !== 0) say(`the next run ended with ${status}: ${stderr.split('\n')[0]}`);
  const again = hashAll(place);
  for (const file of new Set([...again.keys(), ...after.keys()])) {
    if (!grows?.test(file) && again.get(file) !== after.get(file))
      say(`after the next run ${file} is ${again.has(file) ? 'another, or left over' : 'gone'}`);
  }
  if (grows) {
    const count = (files: ReadonlyMap<string, string>) =>
      [...files.keys()].filter((file) => grows.test(file) && file.endsWith('.json')).length;
    const grown = count(again) - count(before);
    if (grown < 1 || grown > 2) say(`${grown} entries more`);
    for (const [file, hash] of before)
      if (grows.test(file) && again.get(file) !== hash) say(`the entry ${file} is lost`);
  }
}
for (const [name, count] of killed) console.log(`${name.padEnd(22)} ${count} kills before its end`);
console.log(
  `seed ${SEED}: ${COUNT} kills, ${[...killed.values()].reduce((a, b) => a + b, 0)} before the end, ${faults.length} faults`,
);
for (const fault of faults) console.log(`  ${fault}`);
rmSync(folder, { recursive: true, force: true });
if (faults.length > 0) process.exitCode = 1;
