import { describe, expect, test } from 'vitest';
import { MONK_TONES, type MonkTone, monkLightness } from '../../benchmarks/common/face-scenes.ts';
import { decodeSrgb, encodeSrgb, lightnessOfReflectance } from '../../src/colour/index.ts';
import { type Meter, meterPicture, placeSkin, skinRatio } from '../../src/photo/index.ts';
import { lightenBy, tellShadeEv } from '../../src/photo/skin-shade.ts';
import { createPlane, luminanceOfLightness } from '../../src/plane/index.ts';

type Codes = readonly [number, number, number];
const codesOf = (tone: MonkTone): Codes =>
  [1, 3, 5].map((at) => Number.parseInt(MONK_TONES[tone].slice(at, at + 2), 16)) as unknown as Codes;
const linear = (codes: Codes): Codes => codes.map((code) => decodeSrgb(code / 255)) as unknown as Codes;
/** A face of one colour in so much light, with dark eyes and a highlight. */
function faceOf(codes: Codes, ev = 0) {
  const side = 32;
  const skin = linear(codes).map((light) => Math.round(255 * encodeSrgb(light * 2 ** ev)));
  const rgb = Uint8Array.from({ length: 3 * side * side }, (_, i) => {
    const [x, y] = [Math.floor(i / 3) % side, Math.floor(i / 3 / side)];
    return y === 12 && x > 8 && x < 13 ? 20 : y === 18 && x > 14 && x < 18 ? 250 : skin[i % 3]!;
  });
  return { width: side, height: side, rgb };
}
const lightnessOf = (codes: Codes, ev = 0) => {
  const [r, g, b] = linear(codes);
  return lightnessOfReflectance((0.2126 * r + 0.7152 * g + 0.0722 * b) * 2 ** ev);
};
const seen = (codes: Codes, ev: number) => ({
  lightness: lightnessOf(codes, ev),
  redOverBlue: skinRatio(faceOf(codes, ev)),
});

/** Skin of the colour chart of McCamy, Marcus and Davidson 1976, sRGB codes as commonly given for it. */
const CHART_SKIN = { light: [194, 150, 130], dark: [115, 82, 68] } as const;

describe('the light that a face lacks', () => {
  test.each([4, 5, 6] as const)('is told for tone %d of the scale by its colour, to 0.1 EV', (tone) => {
    for (const ev of [0, -0.6, -0.9]) {
      expect(tellShadeEv([seen(codesOf(tone), ev)])).toBeCloseTo(-ev, 1);
    }
  });

  test('is told for the light skin of another chart, and never more than 1.5 EV', () => {
    const at = (ev: number) => tellShadeEv([seen(CHART_SKIN.light, ev)])!;
    expect(at(-0.5)).toBeGreaterThan(0.5);
    expect(at(-0.5) - at(-0.1)).toBeCloseTo(0.4, 1);
    expect(tellShadeEv([seen(codesOf(5), -0.2)])).toBe(0);
    expect(tellShadeEv([seen(CHART_SKIN.dark, -4)])).toBe(1.5);
  });

  test('is none where skin is as light as its colour says, and unknown without colour', () => {
    expect(tellShadeEv([seen(codesOf(5), 0.3)])).toBe(0);
    expect(tellShadeEv([seen([140, 140, 140], -1)])).toBeUndefined();
    expect(tellShadeEv([{ lightness: 40, redOverBlue: undefined }])).toBeUndefined();
    expect(tellShadeEv([])).toBeUndefined();
  });

  test('of two faces is the least: one light falls on both', () => {
    const [fair, dark] = [seen(codesOf(5), -0.5), seen(codesOf(9), -0.5)];
    expect(tellShadeEv([dark])).toBe(1.5);
    expect(tellShadeEv([dark, fair])).toBeCloseTo(0.5, 1);
  });
});

describe('before a bright sky', () => {
  const sky = { backdrop: 0.94, spanL: 63 };

  test('each tone of the scale lies at least as high as in even light, also 1 EV darker', () => {
    for (const tone of [4, 5, 6, 7, 8, 9] as const) {
      const even = placeSkin(monkLightness(tone) / 100, { backdrop: 0.5, spanL: 63 });
      for (const ev of tone < 6 ? [0, -0.5, -1] : [0, -0.5]) {
        const { lightness, redOverBlue } = seen(codesOf(tone), ev);
        const shadeEv = tellShadeEv([{ lightness, redOverBlue }])!;
        const place = placeSkin(lightness / 100, { ...sky, shadeEv });
        expect(place, `tone ${tone}, ${ev} EV`).toBeGreaterThan(even - 0.01);
      }
    }
  });

  test('light for a face changes no order, and no dark skin becomes light', () => {
    for (const shadeEv of [0, 0.4, 0.7, 1]) {
      for (const backdrop of [0.5, 0.65, 0.75, 0.95]) {
        let before = -1;
        for (let own = 0; own <= 1; own += 0.005) {
          const place = placeSkin(own, { backdrop, spanL: 63, shadeEv });
          expect(place).toBeGreaterThan(before);
          before = place;
        }
      }
      const own = monkLightness(9) / 100;
      expect(placeSkin(own, { ...sky, shadeEv })).toBeLessThan(0.45);
    }
  });

  test('a wall of middle lightness shades nobody, whatever the colour says', () => {
    const of = (shadeEv: number) => placeSkin(0.55, { backdrop: 0.55, spanL: 63, shadeEv });
    expect(of(1)).toBe(of(0));
  });

  test('the meter asks for colours there alone', () => {
    const meterOf = (backdrop: number): Meter => {
      const light = createPlane('luminance', 200, 200);
      light.data.fill(luminanceOfLightness(backdrop));
      for (let y = 50; y < 150; y++) light.data.fill(luminanceOfLightness(58), y * 200 + 50, y * 200 + 150);
      const parts = {
        width: 4,
        height: 4,
        data: Float32Array.from({ length: 16 }, (_, i) => ([5, 6, 9, 10].includes(i) ? 1 : 0)),
      };
      const faces = [{ x: 0.25, y: 0.25, width: 0.5, height: 0.5 }];
      const subject = { faces, share: parts, isGiven: false, redOverBlue: [2.23] };
      return meterPicture(light, { subject, opaque: undefined });
    };
    expect(meterOf(94).shadeEv).toBeCloseTo(Math.log2(lightOf(78) / lightOf(58)), 1);
    expect(meterOf(50).shadeEv).toBeUndefined();
    expect(lightenBy(58, meterOf(94).shadeEv!)).toBeCloseTo(77.6, 0);
  });
});

const lightOf = (lightness: number) => luminanceOfLightness(lightness);
