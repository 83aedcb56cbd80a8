import { randomBytes } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { open, readFile, rename, rm, stat, utimes } from 'node:fs/promises';
import { hostname } from 'node:os';
import { setTimeout as wait } from 'node:timers/promises';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import { explainWriteError } from '../plane/index.ts';

export const LOCK_FILE = 'order.lock';
/**
 * A run touches its lock so often; another computer takes it for dead when it was not touched for so long. Assumed:
 * three missed beats and a slow disk are no death.
 */
const HEARTBEAT_MS = 2000;
const SILENCE_MS = 7000;
/**
 * Two runs that take over the same dead lock at once see, after this, whose is left. Assumed: renaming takes a
 * millisecond or so.
 */
const SETTLE_MS = 30;

interface Holder {
  readonly pid: number;
  readonly host: string;
  /** When the process began, in the system's own count; null where the system does not say. */
  readonly began: string | null;
  readonly token: string;
}

export interface Lock {
  readonly release: () => Promise<void>;
}

/**
 * Takes the output folder for this run alone. The lock of a run that has died is taken over: on this computer when its
 * process is no more, on another one, or where its number may be another's by now, when nobody has touched it for a
 * while.
 * @throws AppError order-busy; path-unwritable
 */
export async function acquireLock(path: string, { silenceMs = SILENCE_MS } = {}): Promise<Lock> {
  const mine: Holder = {
    pid: process.pid,
    host: hostname(),
    began: readStart(process.pid) ?? null,
    token: randomBytes(8).toString('hex'),
  };
  const text = JSON.stringify(mine);
  for (let attempt = 0; attempt < 5; attempt++) {
    if (await create(path, text)) {
      await wait(SETTLE_MS);
      if ((await read(path)) === text) return hold(path, text);
      continue;
    }
    const found = await read(path);
    // It was released between the two looks.
    if (found === undefined) continue;
    const holder = parse(found);
    if (holder ? await isAlive(holder, { path, silenceMs }) : !(await isSilent(path, silenceMs))) {
      throw busy(path, holder);
    }
    await moveAside(path, { found, token: mine.token });
  }
  throw busy(path, parse((await read(path)) ?? ''));
}

async function create(path: string, text: string): Promise<boolean> {
  try {
    const file = await open(path, 'wx');
    await file
      .writeFile(text)
      .catch(async (error) => {
        await rm(path, { force: true });
        throw error;
      })
      .finally(() => file.close());
    return true;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') return false;
    throw explainWriteError(error, path);
  }
}

async function read(path: string): Promise<string | undefined> {
  return readFile(path, 'utf8').catch(() => undefined);
}

function parse(text: string): Holder | undefined {
  try {
    const holder = parseJson(text) as Holder;
    return typeof holder.pid === 'number' && typeof holder.host === 'string' ? holder : undefined;
  } catch {
    return undefined;
  }
}

async function isAlive(
  { pid, host, began }: Holder,
  { path, silenceMs }: { readonly path: string; readonly silenceMs: number },
): Promise<boolean> {
  if (host !== hostname()) return !(await isSilent(path, silenceMs));
  try {
    process.kill(pid, 0);
  } catch (error) {
    // No right to signal it means that it is there.
    if ((error as NodeJS.ErrnoException).code !== 'EPERM') return false;
  }
  // Another process may have got the number since. Where the system does not tell when one began, its touch tells.
  if (began === null) return !(await isSilent(path, silenceMs));
  // One that has ended but is still listed has no start any more.
  return readStart(pid) === began;
}

/** Start of a process as Linux tells it; undefined on other systems, and where the process has ended. */
function readStart(pid: number): string | undefined {
  if (process.platform !== 'linux') return undefined;
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1');
    // The second field is the program's name in brackets and may hold anything, spaces and brackets too.
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
    return fields[0] === 'Z' || fields[0] === 'X' ? undefined : fields[19];
  } catch {
    return undefined;
  }
}

/** Whether nobody touches the lock while we look: the clocks of two computers need not agree for that. */
async function isSilent(path: string, silenceMs: number): Promise<boolean> {
  const touched = () =>
    stat(path, { bigint: true }).then(
      ({ mtimeNs }) => mtimeNs,
      () => undefined,
    );
  const before = await touched();
  await wait(silenceMs);
  return (await touched()) === before;
}

/** Puts a dead lock away. Should it have been replaced meanwhile, the live one goes back. */
async function moveAside(
  path: string,
  { found, token }: { readonly found: string; readonly token: string },
): Promise<void> {
  const aside = `${path}.${token}`;
  try {
    await rename(path, aside);
  } catch {
    return;
  }
  const moved = await read(aside);
  if (moved !== undefined && moved !== found) await create(path, moved);
  await rm(aside, { force: true });
}

function hold(path: string, text: string): Lock {
  const heartbeat = setInterval(() => {
    const now = new Date();
    void utimes(path, now, now).catch(() => undefined);
  }, HEARTBEAT_MS);
  heartbeat.unref();
  return {
    async release() {
      clearInterval(heartbeat);
      if ((await read(path)) === text) await rm(path, { force: true });
    },
  };
}

function busy(path: string, holder: Holder | undefined): AppError {
  const who = holder ? `process ${holder.pid} on ${holder.host}` : 'another run';
  return new AppError('order-busy', `${path}: found ${who} at work in this folder, needed a folder for one run alone`, {
    path,
    ...(holder ? { pid: holder.pid, host: holder.host } : {}),
  });
}
