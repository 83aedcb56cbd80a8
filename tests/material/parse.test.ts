import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { findRefused, parseMaterial, parseProfile, parseRefused } from '../../src/material/index.ts';
import { DARKER, SAMPLE } from './profile-sample.ts';

const caught = (run: () => unknown): AppError => {
  try {
    run();
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  return expect.fail('nothing was thrown');
};

describe('profiles', () => {
  test('a profile survives JSON', () => {
    for (const profile of [SAMPLE, DARKER]) {
      expect(parseProfile(JSON.parse(JSON.stringify(profile)), 'sample')).toEqual(profile);
    }
  });

  test.each([
    {
      change: { schema: 'tonewright-profile/9' },
      message: 'field "schema": found "tonewright-profile/9", needed "tonewright-profile/1"',
    },
    { change: { machine: undefined }, message: 'field "machine": found nothing, needed this field' },
    {
      change: { grid: { pitchMm: -1, lineSpacingMm: 1 } },
      message: 'field "grid.pitchMm": found -1, needed a number from 0.0001 to 50 mm',
    },
    {
      change: { settings: { ...SAMPLE.settings, passes: 1.5 } },
      message: 'field "settings.passes": found 1.5, needed a whole number',
    },
    {
      change: { settings: { ...SAMPLE.settings, rateKhz: 5 } },
      message: 'field "settings.rateKhz": found a field of that name, needed only known fields',
    },
    { change: { direction: 'up' }, message: 'field "direction": found "up", needed "lighter" or "darker"' },
    { change: { bare: [18, 0] }, message: 'field "bare.2": found nothing' },
    {
      change: { response: { ...SAMPLE.response, yuleNielsenN: 0.5 } },
      message: 'field "response.yuleNielsenN": found 0.5, needed a number from 1 to 100',
    },
    { change: { date: 'May' }, message: 'field "date": found "May", needed a date such as 2026-03-31' },
    { change: { points: [SAMPLE.points[0]] }, message: 'field "points": found' },
  ])('$message', ({ change, message }) => {
    const error = caught(() => parseProfile(JSON.parse(JSON.stringify({ ...SAMPLE, ...change })), 'my.json'));
    expect(error.code).toBe('file-invalid');
    expect(error.message).toContain(`my.json, ${message}`);
  });

  test('a file that holds no object is refused as a whole', () => {
    expect(caught(() => parseProfile(null, 'x')).message).toBe('x: found null, needed an object');
  });

  test('points whose lightness turns back cannot be used, and the two points are named', () => {
    const points = SAMPLE.points.map((point, i) => (i === 3 ? { ...point, lightness: 50 } : point));
    const error = caught(() => parseProfile({ ...SAMPLE, points }, 'x'));
    expect(error.code).toBe('profile-unusable');
    expect(error.message).toContain('points.2 and points.3: found L* 55 then 50, needed L* that only rises');
  });

  test('points whose coverage does not rise cannot be used', () => {
    const points = SAMPLE.points.map((point, i) => (i === 2 ? { ...point, coverage: 0.1 } : point));
    expect(caught(() => parseProfile({ ...SAMPLE, points }, 'x')).code).toBe('profile-unusable');
  });

  test('a direction that contradicts the points cannot be used', () => {
    expect(caught(() => parseProfile({ ...SAMPLE, direction: 'darker' }, 'x')).code).toBe('profile-unusable');
  });
});

const read = (path: string) => JSON.parse(readFileSync(path, 'utf8'));
const materials = readdirSync('shared/materials').filter((file) => file !== 'never.json');

describe('materials that come with the program', () => {
  test('there are at least nine', () => {
    expect(materials.length).toBeGreaterThanOrEqual(9);
  });

  test.each(materials)('%s is valid, named after its file, assumed and has cautions', (file) => {
    const material = parseMaterial(read(`shared/materials/${file}`), file);
    expect(`${material.name}.json`).toBe(file);
    expect(material.origin.kind).toBe('assumed');
    expect(material.cautions.length).toBeGreaterThan(0);
  });

  test('a mark on the wrong side of bare is refused', () => {
    const slate = read('shared/materials/slate.json');
    slate.marks[0].direction = 'darker';
    expect(caught(() => parseMaterial(slate, 'slate')).message).toContain('marks.0');
  });

  test('no material shares a name with another, nor with a refused one', () => {
    const refused = parseRefused(read('shared/materials/never.json'), 'never');
    const names = materials.flatMap((file) => {
      const { name, aliases } = parseMaterial(read(`shared/materials/${file}`), file);
      return [name, ...aliases];
    });
    expect(new Set(names).size).toBe(names.length);
    expect(names.filter((name) => findRefused(name, refused))).toEqual([]);
  });
});

describe('materials that are refused', () => {
  const refused = parseRefused(read('shared/materials/never.json'), 'never');

  test.each([
    ['PVC', 'pvc'],
    ['white vinyl sheet', 'pvc'],
    ['Poly-Vinyl Chloride', 'pvc'],
    ['faux-leather patch', 'artificial-leather'],
    ['Pleather', 'artificial-leather'],
    ['ABS, 3 mm', 'abs'],
    ['Teflon', 'ptfe'],
    ['carbon fibres', 'carbon-fibre'],
    ['carbon fiber plate', 'carbon-fibre'],
    ['FR-4 board', 'fibreglass'],
    ['Lexan', 'polycarbonate'],
    ['chlorinated rubber', 'chlorinated-plastic'],
  ])('%s is %s', (text, name) => {
    expect(findRefused(text, refused)?.name).toBe(name);
  });

  test.each(['leather', 'absolute black', 'carbon steel', 'glass', 'cast acrylic', 'pvcx', 'birch plywood', ''])(
    '"%s" may pass',
    (text) => {
      expect(findRefused(text, refused)).toBeUndefined();
    },
  );
});
