import { readdirSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import { findCloseNames } from '../close-names.ts';
import { AppError } from '../errors.ts';
import { formatJson, parseJson } from '../json.ts';
import { isDeviceName, readInputSync, sha256, type WriteOptions, writeFilesAtomic } from '../plane/index.ts';
import { parseRefused } from './parse.ts';
import type { RefusedMaterial } from './types.ts';

export type RecordKind =
  | 'profiles'
  | 'machines'
  | 'materials'
  | 'charts'
  | 'history'
  | 'jigs'
  | 'palettes'
  | 'burned'
  | 'rested'
  | 'evenness'
  | 'focus'
  | 'settings'
  | 'two-way';

const ONE_OF: Readonly<Record<RecordKind, string>> = {
  profiles: 'profile',
  machines: 'machine',
  materials: 'material',
  charts: 'chart',
  history: 'history',
  jigs: 'jig',
  palettes: 'palette',
  burned: 'burned job',
  rested: 'notice at rest',
  evenness: 'map of a field’s evenness',
  focus: 'depth of focus',
  settings: 'settings of a material',
  'two-way': 'two-way offset',
};

export interface ShopOptions {
  /** The shop's own folder, looked into first and written to; absent: only the built-in examples. */
  readonly shopDir?: string;
  /** Folder of the built-in examples: it holds a folder for each kind. Several are looked into in order. */
  readonly builtIn: string | readonly string[];
  /** Folder that paths of files are relative to; the process's when absent. */
  readonly cwd?: string;
}

export interface FoundRecord {
  readonly name: string;
  readonly path: string;
  readonly from: 'shop' | 'built-in';
}

export interface ReadRecord extends FoundRecord {
  /** Parsed JSON, not yet checked against a schema. */
  readonly json: unknown;
}

/** Where machines, materials, profiles and charts are kept: one JSON file each, named after the record. */
export interface Shop {
  readonly shopDir: string | undefined;
  /** Names in order; a shop's record hides a built-in one of the same name. Files that start with "never" are lists. */
  readonly list: (kind: RecordKind) => readonly FoundRecord[];
  /**
   * A record by its name or by the path of its file.
   * @throws AppError name-unknown listing close names; path-missing, path-is-folder, path-unreadable; file-invalid with
   * line and column of broken JSON.
   */
  readonly read: (kind: RecordKind, nameOrPath: string) => ReadRecord;
  /**
   * A drawing that the shop keeps, by its name, or an SVG file by its path.
   * @throws AppError name-unknown, path-missing, path-is-folder, path-unreadable, file-too-large
   */
  readonly readDrawing: (nameOrPath: string) => { readonly file: string; readonly svg: string };
  /** Keeps a drawing in the shop, under its name and a part of its hash. Gives its name. @throws AppError path-* */
  readonly keepDrawing: (name: string, svg: string) => Promise<string>;
  /**
   * Writes a record into the shop in one step. Gives its path.
   * @throws AppError result-exists without `force`; path-missing without a shop folder; path-unwritable.
   */
  readonly write: (kind: RecordKind, name: string, record: unknown, options?: WriteOptions) => Promise<string>;
}

/** Opens a shop folder over the built-in examples. Nothing is read until asked for. */
export function openShop({ shopDir, builtIn, cwd = '.' }: ShopOptions): Shop {
  const roots: { folder: string; from: FoundRecord['from'] }[] = [
    ...(shopDir === undefined ? [] : [{ folder: shopDir, from: 'shop' as const }]),
    ...(typeof builtIn === 'string' ? [builtIn] : builtIn).map((folder) => ({ folder, from: 'built-in' as const })),
  ];

  const list = (kind: RecordKind): FoundRecord[] => {
    const found = new Map<string, FoundRecord>();
    for (const { folder, from } of roots) {
      for (const file of listFiles(join(folder, kind))) {
        const name = file.slice(0, -'.json'.length);
        if (!found.has(name)) found.set(name, { name, path: join(folder, kind, file), from });
      }
    }
    return [...found.values()].sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0));
  };

  const read = (kind: RecordKind, nameOrPath: string): ReadRecord => {
    if (looksLikePath(nameOrPath)) {
      const path = resolve(cwd, nameOrPath);
      const from = shopDir !== undefined && path.startsWith(resolve(shopDir)) ? 'shop' : 'built-in';
      return { name: basename(path).replace(/\.json$/i, ''), path, from, json: readJson(path) };
    }
    const records = list(kind);
    const wanted = nameOrPath.trim().toLowerCase();
    const record = records.find(({ name }) => name === wanted);
    if (!record) throw unknownName(kind, nameOrPath, records);
    return { ...record, json: readJson(record.path) };
  };

  const write = async (
    kind: RecordKind,
    name: string,
    record: unknown,
    options: WriteOptions = {},
  ): Promise<string> => {
    if (shopDir === undefined) {
      throw new AppError('path-missing', `found no shop folder, needed one to keep the ${ONE_OF[kind]} "${name}" in`);
    }
    if (!RECORD_NAME.test(name)) {
      throw new AppError(
        'option-invalid',
        `found the name "${name}", needed lower-case letters, digits and hyphens for a ${ONE_OF[kind]}`,
      );
    }
    if (isDeviceName(name)) {
      throw new AppError('option-invalid', `found the name "${name}", needed one that Windows keeps for no device`);
    }
    const path = join(shopDir, kind, `${name}.json`);
    await writeFilesAtomic([{ path, bytes: formatJson(record, 'record') }], {
      ...options,
      isOwnRecord: true,
    });
    return path;
  };

  const readDrawing = (nameOrPath: string) => {
    const isPath = /[\\/]|\.svg$/i.test(nameOrPath);
    if (!isPath && (shopDir === undefined || !RECORD_NAME.test(nameOrPath))) throw noDrawing(nameOrPath);
    const path = isPath ? resolve(cwd, nameOrPath) : join(shopDir!, DRAWINGS, `${nameOrPath}.svg`);
    const bytes = readInputSync(path, { kind: 'text', needed: 'an SVG drawing' });
    return { file: basename(path), svg: bytes.toString('utf8').replace(/^\uFEFF/, '') };
  };

  const keepDrawing = async (name: string, svg: string) => {
    if (shopDir === undefined) throw new AppError('path-missing', 'found no shop folder, needed one for the drawing');
    const stem = name
      .toLowerCase()
      .normalize('NFKD')
      .replace(/\.svg$/, '')
      .replace(/[^a-z0-9]+/g, '-')
      .replace(/^-+|-+$/g, '')
      .slice(0, 40);
    const kept = `${stem === '' ? 'drawing' : stem}-${sha256(svg).slice(0, 8)}`;
    await writeFilesAtomic([{ path: join(shopDir, DRAWINGS, `${kept}.svg`), bytes: svg }], { force: true });
    return kept;
  };
  return { shopDir, list, read, readDrawing, keepDrawing, write };
}

/** Folder of a shop's drawings. */
const DRAWINGS = 'drawings';
const RECORD_NAME = /^[a-z0-9]+(?:[-.][a-z0-9]+)*$/;

const noDrawing = (asked: string) =>
  new AppError('name-unknown', `found no drawing "${asked}" in the shop, needed its name or the path of an SVG file`, {
    asked,
  });

/**
 * JSON of a file.
 * @throws AppError path-missing, path-is-folder, path-not-file, path-unreadable, file-too-large; file-invalid with line
 * and column.
 */
export function readJson(path: string): unknown {
  const text = readInputSync(path, { kind: 'text', needed: 'a JSON file' }).toString('utf8');
  try {
    return parseJson(text);
  } catch (error) {
    if (error instanceof AppError) throw new AppError(error.code, `${path}: ${error.message}`, { path });
    const { line, column } = locateJsonError(text);
    throw new AppError(
      'file-invalid',
      `${path}: line ${line}, column ${column}: found ${describeAt(text, line, column)}, needed JSON`,
      { path, line, column },
    );
  }
}

/**
 * Materials that are never put under a laser: of the built-in folder, which must have a list, then of a shop's own.
 * @throws AppError path-missing without the built-in list; path-unreadable, file-invalid
 */
export function readRefusedIn(folders: readonly string[]): readonly RefusedMaterial[] {
  return folders.flatMap((folder, at) => {
    const path = join(folder, 'materials', 'never.json');
    try {
      return parseRefused(readJson(path), path);
    } catch (error) {
      if (at > 0 && error instanceof AppError && error.code === 'path-missing') return [];
      throw error;
    }
  });
}

function listFiles(folder: string): string[] {
  try {
    return readdirSync(folder).filter((file) => file.endsWith('.json') && !/^(?:\.|never)/.test(file));
  } catch {
    return [];
  }
}

function looksLikePath(text: string): boolean {
  return /[\\/]/.test(text) || /\.json$/i.test(text);
}

const JSON_TOKEN =
  /[ \t\r\n]*(?:([{}[\],:])|("(?:[^"\\\p{Cc}]|\\(?:["\\/bfnrt]|u[\da-fA-F]{4}))*")|(-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?(?![\w.])|(?:true|false|null)(?!\w)))/uy;

/**
 * Where JSON stops being JSON. The engine's own message names a position in some versions and for some mistakes only,
 * so the tokens are followed here: `next` lists what may come, `open` the brackets that wait for their end.
 */
function locateJsonError(text: string): { line: number; column: number } {
  const open: string[] = [];
  let next = 'value';
  let at = 0;
  JSON_TOKEN.lastIndex = 0;
  for (;;) {
    const token = JSON_TOKEN.exec(text);
    if (!token || !accepts(next, token)) break;
    at = JSON_TOKEN.lastIndex;
    const [, mark] = token;
    if (mark === '{' || mark === '[') {
      open.push(mark);
      next = mark === '{' ? 'key or }' : 'value or ]';
    } else if (mark === ',') next = open.at(-1) === '{' ? 'key' : 'value';
    else if (mark === ':') next = 'value';
    else if (next.startsWith('key') && mark === undefined) next = ':';
    else {
      if (mark !== undefined) open.pop();
      next = open.length === 0 ? 'end' : open.at(-1) === '{' ? ', or }' : ', or ]';
    }
  }
  const before = text.slice(0, at) + /^[ \t\r\n]*/.exec(text.slice(at))![0];
  const lines = before.split('\n');
  return { line: lines.length, column: lines[lines.length - 1].length + 1 };
}

function accepts(next: string, [, mark, string]: RegExpExecArray): boolean {
  if (mark === undefined) return next.startsWith('value') || (next.startsWith('key') && string !== undefined);
  if (mark === '{' || mark === '[') return next.startsWith('value');
  return next === mark || next.endsWith(` ${mark}`) || (mark === ',' && next.startsWith(','));
}

function describeAt(text: string, line: number, column: number): string {
  const rest =
    text
      .split('\n')
      [line - 1]?.slice(column - 1)
      .trim() ?? '';
  return rest === '' ? 'the end' : `"${rest.slice(0, 20)}"`;
}

function unknownName(kind: RecordKind, asked: string, records: readonly FoundRecord[]): AppError {
  const names = records.map(({ name }) => name);
  const close = findCloseNames(asked, names);
  const offered = close.length > 0 ? `did you mean ${close.join(', ')}?` : `there are ${names.join(', ') || 'none'}`;
  return new AppError('name-unknown', `found no ${ONE_OF[kind]} "${asked}"; ${offered}`, { asked, close, names });
}
