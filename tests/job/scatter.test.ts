import { describe, expect, test } from 'vitest';
import { layoutChart, type Reading } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { analyseScatter, type ScatterAnalysis, type ScatterCause } from '../../src/job/index.ts';
import { createRandom } from '../../src/numeric/index.ts';

const LAYOUT = layoutChart('tone', {
  machine: 'galvo-355-f210',
  material: 'anodised-black',
  direction: 'lighter',
  settings: { powerW: 2, speedMmPerS: 1000, passes: 1, scan: 'one-way' },
  grid: { pitchMm: 0.05, lineSpacingMm: 0.05 },
});
const [BARE, SOLID] = [20, 80];

interface Place {
  /** −1 … 1 from left to right and over the burn. */
  readonly x: number;
  readonly time: number;
  /** −1 … 1 from bare to solid. */
  readonly tone: number;
}

/** Readings of the chart whose tones are off by what `off` says, L*. */
function read(off: (place: Place) => number, { spread = 0 } = {}) {
  const bareY = reflectanceOfLightness(BARE);
  const last = Math.max(...LAYOUT.patches.map(({ order }) => order));
  const readings = LAYOUT.patches.map((patch): Reading => {
    const tone = 2 * patch.coverage - 1;
    const fixed = patch.role === 'bare' || patch.role === 'solid';
    const place = {
      x: (2 * (patch.xMm + patch.widthMm / 2)) / LAYOUT.widthMm - 1,
      time: (2 * patch.order) / last - 1,
      tone,
    };
    const lightness = BARE + patch.coverage * (SOLID - BARE) + (fixed ? 0 : off(place));
    const { id, role, group, pattern, coverage, order, xMm, yMm, widthMm, heightMm } = patch;
    return {
      ...{ id, role, group, pattern, coverage, order, spread, pixels: 900, rejectedShare: 0 },
      mean: reflectanceOfLightness(lightness) / bareY,
      colour: [lightness, 0, 0],
      xMm: xMm + widthMm / 2,
      yMm: yMm + heightMm / 2,
    };
  });
  const solidRatio = reflectanceOfLightness(SOLID) / bareY;
  return { readings: { readings, bare: [BARE, 0, 0] as const, solidRatio, direction: 'lighter' as const } };
}

function noise(seed: number): () => number {
  const random = createRandom(seed);
  return () => Math.sqrt(-2 * Math.log(1 - random.nextUnit())) * Math.cos(2 * Math.PI * random.nextUnit());
}
const part = (found: ScatterAnalysis | undefined, cause: ScatterCause) =>
  found!.parts.find((one) => one.cause === cause)!;

describe('why equal patches differ', () => {
  test('what only scatters is neither place nor order, in nineteen of twenty charts', () => {
    let told = 0;
    for (let seed = 1; seed <= 60; seed++) {
      const gauss = noise(seed);
      const found = analyseScatter([read(() => gauss())], LAYOUT)!;
      if (!found.sentences.join().includes('beyond chance')) told++;
      expect(found.totalL).toBeGreaterThan(0.6);
    }
    expect(told).toBeLessThanOrEqual(9);
  });

  test('a change from left to right is place, and the map shows where', () => {
    const gauss = noise(3);
    const found = analyseScatter([read(({ x }) => 2 * x + 0.3 * gauss())], LAYOUT)!;
    expect(part(found, 'place').share).toBeGreaterThan(0.8);
    expect(part(found, 'order').share).toBeLessThan(0.1);
    expect(found.sentences.join()).toMatch(/runs across the piece/);
    const row = found.map.slice(0, found.mapColumns);
    expect(row[0]).toBeGreaterThan(1.2);
    expect(row[found.mapColumns >> 1]).toBeLessThan(0.6);
  });

  test('a change over the burn is order, and how to tell it from a tilt is said', () => {
    const gauss = noise(4);
    const found = analyseScatter([read(({ time }) => -2 * time + 0.3 * gauss())], LAYOUT)!;
    expect(part(found, 'order').share).toBeGreaterThan(0.8);
    expect(found.sentences.join()).toMatch(/turned by 180° tells them apart/);
  });

  test('a defocus that makes light tones lighter and dark ones darker is seen, though their mean stays', () => {
    const gauss = noise(5);
    const found = analyseScatter([read(({ time, tone }) => 2 * tone * time ** 2 + 0.2 * gauss())], LAYOUT)!;
    expect(part(found, 'order').ratio).toBeGreaterThan(10);
  });

  test('what two captures of one piece disagree about is the camera’s, the rest is the piece’s', () => {
    const [piece, first, second] = [noise(6), noise(7), noise(8)];
    const own = new Map<string, number>();
    const ofPiece = (key: string) => own.get(key) ?? own.set(key, piece()).get(key)!;
    const capture = (gauss: () => number) =>
      read(({ x, time, tone }) => ofPiece(`${x} ${time} ${tone}`) + 0.5 * gauss());
    const found = analyseScatter([capture(first), capture(second)], LAYOUT)!;
    // Two captures averaged leave half the variance of one: 0.125 beside the piece's 1.
    expect(part(found, 'camera').deviationL).toBeGreaterThan(0.25);
    expect(part(found, 'camera').deviationL).toBeLessThan(0.5);
    const alone = analyseScatter([capture(noise(9))], LAYOUT)!;
    expect(part(alone, 'camera').share).toBeNull();
    expect(alone.sentences.join()).toMatch(/One capture cannot tell/);
  });

  test('graininess inside the patches is credited with what it gives their means', () => {
    const gauss = noise(10);
    const found = analyseScatter([read(() => 0.5 * gauss(), { spread: 0.2 })], LAYOUT)!;
    expect(part(found, 'grain').deviationL).toBeGreaterThan(0);
    const total = found.parts.reduce((sum, { share }) => sum + (share ?? 0), 0);
    expect(total).toBeCloseTo(1, 6);
  });

  test('equal readings have nothing to explain, and a chart without replicates says nothing', () => {
    const still = analyseScatter([read(() => 0)], LAYOUT)!;
    expect(still.totalL).toBeLessThan(1e-6);
    expect(still.map.every((value) => Math.abs(value) < 1e-6)).toBe(true);
    const once = read(() => 0);
    const seen = new Set<string>();
    const single = once.readings.readings.filter(({ group }) => !seen.has(group) && seen.add(group));
    expect(analyseScatter([{ readings: { ...once.readings, readings: single } }], LAYOUT)).toBeUndefined();
  });
});
