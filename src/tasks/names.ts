import { AppError } from '../errors.ts';
import { isDeviceName } from '../plane/index.ts';

/** Names of records: lower-case letters, digits and hyphens. */
const RECORD_NAME = /^[a-z0-9]+(?:[-.][a-z0-9]+)*$/;
/** Longest name that is made of a title, characters. Assumed: file names stay readable. */
const MOST_LETTERS = 60;

/** @throws AppError option-invalid */
export function refuseRecordName(name: string, what: string): void {
  if (isDeviceName(name)) {
    throw new AppError('option-invalid', `${what}: found "${name}", needed a name that Windows keeps for no device`);
  }
  if (RECORD_NAME.test(name)) return;
  throw new AppError('option-invalid', `${what}: found "${name}", needed lower-case letters, digits and hyphens`);
}

/** The name of a record for a title that a person typed; undefined when nothing is left that can be one. */
export function nameOfTitle(title: string): string | undefined {
  const name = title
    .toLowerCase()
    .normalize('NFD')
    .replace(/\p{M}/gu, '')
    .replace(/[^a-z0-9]+/g, '-')
    .slice(0, MOST_LETTERS)
    .replace(/^-+|-+$/g, '');
  return name === '' || isDeviceName(name) ? undefined : name;
}
