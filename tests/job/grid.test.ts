import { describe, expect, test } from 'vitest';
import {
  gainByMoreDose,
  makeDots,
  readProfile,
  recommendSpacingMm,
  resolveJob,
  takePicture,
} from '../../src/job/index.ts';
import { assumeResponse, describeSolid, type Profile, simulateStrength } from '../../src/material/index.ts';
import { createDots, createPlane, decodePhoto, encodeColour } from '../../src/plane/index.ts';
import { SHOP } from './shop.ts';

const anodised = readProfile('anodised-black', SHOP);
/** The example with a coating that takes so many times the half dose, on the example's grid. */
const driven = (times: number, steepness = 8): Profile => ({
  ...anodised,
  response: { ...anodised.response, halfDose: 1 / times, steepness },
});

describe('the spacing that a measured solid supports', () => {
  test('is wider the further the solid is driven past its half dose, at the same settings', () => {
    const widths = [1.6, 2.2, 3, 4].map((times) => recommendSpacingMm(driven(times)));
    for (let i = 1; i < widths.length; i++) expect(widths[i]).toBeGreaterThanOrEqual(widths[i - 1]!);
    expect(widths.at(-1)).toBeGreaterThan(1.3 * anodised.grid.lineSpacingMm);
  });

  test('keeps the burned one where less dose would lose tone', () => {
    // A gradual material far from saturation: every wider spacing is weaker.
    const weak = driven(0.9, 2);
    expect(recommendSpacingMm(weak)).toBe(weak.grid.lineSpacingMm);
    expect(gainByMoreDose(weak)).toBeGreaterThan(2);
    expect(gainByMoreDose(driven(3))).toBeLessThan(0.5);
  });

  test('does not follow the mark of a lone dot', () => {
    // The same solid, a dot narrower and closer to its limit: lone marks differ by a fifth, the spacing by less than a
    // tenth.
    const lone = (drive: number, markUm: number) => ({
      ...anodised,
      response: assumeResponse(
        { markDiameterXUm: markUm, markDiameterYUm: markUm, steepness: 8, drive, yuleNielsenN: 1 },
        anodised.grid,
      ),
    });
    const solid = describeSolid(lone(2, 22), anodised);
    expect(solid.strength).toBeCloseTo(1, 9);
    for (const markUm of [16, 18, 20, 22]) {
      expect(recommendSpacingMm(lone(2, markUm))).toBeGreaterThan(markUm / 1000 / Math.SQRT2);
    }
  });

  test.each([0.02, 0.03, 0.04])('agrees with the deposit of doses at %f mm', (lineSpacingMm) => {
    const grid = { pitchMm: 0.02, lineSpacingMm };
    const dots = createDots(12, 12, 2);
    dots.data.fill(1);
    const { data } = simulateStrength(anodised.response, dots, { grid, samplesX: 17, samplesY: 17, edge: 'repeat' });
    const mean = data.reduce((sum, value) => sum + value, 0) / data.length;
    expect(describeSolid(anodised, { grid }).strength).toBeCloseTo(mean, 4);
  });
});

describe('a job through a profile', () => {
  const known = { shop: SHOP, refused: [] };

  test.each(SHOP.list('profiles').map(({ name }) => name))('%s has nothing to say of its own grid', (profile) => {
    const { warnings } = resolveJob({ size: '40x30', profile }, known);
    expect(warnings.filter(({ text }) => /apart|spacing|solid|dose|pulse|ripple|corner/i.test(text))).toEqual([]);
  });

  test('is told when its lines leave the full tone, with the spacing that does not', () => {
    const { warnings } = resolveJob({ size: '40x30', profile: 'anodised-black', lineSpacingMm: 0.05 }, known);
    expect(warnings.map(({ text }) => text)).toContainEqual(
      expect.stringMatching(
        /At 0.05 mm between lines a solid falls \d+\.\d L\* short of the full tone: take lines 0\.0\d+ mm apart/,
      ),
    );
  });
});

describe('a bitmap without one dot', () => {
  /** A ramp from black to a level. */
  const photo = async (level: number) => {
    const rgb = Uint8Array.from({ length: 64 * 48 * 3 }, (_, i) => ((Math.floor(i / 3) % 64) * level) / 63);
    const png = await encodeColour({ width: 64, height: 48, rgb }, { format: 'png' });
    return () => decodePhoto(Buffer.from(png), 'ramp.png');
  };
  const spec = resolveJob({ size: '12x9', profile: 'anodised-black', tone: 'plain' }, { shop: SHOP, refused: [] });

  test('is refused for a photo that is not bare, and made for one that is', async () => {
    const grey = await takePicture(await photo(120), { spec, withThumbnail: false });
    expect(makeDots(grey, { spec }).dots.data.some((value) => value > 0)).toBe(true);
    // Nothing may be marked: the mask leaves no dot of a photo that is light.
    const mask = createPlane('mask', grey.frame.width, grey.frame.height);
    expect(() => makeDots(grey, { spec, mask })).toThrow(expect.objectContaining({ code: 'nothing-fires' }));
    // Hardly anything above black: L* of the level 6 is 1.6.
    const dark = await takePicture(await photo(6), { spec, withThumbnail: false });
    expect(makeDots(dark, { spec, mask }).dots.data.some((value) => value > 0)).toBe(false);
  });
});
