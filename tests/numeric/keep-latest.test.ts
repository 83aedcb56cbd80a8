import { expect, test } from 'vitest';
import { keepLatest } from '../../src/numeric/index.ts';

test('a value is made once while it is among those asked for last', () => {
  const made: string[] = [];
  const keep = keepLatest<{ name: string }>(2);
  const ask = (name: string) =>
    keep(name, () => {
      made.push(name);
      return { name };
    });
  const first = ask('a');
  ask('b');
  expect(ask('a')).toBe(first);
  ask('c');
  expect(ask('a')).toBe(first);
  ask('b');
  expect(made).toEqual(['a', 'b', 'c', 'b']);
});

test('a value may be undefined, and one that cannot be made is not kept', () => {
  const keep = keepLatest<number | undefined>(1);
  let asked = 0;
  const ask = () => keep('none', () => void asked++);
  ask();
  ask();
  expect(asked).toBe(1);
  const fail = () => {
    throw new Error('no');
  };
  expect(() => keep('bad', fail)).toThrow('no');
  expect(keep('bad', () => 5)).toBe(5);
});
