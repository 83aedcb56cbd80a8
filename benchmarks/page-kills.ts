// Kills of the page's server at random moments of editing: 20, or COUNT of them, from SEED on. A photo is changed again
// and again, and now and then its files are made. Afterwards the shop holds what was last answered, or what was under
// way, and nothing older; two windows that ask are told the same; no file is half-written or left behind.
// `npm run bench -- page-kills`
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { createRandom } from '../src/numeric/index.ts';
import { endOf, type ServedPage, servePage } from './common/serve-page.ts';

const COUNT = Number(process.env.COUNT ?? 20);
const SEED = Number(process.env.SEED ?? 1);
/** Longest time of editing before a kill, ms. */
const EDITING_MS = 900;

const folder = mkdtempSync(join(tmpdir(), 'tonewright-page-kills-'));
const shop = join(folder, 'shop');
mkdirSync(shop);
const random = createRandom(SEED);
const faults: string[] = [];

const wishAt = (edit: number) => ({
  widthMm: 20 + edit / 1000,
  heightMm: 15,
  cornerRadiusMm: 0,
  machine: 'galvo-355-f210',
  profile: 'anodised-black',
  fit: 'cover',
  safeMarginMm: 0,
  subject: 'none',
  tone: 'plain',
  toneValues: {},
  range: 'scale',
});

/** Each change has a width of its own. */
const editOf = ({ widthMm }: ReturnType<typeof wishAt>) => Math.round(1000 * (widthMm - 20));

let page = await servePage(shop);
const { id } = (await (await page.send('POST', '/api/samples/cat', wishAt(0))).json()) as { id: string };
let edit = 0;
/** What the server has answered to last, and what was sent last. */
let answered = 0;

/** Changes the photo until the server is gone; every eighth time its files are made. */
async function keepEditing({ send }: ServedPage): Promise<void> {
  try {
    for (;;) {
      edit++;
      await send('PUT', `/api/jobs/${id}`, wishAt(edit));
      answered = edit;
      if (edit % 8 === 0) await send('POST', `/api/jobs/${id}/keep`, {});
    }
  } catch (error) {
    // Only that the connection is gone ends the editing; an answer that refuses is a fault.
    if (error instanceof Error && /^(?:PUT|POST) /.test(error.message)) faults.push(error.message);
  }
}

try {
  for (let kill = 0; kill < COUNT; kill++) {
    const say = (what: string) => faults.push(`seed ${SEED}, kill ${kill}: ${what}`);
    const editing = keepEditing(page);
    await pause(random.nextUnit() * EDITING_MS);
    page.child.kill('SIGKILL');
    await Promise.all([endOf(page.child), editing]);

    page = await servePage(shop);
    const readWish = async () => {
      const answer = await fetch(`${page.origin}/api/jobs/${id}`, { headers: page.headers });
      if (!answer.ok) throw new Error(`${answer.status} ${await answer.text()}`);
      return ((await answer.json()) as { readonly wish: ReturnType<typeof wishAt> }).wish;
    };
    const wishes = await Promise.all([readWish(), readWish()]);
    if (JSON.stringify(wishes[0]) !== JSON.stringify(wishes[1])) say('two windows are told different things');
    const found = editOf(wishes[0]);
    if (found !== answered && found !== edit) {
      say(`found change ${found}, needed ${answered}, which was answered, or ${edit}, which was sent`);
    }
    answered = found;
    for (const name of readdirSync(shop, { recursive: true, encoding: 'utf8' })) {
      if (name.endsWith('.tmp')) say(`${name} was left behind`);
      if (!name.endsWith('.json')) continue;
      try {
        JSON.parse(readFileSync(join(shop, name), 'utf8'));
      } catch {
        say(`${name} is half-written`);
      }
    }
  }
  // Making the files once more puts everything right that a kill has cut off.
  await page.send('POST', `/api/jobs/${id}/keep`, {});
} finally {
  page.child.kill();
  await endOf(page.child);
  rmSync(folder, { recursive: true, force: true });
}
console.log(`seed ${SEED}: ${COUNT} kills over ${edit} changes, ${faults.length} faults`);
for (const fault of faults) console.log(`  ${fault}`);
if (faults.length > 0) process.exitCode = 1;
