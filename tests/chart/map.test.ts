import { describe, expect, test } from 'vitest';
import { LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import { createGeometry, createNoise } from '../../benchmarks/common/simulate-capture.ts';
import { fitMap, inkCorners, placeOnCapture } from '../../src/chart/map.ts';
import type { ChartLayout, Corners } from '../../src/chart/types.ts';

const PICTURE = { width: 4000, height: 3000 };

/** Where a lens puts points of a chart that fills most of the picture. */
function placeBy(layout: ChartLayout, lens: { k1: number; k2?: number; axis?: readonly [number, number] }) {
  const camera = { ...PICTURE, centre: [1900, 1400] as const, turnDeg: 6, tiltX: 0.1, tiltY: -0.05 };
  return createGeometry(layout, { ...camera, pxPerMm: 3300 / layout.widthMm, ...lens }).place;
}

/**
 * Largest distance of a patch's middle from the truth and largest error claimed, mm, when corners are off by up to
 * 0.4 px.
 */
function worstPlaceMm(layout: ChartLayout, lens: Parameters<typeof placeBy>[1], missing = 0) {
  const place = placeBy(layout, lens);
  const random = createNoise(5);
  const seen = layout.tags.slice(missing).map((tag) => ({
    tag,
    corners: inkCorners(tag, layout).map(([x, y]) => {
      const [px, py] = place(x, y);
      return [px + 0.8 * (random() - 0.5), py + 0.8 * (random() - 0.5)];
    }) as unknown as Corners,
  }));
  const { map, errorPxAt } = fitMap(seen, layout, PICTURE)!;
  const mmPerPx = layout.widthMm / 3300;
  const found = layout.patches.map(({ xMm, yMm, widthMm, heightMm }) => {
    const [x, y] = [xMm + widthMm / 2, yMm + heightMm / 2];
    const [px, py] = place(x, y);
    const [mx, my] = placeOnCapture(map, x, y);
    return { off: Math.hypot(mx - px, my - py) * mmPerPx, claimed: errorPxAt(x, y) * mmPerPx };
  });
  return { off: Math.max(...found.map(({ off }) => off)), claimed: Math.max(...found.map(({ claimed }) => claimed)) };
}

describe('a chart through a lens', () => {
  test.each([
    ['a straight lens', { k1: 0 }, 0.02],
    ['a barrel of 5 %', { k1: -0.05 }, 0.03],
    ['a pincushion with a moustache', { k1: 0.05, k2: -0.02 }, 0.03],
    ['a photo that was cropped off the axis of the lens', { k1: -0.05, axis: [0.38, 0.6] as const }, 0.05],
  ])('is placed within a small part of a border: %s', (_, lens, limitMm) => {
    expect(worstPlaceMm(LAYOUTS.tone, lens).off).toBeLessThan(limitMm);
    expect(worstPlaceMm(LAYOUTS.tone, lens, 1).off).toBeLessThan(2 * limitMm);
  });

  test('bends with it even when its tags are three in a row', () => {
    expect(worstPlaceMm(LAYOUTS.check, { k1: 0.05 }).off).toBeLessThan(0.05);
    expect(worstPlaceMm(LAYOUTS.check, { k1: -0.05 }).off).toBeLessThan(0.05);
  });

  test('says that two tags of a strip leave the lens open', () => {
    const { off, claimed } = worstPlaceMm(LAYOUTS.check, { k1: -0.05 }, 1);
    expect(claimed).toBeGreaterThan(0.08);
    expect(off).toBeLessThan(4 * claimed);
  });
});
