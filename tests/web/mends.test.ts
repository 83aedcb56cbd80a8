import { describe, expect, test } from 'vitest';
import { warnOfSoftness } from '../../src/job/index.ts';
import { type Notice, notice } from '../../src/notices.ts';
import { framePhoto } from '../../src/photo/index.ts';
import { type MendFacts, mendOf } from '../../src/web/page/notices/mends.ts';
import type { PhotoSettings, ShopFacts } from '../../src/web/protocol.ts';

const WISH: PhotoSettings = {
  widthMm: 85.6,
  heightMm: 53.98,
  cornerRadiusMm: 3.18,
  machine: 'galvo',
  profile: 'cards',
  fit: 'cover',
  safeMarginMm: 2,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
};
const PROFILE = { name: 'cards', title: 'Cards', material: 'anodised', machine: 'galvo', origin: 'assumed' };
const SHOP = { machines: [{ name: 'galvo', title: 'The galvo' }], profiles: [PROFILE] } as unknown as ShopFacts;

const mend = (one: Notice, more: Partial<MendFacts> & { wish?: PhotoSettings } = {}) =>
  mendOf(one, { wish: WISH, facts: undefined, shop: SHOP, unit: 'mm', ...more });

describe('a photo too small for its piece', () => {
  const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
  const soften = (wish: PhotoSettings, photo: { width: number; height: number }) =>
    warnOfSoftness(framePhoto(photo, { ...wish, grid }));
  test.each([
    [900, 600],
    [400, 600],
    [610, 420],
  ])('of %d × %d pixels is sharp enough at the size that is offered', (width, height) => {
    const photo = { width, height };
    const small = soften(WISH, photo)!;
    const offered = mend(small)!;
    expect(offered.label).toMatch(/^Make it \d+(\.\d)? mm$/);
    const { wish } = offered as Extract<typeof offered, { wish: PhotoSettings }>;
    expect(soften(wish, photo)).toBeUndefined();
    expect(wish.widthMm / wish.heightMm).toBeCloseTo(WISH.widthMm / WISH.heightMm, 1);
    // One millimetre or tenth more would be too much, but for the bare edge, which stays as it is.
    expect(wish.widthMm).toBeGreaterThan((WISH.widthMm / (small.data.times as number)) * 0.95);
  });
  test('and for every piece has its controls opened instead', () => {
    expect(mend(notice('photo-small', { said: '', times: 40 }))).toEqual({ label: 'Change the size', open: 'piece' });
  });
});

test('a crop by hand is given up before the photo is shown whole', () => {
  const lost = notice('subject-lost', { lost: 0.3, photoLost: 0.5 });
  const wish = { ...WISH, focus: { x: 0.1, y: 0.2 }, zoom: 2 };
  expect(mend(lost, { wish })).toEqual({ label: 'Follow the subject', wish: WISH });
  expect(mend(lost)).toEqual({ label: 'Show the photo whole', wish: { ...WISH, fit: 'contain' } });
});

test('a guess is mended by the measured profile where there is one, else by a chart for what is in hand', () => {
  const guess = notice('profile-assumed', { profile: 'cards' });
  expect(mend(guess)).toEqual({ label: 'Draw a tone chart', go: '/material/draw/tone/galvo/anodised' });
  const own = { ...PROFILE, name: 'mine', title: 'Mine', origin: 'measured' };
  const shop = { ...SHOP, profiles: [PROFILE, own] } as unknown as ShopFacts;
  expect(mend(guess, { shop })).toEqual({ label: 'Take “Mine”', wish: { ...WISH, profile: 'mine' } });
});

test('lines there and back that were not measured get a spot chart at their own speed', () => {
  const go = '/material/draw/spot/galvo/anodised/two-way-800';
  const speed = notice('two-way-speed', { speedMmPerS: 800, measured: [400] });
  const vague = notice('two-way-vague', { speedMmPerS: 800, reachUm: 90, dotUm: 50 });
  for (const one of [speed, vague]) expect(mend(one)).toEqual({ label: 'Draw a spot chart', go });
});

test('clear stock gets a profile of its own side, or a chart that is looked at so', () => {
  const differs = notice('side-differs', { profile: 'cards', learned: 'face', seen: 'through' });
  expect(mend(differs)).toEqual({ label: 'Draw a tone chart', go: '/material/draw/tone/galvo/anodised/through' });
  const over = notice('beneath-differs', { profile: 'cards', learned: 'dark', beneath: 'light' });
  expect(mend(over, { wish: { ...WISH, beneath: 'light' } })).toEqual({
    label: 'Lay it over a dark ground',
    wish: WISH,
  });
  const [face, through] = [{}, { seen: 'through' }].map((side, at) => ({
    ...PROFILE,
    ...side,
    name: `own-${at}`,
    title: `Own ${at}`,
    origin: 'measured',
  }));
  const shop = { ...SHOP, profiles: [PROFILE, face, through] } as unknown as ShopFacts;
  const guess = notice('profile-assumed', { profile: 'cards' });
  expect(mend(guess, { shop })).toMatchObject({ wish: { profile: 'own-0' } });
  expect(mend(guess, { shop, wish: { ...WISH, seen: 'through' } })).toMatchObject({ wish: { profile: 'own-1' } });
});

test('what was set by hand is given up, and nothing that burns deeper is ever set by a click', () => {
  const wish = { ...WISH, settings: { powerW: 9 } };
  expect(mend(notice('dose-strong', { said: '', times: 3 }), { wish })).toMatchObject({ wish: WISH });
  const dense = notice('program-too-dense', { needed: 2000, limit: 1000, speedMmPerS: 40 });
  expect(mend(dense)).toEqual({ label: 'Change the speed', open: 'dots' });
});

test('a leaning print is straightened from where it stands, and bars are left out where the photo says', () => {
  const wish = { ...WISH, turnDeg: 90 };
  const print = notice('print-seen', { turnDeg: -2.5, slant: 0, focus: { x: 0.5, y: 0.4 }, zoom: 1.3 });
  expect(mend(print, { wish })).toMatchObject({ wish: { turnDeg: 87.5 } });
  const bars = notice('bars-seen', { above: 0.1, below: 0, left: 0, right: 0, focus: { x: 0.5, y: 0.6 }, zoom: 1.2 });
  expect(mend(bars, { wish: { ...WISH, fit: 'contain' } })).toEqual({
    label: 'Leave them out',
    wish: { ...WISH, focus: { x: 0.5, y: 0.6 }, zoom: 1.2 },
  });
});
