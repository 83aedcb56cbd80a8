// Steadiness: PIECES pieces (5 000) of an order on one worker in one process, and EDITS edits (2 000) of a photo in one
// page server, each edit saved, drafted and proofed. Resident memory and open files are read all along: the mean of the
// last fifth may be 5 % above that of the second, and no file may stay open. Linux alone, whose /proc tells both.
// `npm run bench -- soak`; PIECES=0 or EDITS=0 leaves one out.
import { type ChildProcess, spawn } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { endOf, servePage } from './common/serve-page.ts';

const PIECES = Number(process.env.PIECES ?? 5000);
const EDITS = Number(process.env.EDITS ?? 2000);
const PROGRAM = 'dist/tonewright.cjs';
/** What the last fifth may have beyond the second. */
const GROWTH = 1.05;
/** Between two looks at a process, ms. */
const LOOK_MS = 500;

interface Seen {
  /** How much of the work was done, 0 … 1. */
  readonly done: number;
  readonly mib: number;
  readonly files: number;
}

const folder = mkdtempSync(join(tmpdir(), 'tonewright-soak-'));
try {
  if (PIECES > 0) judge(`${PIECES} pieces in one worker`, await soakOrder());
  if (EDITS > 0) judge(`${EDITS} edits in one page server`, await soakPage());
} finally {
  rmSync(folder, { recursive: true, force: true });
}

/** Small pieces of the sample photos; every row of the list is a piece of its own. */
async function soakOrder(): Promise<readonly Seen[]> {
  const photos = ['cat.png', 'cup.png', 'portrait.png', 'raccoon.jpg'];
  for (const name of photos) copyFileSync(join('images/photos', name), join(folder, name));
  const rows = Array.from({ length: PIECES }, (_, i) => `${photos[i % photos.length]},piece-${i}`);
  writeFileSync(join(folder, 'order.csv'), `photo,name\n${rows.join('\n')}\n`);
  const out = join(folder, 'order');
  const settings = ['--size', '12x9', '--profile', 'leather-patch', '--subject', 'none', '--workers', '1'];
  const child = spawn(process.execPath, [PROGRAM, 'order', join(folder, 'order.csv'), ...settings, '--out', out], {
    stdio: ['ignore', 'ignore', 'pipe'],
  });
  let complaints = '';
  child.stderr!.on('data', (data) => {
    complaints = (complaints + data).slice(-2000);
  });
  const ended = endOf(child);
  const seen: Seen[] = [];
  while (child.exitCode === null) {
    const made = listFolder(out).filter((name) => name.endsWith('.ticket.json')).length;
    seen.push(...look(child, made / PIECES));
    await Promise.race([ended, pause(LOOK_MS)]);
  }
  if (child.exitCode !== 0) throw new Error(`the order ended with ${child.exitCode}: ${complaints}`);
  return seen;
}

/** A photo whose tone, crop and material are changed again and again, as a hand on the page does. */
async function soakPage(): Promise<readonly Seen[]> {
  const shop = join(folder, 'shop');
  mkdirSync(shop);
  const { child, send } = await servePage(shop);
  try {
    const wishAt = (edit: number) => ({
      widthMm: 30,
      heightMm: 20,
      cornerRadiusMm: 0,
      machine: 'galvo-355-f210',
      profile: edit % 7 === 0 ? 'stainless-card' : 'anodised-black',
      fit: 'cover',
      safeMarginMm: 0,
      tone: 'plain',
      toneValues: { contrast: Math.round(50 * Math.sin(edit)) / 100 },
      range: 'scale',
    });
    const { id } = (await (await send('POST', '/api/samples/cat', wishAt(0))).json()) as { id: string };
    const window = randomUUID();
    const seen: Seen[] = [];
    for (let edit = 1; edit <= EDITS; edit++) {
      const wish = wishAt(edit);
      await send('PUT', `/api/jobs/${id}`, wish);
      const asked = { wish, showClipped: edit % 3 === 0, window, longSidePx: 600 };
      await (await send('POST', `/api/jobs/${id}/draft`, asked)).arrayBuffer();
      await (await send('POST', `/api/jobs/${id}/look`, asked)).arrayBuffer();
      seen.push(...look(child, edit / EDITS));
    }
    return seen;
  } finally {
    child.kill();
    await endOf(child);
  }
}

/** Nothing, once the process is gone. */
function look({ pid }: ChildProcess, done: number): readonly Seen[] {
  try {
    const kib = Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))![1]);
    return [{ done, mib: kib / 1024, files: readdirSync(`/proc/${pid}/fd`).length }];
  } catch {
    return [];
  }
}

function listFolder(path: string): readonly string[] {
  try {
    return readdirSync(path);
  } catch {
    return [];
  }
}

function judge(what: string, seen: readonly Seen[]): void {
  const meanOf = (from: number, key: 'mib' | 'files') => {
    const within = seen.filter(({ done }) => done >= from && done <= from + 0.2);
    return within.reduce((sum, one) => sum + one[key], 0) / within.length;
  };
  const [early, late] = [meanOf(0.2, 'mib'), meanOf(0.8, 'mib')];
  const [opened, stayed] = [meanOf(0.2, 'files'), meanOf(0.8, 'files')];
  const isSteady = late <= GROWTH * early && stayed <= opened + 1;
  console.log(
    `${what}: second fifth ${early.toFixed(0)} MiB, last fifth ${late.toFixed(0)} MiB (${(late / early).toFixed(3)}), ` +
      `open files ${opened.toFixed(1)} and ${stayed.toFixed(1)}: ${isSteady ? 'steady' : 'NOT STEADY'}`,
  );
  if (!isSteady) process.exitCode = 1;
}
