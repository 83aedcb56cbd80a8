// An order of 200 mixed photos, 2 to 48 megapixels, every twentieth of them broken: peak memory with two workers and
// with one, CPU time a photo beside `prepare` alone in one warm process, and how much sooner two workers are done.
// PHOTOS=24 makes a smaller order. The machine's load is said, because wall time means something only where two cores
// are free.
import { spawn, spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { availableParallelism, loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { type JobSpec, prepareJob, resolveJob } from '../src/job/index.ts';
import { openShop } from '../src/material/index.ts';
import { readPhoto, writeFilesAtomic } from '../src/plane/index.ts';

const PHOTOS = Number(process.env.PHOTOS ?? 200);
const BROKEN_EVERY = 20;
/** At most so much memory with two workers, MiB; so much more CPU a photo than alone; so much sooner with two. */
const GOALS = { mib: 1.2 * 1024, cpu: 1.1, speed: 1.8 } as const;
/** Different photos; each comes again with another piece, since 24 and 5 share no factor. */
const DISTINCT = 24;
const MEGAPIXELS = [2, 12, 24, 3, 8, 48, 6, 16, 12, 36, 4, 20];
const SOURCES = ['dandelion.jpg', 'two-dogs.jpg', 'raccoon.jpg', 'portrait.png', 'cat.png', 'cup.png'];
/** What shops engrave: cards in fine dots, larger pieces in coarse ones. */
const PIECES = [
  ['ID-1', 'anodised-black'],
  ['90x90', 'slate-coaster'],
  ['ID-1', 'stainless-card'],
  ['60x40', 'leather-patch'],
  ['50x50', 'glass-tumbler'],
] as const;

const folder = join(tmpdir(), 'tonewright-bench', `order-${PHOTOS}`);
const photoOf = (at: number) => `p${String(at).padStart(3, '0')}.jpg`;
const pieceOf = (at: number) => PIECES[at % PIECES.length]!;
const isBroken = (at: number) => at % BROKEN_EVERY === BROKEN_EVERY - 1;

/**
 * The photos and the CSV, made once: enlarged or reduced from the sample photographs to what cameras and phones give.
 */
async function makeOrder(): Promise<void> {
  const csv = join(folder, 'order.csv');
  if (existsSync(csv)) return;
  mkdirSync(join(folder, 'whole'), { recursive: true });
  const { default: sharp } = await import('sharp');
  for (let at = 0; at < PHOTOS; at++) {
    const pixels = MEGAPIXELS[at % MEGAPIXELS.length]! * 1e6;
    const [width, height] = at % 3 === 0 ? [3, 4] : [4, 3];
    const unit = Math.sqrt(pixels / 12);
    const path = join(folder, photoOf(at));
    // Making them takes as long as the order: after a while the same ones come again.
    if (at >= DISTINCT) {
      copyFileSync(join(folder, 'whole', photoOf(at % DISTINCT)), path);
      if (isBroken(at)) truncateSync(path, 20_000);
      continue;
    }
    await sharp(join('images/photos', SOURCES[at % SOURCES.length]!))
      .resize(Math.round(width * unit), Math.round(height * unit), { fit: 'cover' })
      .jpeg({ quality: 90 })
      .toFile(path);
    copyFileSync(path, join(folder, 'whole', photoOf(at)));
    if (isBroken(at)) truncateSync(path, 20_000);
  }
  const lines = Array.from({ length: PHOTOS }, (_, at) => [photoOf(at), ...pieceOf(at)].join(','));
  writeFileSync(csv, `photo,size,profile\n${lines.join('\n')}\n`);
}

interface Measured {
  readonly cpuS: number;
  readonly wallS: number;
  readonly mib: number;
}

/** One command with the highest memory that it held, as the system tells it. */
async function measure(argv: readonly string[]): Promise<Measured & { readonly stdout: string }> {
  const begun = performance.now();
  const timed = spawn('/usr/bin/time', ['-f', '%U %S %M', process.execPath, ...argv]);
  let stdout = '';
  let stderr = '';
  timed.stdout.on('data', (data) => {
    stdout += data;
  });
  timed.stderr.on('data', (data) => {
    stderr += data;
  });
  await new Promise((resolve) => timed.on('close', resolve));
  const [user, system, kib] = stderr.trim().split('\n').at(-1)!.split(' ').map(Number);
  return { cpuS: user! + system!, wallS: (performance.now() - begun) / 1000, mib: kib! / 1024, stdout };
}

async function runOrder(workers: number): Promise<Measured> {
  const out = join(folder, `out-${workers}`);
  rmSync(out, { recursive: true, force: true });
  const argv = ['dist/tonewright.cjs', 'order', join(folder, 'order.csv'), '--out', out, '--workers', String(workers)];
  const measured = await measure([...argv, '--json']);
  const { totals } = JSON.parse(measured.stdout);
  const broken = Array.from({ length: PHOTOS }, (_, at) => at).filter(isBroken).length;
  if (totals.failed !== broken) throw new Error(`${totals.failed} pieces were not made, ${broken} were broken`);
  return measured;
}

/** The same photos one after the other in one process, as `prepare` makes them: what an order adds nothing to. */
async function prepareAlone(): Promise<void> {
  const out = join(folder, 'alone');
  rmSync(out, { recursive: true, force: true });
  const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
  const specs = new Map<string, JobSpec>(
    PIECES.map(([size, profile]) => [profile, resolveJob({ size, profile }, { shop, refused: [] })]),
  );
  const prepare = async (at: number, to: string) => {
    const photo = photoOf(at);
    const spec = specs.get(pieceOf(at)[1])!;
    const load = () => readPhoto(join(folder, photo));
    const options = { spec, name: photo.slice(0, -4), photoFile: photo, version: '0', only: 'everything' } as const;
    const { files } = await prepareJob(load, options);
    await writeFilesAtomic(
      files.map(({ name, bytes }) => ({ path: join(to, name), bytes })),
      { force: true },
    );
  };
  for (let at = 0; at < PIECES.length; at++) await prepare(at, join(out, 'warm'));
  const before = process.cpuUsage();
  for (let at = 0; at < PHOTOS; at++) await prepare(at, out).catch(() => undefined);
  const { user, system } = process.cpuUsage(before);
  writeFileSync(join(folder, 'alone.json'), JSON.stringify({ cpuS: (user + system) / 1e6 }));
}

if (process.argv.includes('--alone')) {
  await prepareAlone();
} else {
  if (spawnSync('/usr/bin/time', ['true']).status !== 0) throw new Error('needed /usr/bin/time to measure memory');
  await makeOrder();
  const load = loadavg()[0]!;
  const free = availableParallelism() - load >= 1.7;
  const two = await runOrder(2);
  const one = await runOrder(1);
  await measure([process.argv[1]!, '--alone']);
  const alone = JSON.parse(readFileSync(join(folder, 'alone.json'), 'utf8')) as { cpuS: number };
  let missed = 0;
  const judge = (text: string, isMet: boolean) => {
    if (!isMet) missed++;
    return `${text} ${isMet ? 'ok' : 'MISSED'}`;
  };
  console.log(`${PHOTOS} photos; load of the machine before: ${load.toFixed(1)} on ${availableParallelism()} cores`);
  for (const [name, { cpuS, wallS, mib }] of [
    ['two workers', two],
    ['one worker', one],
  ] as const) {
    console.log(
      `${name.padEnd(14)} ${(cpuS / PHOTOS).toFixed(3)} s CPU a photo  ${wallS.toFixed(0).padStart(5)} s  on ${(cpuS / wallS).toFixed(2)} cores  peak ${mib.toFixed(0).padStart(5)} MiB`,
    );
  }
  console.log(`prepare alone  ${(alone.cpuS / PHOTOS).toFixed(3)} s CPU a photo, warm`);
  console.log(
    judge(`peak memory of two workers ${two.mib.toFixed(0)} MiB ≤ ${GOALS.mib.toFixed(0)}`, two.mib <= GOALS.mib),
  );
  for (const [name, { cpuS }] of [
    ['two', two],
    ['one', one],
  ] as const) {
    const ratio = cpuS / alone.cpuS;
    console.log(judge(`CPU of ${name} / alone ${ratio.toFixed(3)} ≤ ${GOALS.cpu}`, ratio <= GOALS.cpu));
  }
  const speed = one.wallS / two.wallS;
  console.log(
    free
      ? judge(`two workers are ${speed.toFixed(2)} times as fast as one ≥ ${GOALS.speed}`, speed >= GOALS.speed)
      : `two workers were ${speed.toFixed(2)} times as fast as one; other work held the cores, so this says nothing`,
  );
  // One worker is helped by the threads that decode and that optimise code, so it has more than a core already.
  const most = (availableParallelism() * one.wallS) / one.cpuS;
  console.log(`(all cores busy without a pause and no work added: ${most.toFixed(2)} times as fast)`);
  if (process.argv.includes('--check') && missed > 0) process.exitCode = 1;
}
