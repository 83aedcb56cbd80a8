// Makes the files of a release twice from what is built, and ends with 1 where a byte differs: make-release [SYSTEM…]
import { spawnSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { resolve } from 'node:path';
import { makeRelease } from './release.ts';

const changed = spawnSync('git', ['status', '--porcelain'], { encoding: 'utf8' }).stdout.trim();
if (changed !== '') throw new Error(`found files that are not committed, needed a clean clone:\n${changed}`);
// `npm run api` writes the file that the library's users compile against: it must say what the sources say.
const api = spawnSync('npm', ['run', '--silent', 'api'], { encoding: 'utf8' });
if (api.status !== 0) throw new Error(`the library's declarations cannot be written: ${api.stderr}`);
const stale = spawnSync('git', ['diff', '--stat', '--', 'packaging/library.d.ts'], { encoding: 'utf8' }).stdout.trim();
if (stale !== '')
  throw new Error(`found other declarations than the library has; commit them and begin again:\n${stale}`);
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
