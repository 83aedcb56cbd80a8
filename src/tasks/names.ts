import { AppError } from '../errors.ts';

/** Names of records: lower-case letters, digits and hyphens. */
const RECORD_NAME = /^[a-z0-9]+(?:[-.][a-z0-9]+)*$/;
/** Longest name that is made of a title, characters. Assumed: file names stay readable. */
const MOST_LETTERS = 60;

/** @throws AppError option-invalid */
export function refuseRecordName(name: string, what: string): void {
  if (RECORD_NAME.test(name)) return;
  throw new AppError('option-invalid', `${what}: found "${name}", needed lower-case letters, digits and hyphens`);
}

/** The name of a record for a title that a person typed; undefined when no Latin letter or digit is left of it. */
export function nameOfTitle(title: string): string | undefined {
  const name = title
    .toLowerCase()
    .normalize('NFD')
    .replace(/\p{M}/gu, '')
    .replace(/[^a-z0-9]+/g, '-')
    .slice(0, MOST_LETTERS)
    .replace(/^-+|-+$/g, '');
  return name === '' ? undefined : name;
}
