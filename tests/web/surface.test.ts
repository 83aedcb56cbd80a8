import { describe, expect, test } from 'vitest';
import { laySurface, makeSurface, type SurfaceKind, surfaceOf, TILE } from '../../src/web/page/stage/surface.ts';

const KINDS: readonly SurfaceKind[] = ['brushed', 'slate', 'grain', 'frosted', 'pebbled'];

/** IEC 61966-2-1, written apart from the page's own table. */
const linear = (code: number) => (code / 255 <= 0.04045 ? code / 255 / 12.92 : ((code / 255 + 0.055) / 1.055) ** 2.4);
/** CIE 1976 L* of a luminance, 0 … 1. */
const lightness = (y: number) => (y > (6 / 29) ** 3 ? 116 * Math.cbrt(y) - 16 : (y * 24389) / 27);

describe('the surface of a material', () => {
  test('has a mean of nothing and is seen', () => {
    for (const kind of KINDS) {
      const shares = makeSurface(kind);
      const mean = shares.reduce((sum, value) => sum + value, 0) / shares.length;
      expect(Math.abs(mean), kind).toBeLessThan(1e-6);
      expect(Math.max(...shares) - Math.min(...shares), kind).toBeGreaterThan(0.05);
    }
  });

  test('changes no tone: the mean light of each grey stays within 0.15 L*', () => {
    for (const kind of KINDS) {
      for (const code of [24, 60, 100, 140, 180, 220]) {
        const rgba = new Uint8ClampedArray(4 * TILE * TILE).fill(code);
        laySurface(rgba, TILE, kind);
        let sum = 0;
        for (let i = 0; i < rgba.length; i += 4) sum += linear(rgba[i]!);
        const off = lightness(sum / (TILE * TILE)) - lightness(linear(code));
        expect(Math.abs(off), `${kind} at ${code}: ${off}`).toBeLessThan(0.15);
        expect(rgba[3], 'alpha is left alone').toBe(code);
      }
    }
  });

  test('is told from the material’s name', () => {
    expect(surfaceOf('slate')).toBe('slate');
    expect(surfaceOf('anodised-black')).toBe('brushed');
    expect(surfaceOf('birch-plywood')).toBe('grain');
    expect(surfaceOf('something-new')).toBeUndefined();
  });
});
