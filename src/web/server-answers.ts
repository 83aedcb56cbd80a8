import { extname } from 'node:path';
import type { Hono } from 'hono';
import { DOT_FORMAT_NAMES, DOT_FORMATS } from '../tasks/index.ts';
import { SHEET_POLICY } from './server-guard.ts';

/** What a file is, by its ending. */
export const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.woff2': 'font/woff2',
  '.svg': 'image/svg+xml',
  '.jpg': 'image/jpeg',
  '.json': 'application/json; charset=utf-8',
  '.webmanifest': 'application/manifest+json; charset=utf-8',
  ...Object.fromEntries(DOT_FORMAT_NAMES.map((name) => [`.${name}`, DOT_FORMATS[name].mime])),
};

export function picture(bytes: Uint8Array, type: string): Response {
  return new Response(new Uint8Array(bytes), { headers: { 'content-type': type } });
}

/** It never changes under its address; a day is as long as anybody looks at the same list. */
export function thumbnail(bytes: Uint8Array): Response {
  const headers = { 'content-type': 'image/jpeg', 'cache-control': 'private, max-age=86400' };
  return new Response(new Uint8Array(bytes), { headers });
}

/** A file of the shop, to be saved; or looked at, if it is a picture or a sheet to print. */
export function fileAnswer(bytes: Uint8Array, name: string, view: boolean): Response {
  const ending = extname(name);
  const type = TYPES[ending] ?? 'application/octet-stream';
  return new Response(new Uint8Array(bytes), {
    headers: {
      'content-type': type,
      'content-disposition': `${view ? 'inline' : 'attachment'}; filename*=UTF-8''${encodeURIComponent(name)}`,
      ...(ending === '.html' ? { 'content-security-policy': SHEET_POLICY } : {}),
    },
  });
}

/** Files under an address that ends in `:id/…/:file`; `?view` looks at one instead of saving it. */
export function addFileRoute(
  app: Hono,
  address: `${string}/:id${string}/:file`,
  read: (id: string, file: string) => Promise<Uint8Array>,
): void {
  app.get(address, async (c) => {
    const { id = '', file = '' } = c.req.param() as Readonly<Record<string, string>>;
    return fileAnswer(await read(id, file), file, c.req.query('view') !== undefined);
  });
}

export function readFileName(text: string | undefined): string {
  try {
    return decodeURIComponent(text ?? '').slice(0, 300);
  } catch {
    return 'photo';
  }
}
