import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { type Machine, parseMachine } from '../../src/machine/index.ts';
import { describeOptics } from '../../src/optics/index.ts';

const FOLDER = 'shared/machines';
const read = (file: string): Record<string, unknown> => JSON.parse(readFileSync(`${FOLDER}/${file}`, 'utf8'));
const files = readdirSync(FOLDER).filter((file) => file.endsWith('.json'));

test('delays of dots belong to a galvo that burns dot by dot', () => {
  const machine = read('galvo-355-f210.json') as { motion: Record<string, unknown> };
  const dots = { ...machine.motion, bare: 'dot-by-dot', dotDelayUs: 12, gapDelayUs: 40, skipSpeedMmPerS: 3000 };
  expect(parseMachine({ ...machine, motion: dots }, 'm').motion).toEqual(dots);
  expect(() => parseMachine({ ...machine, motion: { ...machine.motion, dotDelayUs: 12 } }, 'm')).toThrow(
    /motion\.dotDelayUs": found 12, needed none, unless "bare" is "dot-by-dot"/,
  );
});

test('the five generic machines are there', () => {
  expect(files.map((file) => file.replace('.json', '')).sort()).toEqual([
    'galvo-1064-f160',
    'galvo-355-f100',
    'galvo-355-f210',
    'gantry-10600',
    'gantry-450',
  ]);
});

describe.each(files)('%s', (file) => {
  const machine = parseMachine(read(file), file);

  test('is called as its file', () => {
    expect(`${machine.name}.json`).toBe(file);
  });

  test('keeps every field of the file', () => {
    expect(machine).toEqual(read(file));
  });

  test('says that its numbers are assumed', () => {
    expect(Object.values(machine.origins).map(({ kind }) => kind)).toEqual(Array(4).fill('assumed'));
  });

  test('has default settings in which no formula is in doubt', () => {
    expect(describeOptics(machine, machine.defaults).warnings).toEqual([]);
  });

  test('warns of eyes, fumes, fire and names the manual', () => {
    const words = machine.cautions.map(({ text }) => text).join('\n');
    for (const word of [/eyewear that is rated for/, /interlock/, /Extract/, /unattended/, /manual of the machine/]) {
      expect(words).toMatch(word);
    }
    // source: iowaLaserHazards, which part of the eye absorbs which wavelength.
    const organ = { 355: /lens of the eye .* cataract/, 450: /retina/, 1064: /retina/, 10600: /cornea/ };
    const eye = machine.cautions.filter(({ source }) => source === 'iowaLaserHazards').map(({ text }) => text);
    expect(eye).toEqual([expect.stringMatching(organ[machine.wavelengthNm as keyof typeof organ])]);
  });
});

test('the 355 nm galvo with the long lens supports 0.022 mm over a card, the short lens finer over less', () => {
  const long = parseMachine(read('galvo-355-f210.json'), 'long');
  const short = parseMachine(read('galvo-355-f100.json'), 'short');
  expect(describeOptics(long, long.defaults).recommendedLineSpacingMm).toBe(0.022);
  expect(Math.min(...long.fieldMm)).toBeGreaterThanOrEqual(100);
  expect(describeOptics(short, short.defaults).recommendedLineSpacingMm).toBe(0.013);
  expect(Math.max(...short.fieldMm)).toBeLessThan(Math.min(...long.fieldMm));
});

describe('a machine file is refused', () => {
  const good = read('galvo-355-f210.json');
  const motion = good.motion as Record<string, unknown>;
  const defaults = good.defaults as Record<string, unknown>;
  const without = (field: string) => Object.fromEntries(Object.entries(good).filter(([key]) => key !== field));
  const faults: [string, unknown, RegExp][] = [
    [
      'text for a number',
      { ...good, wavelengthNm: '355' },
      /field "wavelengthNm": found "355", needed a number from 100 to 20000 nm/,
    ],
    ['a missing field', without('focalLengthMm'), /field "focalLengthMm": found nothing, needed this field/],
    [
      'a negative length',
      { ...good, beamDiameterMm: -3 },
      /field "beamDiameterMm": found -3, needed a number from 0.1 to 1000 mm/,
    ],
    [
      'a beam better than perfect',
      { ...good, beamQualityM2: 0.8 },
      /field "beamQualityM2": found 0.8, needed a number from 1 to 200/,
    ],
    ['a range upside down', { ...good, powerW: { min: 5, max: 1 } }, /field "powerW": .*max that is not below min/],
    ['a field of one side', { ...good, fieldMm: [100] }, /field "fieldMm.1"/],
    ['an unknown field', { ...good, colour: 'red' }, /field "colour": found a field of that name/],
    ['an unknown motion', { ...good, motion: { ...motion, kind: 'belt' } }, /field "motion.kind": found "belt"/],
    ['a negative delay', { ...good, motion: { ...motion, jumpDelayUs: -1 } }, /field "motion.jumpDelayUs": found -1/],
    ['a motion without speed', { ...good, motion: { ...motion, jumpSpeedMmPerS: 0 } }, /"motion.jumpSpeedMmPerS"/],
    ['half a pass', { ...good, defaults: { ...defaults, passes: 0.5 } }, /field "defaults.passes": found 0.5/],
    ['257 levels', { ...good, levels: 257 }, /field "levels": found 257, needed <=256/],
    ['another schema', { ...good, schema: 'tonewright-machine/9' }, /field "schema": found "tonewright-machine\/9"/],
    ['a name with blanks', { ...good, name: 'My laser' }, /field "name": .*lower-case/],
    [
      'a caution without source',
      { ...good, cautions: [{ text: 'Hot.', source: 'me' }] },
      /"cautions.0.source".*bibliography/,
    ],
    ['pulses without a rate', without('rateKHz'), /field "rateKHz": found nothing/],
    ['pulses of a continuous beam', { ...good, emission: 'continuous' }, /field "rateKHz": .*continuous/],
    [
      'defaults out of range',
      { ...good, defaults: { ...defaults, powerW: 50 } },
      /"defaults.powerW": found 50, .*0.1 … 8/,
    ],
    ['a list', [], /machine my-file/],
    ['nothing', null, /machine my-file/],
    ['text', 'galvo', /machine my-file/],
  ];

  test.each(faults)('for %s', (_what, json, message) => {
    let caught: unknown;
    try {
      parseMachine(json, 'my-file');
    } catch (error) {
      caught = error;
    }
    expect(caught).toBeInstanceOf(AppError);
    expect((caught as AppError).code).toBe('file-invalid');
    expect((caught as AppError).message).toMatch(message);
    expect((caught as AppError).message).toMatch(/^machine my-file/);
  });

  test('with the number of further faults', () => {
    expect(() => parseMachine({ ...good, wavelengthNm: 0, focalLengthMm: 0 }, 'x')).toThrow(/wavelengthNm.*and 1 more/);
  });
});

test('a machine may leave out what it does not know', () => {
  const { lensApertureMm: _a, pulseNs: _p, ...rest } = read('galvo-355-f210.json');
  const machine: Machine = parseMachine(rest, 'short');
  expect(machine.lensApertureMm).toBeUndefined();
  expect('pulseNs' in machine).toBe(false);
});
