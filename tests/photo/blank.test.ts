import { describe, expect, test } from 'vitest';
import { findBlank } from '../../src/photo/index.ts';
import { createPlane, luminanceOfLightness, type Plane } from '../../src/plane/index.ts';

const light = (...tones: readonly number[]): Plane<'luminance'> =>
  createPlane('luminance', tones.length, 1, Uint16Array.from(tones, luminanceOfLightness));
const opaque = (...shares: readonly number[]): Plane<'mask'> =>
  createPlane('mask', shares.length, 1, Uint8Array.from(shares));

describe('a picture that shows nothing', () => {
  test.each([0, 50, 100])('one tone of L* %i', (tone) => {
    expect(findBlank(light(tone, tone, tone))).toMatchObject({ kind: 'one-tone' });
    expect(findBlank(light(tone, tone))!).toHaveProperty('lightness', expect.closeTo(tone, 1));
  });
  test('tones too close to be told apart', () => {
    expect(findBlank(light(80, 80.2, 80.4, 80.1))).toMatchObject({ kind: 'one-tone' });
  });
  test('transparent throughout, whatever lies under it', () => {
    expect(findBlank(light(0, 50, 100), opaque(0, 0, 0))).toEqual({ kind: 'transparent' });
  });
  test('one dot', () => {
    expect(findBlank(light(30))).toMatchObject({ kind: 'one-tone' });
  });
});

describe('a picture that shows something', () => {
  test('two tones, and a faint one at either end', () => {
    expect(findBlank(light(50, 50, 51))).toBeUndefined();
    expect(findBlank(light(0, 0, 0.6))).toBeUndefined();
    expect(findBlank(light(100, 100, 99.4))).toBeUndefined();
  });
  test('a shape of one tone on transparent ground', () => {
    expect(findBlank(light(0, 0, 0), opaque(255, 255, 0))).toBeUndefined();
  });
  test('an opaque alpha changes nothing', () => {
    expect(findBlank(light(0, 0, 0), opaque(255, 255, 255))).toMatchObject({ kind: 'one-tone' });
  });
});
