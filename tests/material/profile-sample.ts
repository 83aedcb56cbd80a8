import type { Profile } from '../../src/material/index.ts';

/** A small, valid profile of a lighter mark, for tests to change. */
export const SAMPLE: Profile = {
  schema: 'tonewright-profile/1',
  name: 'sample',
  title: 'Sample',
  material: 'anodised-black',
  machine: 'galvo-355-f210',
  grid: { pitchMm: 0.02, lineSpacingMm: 0.02 },
  settings: { powerW: 2, speedMmPerS: 1000, rateKHz: 50, passes: 1, scan: 'one-way' },
  screen: { name: 'floyd-steinberg', options: { scan: 'serpentine' } },
  direction: 'lighter',
  bare: [18, 0, 0],
  full: [82, 0, 0],
  points: [
    { coverage: 0, lightness: 18, spread: 0.2 },
    { coverage: 0.1, lightness: 33, spread: 0.4 },
    { coverage: 0.3, lightness: 55, spread: 0.5 },
    { coverage: 0.6, lightness: 74, spread: 0.4 },
    { coverage: 1, lightness: 82, spread: 0.2 },
  ],
  response: {
    doseDiameterXUm: 38,
    doseDiameterYUm: 32,
    halfDose: 0.38,
    steepness: 8,
    fading: 0,
    yuleNielsenN: 1,
    reference: { pitchMm: 0.02, lineSpacingMm: 0.02 },
  },
  repeatability: 0.6,
  origin: 'measured',
  date: '2026-05-04',
  note: '',
};

/** The same with marks darker than bare: lightness turned upside down. */
export const DARKER: Profile = {
  ...SAMPLE,
  direction: 'darker',
  bare: SAMPLE.full,
  full: SAMPLE.bare,
  points: SAMPLE.points.map((point) => ({ ...point, lightness: 100 - point.lightness })),
};
