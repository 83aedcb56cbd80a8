import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { stat } from 'node:fs/promises';
import { pipeline } from 'node:stream/promises';

/**
 * SHA-256 of a file without holding it in memory; undefined where it cannot be read, or is no file (a pipe never ends).
 */
export async function hashFile(path: string): Promise<string | undefined> {
  const hash = createHash('sha256');
  try {
    if (!(await stat(path)).isFile()) return undefined;
    await pipeline(createReadStream(path), hash);
  } catch {
    return undefined;
  }
  return hash.digest('hex');
}
