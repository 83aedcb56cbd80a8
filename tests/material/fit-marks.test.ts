import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import { fitMarks } from '../../src/material/fit-marks.ts';
import { type FitPattern, type FitTone, fitResponse } from '../../src/material/fit-response.ts';
import { mixYuleNielsen } from '../../src/material/index.ts';

const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
const [BARE, FULL] = [0.06, 0.55];

type Fires = (x: number, y: number) => boolean;
const EXACT: readonly (readonly [group: string, width: number, height: number, feature: number, fires: Fires])[] = [
  ...[1, 2, 4].flatMap((dots): (readonly [string, number, number, number, Fires])[] => [
    [`checker-${dots}`, 2 * dots, 2 * dots, dots, (x, y) => (Math.floor(x / dots) + Math.floor(y / dots)) % 2 === 0],
    [`squares-${dots}`, 2 * dots, 2 * dots, dots, (x, y) => x < dots && y < dots],
  ]),
  ...[1, 2, 3].flatMap((dots): (readonly [string, number, number, number, Fires])[] => [
    [`line-x-${dots}`, 1, 4, 2, (_x, y) => y < dots],
    [`line-y-${dots}`, 4, 1, 2, (x) => x < dots],
  ]),
];

interface Truth {
  /** Widths of the dose where half of the greatest strength is seen, dots. */
  readonly mark: readonly [x: number, y: number];
  readonly drive: number;
  readonly steepness: number;
  /** Added share of dose once the four dots before on the line, or above, have fired. */
  readonly heat: readonly [x: number, y: number];
  /** Yule-Nielsen n; 1 when absent. */
  readonly n?: number;
}

/** Mean strength of endless dots by adding each of them up, place by place. */
function meanStrength({ mark, drive, steepness, heat }: Truth, width: number, height: number, fires: Fires): number {
  const wrap = (at: number, length: number) => ((at % length) + length) % length;
  const lit = (x: number, y: number) => (fires(wrap(x, width), wrap(y, height)) ? 1 : 0);
  const strengthOf = (dose: number) => 1 / (1 + dose ** -steepness);
  // drive·exp(−c·(mark/2)²) is where half of the strength at `drive` is seen.
  const half = (strengthOf(drive) / (2 - strengthOf(drive))) ** (1 / steepness);
  const [cx, cy] = mark.map((value) => Math.log(drive / half) / (value / 2) ** 2) as [number, number];
  const fine = 6;
  let sum = 0;
  for (let j = 0; j < height * fine; j++) {
    for (let i = 0; i < width * fine; i++) {
      const [px, py] = [(i + 0.5) / fine - 0.5, (j + 0.5) / fine - 0.5];
      let dose = 0;
      for (let y = Math.floor(py) - 3; y <= py + 3; y++) {
        for (let x = Math.floor(px) - 3; x <= px + 3; x++) {
          if (lit(x, y) === 0) continue;
          const before = [1, 2, 3, 4];
          const warmX = before.reduce((total, k) => total + lit(x - k, y) / 4, 0);
          const warmY = before.reduce((total, k) => total + lit(x, y - k) / 4, 0);
          const energy = 1 + heat[0] * warmX + heat[1] * warmY;
          dose += drive * energy * Math.exp(-cx * (px - x) ** 2 - cy * (py - y) ** 2);
        }
      }
      sum += strengthOf(dose);
    }
  }
  return sum / (width * height * fine * fine);
}

function measure(truth: Truth) {
  const solid = meanStrength(truth, 1, 1, () => true);
  const tones = EXACT.map(([group, width, height, featureDots, fires]): FitTone => {
    const strength = meanStrength(truth, width, height, fires) / solid;
    const data = Uint8Array.from({ length: width * height }, (_, i) => Number(fires(i % width, Math.floor(i / width))));
    const pattern: FitPattern = { dots: { width, height, levels: 2, data }, edge: 'repeat', featureDots };
    return {
      group,
      lightness: lightnessOfReflectance(mixYuleNielsen(strength, { bare: BARE, full: FULL, n: truth.n ?? 1 })),
      error: 0.05,
      pattern,
    };
  });
  const options = {
    grid,
    bareLightness: lightnessOfReflectance(BARE),
    fullLightness: lightnessOfReflectance(FULL),
    bareError: 0.05,
    fullError: 0.05,
  };
  const response = fitResponse(tones, options);
  return { response, marks: fitMarks(tones, options, response), tones, options };
}

const off = (found: number, dots: number) => Math.abs(found / (50 * dots) - 1);

describe('mark widths of a lone dot', () => {
  const sharp = measure({ mark: [1.2, 1.1], drive: 2, steepness: 10, heat: [0, 0] });

  test('are not widened by the heat that dots of a column give each other', () => {
    const truth = { mark: [1, 0.9], drive: 1.5, steepness: 8, heat: [0.02, 0.1] } as const;
    const { response, marks } = measure(truth);
    const { markX, markY } = marks!;
    expect(off(markX.value, 1)).toBeLessThan(off(response.markX.value, 1) - 0.02);
    for (const [{ low, high }, truthUm] of [
      [markX, 50],
      [markY, 45],
    ] as const) {
      expect(low).toBeLessThan(truthUm);
      expect(high).toBeGreaterThan(truthUm);
    }
  });

  test('lie in their intervals, which are wider for a gradual mark, whose width the shape of the beam decides', () => {
    const gradual = measure({ mark: [1.2, 1.1], drive: 1.2, steepness: 1.6, heat: [0.03, 0.03] }).marks!;
    for (const { markX, markY } of [sharp.marks!, gradual]) {
      expect(markX.low).toBeLessThan(60);
      expect(markX.high).toBeGreaterThan(60);
      expect(markY.low).toBeLessThan(55);
      expect(markY.high).toBeGreaterThan(55);
    }
    const width = ({ low, high }: { low: number; high: number }) => Math.log(high / low);
    expect(width(gradual.markX)).toBeGreaterThan(2 * width(sharp.marks!.markX));
  });

  test('are where half of the change of luminance is seen, which where light spreads is not half of the strength', () => {
    const truth = { mark: [1.3, 1.2], drive: 1.6, steepness: 4, heat: [0, 0], n: 1.8 } as const;
    const { markX, markY } = measure(truth).marks!;
    const strengthAt = (dose: number) => 1 / (1 + dose ** -truth.steepness);
    const solid = meanStrength(truth, 1, 1, () => true);
    const changeAt = (dose: number) =>
      mixYuleNielsen(strengthAt(dose) / solid, { bare: BARE, full: FULL, n: truth.n }) - BARE;
    let [low, high] = [0.01, truth.drive];
    for (let step = 0; step < 50; step++) {
      if (changeAt((low + high) / 2) < changeAt(truth.drive) / 2) low = (low + high) / 2;
      else high = (low + high) / 2;
    }
    const halfStrength = (strengthAt(truth.drive) / (2 - strengthAt(truth.drive))) ** (1 / truth.steepness);
    const narrower = Math.sqrt(Math.log(truth.drive / high) / Math.log(truth.drive / halfStrength));
    expect(narrower).toBeLessThan(0.95);
    expect(off(markX.value, 1.3 * narrower)).toBeLessThan(0.06);
    expect(off(markY.value, 1.2 * narrower)).toBeLessThan(0.06);
  });

  test('need eight exact patterns', () => {
    const { tones, options, response } = sharp;
    expect(fitMarks(tones.slice(0, 7), options, response)).toBeUndefined();
  });
});
