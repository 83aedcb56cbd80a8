import { createWriteStream } from 'node:fs';
import { rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import { Writable } from 'node:stream';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import { makeFolder } from '../tasks/index.ts';
import { writing } from './server-files.ts';

export interface ReceiveLimits {
  readonly maxBytes: number;
  /** Longest silence, ms. */
  readonly idleMs: number;
  /** Longest time for the whole body, ms. */
  readonly totalMs: number;
}

/**
 * Stream a body into a file. Nothing of it stays when it is too large, too slow, or cut off.
 * @throws AppError upload-too-large, upload-cut-off; path-unwritable where the disk is full or may not be written
 */
export async function receiveFile(
  request: Request,
  { path, limits }: { readonly path: string; readonly limits: ReceiveLimits },
): Promise<number> {
  const { maxBytes, idleMs, totalMs } = limits;
  const declared = declaredLength(request, maxBytes);
  if (!request.body) throw new AppError('upload-cut-off', 'found no file in the request, needed one');
  const stored = <T>(work: Promise<T>) => writing(dirname(path), work);
  await stored(makeFolder(dirname(path)));
  const target = Writable.toWeb(createWriteStream(path, { flags: 'wx' })).getWriter();
  const reader = request.body.getReader();
  const end = Date.now() + totalMs;
  let received = 0;
  try {
    for (;;) {
      const { done, value } = await within(reader.read(), Math.min(idleMs, end - Date.now()));
      if (done) break;
      received += value.length;
      if (received > maxBytes) throw tooLarge(received, maxBytes);
      await stored(target.write(value));
    }
    if (Number.isFinite(declared) && received < declared) throw cutOff(received, declared);
    await stored(target.close());
    return received;
  } catch (error) {
    await reader.cancel().catch(() => undefined);
    await target.abort().catch(() => undefined);
    await rm(path, { force: true });
    if (error instanceof AppError) throw error;
    throw cutOff(received, declared);
  }
}

/**
 * A small body as text.
 * @throws AppError upload-too-large, upload-cut-off, option-invalid
 */
export async function receiveText(request: Request, limits: ReceiveLimits): Promise<string> {
  return (await receiveBytes(request, limits)).toString('utf8');
}

/**
 * A small body as it came.
 * @throws AppError upload-too-large, upload-cut-off, option-invalid
 */
export async function receiveBytes(request: Request, limits: ReceiveLimits): Promise<Buffer> {
  const { maxBytes, totalMs } = limits;
  declaredLength(request, maxBytes);
  if (!request.body) throw new AppError('option-invalid', 'found an empty request');
  const reader = request.body.getReader();
  const parts: Uint8Array[] = [];
  let received = 0;
  const end = Date.now() + totalMs;
  try {
    for (;;) {
      const { done, value } = await within(reader.read(), end - Date.now());
      if (done) break;
      received += value.length;
      if (received > maxBytes) throw tooLarge(received, maxBytes);
      parts.push(value);
    }
  } catch (error) {
    await reader.cancel().catch(() => undefined);
    if (error instanceof AppError) throw error;
    throw cutOff(received, Number.NaN);
  }
  return Buffer.concat(parts);
}

/**
 * A small JSON body.
 * @throws AppError upload-too-large, upload-cut-off, option-invalid
 */
export async function receiveJson(request: Request, limits: ReceiveLimits): Promise<unknown> {
  const text = await receiveText(request, limits);
  try {
    return parseJson(text);
  } catch {
    throw new AppError('option-invalid', 'found a request that is not JSON');
  }
}

async function within<T>(work: Promise<T>, ms: number): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(
      () => reject(new AppError('upload-cut-off', 'found no more data for too long, needed the rest of the file')),
      Math.max(0, ms),
    );
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
  }
}

/**
 * What the head of a request promises, NaN where it promises nothing: too much is refused before a byte is read.
 * @throws AppError upload-too-large
 */
function declaredLength(request: Request, maxBytes: number): number {
  const declared = Number(request.headers.get('content-length') ?? Number.NaN);
  if (declared > maxBytes) throw tooLarge(declared, maxBytes);
  return declared;
}

function tooLarge(bytes: number, maxBytes: number): AppError {
  const [has, may] = [bytes, maxBytes].map(sayBytes);
  return new AppError('upload-too-large', `found ${has} or more, needed at most ${may}`, { bytes, maxBytes });
}

function sayBytes(count: number): string {
  if (count < 1000) return `${count} bytes`;
  return count < 1e6 ? `${Math.ceil(count / 1000)} kB` : `${Math.ceil(count / 1e6)} MB`;
}

function cutOff(received: number, declared: number): AppError {
  const of = Number.isFinite(declared) ? ` of ${declared}` : '';
  return new AppError('upload-cut-off', `found ${received}${of} bytes, then the connection ended`, { received });
}
