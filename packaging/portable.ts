// Makes a folder and a ZIP for each system, which need nothing installed: Node's binary, the program with the packages for that
// system, a start file to double-click, all licences and a bill of materials. `portable [SYSTEM…]`, such as `linux-x64`; all
// when none is named. The same sources give the same bytes.
import { createHash } from 'node:crypto';
import {
  chmodSync,
  copyFileSync,
  cpSync,
  createWriteStream,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join, resolve } from 'node:path';
import { pipeline } from 'node:stream/promises';
import * as esbuild from 'esbuild';
import yazl from 'yazl';
import { installPacked, type Platform, packBuilt } from './install.ts';
import { listBundled, listInstalled, type Part, readPart, writeBill, writeLicences } from './licences.ts';
import { fetchNode, licenceOfNode, NODE_VERSION } from './nodes.ts';

export const PLATFORMS: Readonly<Record<string, Platform>> = {
  'windows-x64': { os: 'win32', cpu: 'x64' },
  'macos-arm64': { os: 'darwin', cpu: 'arm64' },
  'macos-x64': { os: 'darwin', cpu: 'x64' },
  'linux-x64': { os: 'linux', cpu: 'x64' },
  'linux-arm64': { os: 'linux', cpu: 'arm64' },
};
/** Most bytes of a ZIP. The project's own limit: what a shop's line fetches in a minute or two. */
const MOST_BYTES = 120e6;
/** The time that all files in a ZIP bear: the first that its format can say. */
const EPOCH = new Date(1980, 0, 1);

const START_FILES: Readonly<Record<Platform['os'], { readonly name: string; readonly text: string }>> = {
  // The window stays: it says how to stop, and what went wrong.
  win32: {
    name: 'Tonewright.cmd',
    text: '@echo off\r\ntitle Tonewright\r\n"%~dp0runtime\\node.exe" "%~dp0program\\dist\\start.cjs" %*\r\nif errorlevel 1 pause\r\n',
  },
  darwin: {
    name: 'Tonewright.command',
    text: '#!/bin/sh\nhere=$(cd "$(dirname "$0")" && pwd)\nexec "$here/runtime/node" "$here/program/dist/start.cjs" "$@"\n',
  },
  linux: {
    name: 'tonewright.sh',
    text: '#!/bin/sh\nhere=$(cd "$(dirname "$(readlink -f "$0")")" && pwd)\nexec "$here/runtime/node" "$here/program/dist/start.cjs" "$@"\n',
  },
};

export interface Portable {
  readonly folder: string;
  readonly zip: string;
  readonly zipBytes: number;
  readonly folderBytes: number;
  readonly sha256: string;
}

/**
 * Makes the portable folder of one system and its ZIP below `out`.
 * @param name of the system, a key of PLATFORMS
 * @throws Error where the registry is out of reach, a package has no licence, or the ZIP is too large
 */
export async function makePortable(
  name: string,
  { out, archive }: { out: string; archive: string },
): Promise<Portable> {
  const platform = PLATFORMS[name];
  if (platform === undefined) throw new Error(`found "${name}", needed one of ${Object.keys(PLATFORMS).join(', ')}`);
  const { version } = JSON.parse(readFileSync('package.json', 'utf8'));
  const folder = join(out, `tonewright-${version}-${name}`);
  const work = join(out, `.work-${name}`);
  for (const old of [folder, work]) rmSync(old, { recursive: true, force: true });

  installPacked(archive, work, platform);
  const modules = join(work, 'node_modules');
  mkdirSync(join(folder, 'runtime'), { recursive: true });
  renameSync(join(modules, 'tonewright'), join(folder, 'program'));
  // What npm keeps for itself: its list, and links to programs that nobody calls.
  for (const own of ['.package-lock.json', '.bin']) rmSync(join(modules, own), { recursive: true, force: true });
  cpSync(modules, join(folder, 'program', 'node_modules'), { recursive: true });
  rmSync(work, { recursive: true });
  // Pictures of the documents are of no use here; the sample photographs are.
  for (const part of ['gallery', 'figures'])
    rmSync(join(folder, 'program', 'images', part), { recursive: true, force: true });
  await esbuild.build({
    entryPoints: [resolve('packaging', 'start.ts')],
    outfile: join(folder, 'program', 'dist', 'start.cjs'),
    ...{ platform: 'node', target: 'node20.9', format: 'cjs', logLevel: 'warning' },
  });
  const binary = join(folder, 'runtime', platform.os === 'win32' ? 'node.exe' : 'node');
  copyFileSync(fetchNode({ ...platform, version: NODE_VERSION }), binary);
  chmodSync(binary, 0o755);
  const licence = licenceOfNode();
  writeFileSync(join(folder, 'runtime', 'LICENSE'), licence);
  const { name: start, text } = START_FILES[platform.os];
  writeFileSync(join(folder, start), text, { mode: 0o755 });
  writeFileSync(join(folder, 'READ-ME.txt'), describe(start).replaceAll('\n', platform.os === 'win32' ? '\r\n' : '\n'));

  const program = join(folder, 'program');
  const installed = listInstalled(program);
  const notices = readFileSync(join(program, 'dist', 'THIRD-PARTY-NOTICES.txt'), 'utf8');
  const node: Part = { name: 'node', version: NODE_VERSION, licence: 'MIT', texts: [licence] };
  writeFileSync(join(folder, 'LICENSES.txt'), writeLicences([readPart(program), node, ...installed], notices));
  const parts = mergeParts([node, ...installed, ...listBundled(notices)]);
  const hashes = new Map([['node', sha256Of(binary)]]);
  writeFileSync(join(folder, 'bill-of-materials.cdx.json'), writeBill({ name: 'tonewright', version }, parts, hashes));

  const zip = `${folder}.zip`;
  await writeZip(folder, zip);
  const zipBytes = statSync(zip).size;
  if (zipBytes > MOST_BYTES) throw new Error(`${zip}: found ${zipBytes} bytes, needed at most ${MOST_BYTES}`);
  const folderBytes = listFiles(folder).reduce((sum, path) => sum + statSync(join(folder, path)).size, 0);
  return { folder, zip, zipBytes, folderBytes, sha256: sha256Of(zip) };
}

/** A package that is bundled and installed is one component. */
function mergeParts(parts: readonly Part[]): readonly Part[] {
  return [...new Map(parts.map((part) => [`${part.name}@${part.version}`, part])).values()].sort((a, b) =>
    a.name < b.name ? -1 : 1,
  );
}

function describe(start: string): string {
  return `Tonewright: photographs into bitmaps that a laser engraver burns right.

Start it: double-click ${start}. A page opens in your browser; it is served from this computer
and needs no network. Close the window of the program, or press Ctrl-C in it, to stop.

Your work is kept in the folder "shop" beside this file. Where nothing can be written here, it is kept in "Tonewright" in your
documents.

The command line: ${start} prepare photo.jpg --size ID-1 --profile anodised-black --out out

Licences of everything inside: LICENSES.txt. What is inside: bill-of-materials.cdx.json (CycloneDX).
`;
}

const sha256Of = (path: string) => createHash('sha256').update(readFileSync(path)).digest('hex');

/** Files below a folder with `/`, sorted. */
function listFiles(folder: string): readonly string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => statSync(join(folder, name)).isFile())
    .map((name) => name.replaceAll('\\', '/'))
    .sort();
}

async function writeZip(folder: string, zip: string): Promise<void> {
  const file = new yazl.ZipFile();
  const root = folder.slice(resolve(folder, '..').length + 1);
  for (const path of listFiles(folder)) {
    const isProgram = (statSync(join(folder, path)).mode & 0o111) !== 0;
    file.addFile(join(folder, path), `${root}/${path}`, { mtime: EPOCH, mode: isProgram ? 0o100755 : 0o100644 });
  }
  file.end();
  await pipeline(file.outputStream, createWriteStream(zip));
}

/** Makes those that are named, all when none is, and their checksums. */
export async function makePortables(names: readonly string[], out: string): Promise<readonly Portable[]> {
  mkdirSync(out, { recursive: true });
  const archive = packBuilt(out);
  const made: Portable[] = [];
  for (const name of names.length > 0 ? names : Object.keys(PLATFORMS))
    made.push(await makePortable(name, { out, archive }));
  return made;
}
