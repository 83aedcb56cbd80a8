import { describe, expect, test } from 'vitest';
import { seeThroughStock } from '../../src/optics/index.ts';
import { meanReflectance, type PaneModel, type Surface, seeThroughPane } from '../../src/simulation/index.ts';

const BLACK = { bare: [0, 0, 0], half: [0, 0, 0], full: [0, 0, 0], faded: [0, 0, 0] } as const;
const PANE: PaneModel = { refractiveIndex: 1.5, thicknessMm: 1, transmittance: 1 };

/** A piece of 40 × 40 mm, of a reflectance by place, mm. */
function pieceOf(reflects: (xMm: number, yMm: number) => number): Surface {
  const size = 160;
  const rgb = new Float32Array(size * size * 3);
  for (let at = 0; at < rgb.length; at++) {
    const pixel = Math.floor(at / 3);
    rgb[at] = reflects(((pixel % size) + 0.5) / 4, (Math.floor(pixel / size) + 0.5) / 4);
  }
  const side = { width: size, height: size, pixelWidthMm: 0.25, pixelHeightMm: 0.25, widthMm: 40, heightMm: 40 };
  return { ...side, leftMm: 0, topMm: 0, cornerRadiusMm: 0, rgb };
}

const green = (surface: Surface, xMm: number, yMm: number) =>
  meanReflectance(surface, { xMm, yMm, widthMm: 2, heightMm: 2 })[1];

describe('a pane that is turned over', () => {
  test('shows a wide mark as Saunderson’s correction has it, which shares no code with it', () => {
    const seen = seeThroughPane(
      pieceOf(() => 0.5),
      { colour: BLACK, pane: PANE },
    );
    expect(green(seen, 19, 19)).toBeCloseTo(seeThroughStock(0.5, 1.5), 2);
  });

  test('shows a small mark darker than a wide one: less light comes back to it from around', () => {
    const small = pieceOf((x, y) => (Math.hypot(x - 20, y - 20) < 1.2 ? 0.5 : 0));
    const alone = seeThroughPane(small, { colour: BLACK, pane: PANE });
    expect(green(alone, 19, 19) / green(small, 19, 19)).toBeLessThan(0.46);
    expect(seeThroughStock(0.5, 1.5) / 0.5).toBeGreaterThan(0.54);
  });

  test('changes sides, and shows what lies beneath as it was', () => {
    const seen = seeThroughPane(
      pieceOf((x) => (x < 10 ? 0.4 : 0)),
      { colour: BLACK, pane: PANE },
    );
    expect(green(seen, 34, 19)).toBeGreaterThan(0.1);
    expect(green(seen, 4, 19)).toBe(0);
    const grey = { ...BLACK, bare: [50, 0, 0] } as const;
    const bare = pieceOf(() => 0.1842);
    expect(green(seeThroughPane(bare, { colour: grey, pane: PANE }), 19, 19)).toBeCloseTo(0.1842, 3);
  });

  test('of glass that absorbs is darker', () => {
    const piece = pieceOf(() => 0.5);
    const clear = green(seeThroughPane(piece, { colour: BLACK, pane: PANE }), 19, 19);
    const tinted = green(seeThroughPane(piece, { colour: BLACK, pane: { ...PANE, transmittance: 0.8 } }), 19, 19);
    expect(tinted).toBeLessThan(clear * 0.8);
  });
});
