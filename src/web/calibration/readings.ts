import { randomBytes } from 'node:crypto';
import { readdir, readFile, rm } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { formatJson, parseJson } from '../../json.ts';
import type { Profile } from '../../material/index.ts';
import { findSaved, parseSavedProfile, saveProfile, writeFilesAtomic } from '../../tasks/index.ts';
import type { Reading, ReadingRequest } from '../protocol.ts';
import { parseWith, RECORD_NAME } from '../server-photo-settings.ts';
import { MAX_PIXELS } from '../server-previews.ts';
import { findCapture } from './captures.ts';
import { type Calibration, HASH, ID, unknown } from './context.ts';
import { PROFILE_TITLE } from './profiles.ts';

const finite = v.pipe(v.number(), v.finite());
const point = v.strictTuple([finite, finite]);

/** Characters of a swept setting. Assumed: more than forty values with their units take. */
const SWEEP_MOST = 400;
const sweep = v.pipe(v.string(), v.maxLength(SWEEP_MOST));

const READING_REQUEST = v.strictObject({
  captures: v.pipe(v.array(v.pipe(v.string(), v.regex(ID))), v.minLength(1), v.maxLength(8)),
  chart: v.exactOptional(v.pipe(v.string(), v.regex(HASH))),
  profile: v.exactOptional(RECORD_NAME),
  camera: v.picklist(['known', 'unknown']),
  mirrored: v.boolean(),
  reference: v.exactOptional(
    v.union([
      v.picklist(['paper', 'scanner']),
      v.strictObject({ lightness: finite, tolerance: v.exactOptional(finite) }),
    ]),
  ),
  referenceAt: v.exactOptional(v.strictObject({ x: finite, y: finite, width: finite, height: finite })),
  direction: v.exactOptional(v.picklist(['lighter', 'darker'])),
  corners: v.exactOptional(v.pipe(v.array(point), v.length(4))),
  grid: v.exactOptional(v.strictObject({ columns: sweep, rows: sweep, gapMm: v.pipe(finite, v.minValue(0)) })),
  title: v.exactOptional(PROFILE_TITLE),
});
/** Names of what a reading writes. */
const READING_FILES = /^(?:report\.html|profile\.json|adjusted\.json|measured\.json|found-\d\.jpg)$/;

const folderOf = ({ shopDir }: Calibration, id: string, ...parts: string[]) => join(shopDir, 'readings', id, ...parts);

/** Reads captures, whatever chart they show, and keeps what was read. @throws AppError those of `readChart` */
export async function readCaptures(calibration: Calibration, json: unknown): Promise<Reading> {
  const ask = parseWith(READING_REQUEST, json) as ReadingRequest;
  const found = [];
  for (const id of ask.captures) found.push(await findCapture(calibration, id));
  const id = randomBytes(8).toString('hex');
  const out = folderOf(calibration, id);
  try {
    const reading = await calibration.pool.run('files', 'readChart', {
      id,
      ask,
      captures: found.map(({ path, name }) => ({ path, name })),
      isVirtual: found.some(({ isVirtual }) => isVirtual),
      out,
      maxPixels: MAX_PIXELS,
      date: new Date().toISOString().slice(0, 10),
    });
    const bytes = formatJson({ schema: 'tonewright-kept-reading/1', reading }, 'record');
    await writeFilesAtomic([{ path: folderOf(calibration, id, 'reading.json'), bytes }], { force: true });
    return getReading(calibration, id);
  } catch (error) {
    await rm(out, { recursive: true, force: true });
    throw error;
  }
}

/** The newest first; one that cannot be read hides no other. */
export async function listReadings(calibration: Calibration): Promise<readonly Reading[]> {
  const found: Reading[] = [];
  const find = findSaved(calibration.shop);
  for (const id of await readdir(join(calibration.shopDir, 'readings')).catch(() => [] as string[])) {
    const reading = await findReading(calibration, id)
      .then((one) => withSaved(calibration, one, find))
      .catch(() => undefined);
    if (reading) found.push(reading);
  }
  return found.sort((a, b) => (a.date < b.date ? 1 : -1));
}

/** @throws AppError name-unknown */
export async function getReading(calibration: Calibration, id: string): Promise<Reading> {
  return withSaved(calibration, await findReading(calibration, id));
}

/** @throws AppError name-unknown */
export async function readReadingFile(calibration: Calibration, id: string, name: string): Promise<Uint8Array> {
  await findReading(calibration, id);
  if (!READING_FILES.test(name)) throw unknown('file');
  return readFile(folderOf(calibration, id, name)).catch(() => {
    throw unknown('file');
  });
}

/**
 * Puts what was learned into the shop.
 * @param title saves it under another name, which follows from the title
 * @throws AppError option-invalid for a reading without a profile; those of `saveProfile`
 */
export async function saveReading(
  calibration: Calibration,
  id: string,
  { replace, title }: { readonly replace: boolean; readonly title?: string | undefined },
): Promise<Reading> {
  const reading = await findReading(calibration, id);
  if (!isProfileIn(reading)) throw new AppError('option-invalid', 'found no profile in this reading');
  const profile = await readLearned(calibration, reading);
  const page = await readFile(folderOf(calibration, id, 'report.html'), 'utf8');
  const saved = await saveProfile({ profile, page, replace, ...(title === undefined ? {} : { title }) }, calibration);
  calibration.events.send({ type: 'shop', profile: saved.name });
  return getReading(calibration, id);
}

async function findReading(calibration: Calibration, id: string): Promise<Reading> {
  if (!ID.test(id)) throw unknown('reading');
  const text = await readFile(folderOf(calibration, id, 'reading.json'), 'utf8').catch(() => {
    throw unknown('reading');
  });
  return (parseJson(text) as { readonly reading: Reading }).reading;
}

async function withSaved(
  calibration: Calibration,
  reading: Reading,
  find = findSaved(calibration.shop),
): Promise<Reading> {
  if (!isProfileIn(reading)) return reading;
  const saved = find(await readLearned(calibration, reading));
  return reading.kind === 'learned'
    ? { ...reading, saved }
    : { ...reading, adjustment: { ...reading.adjustment, saved } };
}

type CheckedReading = Extract<Reading, { readonly kind: 'checked' }>;
type ReadingWithProfile =
  | Extract<Reading, { readonly kind: 'learned' }>
  | (CheckedReading & Required<Pick<CheckedReading, 'adjustment'>>);

/** Whether something was learned, or adjusted to the day. */
function isProfileIn(reading: Reading): reading is ReadingWithProfile {
  return reading.kind === 'learned' || (reading.kind === 'checked' && reading.adjustment !== undefined);
}

async function readLearned(calibration: Calibration, { id, kind }: ReadingWithProfile): Promise<Profile> {
  const path = folderOf(calibration, id, kind === 'learned' ? 'profile.json' : 'adjusted.json');
  return parseSavedProfile(await readFile(path, 'utf8'), path);
}
