import { readFile, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { AppError } from '../errors.ts';
import { readProfile, retitleProfilePage } from '../job/index.ts';
import { formatJson, parseJson } from '../json.ts';
import { type Profile, parseProfile, type Shop } from '../material/index.ts';
import { sha256, writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { listProfiles } from './listing.ts';
import { nameOfTitle, refuseRecordName } from './names.ts';

/** Whether what was learned is in the shop: itself, under whatever name, or another reading under its name. */
export type SavedProfile =
  | { readonly state: 'no' }
  | { readonly state: 'this'; readonly name: string; readonly title: string }
  | { readonly state: 'another'; readonly name: string; readonly title: string; readonly date: string };

/** Hash of all that a profile says but how it is called, whatever the sequence of its fields. */
function hashContent(profile: Profile): string {
  const { name: _name, title: _title, ...content } = parseProfile(profile, profile.name);
  return sha256(JSON.stringify(content));
}

/** Looks what was learned up among the shop's profiles by its content, then by its name. */
export function findSaved(shop: Shop): (learned: Profile) => SavedProfile {
  const kept = listProfiles(shop).records.filter(({ from }) => from === 'shop');
  const byContent = new Map(kept.map((record) => [hashContent(record.value), record]));
  return (learned) => {
    const same = byContent.get(hashContent(learned));
    if (same) return { state: 'this', name: same.name, title: same.value.title };
    const other = kept.find(({ name }) => name === learned.name);
    return other
      ? { state: 'another', name: other.name, title: other.value.title, date: other.value.date }
      : { state: 'no' };
  };
}

/**
 * A profile as a reading wrote it, with its fields as they stand in the file: a saved profile is that file.
 * @throws AppError file-invalid naming the field
 */
export function parseSavedProfile(text: string, path: string): Profile {
  const json = parseJson(text) as Profile;
  parseProfile(json, path);
  return json;
}

export interface SaveProfileRequest {
  readonly profile: Profile;
  /** The report of the profile, HTML. */
  readonly page: string;
  /** Another title, and the name that follows from it. */
  readonly title?: string;
  /** `true` replaces another profile of that name. */
  readonly replace: boolean;
}

/**
 * Puts what was learned into the shop, with its report.
 * @throws AppError result-exists when another profile has the name and is not to be replaced; option-invalid for a
 * title of which no name can be made; path-missing without a shop folder
 */
export async function saveProfile(
  { profile, page, title, replace }: SaveProfileRequest,
  { shop }: Pick<TaskContext, 'shop'>,
): Promise<Profile> {
  const kept = title === undefined ? profile : { ...profile, name: nameFor(title), title };
  refuseRecordName(kept.name, 'the name of the profile');
  const target = (ending: string) => join(folderOf(shop), `${kept.name}.${ending}`);
  await writeFilesAtomic(
    [
      { path: target('html'), bytes: retitleProfilePage(page, { from: profile, to: kept }) },
      { path: target('json'), bytes: formatJson(kept, 'record') },
    ],
    { force: replace },
  );
  return kept;
}

function nameFor(title: string): string {
  const name = nameOfTitle(title);
  if (name !== undefined) return name;
  throw new AppError(
    'option-invalid',
    `the title: found "${title}", needed a Latin letter or a digit to name a file by`,
  );
}

/**
 * Gives a profile of the shop another title. Its name stays: orders, tickets and its history know it by that.
 * @throws AppError name-unknown; option-invalid for a built-in example or an empty title
 */
export async function renameProfile(
  { name, title }: { readonly name: string; readonly title: string },
  { shop }: Pick<TaskContext, 'shop'>,
): Promise<Profile> {
  const path = findOwn(name, shop);
  const profile = readProfile(name, shop);
  if (title.trim() === '')
    throw new AppError('option-invalid', 'found an empty title, needed one to know the profile by');
  // The fields as they stand in the file: their sequence is part of the hash that tickets hold.
  const renamed = { ...(shop.read('profiles', name).json as Profile), title: title.trim() };
  const pagePath = path.replace(/\.json$/, '.html');
  const page = await readFile(pagePath, 'utf8').catch(() => undefined);
  await writeFilesAtomic(
    [
      ...(page === undefined
        ? []
        : [{ path: pagePath, bytes: retitleProfilePage(page, { from: profile, to: renamed }) }]),
      { path, bytes: formatJson(renamed, 'record') },
    ],
    { force: true },
  );
  return renamed;
}

/**
 * Takes a profile out of the shop, with its report and its history: the next one of that name must not inherit them.
 * @throws AppError name-unknown; option-invalid for a built-in example
 */
export async function deleteProfile(name: string, { shop }: Pick<TaskContext, 'shop'>): Promise<void> {
  const path = findOwn(name, shop);
  await rm(path);
  await rm(path.replace(/\.json$/, '.html'), { force: true });
  await rm(join(shop.shopDir!, 'history', `${name}.json`), { force: true });
}

function folderOf({ shopDir }: Shop): string {
  if (shopDir !== undefined) return join(shopDir, 'profiles');
  throw new AppError('path-missing', 'found no shop folder, needed one to keep the profile in');
}

/** Path of a profile that is the shop's own; one that cannot be read may be renamed or deleted, too. */
function findOwn(name: string, shop: Shop): string {
  const found = shop.list('profiles').find((record) => record.name === name);
  if (!found) throw new AppError('name-unknown', `found no profile "${name}" in the shop`);
  if (found.from === 'shop') return found.path;
  throw new AppError(
    'option-invalid',
    `found "${name}" among the built-in examples, needed a profile of the shop’s own`,
  );
}

/** Says in a profile's file that no laser has burned its chart. @throws AppError those of `readProfile` */
export async function callSimulated(path: string, shop: Shop): Promise<void> {
  const profile = {
    ...readProfile(path, shop),
    origin: 'simulated' as const,
    note: 'Learned from the virtual engraver and scanner.',
  };
  await writeFilesAtomic([{ path, bytes: formatJson(profile, 'profile') }], { force: true });
}
