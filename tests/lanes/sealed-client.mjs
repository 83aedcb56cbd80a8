// Starts a program that opens the page, asks of it what a shop would, and prints what came back as JSON. Runs where there is no
// network but this computer's own: node sealed-client.mjs LOGS PHOTO PROGRAM ARG…
import { spawn } from 'node:child_process';
import { openSync, readFileSync } from 'node:fs';

const [logs, photo, program, ...args] = process.argv.slice(2);
const files = ['out', 'err'].map((name) => openSync(`${logs}.${name}`, 'w'));
const child = spawn(program, args, { stdio: ['ignore', ...files], detached: true });
const read = (name) => readFileSync(`${logs}.${name}`, 'utf8');
const end = Date.now() + 120_000;
let url;
while (!url) {
  if (child.exitCode !== null || Date.now() > end) throw new Error(`it did not start: ${read('out')} ${read('err')}`);
  await new Promise((go) => setTimeout(go, 50));
  url = /"url": "([^"]+)"/.exec(read('out'))?.[1];
}
const { origin, hash } = new URL(url);
const entered = await fetch(`${origin}/api/enter`, { method: 'POST', body: hash.slice(1), headers: { origin } });
const headers = { cookie: entered.headers.get('set-cookie').split(';')[0], origin };
const ask = async (method, path, more = {}, body = undefined) => {
  const answer = await fetch(`${origin}${path}`, { method, headers: { ...headers, ...more }, body });
  return answer.headers.get('content-type')?.includes('json') ? answer.json() : answer.text();
};
const wish = {
  ...{ widthMm: 20, heightMm: 15, cornerRadiusMm: 0, machine: 'galvo-355-f210', profile: 'anodised-black' },
  ...{ fit: 'cover', safeMarginMm: 0, tone: 'auto', toneValues: {}, range: 'scale' },
};
const head = { 'x-file-name': 'cat.png', 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
const shop = await ask('GET', '/api/shop');
const page = await ask('GET', '/');
const job = await ask('POST', '/api/jobs', head, new Blob([readFileSync(photo)]));
const kept = await ask('POST', `/api/jobs/${job.id}/keep`);
const networks = readFileSync('/proc/net/dev', 'utf8')
  .split('\n')
  .slice(2)
  .map((line) => line.split(':')[0].trim());
process.stdout.write(
  JSON.stringify({
    shop: JSON.parse(read('out')).shop,
    version: shop.version,
    page: page.length,
    files: kept.files,
    networks: networks.filter((name) => name !== ''),
  }),
);
// The start file may have a program of its own below it.
process.kill(-child.pid, 'SIGKILL');
process.exit(0);
