// Makes the files of a release twice from what is built, and ends with 1 where a byte differs: make-release [SYSTEM…]
import { spawnSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { resolve } from 'node:path';
import { makeRelease } from './release.ts';

const changed = spawnSync('git', ['status', '--porcelain'], { encoding: 'utf8' }).stdout.trim();
if (changed !== '') throw new Error(`found files that are not committed, needed a clean clone:\n${changed}`);
const systems = process.argv.slice(2);
const out = resolve('out', 'release');
const again = resolve('out', 'release-again');
const [sums, twice] = [await makeRelease(systems, out), await makeRelease(systems, again)];
rmSync(again, { recursive: true });
console.log(sums.trimEnd());
if (sums !== twice) {
  console.error(`the second time the bytes were others:\n${twice}`);
  process.exitCode = 1;
}
