import { converter, differenceEuclidean } from 'culori';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance, linearRgbOfLab, reflectanceOfLightness } from '../../src/colour/index.ts';
import { createPlane } from '../../src/plane/index.ts';
import { codeOfLightness, renderProof, renderSurface } from '../../src/proof/index.ts';

const COLOURS = { bare: [70, 10, 26], full: [28, 8, 11], yuleNielsenN: 1.3 } as const;
const flat = (width: number, height: number, reflectance: number) =>
  createPlane('reflectance', width, height, new Float32Array(width * height).fill(reflectance));
const toLab = converter('lab65');
const labOf = (rgb: ArrayLike<number>, at = 0) =>
  toLab({ mode: 'rgb', r: rgb[at] / 255, g: rgb[at + 1] / 255, b: rgb[at + 2] / 255 });

describe('colours', () => {
  test('agree with a colour library', () => {
    const toLinear = converter('lrgb');
    const chroma = fc.double({ min: -40, max: 40, noNaN: true });
    fc.assert(
      fc.property(fc.double({ min: 1, max: 99, noNaN: true }), chroma, chroma, (l, a, b) => {
        const theirs = toLinear({ mode: 'lab65', l, a, b });
        const ours = linearRgbOfLab([l, a, b]);
        expect(
          Math.max(Math.abs(ours[0] - theirs.r), Math.abs(ours[1] - theirs.g), Math.abs(ours[2] - theirs.b)),
        ).toBeLessThan(5e-4);
      }),
      { seed: 9 },
    );
  });

  test.each([COLOURS.bare, COLOURS.full])('bare and full of a surface are drawn as they are: %j', (...lab) => {
    const { rgb } = renderSurface(flat(1, 1, reflectanceOfLightness(lab[0])), COLOURS);
    const wanted = { mode: 'lab65', l: lab[0], a: lab[1], b: lab[2] } as const;
    expect(differenceEuclidean('lab65')(labOf(rgb), wanted)).toBeLessThan(0.8);
  });

  test('every tone between has the lightness that was predicted', () => {
    for (let lightness = 28; lightness <= 70; lightness += 3) {
      const { rgb } = renderSurface(flat(1, 1, reflectanceOfLightness(lightness)), COLOURS);
      expect(Math.abs(labOf(rgb).l - lightness)).toBeLessThan(0.5);
    }
  });

  test('tones beyond the two ends are drawn, not wrapped', () => {
    const { rgb } = renderSurface(createPlane('reflectance', 2, 1, Float32Array.from([-0.1, 1.5])), COLOURS);
    expect([...rgb.subarray(0, 3)]).toEqual([0, 0, 0]);
    expect(Math.min(...rgb.subarray(3))).toBeGreaterThan(180);
  });
});

describe('the picture of a piece', () => {
  const picture = renderProof(flat(60, 40, 0.4), { colours: COLOURS, cornerRadiusPx: 10, marginPx: 20 });
  const pixel = (x: number, y: number) => [...picture.rgb.subarray(3 * (y * 100 + x), 3 * (y * 100 + x) + 3)];

  test('has its surroundings on every side, neutral and of the lightness asked for', () => {
    expect([picture.width, picture.height]).toEqual([100, 80]);
    expect(pixel(0, 0)).toEqual(new Array(3).fill(codeOfLightness(90)));
    for (let x = 0; x < 100; x++) expect(new Set(pixel(x, 2)).size).toBe(1);
  });

  test('shows the surface inside, up to the border', () => {
    const inner = renderSurface(flat(1, 1, 0.4), COLOURS).rgb;
    expect(pixel(50, 40)).toEqual([...inner]);
    expect(pixel(23, 40)).toEqual([...inner]);
  });

  test('is round at its corners and darkest in the shadow below', () => {
    const corner = pixel(20, 20);
    expect(corner[0]).toBe(corner[2]);
    expect(pixel(50, 61)[0]).toBeLessThan(pixel(50, 18)[0]);
  });

  test('without margin and radius it is the surface itself', () => {
    const plain = renderProof(flat(8, 6, 0.2), { colours: COLOURS, marginPx: 0 });
    expect(plain.rgb).toEqual(renderSurface(flat(8, 6, 0.2), COLOURS).rgb);
  });

  test('a single cell can be drawn, too', () => {
    const tiny = renderProof(flat(1, 1, 0.2), { colours: COLOURS, cornerRadiusPx: 30, marginPx: 3 });
    expect([tiny.width, tiny.height]).toEqual([7, 7]);
    expect(lightnessOfReflectance(0.2)).toBeGreaterThan(0);
  });
});
