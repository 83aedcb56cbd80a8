// Every benchmark, one after the other, each in a process of its own. Names given select some: `npm run bench --
// prepare`.
import { spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const folder = dirname(fileURLToPath(import.meta.url));
const shared = new Set(['all', 'gallery', 'large-photo', 'median']);
/** Those that take an hour: by their names alone. */
const long = new Set(['kills', 'mutations', 'page-kills', 'soak']);
const wanted = process.argv.slice(2).filter((word) => !word.startsWith('-'));
const names = readdirSync(folder)
  .filter((file) => file.endsWith('.js') && !file.startsWith('part-'))
  .map((file) => file.slice(0, -3))
  .filter((name) => !shared.has(name) && (wanted.length === 0 ? !long.has(name) : wanted.includes(name)));

let failed = 0;
for (const name of names) {
  console.log(`\n${name}`);
  const flags = process.argv.slice(2).filter((word) => word.startsWith('-'));
  const { status } = spawnSync(process.execPath, [join(folder, `${name}.js`), ...flags], { stdio: 'inherit' });
  if (status !== 0) failed++;
}
process.exitCode = failed === 0 ? 0 : 1;
