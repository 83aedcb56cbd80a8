import { randomBytes } from 'node:crypto';
import { readdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { kill, pid } from 'node:process';

/** A new place in a folder for a body that is being received. Its name tells which server receives it. */
export function nameIncoming(folder: string): string {
  return join(folder, `${pid}-${randomBytes(8).toString('hex')}`);
}

/**
 * Removes what was being received when a server stopped: of no use to anybody. What another server that runs on the
 * same shop is just receiving stays.
 */
export async function clearIncoming(folder: string): Promise<void> {
  for (const name of await readdir(folder).catch(() => [] as string[])) {
    if (!isRunning(Number.parseInt(name, 10))) await rm(join(folder, name), { recursive: true, force: true });
  }
}

function isRunning(id: number): boolean {
  if (!(id > 0)) return false;
  try {
    kill(id, 0);
    return true;
  } catch (error) {
    // A process of somebody else's may not be asked, but it is there.
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
