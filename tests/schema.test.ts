import * as v from 'valibot';
import { expect, test } from 'vitest';
import { AppError } from '../src/errors.ts';
import { parseRecord } from '../src/schema.ts';

const SCHEMA = v.strictObject({
  name: v.string(),
  size: v.strictObject({ widthMm: v.pipe(v.number('a number'), v.gtValue(0, 'a number above 0')) }),
  note: v.exactOptional(v.string()),
});

function messageOf(json: unknown): string {
  try {
    parseRecord(SCHEMA, { json, what: 'jig x.json' });
  } catch (error) {
    if (error instanceof AppError && error.code === 'file-invalid') return error.message;
    throw error;
  }
  return 'none';
}

test.each([
  ['nothing wrong', { name: 'a', size: { widthMm: 1 } }, 'none'],
  ['a missing field', { name: 'a', size: {} }, 'jig x.json, field "size.widthMm": found nothing, needed this field'],
  [
    'a field too many',
    { name: 'a', size: { widthMm: 1 }, colour: 2 },
    'jig x.json, field "colour": found a field of that name, needed only known fields',
  ],
  [
    'a rule of the schema, in its words',
    { name: 'a', size: { widthMm: -1 } },
    'jig x.json, field "size.widthMm": found -1, needed a number above 0',
  ],
  [
    'a kind that the library names',
    { name: 7, size: { widthMm: 1 } },
    'jig x.json, field "name": found 7, needed string',
  ],
  ['two faults', { name: 7, size: { widthMm: 'x' } }, 'jig x.json, field "name": found 7, needed string (and 1 more)'],
  ['no object at all', null, 'jig x.json: found null, needed Object'],
  ['nothing at all', undefined, 'jig x.json: found nothing, needed Object'],
  [
    'a long value, cut',
    { name: 'a', size: { widthMm: 'x'.repeat(99) } },
    `jig x.json, field "size.widthMm": found "${'x'.repeat(58)}…, needed a number`,
  ],
])('%s', (_, json, message) => {
  expect(messageOf(json)).toBe(message);
});
