import type { ChildProcess } from 'node:child_process';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { findPackageRoot } from './kernels.ts';
import type { Pixels, PixelsRequest } from './pixels.ts';

/**
 * Decoding in a process of its own, which can be ended: some decoders make the whole picture in one call of machine
 * code, and no time limit, no signal and no end of a thread reaches into that.
 */

/** What the other process says before the samples. */
export type PixelsHead = Omit<Pixels, 'data'> | { readonly error: string };

/** Length of the head's own length. Format: 32 bits, little-endian, before the head and the samples. */
const LENGTH_BYTES = 4;

/** The built program of the other process; undefined where nothing is built, as in a source tree. */
export function findDecoder(): string | undefined {
  const root = findPackageRoot();
  const path = root === undefined ? undefined : join(root, 'dist', 'decode-child.cjs');
  return path !== undefined && existsSync(path) ? path : undefined;
}

/**
 * Pixels of a file, decoded by `program`; after `seconds` its process is ended, whatever it is at.
 * @throws Error whose message begins with "timeout" then, and with the library's own words where they are the reason
 */
export async function decodePixelsApart(
  bytes: Uint8Array,
  {
    request,
    seconds,
    program,
  }: { readonly request: PixelsRequest; readonly seconds: number; readonly program: string },
): Promise<Pixels> {
  const { fork } = await import('node:child_process');
  const child = fork(program, [JSON.stringify(request)], { stdio: ['pipe', 'pipe', 'ignore', 'ipc'], execArgv: [] });
  let isLate = false;
  const timer = setTimeout(() => {
    isLate = true;
    child.kill('SIGKILL');
  }, seconds * 1000);
  try {
    // What ends before it has read all is told by its answer, or by the lack of one.
    child.stdin!.on('error', () => undefined);
    child.stdin!.end(bytes);
    const [pixels] = await Promise.all([receivePixels(child, request), waitForEnd(child)]);
    if (pixels !== undefined) return pixels;
    throw new Error(isLate ? `timeout: ended after ${seconds} s` : 'its decoder ended without an answer');
  } finally {
    clearTimeout(timer);
    child.kill('SIGKILL');
  }
}

function waitForEnd(child: ChildProcess): Promise<void> {
  return new Promise((done, fail) => {
    child.once('error', fail);
    child.once('close', () => done());
  });
}

/**
 * The samples, put into their place as they come; undefined when they end too soon. @throws Error as the other side
 * says
 */
async function receivePixels(child: ChildProcess, { deep }: Pick<PixelsRequest, 'deep'>): Promise<Pixels | undefined> {
  let before = Buffer.alloc(0);
  let head: Omit<Pixels, 'data'> | undefined;
  let data = new Uint8Array(0);
  let filled = 0;
  const fill = (part: Uint8Array) => {
    data.set(part.subarray(0, data.length - filled), filled);
    filled += Math.min(part.length, data.length - filled);
  };
  for await (const part of child.stdout! as AsyncIterable<Buffer>) {
    if (head) {
      fill(part);
      continue;
    }
    before = Buffer.concat([before, part]);
    if (before.length < LENGTH_BYTES) continue;
    const end = LENGTH_BYTES + before.readUInt32LE(0);
    if (before.length < end) continue;
    const told = JSON.parse(before.toString('utf8', LENGTH_BYTES, end)) as PixelsHead;
    if ('error' in told) throw new Error(told.error);
    head = told;
    data = new Uint8Array(told.width * told.height * told.channels * (deep ? 2 : 1));
    fill(before.subarray(end));
  }
  return head && filled === data.length ? { ...head, data } : undefined;
}

/** The head as it is sent: its length, then itself. */
export function packHead(head: PixelsHead): Buffer {
  const text = Buffer.from(JSON.stringify(head));
  const length = Buffer.alloc(LENGTH_BYTES);
  length.writeUInt32LE(text.length);
  return Buffer.concat([length, text]);
}
