import { describe, expect, test } from 'vitest';
import { maskBackdrop, refineMatte, softenBackdrop } from '../../src/photo/index.ts';
import { createPlane, lightnessOfLuminance, luminanceOfLightness, type Plane } from '../../src/plane/index.ts';

const GRID = { pitchMm: 0.1, lineSpacingMm: 0.1 };
const SIDE = 300;
/** Where the subject ends, dots; what is known of it fades out there over two cells. */
const EDGE = 150;

function draw(lightnessAt: (x: number, y: number) => number): Plane<'luminance'> {
  const light = createPlane('luminance', SIDE, SIDE);
  for (let y = 0; y < SIDE; y++) {
    for (let x = 0; x < SIDE; x++) light.data[y * SIDE + x] = luminanceOfLightness(lightnessAt(x, y));
  }
  return light;
}

/** A light subject on the left of a dark backdrop of stripes. */
const light = draw((x, y) => (x < EDGE ? 70 : 20 + 10 * (Math.floor(y / 10) % 2)));
const knownEveryDots = 8;
const shareAt = (x: number) => Math.min(1, Math.max(0, 0.5 - (x - EDGE) / (2 * knownEveryDots)));
const matte = refineMatte(light, { grid: GRID, shareAt, knownEveryDots });
const rowOf = ({ data }: { data: Uint8Array }) => data.subarray(150 * SIDE, 151 * SIDE);

describe('the subject at each dot', () => {
  test('ends where the light does, not where the coarse share fades', () => {
    const row = rowOf(matte);
    expect([shareAt(EDGE - 3), shareAt(EDGE + 3)]).toEqual([0.6875, 0.3125]);
    expect(row[EDGE - 3]!).toBeGreaterThan(0.8 * 255);
    expect(row[EDGE + 3]!).toBeLessThan(0.2 * 255);
    expect(row[0]!).toBe(255);
    expect(row[SIDE - 1]!).toBe(0);
  });
});

describe('a backdrop', () => {
  test('that is softened keeps its mean and loses contrast; the subject stays as it is', () => {
    const soft = softenBackdrop(light, matte);
    const at = (plane: Plane<'luminance'>, x: number, y: number) => lightnessOfLuminance(plane.data[y * SIDE + x]!);
    expect(at(soft, 10, 10)).toBeCloseTo(70, 1);
    const [dark, bright] = [at(soft, 280, 5), at(soft, 280, 15)];
    expect(bright - dark).toBeGreaterThan(2);
    expect(bright - dark).toBeLessThan(6);
    expect((bright + dark) / 2).toBeCloseTo(25, -0.5);
  });

  test('that fades out is burned less the further it lies from the subject, and not at all far away', () => {
    const row = rowOf(maskBackdrop(matte, { backdrop: 'fade', grid: GRID }));
    expect(row[EDGE - 30]!).toBe(255);
    for (let x = EDGE; x < SIDE - 1; x++) expect(row[x + 1]!).toBeLessThanOrEqual(row[x]! + 1);
    expect(row[EDGE + 12]!).toBeGreaterThan(60);
    expect(row[SIDE - 1]!).toBe(0);
  });

  test('that is bare is what is not the subject', () => {
    expect(maskBackdrop(matte, { backdrop: 'bare', grid: GRID })).toEqual(matte);
  });
});
