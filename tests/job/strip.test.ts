import { describe, expect, test } from 'vitest';
import { inkOf, simulateCapture } from '../../benchmarks/common/simulate-capture.ts';
import { locateChart, readPatches } from '../../src/chart/index.ts';
import { drawStrip, joinStrip, layoutStrip, makeStrip, resolveJob } from '../../src/job/index.ts';
import { createDots } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const spec = (size: string, more: object = {}) =>
  resolveJob({ size, profile: 'anodised-black', ...more }, { shop: SHOP, refused: REFUSED });

describe('the strip beside a piece', () => {
  test('has seven patches, bare and solid among them, with the tones that the profile promises', () => {
    const { patches, kind } = layoutStrip(spec('85.6x54'));
    expect(kind).toBe('check');
    expect(patches).toHaveLength(7);
    expect(patches.map(({ pattern }) => pattern.kind).sort()).toEqual(['bare', ...Array(5).fill('screened'), 'solid']);
    const aims = patches.flatMap(({ aimLightness }) => aimLightness ?? []);
    expect(new Set(aims).size).toBe(5);
  });

  test('lies below the piece at whole dots, and to its right where the field has no room below', () => {
    const piece = { width: 4280, height: 2700 };
    const below = makeStrip(spec('85.6x54'), piece);
    expect(below.side).toBe('below');
    expect(below.offset).toEqual({ xDots: 0, yDots: 2700 + 150, xMm: 0, yMm: 57 });
    const field = spec('85.6x54').machine.fieldMm;
    const tall = { width: 2000, height: Math.floor((field[1] - 4) / 0.02) };
    const right = makeStrip(spec(`40x${tall.height * 0.02}`), tall);
    expect(right.side).toBe('right');
    expect(right.layout.heightDots).toBeGreaterThan(right.layout.widthDots);
    expect(right.offset.xDots).toBe(2000 + 150);
  });

  test('is refused where no side of the field has room, and for a material that was never measured', () => {
    const [width, height] = spec('50x50').machine.fieldMm;
    const full = { width: Math.floor(width / 0.02), height: Math.floor(height / 0.02) };
    expect(() => makeStrip(spec('50x50'), full)).toThrow(expect.objectContaining({ code: 'size-exceeds-field' }));
    const straight = resolveJob(
      { size: '50x50', material: 'slate', machine: 'gantry-450' },
      { shop: SHOP, refused: REFUSED },
    );
    expect(() => layoutStrip(straight)).toThrow(expect.objectContaining({ code: 'profile-unusable' }));
  });

  test('joined with a piece, each keeps its own dots and all between stays bare', () => {
    const piece = createDots(3, 2, 2, Uint8Array.from([1, 0, 1, 0, 1, 0]));
    const strip = createDots(4, 1, 2, Uint8Array.from([1, 1, 0, 1]));
    const joined = joinStrip(piece, { dots: strip, offset: { xDots: 0, yDots: 3, xMm: 0, yMm: 0 } });
    expect([joined.width, joined.height]).toEqual([4, 4]);
    expect([...joined.data]).toEqual([1, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 0, 1]);
  });

  test.each(['lying', 'upright'] as const)('a %s strip is found and read in a scan', (way) => {
    const size = way === 'lying' ? { widthMm: 60, heightMm: 8 } : { widthMm: 8, heightMm: 60 };
    const known = spec('85.6x54');
    const layout = layoutStrip(known, size);
    const dots = drawStrip(layout, known.profile);
    const { capture } = simulateCapture(inkOf(dots, layout), layout, {
      width: 900,
      height: 900,
      pxPerMm: 12,
      bare: 0.05,
      solid: 0.5,
      blurPx: 0.7,
    });
    const readings = readPatches(capture, locateChart(capture, [layout]));
    expect(readings.readings).toHaveLength(7);
  });
});
