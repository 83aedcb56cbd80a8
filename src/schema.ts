import * as v from 'valibot';
import { AppError } from './errors.ts';

/** What is wrong with one field of a file. */
export interface FieldFault {
  /** Path of the field, such as `grid.pitchMm`; empty for the whole. */
  readonly field: string;
  readonly found: string;
  readonly needed: string;
}

/**
 * Longest value that a message repeats, characters. Assumed: a message stays on one line, and the start of a value
 * tells which one it is.
 */
const SHOWN = 60;

/**
 * A schema's complaint in our words: a message of the schema's own is what was needed, and the library's default is
 * not.
 */
function describeFault(issue: v.BaseIssue<unknown>): FieldFault {
  const field = v.getDotPath(issue) ?? '';
  // Lists answer to names such as "at" and "entries", so a list in an object's place is seen by its first field only.
  const holder = issue.path?.findIndex(({ input, key }) => Array.isArray(input) && typeof key === 'string') ?? -1;
  if (holder >= 0) {
    const place = issue.path!.slice(0, holder).map(({ key }) => String(key));
    return { field: place.join('.'), found: show(issue.path![holder]!.input), needed: 'an object, not a list' };
  }
  // A missing or an unknown key is an issue of the object around it.
  if (issue.type === 'strict_object' && issue.path !== undefined && issue.expected !== 'Object') {
    return issue.expected === 'never'
      ? { field, found: 'a field of that name', needed: 'only known fields' }
      : { field, found: 'nothing', needed: 'this field' };
  }
  if (issue.input === undefined) return { field, found: 'nothing', needed: neededOf(issue) };
  return { field, found: show(issue.input), needed: neededOf(issue) };
}

function show(value: unknown): string {
  // A number beyond what the engine holds is none in JSON.
  const text = typeof value === 'number' ? String(value) : (JSON.stringify(value) ?? typeof value);
  return text.length > SHOWN ? `${text.slice(0, SHOWN - 1)}…` : text;
}

function neededOf({ message, expected }: v.BaseIssue<unknown>): string {
  return message.startsWith('Invalid ') && expected !== null ? expected : message;
}

/**
 * What a schema makes of parsed JSON.
 * @param what is being read, for the message, such as `machine galvo`.
 * @throws AppError file-invalid, naming the first wrong field, what was found and what was needed; `details.fields` has
 * all
 */
export function parseRecord<const S extends v.GenericSchema>(
  schema: S,
  { json, what }: { readonly json: unknown; readonly what: string },
): v.InferOutput<S> {
  const result = v.safeParse(schema, json);
  if (!result.success) return refuseFaults(result.issues.map(describeFault), what);
  return result.output;
}

/** @throws AppError file-invalid */
export function refuseFaults(faults: readonly FieldFault[], what: string): never {
  const { field, found, needed } = faults[0]!;
  const more = faults.length > 1 ? ` (and ${faults.length - 1} more)` : '';
  const where = field === '' ? what : `${what}, field "${field}"`;
  throw new AppError('file-invalid', `${where}: found ${found}, needed ${needed}${more}`, { fields: faults });
}
