import { AppError } from './errors.ts';

/**
 * Levels of brackets that a file may have. Assumed: ours have up to 8, and a reader that walks much deeper ones runs
 * out of stack.
 */
const DEEPEST = 64;

/**
 * Value of a JSON text, however hostile the text.
 * @throws SyntaxError when it is not JSON; AppError file-invalid when its brackets lie too deep
 */
export function parseJson(text: string): unknown {
  if (measureDepth(text) > DEEPEST) {
    throw new AppError(
      'file-invalid',
      `found brackets more than ${DEEPEST} levels deep, needed a file as it was written`,
    );
  }
  return JSON.parse(text.replace(/^\uFEFF/, ''));
}

/** Most brackets that are open at once; those within quotes do not count. */
function measureDepth(text: string): number {
  let [depth, deepest, quoted] = [0, 0, false];
  for (let at = 0; at < text.length; at++) {
    const sign = text[at];
    if (quoted) {
      if (sign === '\\') at++;
      else if (sign === '"') quoted = false;
    } else if (sign === '"') quoted = true;
    else if (sign === '[' || sign === '{') deepest = Math.max(deepest, ++depth);
    else if (sign === ']' || sign === '}') depth--;
  }
  return deepest;
}

/**
 * Text of a record for a file, indented by two and ended by a line feed. JSON has no number that is none and would
 * write `null` in its place.
 * @param what is being written, for the message, such as `ticket cat`.
 * @throws AppError result-impossible naming the field
 */
export function formatJson(record: unknown, what: string): string {
  const bad = findImpossible(record, '');
  if (bad) {
    throw new AppError(
      'result-impossible',
      `${what}, field "${bad.field}": came out as ${bad.value}, needed a number`,
      bad,
    );
  }
  return `${JSON.stringify(record, null, 2)}\n`;
}

function findImpossible(value: unknown, field: string): { readonly field: string; readonly value: string } | undefined {
  if (typeof value === 'number') return Number.isFinite(value) ? undefined : { field, value: String(value) };
  if (value === null || typeof value !== 'object') return undefined;
  for (const [key, one] of Object.entries(value)) {
    const found = findImpossible(one, field === '' ? key : `${field}.${key}`);
    if (found) return found;
  }
  return undefined;
}

/**
 * What a table has under a name from outside, and undefined for names such as "constructor", which every object answers
 * to.
 */
export function lookUp<T>(table: Readonly<Record<string, T>>, name: string): T | undefined {
  return Object.hasOwn(table, name) ? table[name] : undefined;
}
