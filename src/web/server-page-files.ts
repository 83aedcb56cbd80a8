import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { gzipSync } from 'node:zlib';
import type { Hono } from 'hono';
import { TYPES } from './server-answers.ts';

/** The page's own files by their address; nothing else in that folder or above it can be asked for. */
export async function addPageFiles(app: Hono, folder: string): Promise<void> {
  for (const name of await readdir(folder)) {
    const type = TYPES[extname(name)];
    if (type === undefined) continue;
    const bytes = new Uint8Array(await readFile(join(folder, name)));
    // The font is packed already.
    const packed = extname(name) === '.woff2' ? undefined : new Uint8Array(gzipSync(bytes));
    const tag = `"${createHash('sha256').update(bytes).digest('hex').slice(0, 32)}"`;
    app.get(name === 'index.html' ? '/' : `/${name}`, (c) => {
      // Asked anew each time, sent anew only when a new program has another one.
      const headers = { 'cache-control': 'no-cache', etag: tag, vary: 'accept-encoding' };
      if (c.req.header('if-none-match') === tag) return c.body(null, 304, headers);
      const small = packed && /\bgzip\b/.test(c.req.header('accept-encoding') ?? '');
      if (!small) return c.body(bytes, 200, { ...headers, 'content-type': type });
      return c.body(packed, 200, { ...headers, 'content-type': type, 'content-encoding': 'gzip' });
    });
  }
}
