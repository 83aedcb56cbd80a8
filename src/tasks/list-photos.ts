import { type Dirent, readdirSync, realpathSync, statSync } from 'node:fs';
import { open, readFile } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { JOURNAL_FILE } from '../batch/index.ts';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import { sniffFormat } from '../plane/index.ts';

/** Endings of pictures: those that can be read, and those that people take for photos and that a message must name. */
const PICTURE =
  /\.(jpe?g|jpe|jfif|png|tiff?|webp|avif|heic|heif|hif|gif|bmp|psd|psb|jxl|jp2|dng|cr2|cr3|crw|nef|nrw|arw|srf|sr2|raf|orf|rw2|pef|srw|x3f|iiq|3fr|erf|kdc|mrw)$/i;
/** What tells a picture whose name says nothing. Assumed: raw files and HEIC need no more. */
const HEAD_BYTES = 4096;
const DEFAULTS_FILE = 'order.json';

interface Found {
  readonly photos: string[];
  readonly others: string[];
}

/**
 * Photos of a folder and of the folders in it, as paths from there with `/`, sorted: every file that looks like a
 * picture by its ending or its first bytes, whether it can be made or not (a pipe may be called like one). Left out,
 * and told by `warn`, is what does not, and what Tonewright itself has made: folders with an order's journal, `out`,
 * and the files that a ticket names.
 * @throws AppError path-missing where there is none; path-unreadable
 */
export async function listPhotos(
  folder: string,
  { out, warn }: { readonly out: string; readonly warn: (text: string) => void },
): Promise<readonly string[]> {
  const found: Found = { photos: [], others: [] };
  await walk(folder, { found, prefix: '', seen: new Set([realOf(out), realOf(folder)]) });
  const { photos, others } = found;
  if (others.length > 0) {
    const some = others.slice(0, 5).join(', ') + (others.length > 5 ? ' …' : '');
    warn(`${folder}: left out ${others.length} of the files, which are no photos: ${some}`);
  }
  if (photos.length === 0) {
    throw new AppError('path-missing', `${folder}: found no photo, needed at least one`, { folder });
  }
  return photos.sort((a, b) => (a < b ? -1 : 1));
}

async function walk(
  folder: string,
  { found, prefix, seen }: { readonly found: Found; readonly prefix: string; readonly seen: Set<string> },
): Promise<void> {
  const entries = readEntries(folder).filter(({ name }) => !name.startsWith('.'));
  const names = entries.map(({ name }) => name);
  const made = await listMade(folder, names);
  for (const entry of entries) {
    const { name } = entry;
    const path = join(folder, name);
    const kind = kindOf(path, entry);
    if (kind === 'folder') {
      const real = realOf(path);
      // A link that leads back would never end; what an order has made is no photo of another one.
      if (seen.has(real)) continue;
      seen.add(real);
      if (readEntries(path).some((one) => one.name === JOURNAL_FILE)) found.others.push(`${prefix}${name}/`);
      else await walk(path, { found, prefix: `${prefix}${name}/`, seen });
    } else if (!made.has(name) && (PICTURE.test(name) || (kind === 'file' && (await looksLikePicture(path))))) {
      found.photos.push(prefix + name);
    } else if (prefix !== '' || name !== DEFAULTS_FILE) found.others.push(prefix + name);
  }
}

function readEntries(folder: string): readonly Dirent[] {
  try {
    return readdirSync(folder, { withFileTypes: true });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new AppError('path-unreadable', `${folder}: the system does not let the folder be read (${code})`, {
      folder,
      code,
    });
  }
}

/** A link counts as what it leads to; one that leads nowhere is a photo that is missing, if it is called like one. */
function kindOf(path: string, entry: Dirent): 'file' | 'folder' | 'other' {
  const facts = entry.isSymbolicLink() ? (statSync(path, { throwIfNoEntry: false }) ?? undefined) : entry;
  if (!facts) return 'file';
  return facts.isDirectory() ? 'folder' : facts.isFile() ? 'file' : 'other';
}

/** Names of the files that the tickets in a folder tell of. */
async function listMade(folder: string, names: readonly string[]): Promise<ReadonlySet<string>> {
  const made = new Set<string>();
  for (const name of names) {
    const stem = /^(.+)\.ticket\.json$/.exec(name)?.[1];
    if (stem === undefined) continue;
    const bitmap = await readBitmapName(join(folder, name));
    if (bitmap === undefined) continue;
    for (const file of [bitmap, `${stem}.proof.png`, `${stem}.strip${extname(bitmap)}`]) made.add(file);
  }
  return made;
}

async function readBitmapName(path: string): Promise<string | undefined> {
  try {
    const { bitmap } = parseJson(await readFile(path, 'utf8')) as { readonly bitmap?: { readonly file?: unknown } };
    return typeof bitmap?.file === 'string' ? bitmap.file : undefined;
  } catch {
    return undefined;
  }
}

/** Whether what `sniffFormat` found, in its words, is a picture that cannot be read. */
export function isPicture(found: string): boolean {
  return found !== 'no known picture format' && /photo|picture|raw file|GIF/.test(found);
}

async function looksLikePicture(path: string): Promise<boolean> {
  try {
    const file = await open(path, 'r');
    try {
      const { buffer, bytesRead } = await file.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
      const { format, found } = sniffFormat(buffer.subarray(0, bytesRead));
      return format !== undefined || isPicture(found);
    } finally {
      await file.close();
    }
  } catch {
    return false;
  }
}

function realOf(path: string): string {
  try {
    return realpathSync(path);
  } catch {
    return path;
  }
}
