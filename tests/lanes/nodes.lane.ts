// The packed file under every version of Node that it may meet: the oldest that package.json names, and the newest of
// each long-term line since. The same bytes as under the Node that runs the tests.
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { installPacked, packBuilt } from '../../packaging/install.ts';
import { fetchNode } from '../../packaging/nodes.ts';
import { enter, startPageServer } from '../web/page-server.ts';
import { BUILT, doRuns, makeWorkplace, programOf, type RunName } from './installed.ts';

const VERSIONS = ['20.9.0', '22', '24', '26'];
const NAMES: readonly RunName[] = ['prepare', 'order', 'chart', 'plate', 'plates', 'proof'];
const folder = mkdtempSync(join(tmpdir(), 'tonewright-nodes-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

let main: string;
let wanted: Readonly<Record<string, string>>;
beforeAll(() => {
  main = installPacked(packBuilt(folder), join(folder, 'installed'));
  wanted = doRuns(BUILT, makeWorkplace(join(folder, 'here')), NAMES);
});

test('the oldest version is the one that package.json asks for', () => {
  const { engines } = JSON.parse(readFileSync('package.json', 'utf8'));
  expect(`${engines.node}.0`).toBe(`>=${VERSIONS[0]}`);
});

test.each(VERSIONS)('Node %s makes the same bytes and opens the page', async (version) => {
  const node = fetchNode({ os: 'linux', cpu: process.arch as 'x64', version });
  expect(spawnSync(node, ['--version'], { encoding: 'utf8' }).stdout).toMatch(new RegExp(`^v${version}\\b`));
  const place = makeWorkplace(join(folder, version));
  expect(doRuns(programOf(main, node), place, NAMES)).toEqual(wanted);
  const page = await startPageServer(mkdtempSync(join(folder, 'shop-')), { main, node });
  const facts = await fetch(`${page.origin}/api/shop`, { headers: await enter(page) });
  expect(facts.status).toBe(200);
  await page.stop();
});

test('the demo goes through, without a tool of development', () => {
  const program = programOf(main, fetchNode({ os: 'linux', cpu: process.arch as 'x64', version: VERSIONS[0]! }));
  const { status, stdout, stderr } = program(['demo', '--out', 'demo'], { cwd: folder });
  expect([status, stdout], stderr).toEqual([0, expect.stringContaining('two-dogs.ticket.html')]);
});
