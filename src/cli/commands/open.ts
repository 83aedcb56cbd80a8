import { spawn } from 'node:child_process';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { packageRoot } from '../../tasks/index.ts';
import type { Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { version } from '../version.ts';

/**
 * What this command asks of the page. It is started by its built file and not imported: the command line and the page
 * do not know each other, and no other command pays for the server.
 */
interface Page {
  readonly startPage: (options: {
    readonly shopDir: string;
    readonly port: number;
    readonly version: string;
    readonly forgetBrowsers: boolean;
  }) => Promise<{ readonly url: string; readonly close: () => Promise<void> }>;
}

export const run: Run = async (_args, options, { io, shop, warn }) => {
  const port = numberOf(options, 'port', { min: 0, max: 65535, whole: true }) ?? 0;
  const named = textOf(options, 'shop') ?? io.env.TONEWRIGHT_SHOP;
  const shopDir = shop.shopDir ?? resolve(io.cwd, named || 'shop');
  const { startPage } = createRequire(import.meta.url)(join(packageRoot(), 'dist', 'web.cjs')) as Page;
  const { url } = await startPage({ shopDir, port, version, forgetBrowsers: options.forgetBrowsers === true });
  if (options.launch !== false) {
    // A machine without a browser is no reason to stop: the address is printed.
    launch(url).on('error', () => warn('No browser could be started; open the address by hand.'));
  }
  return { json: { url, shop: shopDir }, text: `open   ${url}\nshop   ${shopDir}\nstop   with Ctrl-C` };
};

function launch(url: string) {
  const [command, args] =
    process.platform === 'darwin'
      ? (['open', [url]] as const)
      : process.platform === 'win32'
        ? (['cmd', ['/c', 'start', '', url]] as const)
        : (['xdg-open', [url]] as const);
  const child = spawn(command, args, { stdio: 'ignore', detached: true });
  child.unref();
  return child;
}
