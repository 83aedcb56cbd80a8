import { type ChildProcess, spawn } from 'node:child_process';

/** A page server of the built program, and what a window asks it with. */
export interface ServedPage {
  readonly child: ChildProcess;
  readonly origin: string;
  /** Origin and cookie, without which nothing is answered. */
  readonly headers: Readonly<Record<string, string>>;
  /** @throws Error with the answer's text where it is none of 200 */
  readonly send: (method: string, path: string, body: object) => Promise<Response>;
}

/** Starts `tonewright open` on a shop folder, on a free port, and enters. */
export async function servePage(shop: string): Promise<ServedPage> {
  const args = ['dist/tonewright.cjs', 'open', '--no-launch', '--json', '--port', '0', '--shop', shop];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'inherit'] });
  const { origin, hash } = new URL(await readAddress(child));
  const entered = await fetch(`${origin}/api/enter`, { method: 'POST', body: hash.slice(1), headers: { origin } });
  const headers = { origin, cookie: entered.headers.get('set-cookie')!.split(';')[0]! };
  return {
    child,
    origin,
    headers,
    async send(method, path, body) {
      const answer = await fetch(origin + path, { method, headers, body: JSON.stringify(body) });
      if (!answer.ok) throw new Error(`${method} ${path}: ${answer.status} ${await answer.text()}`);
      return answer;
    },
  };
}

function readAddress(child: ChildProcess): Promise<string> {
  let out = '';
  return new Promise((resolve, reject) => {
    child.once('exit', (code) => reject(new Error(`the server ended with ${code}`)));
    child.stdout!.on('data', (data) => {
      out += data;
      const found = /"url": "([^"]+)"/.exec(out);
      if (found) resolve(found[1]!);
    });
  });
}

export const endOf = (child: ChildProcess): Promise<void> =>
  new Promise((resolve) => {
    if (child.exitCode !== null || child.signalCode !== null) return resolve();
    child.once('close', () => resolve());
  });
