import type { HttpBindings } from '@hono/node-server';
import type { Context, MiddlewareHandler } from 'hono';
import { getCookie, setCookie } from 'hono/cookie';
import { AppError } from '../errors.ts';
import { knowConnection } from './server-connections.ts';
import { receiveText } from './server-receive.ts';
import { SESSION_S, type Sessions, sameText } from './server-sessions.ts';

/** Nothing from elsewhere, nothing inline; pictures that the page itself makes are blobs. */
const PAGE_POLICY = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self' blob: data:",
  "font-src 'self'",
  "connect-src 'self'",
  "frame-src 'self'",
  "manifest-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

/** A printed sheet carries its own style and pictures and no script. It may be framed by the page, to print it. */
export const SHEET_POLICY =
  "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox allow-same-origin allow-modals; frame-ancestors 'self'";

/** Most bytes and longest times, ms. Assumed: the body of an entry is a token and nothing else. */
const ENTRY_BODY = { maxBytes: 200, idleMs: 5000, totalMs: 5000 } as const;

export interface GuardOptions {
  readonly port: () => number;
  /** Of the address that this server prints. */
  readonly token: string;
  readonly sessions: Sessions;
}

/** Written on every answer, refusals included. */
const HEADERS: Readonly<Record<string, string>> = {
  'content-security-policy': PAGE_POLICY,
  'x-content-type-options': 'nosniff',
  'referrer-policy': 'no-referrer',
  'cross-origin-opener-policy': 'same-origin',
  'cross-origin-resource-policy': 'same-origin',
  'permissions-policy': 'camera=(), microphone=(), geolocation=(), usb=(), serial=()',
  'cache-control': 'no-store',
};

/** Goes around everything else: what a handler has set itself stays. */
export const setHeaders: MiddlewareHandler = async (c, next) => {
  await next();
  for (const [name, value] of Object.entries(HEADERS)) if (!c.res.headers.has(name)) c.res.headers.set(name, value);
};

/**
 * Lets in only what the page itself asks: the address must be this server's own (a name that some other site points at
 * 127.0.0.1 is refused), requests from other origins are refused, and all but the empty page needs a session. One in
 * use is renewed.
 */
export function createGuard({ port, sessions }: GuardOptions): MiddlewareHandler<{ Bindings: HttpBindings }> {
  return async (c, next) => {
    const hosts = [`127.0.0.1:${port()}`, `localhost:${port()}`];
    const host = c.req.header('host') ?? '';
    if (!hosts.includes(host)) {
      throw new AppError('request-refused', `found a request for the host "${host.slice(0, 80)}", needed ${hosts[0]}`);
    }
    const origin = c.req.header('origin');
    const site = c.req.header('sec-fetch-site');
    const reads = c.req.method === 'GET' || c.req.method === 'HEAD';
    const foreign =
      (origin !== undefined && origin !== `http://${host}`) ||
      (!reads && origin === undefined) ||
      (site !== undefined && site !== 'same-origin' && !(reads && site === 'none'));
    if (foreign) {
      throw new AppError('request-refused', 'found a request from another site, needed one from this page');
    }
    if (c.req.path.startsWith('/api/') && c.req.path !== '/api/enter') {
      const session = sessions.check(getCookie(c, cookieName(port())) ?? '');
      if (session === 'refused') {
        throw new AppError(
          'request-refused',
          'found no valid token, needed the address that Tonewright shows when it opens',
        );
      }
      knowConnection(c.env.incoming?.socket);
      await next();
      if (session === 'old') giveCookie(c, { port, sessions });
      return;
    }
    await next();
  };
}

/** Trades the token of the address for a cookie that scripts cannot read. */
export function createEntry({ port, token, sessions }: GuardOptions): MiddlewareHandler {
  return async (c) => {
    // Whoever asks is unknown as yet: no more of the body is read than a token is long.
    const shown = await receiveText(c.req.raw, ENTRY_BODY);
    if (!sameText(shown, token)) {
      throw new AppError(
        'request-refused',
        'found a wrong token, needed the address that Tonewright shows when it opens',
      );
    }
    giveCookie(c, { port, sessions });
    return c.body(null, 204);
  };
}

function giveCookie(c: Context, { port, sessions }: Pick<GuardOptions, 'port' | 'sessions'>): void {
  const facts = { httpOnly: true, sameSite: 'Strict', path: '/', maxAge: SESSION_S } as const;
  setCookie(c, cookieName(port()), sessions.issue(), facts);
}

/** Cookies do not know ports: two shops that are open at once must not take each other's. */
const cookieName = (port: number) => `tonewright-${port}`;
