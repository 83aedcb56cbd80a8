import { expect, test } from 'vitest';
import { compareSettings, type JobFacts } from '../../src/material/index.ts';
import { SAMPLE } from './profile-sample.ts';

const MACHINE = { name: 'galvo-355-f210', wavelengthNm: 355, focalLengthMm: 210 };
const JOB: JobFacts = {
  machine: MACHINE,
  learnedOn: MACHINE,
  grid: SAMPLE.grid,
  screen: SAMPLE.screen,
  settings: SAMPLE.settings,
};
const messages = (change: Partial<JobFacts>) => compareSettings(SAMPLE, { ...JOB, ...change });

test('a job like the profile gives no warning', () => {
  expect(messages({})).toEqual([]);
});

test('another laser, another lens and an unknown machine are told apart', () => {
  const lens = messages({ machine: { name: 'galvo-355-f100', wavelengthNm: 355, focalLengthMm: 100 } });
  expect(lens.map(({ field }) => field)).toEqual(['lens']);
  expect(lens[0].message).toContain('another lens: 210 mm (galvo-355-f210); this job uses 100 mm (galvo-355-f100)');
  const laser = messages({ machine: { name: 'galvo-1064-f160', wavelengthNm: 1064, focalLengthMm: 160 } });
  expect(laser[0].message).toContain(
    'another machine: galvo-355-f210 (355 nm); this job uses galvo-1064-f160 (1064 nm)',
  );
  const { learnedOn: _, ...unknown } = JOB;
  const other = compareSettings(SAMPLE, { ...unknown, machine: { ...MACHINE, name: 'mine' } });
  expect(other[0].message).toContain('another machine: galvo-355-f210; this job uses mine');
});

test('pitch, line spacing, screen and settings are named with both values', () => {
  const warnings = messages({
    grid: { pitchMm: 0.025, lineSpacingMm: 0.03 },
    screen: { name: 'stucki', options: {} },
    settings: { ...SAMPLE.settings, speedMmPerS: 800, passes: 2 },
  });
  expect(warnings.map(({ field }) => field)).toEqual(['pitch', 'lineSpacing', 'screen', 'settings']);
  expect(warnings[0].message).toContain('0.02 mm; this job uses 0.025 mm');
  expect(warnings[3].message).toContain('speed 1000 mm/s, now 800 mm/s, passes 1, now 2');
});

test('a pitch of a rotary’s whole steps is told in as many digits as tell it from the profile’s', () => {
  const [told] = messages({ grid: { pitchMm: (73 * Math.PI * 3) / 25600, lineSpacingMm: 0.02 } });
  expect(told!.message).toContain('0.02 mm; this job uses 0.02688 mm');
});

test('other options of the same screen count, their order and rounding of lengths do not', () => {
  expect(messages({ screen: { name: 'floyd-steinberg', options: { scan: 'raster' } } })[0].field).toBe('screen');
  expect(messages({ grid: { pitchMm: 0.02000001, lineSpacingMm: 0.02 } })).toEqual([]);
});
