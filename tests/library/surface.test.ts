// What the library offers is written down in packaging/library.d.ts, which `npm run api` makes of the sources and the
// packed file holds: a change of the one is a change of the other, for the compiler (`npm run types`) and for readers.
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import type * as written from '../../packaging/library.d.ts';
import * as sources from '../../src/library/index.ts';

/** Whether the compiler takes two types for one and the same, optional fields included. */
type Same<A, B> = { is: <T>() => T extends A ? 1 : 2 } extends { is: <T>() => T extends B ? 1 : 2 } ? true : false;

/** Names that are in one surface alone, or are another thing in the other. */
type Changed<S, W> =
  | { [K in keyof S]: K extends keyof W ? (Same<S[K], W[K]> extends true ? never : K) : K }[keyof S]
  | Exclude<keyof W, keyof S>;

const IS_NONE: [Changed<typeof sources, typeof written>] extends [never] ? true : false = true;
const SEEN: Changed<{ a: () => { b: number } }, { a: () => { b: number; c?: number } }>[] = ['a'];
const declarations = readFileSync('packaging/library.d.ts', 'utf8');

test('the written surface is that of the sources: npm run api', () => {
  expect([IS_NONE, SEEN]).toEqual([true, ['a']]);
  const declared = [...declarations.matchAll(/^export declare (?:function|const) (\w+)/gm)].map(([, name]) => name);
  expect(declared.sort()).toEqual(Object.keys(sources).sort());
});

test('it needs no other declarations', () => {
  expect(declarations).not.toMatch(/^import |from ['"]|\/\/\/ <reference|\bBuffer\b/m);
});

test('every function says what it does', () => {
  const bare = [...declarations.matchAll(/^(?<before>.*)\nexport declare function (?<name>\w+)/gm)].filter(
    ({ groups }) => !groups!.before!.endsWith('*/'),
  );
  expect(bare.map(({ groups }) => groups!.name)).toEqual([]);
});
