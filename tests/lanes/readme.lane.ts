import { spawn } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, expect, test } from 'vitest';

/** What a clone holds that the commands of the README use, after `npm ci`. */
const CLONE = ['dist', 'images', 'shared', 'package.json'];
/** Lines that other tests run: these tests themselves, the whole demo, and what needs computers beside this one. */
const ELSEWHERE = [/^npm ci && npm test$/, /^npm ci && npx tonewright demo$/, /redis:\/\//];

const folder = mkdtempSync(join(tmpdir(), 'tonewright readme '));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Every line of the README that is to be typed, in its order. */
function listCommands(text: string): readonly string[] {
  const blocks = [...text.matchAll(/^```\n([\s\S]*?)^```$/gm)].map(([, block]) => block!.trim().split('\n'));
  return blocks.filter(([first]) => /^(npx|npm|mkdir|echo) /.test(first!)).flat();
}

const commands = listCommands(readFileSync('README.md', 'utf8')).filter(
  (line) => !ELSEWHERE.some((pattern) => pattern.test(line)),
);

/** Runs a line as a shell does; `open`, which goes on until it is stopped, until it has told its address. */
function type(line: string): Promise<{ readonly status: number | null; readonly said: string }> {
  const typed = line.replace(/^npx tonewright/, `"${process.execPath}" dist/tonewright.cjs`);
  const isServer = /^npx tonewright open/.test(line);
  const child = spawn(isServer ? `exec ${typed} --no-launch` : typed, { cwd: folder, shell: true, env: process.env });
  let said = '';
  let isOpen = false;
  for (const stream of [child.stdout, child.stderr]) {
    stream.on('data', (text) => {
      said += text;
      isOpen ||= isServer && /http:\/\/127\.0\.0\.1/.test(said);
      if (isOpen) child.kill('SIGINT');
    });
  }
  return new Promise((done) => child.on('close', (status) => done({ status: isOpen ? 0 : status, said })));
}

test('each command of the README works as it is printed, in its order, in a fresh clone', async () => {
  for (const name of CLONE) cpSync(name, join(folder, name), { recursive: true });
  symlinkSync(resolve('node_modules'), join(folder, 'node_modules'), 'junction');
  mkdirSync(join(folder, 'cache'));
  expect(commands.length).toBeGreaterThan(30);
  for (const line of commands) {
    const { status, said } = await type(line);
    expect(status, `${line}\n${said}`).toBe(0);
  }
}, 900_000);
