// Every reader of a record is held to the same: what is built in is taken, no number is without bounds, and whatever
// else stands in a file is told in words.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../src/errors.ts';
import {
  makeChart,
  parseChartLayout,
  parseHistory,
  parsePriceList,
  parseSimulationErrors,
  resolveChart,
} from '../src/job/index.ts';
import { parseMachine } from '../src/machine/index.ts';
import { parseMaterial, parsePalette, parseProfile, parseRefused } from '../src/material/index.ts';
import { parseJig } from '../src/plate/index.ts';
import { parseFieldModel, parseMaterialModel } from '../src/simulation/index.ts';
import { REFUSED, SHOP } from './job/shop.ts';

type Json = null | boolean | number | string | Json[] | { [key: string]: Json };

const read = (path: string): Json => JSON.parse(readFileSync(path, 'utf8'));
const readAll = (folder: string, wanted = /\.json$/) =>
  readdirSync(folder)
    .filter((file) => wanted.test(file))
    .map((file) => [file, read(join(folder, file))] as const);

const CHART = {
  kind: 'tone',
  machine: 'galvo-1064-f160',
  material: 'anodised-black',
  replicates: 1,
  steps: 6,
} as const;
const GRID = { pitchMm: 0.1, lineSpacingMm: 0.1 };
const { layout } = await makeChart(resolveChart({ ...CHART, ...GRID }, { shop: SHOP, refused: REFUSED }));
const LAYOUT = JSON.parse(JSON.stringify(layout)) as Json;

const READERS: Readonly<
  Record<string, { readonly parse: (json: unknown) => unknown; readonly files: readonly (readonly [string, Json])[] }>
> = {
  machine: { parse: (json) => parseMachine(json, 'm'), files: readAll('shared/machines') },
  material: { parse: (json) => parseMaterial(json, 'm'), files: readAll('shared/materials', /^(?!never).*\.json$/) },
  'refused materials': { parse: (json) => parseRefused(json, 'n'), files: readAll('shared/materials', /^never/) },
  profile: { parse: (json) => parseProfile(json, 'p'), files: readAll('shared/shop/profiles') },
  palette: { parse: (json) => parsePalette(json, 'p'), files: readAll('shared/shop/palettes') },
  jig: { parse: (json) => parseJig(json, 'j'), files: readAll('shared/shop/jigs') },
  prices: { parse: (json) => parsePriceList(json, 'p'), files: [['prices.json', read('shared/shop/prices.json')]] },
  'hidden material': { parse: parseMaterialModel, files: readAll('shared/simulation') },
  'field of a virtual machine': { parse: parseFieldModel, files: readAll('shared/simulation/fields') },
  'errors to expect': {
    parse: (json) => parseSimulationErrors(json, 'e'),
    files: [['simulation-errors.json', read('shared/simulation-errors.json')]],
  },
  history: {
    parse: (json) => parseHistory(json, 'h'),
    files: [['history.json', { schema: 'tonewright-history/1', profile: 'p', entries: [entry()] }]],
  },
  'chart layout': { parse: (json) => parseChartLayout(json, 'c'), files: [['chart.json', LAYOUT]] },
};

function entry(): Json {
  const numbers = { meanDelta: 1, worstDelta: 2, bareDelta: 0, solidDelta: 0.5, midShift: 0.1, unit: 1 };
  return {
    date: '2026-01-01',
    chart: 'c',
    capture: 'f',
    ...numbers,
    basis: 'absolute',
    verdict: 'holds',
    cause: 'none',
  };
}

/** Every place of a record that satisfies a test, as a path. */
function listPlaces(value: Json, wanted: (value: Json) => boolean, path: readonly string[] = []): string[][] {
  const own = wanted(value) ? [[...path]] : [];
  if (value === null || typeof value !== 'object') return own;
  return [...own, ...Object.entries(value).flatMap(([key, one]) => listPlaces(one, wanted, [...path, key]))];
}

function putAt(value: Json, path: readonly string[], other: Json): Json {
  if (path.length === 0) return other;
  const copy = (value !== null && typeof value === 'object' ? structuredClone(value) : {}) as { [key: string]: Json };
  const [key, ...rest] = path as [string, ...string[]];
  // As the parser of JSON does, also for names such as "__proto__".
  Object.defineProperty(copy, key, {
    value: putAt(Object.hasOwn(copy, key) ? copy[key]! : null, rest, other),
    enumerable: true,
    configurable: true,
    writable: true,
  });
  return copy;
}

/** What a reader says: a person's problem, or nothing. Anything else is a bug and fails the test. */
function faultOf(parse: (json: unknown) => unknown, json: unknown): AppError | undefined {
  try {
    parse(json);
    return undefined;
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
}

describe.each(Object.entries(READERS))('a reader of %s', (_, { parse, files }) => {
  test('takes all that is built in', () => {
    expect(files.length).toBeGreaterThan(0);
    for (const [file, json] of files) expect([file, faultOf(parse, json)?.message]).toEqual([file, undefined]);
  });

  test('refuses numbers that no real thing has, by the name of the field and with what was needed', () => {
    const [, good] = files[0]!;
    for (const place of listPlaces(good, (value) => typeof value === 'number')) {
      for (const value of [1e300, -1e300, Number.POSITIVE_INFINITY]) {
        const fault = faultOf(parse, putAt(good, place, value));
        expect([place.join('.'), value, fault?.message]).toEqual([
          place.join('.'),
          value,
          expect.stringMatching(/found -?(?:1e\+300|Infinity).*, needed /),
        ]);
        expect(fault!.message).toContain(`"${place.join('.')}"`);
      }
    }
  });

  test('tells in words whatever stands in a place', { timeout: 60_000 }, () => {
    const [, good] = files[0]!;
    const places = listPlaces(good, () => true);
    const odd = fc.oneof(
      fc.jsonValue({ maxDepth: 3 }) as fc.Arbitrary<Json>,
      fc.constantFrom<Json>([], {}, [[]], [{}], null, '', 'constructor', '__proto__', -0, 1e-300, 0.5, -1, 2, 1e9),
    );
    fc.assert(
      fc.property(
        fc.constantFrom(...places),
        fc.constantFrom('', 'constructor', '__proto__', 'at'),
        odd,
        (place, key, value) => {
          const fault = faultOf(parse, putAt(good, key === '' ? place : [...place, key], value));
          if (fault) expect(fault.message).toMatch(/found .*needed /s);
        },
      ),
      { numRuns: 150, seed: 11 },
    );
  });
});

test.each([
  [
    'a list for an object',
    () => parseJig({ ...(read('shared/shop/jigs/keepsakes.json') as object), origin: [] }, 'j'),
    /field "origin": found \[\], needed an object, not a list/,
  ],
  ['a list for the whole', () => parseHistory([[]], 'h'), /history h: found \[\[\]\], needed an object, not a list/],
  [
    'pockets for strips alone',
    () => {
      const jig = read('shared/shop/jigs/keepsakes.json') as { grid?: Json; pockets?: { [key: string]: Json }[] };
      const { grid: _, ...rest } = jig;
      const pockets = [{ name: 'A', xMm: 10, yMm: 10, widthMm: 30, heightMm: 10, use: 'strip' }];
      return parseJig({ ...rest, pockets }, 'j');
    },
    /found pockets for strips alone, needed at least one for a piece/,
  ],
])('%s is told in words', (_, parse, message) => {
  expect(parse).toThrow(message);
});
