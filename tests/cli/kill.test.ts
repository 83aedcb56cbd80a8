import { spawnSync } from 'node:child_process';
import { copyFileSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect, test } from 'vitest';
import { sha256 } from '../../src/plane/index.ts';
import { useFolder } from './run-cli.ts';

const makeFolder = useFolder();
const PROGRAM = resolve('dist/tonewright.cjs');
const isUnix = process.platform !== 'win32';

/** Loaded before the program: ends it without warning before the step of this number that changes names in a folder. */
const KILLER = `
const files = require('node:fs/promises');
let left = Number(process.env.STEPS_TO_LIVE);
for (const name of ['rename', 'link', 'rm']) {
  const real = files[name];
  files[name] = (...args) => {
    if (left-- === 0) process.kill(process.pid, 'SIGKILL');
    return real(...args);
  };
}
`;

/** The hook counts steps of the built program, which takes these functions from the module each time. */
test.runIf(isUnix)(
  'a run that is ended at any step leaves no new bitmap beside an old ticket, and the next one leaves nothing else',
  () => {
    const folder = makeFolder();
    copyFileSync('images/photos/cat.png', join(folder, 'cat.png'));
    writeFileSync(join(folder, 'killer.cjs'), KILLER);
    const prepare = (spacing: string, stepsToLive?: number) =>
      spawnSync(
        process.execPath,
        [
          ...(stepsToLive === undefined ? [] : ['--require', './killer.cjs']),
          ...[PROGRAM, 'prepare', 'cat.png', '--size', '8x6', '--profile', 'anodised-black', '--pitch', '0.05'],
          ...['--spacing', spacing, '--out', 'out', '--force'],
        ],
        { cwd: folder, env: { ...process.env, STEPS_TO_LIVE: String(stepsToLive) }, encoding: 'utf8' },
      );
    const readResult = () => {
      const names = readdirSync(join(folder, 'out')).filter((name) => name.startsWith('cat'));
      return names.map((name) => `${name} ${sha256(readFileSync(join(folder, 'out', name)))}`);
    };
    const wholes = ['0.06', '0.05'].map((spacing) => {
      expect(prepare(spacing).status).toBe(0);
      return readResult();
    });
    expect(wholes[0]).not.toEqual(wholes[1]);
    let killed = 0;
    for (let step = 0; ; step++) {
      const { signal, status, stderr } = prepare(step % 2 === 0 ? '0.06' : '0.05', step);
      const found = readResult();
      const isOfOne = wholes.some((whole) => found.every((file) => whole.includes(file)));
      expect(isOfOne, `${step}: ${found.join(', ')}`).toBe(true);
      if (signal === null) {
        expect(status, stderr).toBe(0);
        break;
      }
      killed++;
    }
    // Four files put aside, four put in their place, and four taken away at the end.
    expect(killed).toBeGreaterThanOrEqual(12);
    expect(prepare('0.05').status).toBe(0);
    const names = ['cat.png', 'cat.proof.png', 'cat.ticket.html', 'cat.ticket.json'];
    expect(readdirSync(join(folder, 'out')).sort()).toEqual(names);
  },
  300_000,
);
