import { type ChildProcess, execFile, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { promisify } from 'node:util';

const PROGRAM = resolve('dist', 'tonewright.cjs');

/** The built command, as a shop would type it. */
export async function runCommand(cwd: string, ...args: readonly string[]): Promise<void> {
  await promisify(execFile)(process.execPath, [PROGRAM, ...args], { cwd, maxBuffer: 1e8 });
}

export interface PageServer {
  readonly url: string;
  readonly origin: string;
  readonly token: string;
  readonly process: ChildProcess;
  /** All that it has printed by now. */
  readonly printed: () => string;
  /** Ends it at once, as a crash would, or politely. */
  readonly stop: (signal?: NodeJS.Signals) => Promise<void>;
}

/** `tonewright open` on a shop folder, of the program that is built here or of another one. */
export async function startPageServer(
  shop: string,
  {
    port = 0,
    main = PROGRAM,
    node = process.execPath,
    options = [],
  }: {
    readonly port?: number;
    readonly main?: string;
    readonly node?: string;
    readonly options?: readonly string[];
  } = {},
): Promise<PageServer> {
  if (!existsSync(main)) throw new Error('the program is not built: run `npm run build` first');
  const args = [main, 'open', '--no-launch', '--json', '--shop', shop, '--port', String(port), ...options];
  const child = spawn(node, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let told = '';
  child.stderr.on('data', (data) => {
    told += data;
  });
  const url = await new Promise<string>((done, fail) => {
    child.stdout.on('data', (data) => {
      out += data;
      const found = /"url": "([^"]+)"/.exec(out);
      if (found) done(found[1]!);
    });
    child.once('exit', (code) => fail(new Error(`the server ended with ${code}: ${told}`)));
  });
  const { origin, hash } = new URL(url);
  return {
    url,
    origin,
    token: hash.slice(1),
    process: child,
    printed: () => out,
    stop: (signal = 'SIGTERM') =>
      new Promise((done) => {
        if (child.exitCode !== null || child.signalCode !== null) return done();
        child.once('exit', () => done());
        child.kill(signal);
      }),
  };
}

/** A cookie that lets a test ask what the page asks. */
export async function enter({
  origin,
  token,
}: Pick<PageServer, 'origin' | 'token'>): Promise<Readonly<Record<string, string>>> {
  const answer = await fetch(`${origin}/api/enter`, { method: 'POST', body: token, headers: { origin } });
  if (answer.status !== 204) throw new Error(`entering gave ${answer.status}`);
  return { cookie: answer.headers.get('set-cookie')!.split(';')[0]!, origin };
}

export function makeFolder(): { readonly path: string; readonly remove: () => void } {
  const path = mkdtempSync(join(tmpdir(), 'tonewright-page-'));
  return { path, remove: () => rmSync(path, { recursive: true, force: true }) };
}
