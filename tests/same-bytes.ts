import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'vitest';

const sha = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest('hex').slice(0, 16);

/**
 * What tells two files apart in a line or two, undefined where nothing does: a failing test must not print megabytes.
 * Of texts, the place and what stands there; of others, the first place and both sums.
 */
export function differ(found: Uint8Array, wanted: Uint8Array): string | undefined {
  const [a, b] = [Buffer.from(found), Buffer.from(wanted)];
  if (a.equals(b)) return undefined;
  let at = 0;
  while (at < a.length && at < b.length && a[at] === b[at]) at++;
  const around = (bytes: Buffer) => JSON.stringify(bytes.toString('latin1', Math.max(0, at - 24), at + 24));
  const sizes = `${a.length} bytes (${sha(a)}) instead of ${b.length} (${sha(b)})`;
  return `${sizes}, first at ${at}: found ${around(a)}, wanted ${around(b)}`;
}

export function expectSameFile(found: string, wanted: string): void {
  expect(differ(readFileSync(found), readFileSync(wanted)), `${found} against ${wanted}`).toBeUndefined();
}

/** The same names in both folders, each with the same bytes; what begins with a dot is no result. */
export function expectSameFolder(found: string, wanted: string): void {
  const list = (path: string) =>
    readdirSync(path)
      .filter((name) => !name.startsWith('.'))
      .sort();
  expect(list(found)).toEqual(list(wanted));
  for (const name of list(wanted)) expectSameFile(join(found, name), join(wanted, name));
}
