import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { closeSync, existsSync, mkdirSync, openSync, readFileSync, renameSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fetchNode, NODE_VERSION } from '../../packaging/nodes.ts';
import { CLEAN_ENV, type Ended, type Program } from './installed.ts';

/** Windows' Node on this system, by Wine (https://www.winehq.org, LGPL): a shop's computer with its drives. */
export interface Wine {
  /** A program of Windows and its arguments. Wine's pipes do not serve Node's output, so it goes to files. */
  readonly run: (argv: readonly string[], options: RunOptions) => Ended;
  readonly start: (argv: readonly string[], options: RunOptions) => Started;
  /** Tonewright by the file of its `main`. */
  readonly programOf: (main: string) => Program;
  readonly node: string;
  /** Environment of whatever starts Wine itself. */
  readonly env: NodeJS.ProcessEnv;
  /** Folder of the drive C:. */
  readonly driveC: string;
  /** Makes a folder of this system a share, `\\SERVER\NAME` there. */
  readonly share: (server: string, name: string, folder: string) => string;
  /** Compiles a C file of this folder. @returns the program's path */
  readonly compile: (name: string) => string;
}

interface RunOptions {
  readonly cwd: string;
  readonly env?: NodeJS.ProcessEnv;
}

export interface Started {
  readonly child: ChildProcess;
  readonly ended: Promise<number | null>;
  readonly stdout: () => string;
  readonly stderr: () => string;
}

const COMPILER = 'x86_64-w64-mingw32-gcc-win32';
const HERE = resolve('tests', 'lanes');

const isThere = (program: string, flag: string) => spawnSync(program, [flag]).status === 0;

/** The path as a program of Windows says it: the whole of this system is its drive Z:. */
export const toWindows = (path: string) => `Z:${path.replaceAll('/', '\\')}`;

/**
 * Makes a computer with Windows out of Wine, or takes the one of last time.
 * @throws Error that says what to install
 */
export function openWine(): Wine {
  if (!isThere('wine', '--version') || !isThere(COMPILER, '--version')) {
    throw new Error(
      'Wine or its compiler is missing: apt-get install --no-install-recommends wine wine64 gcc-mingw-w64-x86-64-win32',
    );
  }
  const place = join(tmpdir(), 'tonewright-wine');
  const prefix = join(place, 'prefix');
  mkdirSync(place, { recursive: true });
  const env = {
    ...CLEAN_ENV,
    WINEPREFIX: prefix,
    WINEDEBUG: '-all',
    // Wine 8 calls itself a Windows that this Node is not made for.
    NODE_SKIP_PLATFORM_CHECK: '1',
  };
  const node = fetchNode({ os: 'win32', cpu: 'x64', version: NODE_VERSION });
  const compileTo = (target: string, source: string, ...flags: readonly string[]) => {
    const { status, stderr } = spawnSync(COMPILER, [...flags, '-o', target, join(HERE, source)], { encoding: 'utf8' });
    if (status !== 0) throw new Error(`${source} was not compiled: ${stderr}`);
    return target;
  };
  const library = join(prefix, 'drive_c', 'windows', 'system32', 'bcryptprimitives.dll');
  if (!existsSync(library)) {
    spawnSync('wine', ['winecfg', '-v', 'win10'], { env, stdio: 'ignore' });
    spawnSync(COMPILER, ['-shared', '-o', library, join(HERE, 'bcryptprimitives.c'), '-ladvapi32']);
    if (!existsSync(library)) throw new Error('Wine did not make a computer of its own');
  }
  let count = 0;
  const logs = () => join(place, `run-${process.pid}-${count++}`);
  const start: Wine['start'] = (argv, { cwd, env: more }) => {
    const log = logs();
    const files = ['out', 'err'].map((name) => openSync(`${log}.${name}`, 'w'));
    const child = spawn('wine', argv, { cwd, env: { ...env, ...more }, stdio: ['ignore', ...files] });
    for (const file of files) closeSync(file);
    return {
      child,
      ended: new Promise((done) => child.once('exit', done)),
      stdout: () => readFileSync(`${log}.out`, 'utf8'),
      stderr: () => readFileSync(`${log}.err`, 'utf8'),
    };
  };
  const run: Wine['run'] = (argv, { cwd, env: more }) => {
    const log = logs();
    const files = ['out', 'err'].map((name) => openSync(`${log}.${name}`, 'w'));
    const { status } = spawnSync('wine', argv, { cwd, env: { ...env, ...more }, stdio: ['ignore', ...files] });
    for (const file of files) closeSync(file);
    const [stdout, stderr] = ['out', 'err'].map((name) => {
      const text = readFileSync(`${log}.${name}`, 'utf8');
      rmSync(`${log}.${name}`);
      return text;
    });
    return { status, stdout: stdout!, stderr: stderr! };
  };
  return {
    node,
    env,
    run,
    start,
    driveC: join(prefix, 'drive_c'),
    programOf:
      (main) =>
      (args, { cwd }) =>
        run([node, toWindows(main), ...args], { cwd }),
    share(server, name, folder) {
      const at = join(prefix, 'dosdevices', 'unc', server);
      mkdirSync(at, { recursive: true });
      rmSync(join(at, name), { force: true });
      symlinkSync(folder, join(at, name));
      return `\\\\${server}\\${name}`;
    },
    compile(name) {
      const target = join(place, `${name}.exe`);
      compileTo(`${target}.part`, `${name}.c`, '-municode');
      renameSync(`${target}.part`, target);
      return target;
    },
  };
}
