import { describe, expect, test } from 'vitest';
import { isLightAdded, type PatchLight } from '../../src/chart/light.ts';

/** Patches of three tones on a stock of the given reflectance, under light that is shaded and added to. */
function lightPatches(
  { bare, solid }: { readonly bare: number; readonly solid: number },
  lightAt: (at: number) => { readonly factor: number; readonly added: number },
): PatchLight[] {
  return Array.from({ length: 18 }, (_, at) => {
    const { factor, added } = lightAt(at);
    const tone = bare + ((solid - bare) * (at % 3)) / 2;
    return { group: `${at % 3}`, light: tone * factor + added, bare: bare * factor + added };
  });
}

describe('added light is told from missing light', () => {
  test.each([
    ['dark stock with light marks', { bare: 0.03, solid: 0.3 }],
    ['light stock with dark marks', { bare: 0.7, solid: 0.05 }],
  ])('on %s', (_, stock) => {
    const shine = (at: number) => 0.2 * Math.exp(-((at - 7) ** 2) / 8);
    expect(isLightAdded(lightPatches(stock, (at) => ({ factor: 1, added: shine(at) })))).toBe(true);
    expect(isLightAdded(lightPatches(stock, (at) => ({ factor: at < 9 ? 0.4 : 1, added: 0 })))).toBe(false);
    // A reflection over light that falls off to one side.
    const both = lightPatches(stock, (at) => ({ factor: 1 - at / 60, added: 4 * shine(at) }));
    expect(isLightAdded(both)).toBe(true);
  });

  test('not at all where the light hardly differs', () => {
    const even = lightPatches({ bare: 0.5, solid: 0.1 }, (at) => ({ factor: 1 + at / 1000, added: 0 }));
    expect(isLightAdded(even)).toBeUndefined();
    expect(isLightAdded([])).toBeUndefined();
  });
});
