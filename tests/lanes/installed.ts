import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { sha256 } from '../../src/plane/index.ts';

/** A program that stands somewhere and can be run, on this system or on another one. */
export type Program = (args: readonly string[], options: { readonly cwd: string }) => Ended;

export interface Ended {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Nothing of the shop that happens to run the tests may decide a byte. */
export const CLEAN_ENV: NodeJS.ProcessEnv = {
  ...Object.fromEntries(Object.entries(process.env).filter(([name]) => !/^(TONEWRIGHT|NODE|npm)_/i.test(name))),
  TONEWRIGHT_CACHE: 'off',
};

/** A program by the file of its `main` and the Node that runs it. */
export const programOf =
  (main: string, node: string = process.execPath): Program =>
  (args, { cwd }) =>
    spawnSync(node, [main, ...args], { cwd, env: CLEAN_ENV, encoding: 'utf8' });

/** The program as it is built here. */
export const BUILT = programOf(resolve('dist', 'tonewright.cjs'));

/** A folder with what the runs below need. */
export function makeWorkplace(folder: string): string {
  mkdirSync(join(folder, 'photos'), { recursive: true });
  for (const name of ['cat.png', 'photographer.png']) {
    copyFileSync(join('images', 'photos', name), join(folder, 'photos', name));
  }
  return folder;
}

/** Commands that together go through all that a shop does, in this sequence. */
export const RUNS = {
  prepare: ['prepare', 'photos/cat.png', '--size', 'ID-1', '--profile', 'anodised-black', '--out', 'card'],
  order: ['order', 'photos', '--size', '20x15', '--profile', 'leather-patch', '--out', 'order'],
  chart: ['chart', 'tone', '--machine', 'gantry-450', '--material', 'birch-plywood', '--out', 'chart'],
  plate: ['plate', 'cards-2x3', '--out', 'jig'],
  plates: ['plate', '--jobs', 'order', '--count', '2', '--out', 'plates'],
  scan: [
    ...['simulate', 'capture', 'chart/chart.png', '--material-model', 'birch', '--camera', 'flatbed-600'],
    ...['--out', 'scan.png'],
  ],
  learn: ['learn', 'scan.png', '--chart', 'chart/chart.json', '--name', 'own-birch', '--out', 'learned.json'],
  proof: ['proof', 'card/cat.png', '--profile', 'anodised-black', '--out', 'proof.png'],
} as const satisfies Readonly<Record<string, readonly string[]>>;

export type RunName = keyof typeof RUNS;

/**
 * Does some of the runs in a workplace, one after the other.
 * @returns every file that is there afterwards, by its path, with the hash of its bytes
 */
export function doRuns(
  program: Program,
  workplace: string,
  names: readonly RunName[],
): Readonly<Record<string, string>> {
  for (const name of names) {
    const { status, stderr } = program(RUNS[name], { cwd: workplace });
    if (status !== 0) throw new Error(`${name} ended with ${status}: ${stderr}`);
  }
  return hashFiles(workplace);
}

/** Every file of a folder and of those in it, by its path with `/`, with the hash of its bytes. */
export function hashFiles(folder: string): Readonly<Record<string, string>> {
  const names = readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => statSync(join(folder, name)).isFile())
    .sort();
  return Object.fromEntries(
    names.map((name) => [name.replaceAll('\\', '/'), sha256(readFileSync(join(folder, name)))]),
  );
}
