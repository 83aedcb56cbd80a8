import { randomBytes } from 'node:crypto';
import { readFile, rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { formatJson, parseJson } from '../../json.ts';
import { makeFolder, writeFilesAtomic } from '../../tasks/index.ts';
import type { CaptureCard } from '../protocol.ts';
import { tidyFileName } from '../server-files.ts';
import { parseWith } from '../server-photo-settings.ts';
import { MAX_PIXELS } from '../server-previews.ts';
import { type Calibration, ID, unknown } from './context.ts';

const CAPTURE = v.object({
  schema: v.literal('tonewright-kept-capture/1'),
  file: v.string(),
  stored: v.pipe(v.string(), v.regex(/^capture\.[a-z0-9]+$/)),
  width: v.number(),
  height: v.number(),
  isVirtual: v.exactOptional(v.literal(true)),
});

const folderOf = ({ shopDir }: Calibration, id: string, ...parts: string[]) => join(shopDir, 'captures', id, ...parts);

/** Takes over a received file, or one of a piece that no laser has burned. @throws AppError path-*, image-* */
export async function addCapture(
  calibration: Calibration,
  path: string,
  { name: fileName, ...kind }: { readonly name: string; readonly isVirtual?: true },
): Promise<CaptureCard> {
  const id = randomBytes(8).toString('hex');
  const file = tidyFileName(fileName);
  try {
    const found = await calibration.pool.run('photos', 'viewPhoto', { path, name: file, maxPixels: MAX_PIXELS });
    const { width, height, format, isExposed, view } = found;
    const stored = `capture.${format === 'jpeg' ? 'jpg' : format}`;
    await makeFolder(folderOf(calibration, id));
    await rename(path, folderOf(calibration, id, stored));
    const card = { schema: 'tonewright-kept-capture/1', file, stored, width, height, ...kind };
    await writeFilesAtomic([
      { path: folderOf(calibration, id, 'view.jpg'), bytes: view },
      { path: folderOf(calibration, id, 'capture.json'), bytes: formatJson(card, 'capture') },
    ]);
    return { id, file, width, height, ...kind, ...(isExposed ? { isExposed } : {}) };
  } catch (error) {
    await rm(path, { force: true });
    await rm(folderOf(calibration, id), { recursive: true, force: true });
    throw error;
  }
}

/** JPEG of a capture, small. @throws AppError name-unknown */
export async function readCaptureView(calibration: Calibration, id: string): Promise<Uint8Array> {
  await findCapture(calibration, id);
  return readFile(folderOf(calibration, id, 'view.jpg'));
}

/** Where a capture lies, and what messages call it. @throws AppError name-unknown */
export async function findCapture(
  calibration: Calibration,
  id: string,
): Promise<{ readonly path: string; readonly name: string; readonly isVirtual: boolean }> {
  if (!ID.test(id)) throw unknown('capture');
  const text = await readFile(folderOf(calibration, id, 'capture.json'), 'utf8').catch(() => {
    throw unknown('capture');
  });
  const { stored, file, isVirtual = false } = parseWith(CAPTURE, parseJson(text));
  return { path: folderOf(calibration, id, stored), name: file, isVirtual };
}
