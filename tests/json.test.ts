import fc from 'fast-check';
import { expect, test } from 'vitest';
import { AppError } from '../src/errors.ts';
import { formatJson, lookUp, parseJson } from '../src/json.ts';

test('any JSON is read as the engine reads it', () => {
  fc.assert(
    fc.property(fc.json({ maxDepth: 6 }), (text) => {
      expect(parseJson(text)).toEqual(JSON.parse(text));
    }),
  );
  expect(parseJson('\uFEFF{"a":"[[[\\"[{"}')).toEqual({ a: '[[["[{' });
});

test('brackets too deep are refused, wherever they stand; those within quotes are text', () => {
  const deep = `${'['.repeat(20_000)}${']'.repeat(20_000)}`;
  for (const text of [deep, `{"a":${deep}}`, `{"a":"]","b":${'{"c":'.repeat(100)}1${'}'.repeat(100)}}`]) {
    expect(() => parseJson(text)).toThrow(/brackets more than 64 levels deep/);
  }
  expect(parseJson(`["${'['.repeat(1000)}"]`)).toHaveLength(1);
  expect(parseJson(`[${Array.from({ length: 1000 }, () => '[[]]').join()}]`)).toHaveLength(1000);
  expect(() => parseJson('{"a":')).toThrow(SyntaxError);
});

test('a record is written as the engine writes it, unless a number of it is none', () => {
  const good = { a: [1, null, { b: -0.5, c: 'NaN' }], d: undefined };
  expect(formatJson(good, 'ticket')).toBe(`${JSON.stringify(good, null, 2)}\n`);
  for (const value of [Number.NaN, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY]) {
    const bad = { time: { parts: [{ seconds: 1 }, { seconds: value }] } };
    try {
      formatJson(bad, 'ticket cat');
      expect.unreachable();
    } catch (error) {
      expect(error).toBeInstanceOf(AppError);
      expect((error as AppError).code).toBe('result-impossible');
      expect((error as AppError).message).toBe(
        `ticket cat, field "time.parts.1.seconds": came out as ${value}, needed a number`,
      );
    }
  }
});

test.each(['constructor', 'hasOwnProperty', '__proto__', 'toString', 'valueOf'])('no table has a "%s"', (name) => {
  expect(lookUp({ a: 1 }, name)).toBeUndefined();
  expect(lookUp({ a: 1, [name]: 2 }, 'a')).toBe(1);
});
