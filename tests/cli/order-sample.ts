import { type ChildProcess, spawn } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { sha256 } from '../../src/plane/index.ts';

const PHOTOS = ['cat.png', 'cup.png', 'portrait.png', 'photographer.png', 'raccoon.jpg'];

/** Small photos `p0.jpg` … in a folder: another crop and brightness of the sample photos for each number. */
export async function makePhotos(folder: string, count: number, { first = 0 } = {}): Promise<void> {
  mkdirSync(folder, { recursive: true });
  for (let i = first; i < first + count; i++) {
    await sharp(join('images/photos', PHOTOS[i % PHOTOS.length]!))
      .extract({ left: 10 + i, top: 10 + i, width: 240, height: 180 })
      .modulate({ brightness: 1 + 0.01 * i })
      .jpeg()
      .toFile(join(folder, `p${i}.jpg`));
  }
}

/** Coarse dots, so that a piece takes a moment. */
export const SMALL = ['--size', '20x15', '--profile', 'leather-patch'];

/** The same without a look at the photo: for tests that make hundreds of pieces and look at none. */
export const SMALL_AND_QUICK = [...SMALL, '--subject', 'none', '--tone', 'plain'];

/** The files of a folder with hashes of their bytes. */
export function readFolder(folder: string): Record<string, string> {
  return Object.fromEntries(
    readdirSync(folder)
      .sort()
      .map((name) => [name, sha256(readFileSync(join(folder, name)))]),
  );
}

export interface Started {
  readonly child: ChildProcess;
  readonly ended: Promise<{ readonly status: number | null; readonly stdout: string; readonly stderr: string }>;
  /** When stderr has shown this. */
  readonly saw: (text: string) => Promise<void>;
}

/** A copy of the built program: a build beside a long test must not change what is tested. */
export function copyProgram(): { readonly main: string; readonly remove: () => void } {
  const folder = mkdtempSync(join(tmpdir(), 'tonewright-program-'));
  const isNeeded = (path: string) => !/dist.(bench|page)/.test(path);
  for (const part of ['dist', 'shared', 'package.json']) {
    cpSync(part, join(folder, part), { recursive: true, filter: isNeeded });
  }
  symlinkSync(resolve('node_modules'), join(folder, 'node_modules'), 'junction');
  return { main: join(folder, 'dist', 'tonewright.cjs'), remove: () => rmSync(folder, { recursive: true }) };
}

/** The built command in a process of its own. */
export function startBuilt(main: string, argv: readonly string[]): Started {
  const child = spawn(process.execPath, [main, ...argv], {
    env: { PATH: process.env.PATH },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let stdout = '';
  let stderr = '';
  const waiting: { readonly text: string; readonly resolve: () => void }[] = [];
  child.stdout!.on('data', (data) => {
    stdout += data;
  });
  child.stderr!.on('data', (data) => {
    stderr += data;
    for (const { text, resolve: go } of waiting) if (stderr.includes(text)) go();
  });
  const ended = new Promise<Awaited<Started['ended']>>((go) => {
    child.on('close', (status) => go({ status, stdout, stderr }));
  });
  const saw = (text: string) =>
    new Promise<void>((go) => {
      if (stderr.includes(text)) go();
      waiting.push({ text, resolve: go });
    });
  return { child, ended, saw };
}

export const runBuilt = (main: string, argv: readonly string[]) => startBuilt(main, argv).ended;
