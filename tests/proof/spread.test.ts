import { describe, expect, test } from 'vitest';
import { assumeResponse, fillDotTable } from '../../src/material/index.ts';
import { createDots, createPlane, type Dots, lightnessOfReflectance, ONE } from '../../src/plane/index.ts';
import { assessTone, predictReflectance } from '../../src/proof/index.ts';
import { applyScreen } from '../../src/screens/index.ts';

/**
 * What light that spreads makes of marks, worked out apart from the code under test: doses of round Gaussian dots are
 * summed on 5 × 5 points a cell, Hill's law turns them into strength, the strength of a whole field is averaged, and only
 * then mixed. source: 'yuleNielsen1951'.
 */
const PITCH_MM = 0.1;
const BARE_L = 82;
const FULL_L = 31;
const LAW = { markMm: 0.11, steepness: 2, drive: 1.6 } as const;
const POINTS = 5;
const REACH = 4;

const GRID = { pitchMm: PITCH_MM, lineSpacingMm: PITCH_MM };
const tableOf = (n: number) =>
  fillDotTable({
    response: assumeResponse(
      { markDiameterXUm: 110, markDiameterYUm: 110, steepness: LAW.steepness, drive: LAW.drive, yuleNielsenN: n },
      GRID,
    ),
    bare: [BARE_L, 4, 20],
    full: [FULL_L, 8, 14],
  });

/** Half of a lone dot's own strongest mark lies at the mark's edge: 1/e² diameter of the dose. */
function doseDiameterMm(): number {
  const strengthAt = (dose: number) => dose ** LAW.steepness / (1 + dose ** LAW.steepness);
  const half = strengthAt(LAW.drive) / 2;
  const atEdge = (half / (1 - half)) ** (1 / LAW.steepness);
  return LAW.markMm / Math.sqrt(Math.log(LAW.drive / atEdge) / 2);
}

/** Mean strength of the dots of a rectangle, in units of the endless solid's. */
function meanStrength(dots: Dots, from: number, to: number, top: number, bottom: number): number {
  const diameter = doseDiameterMm();
  const weights = Array.from({ length: POINTS }, (_, point) =>
    Array.from({ length: 2 * REACH + 1 }, (__, k) => {
      const distance = ((point + 0.5) / POINTS - 0.5 - (k - REACH)) * PITCH_MM;
      return Math.exp((-8 * distance * distance) / (diameter * diameter));
    }),
  );
  const strengthOf = (dose: number) => (LAW.drive * dose) ** LAW.steepness / (1 + (LAW.drive * dose) ** LAW.steepness);
  const average = (fires: (x: number, y: number) => number, x0: number, x1: number, y0: number, y1: number) => {
    let sum = 0;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++)
        for (const down of weights)
          for (const along of weights) {
            let dose = 0;
            for (let j = -REACH; j <= REACH; j++)
              for (let i = -REACH; i <= REACH; i++)
                if (fires(x + i, y + j)) dose += along[i + REACH]! * down[j + REACH]!;
            sum += strengthOf(dose);
          }
    return sum / ((x1 - x0) * (y1 - y0) * POINTS * POINTS);
  };
  const isInside = (x: number, y: number) => x >= 0 && y >= 0 && x < dots.width && y < dots.height;
  const marked = average((x, y) => (isInside(x, y) ? dots.data[y * dots.width + x]! : 0), from, to, top, bottom);
  return marked / average(() => 1, 0, 1, 0, 1);
}

const luminanceOf = (lightness: number) => ((lightness + 16) / 116) ** 3;
const mix = (strength: number, n: number) =>
  (strength * luminanceOf(FULL_L) ** (1 / n) + (1 - strength) * luminanceOf(BARE_L) ** (1 / n)) ** n;

/** Away from simple fractions, where error diffusion changes from one regular texture to another. */
const COVERAGES = [0.05, 0.15, 0.29, 0.46, 0.77, 0.95];
const HEIGHT = 96;

interface Piece {
  readonly dots: Dots;
  readonly stepOf: (x: number) => number;
  /** A part of each step, away from its neighbours, on whole pixels of one, two and three dots; and its true strength. */
  readonly parts: readonly { readonly x: number; readonly width: number; readonly strength: number }[];
}
const PART = { y: 24, height: 48 } as const;

/** A wedge of steps side by side; a strip of it, which is as good as all of the piece. */
function makePiece(width: number): Piece {
  const stepOf = (x: number) => Math.floor((x * COVERAGES.length) / width);
  const coverage = createPlane('coverage', width, HEIGHT);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = Math.round(ONE * COVERAGES[stepOf(i % width)]!);
  const dots = applyScreen(coverage, { name: 'floyd-steinberg', grid: GRID });
  const stepWidth = width / COVERAGES.length;
  const parts = COVERAGES.map((_, step) => {
    const x = 6 * Math.ceil(((step + 0.25) * stepWidth) / 6);
    const span = 6 * Math.min(12, Math.floor((0.55 * stepWidth) / 6));
    return { x, width: span, strength: meanStrength(dots, x, x + span, PART.y, PART.y + PART.height) };
  });
  return { dots, stepOf, parts };
}

/** 20, 44, 88 and 200 mm. */
const PIECES = [204, 444, 882, 1998].map(makePiece);

describe.each([1, 1.1, 1.2, 1.3])('where light spreads by n = %d', (n) => {
  const table = tableOf(n);

  test('a proof has the tones of a reading, for any size of the piece and of its pixels', () => {
    for (const { dots, parts } of PIECES) {
      for (const dotsPerPixel of [1, 2, 3]) {
        const size = { width: dots.width / dotsPerPixel, height: HEIGHT / dotsPerPixel };
        const seen = predictReflectance(dots, { table, ...size });
        parts.forEach(({ x, width, strength }, step) => {
          let sum = 0;
          for (let py = PART.y / dotsPerPixel; py < (PART.y + PART.height) / dotsPerPixel; py++)
            for (let px = x / dotsPerPixel; px < (x + width) / dotsPerPixel; px++)
              sum += seen.data[py * size.width + px]!;
          const found = lightnessOfReflectance((sum * dotsPerPixel ** 2) / (width * PART.height));
          const difference = found - lightnessOfReflectance(mix(strength, n));
          const place = `${dots.width} dots, ${dotsPerPixel} a pixel, step ${step}`;
          expect(Math.abs(difference), place).toBeLessThan(0.1);
        });
      }
    }
  });

  test('the error of tone does not depend on the size of the piece', () => {
    const tones = PIECES.at(-1)!.parts.map(({ strength }) => mix(strength, n));
    const reflectance = new Float32Array(ONE + 1);
    reflectance.set(tones);
    const errors = PIECES.map(({ dots, stepOf }) => {
      const luminance = createPlane('luminance', dots.width, dots.height);
      for (let i = 0; i < luminance.data.length; i++) luminance.data[i] = stepOf(i % dots.width);
      return assessTone(dots, { table, grid: GRID, luminance, reflectance }).mean;
    });
    expect(Math.max(...errors) - Math.min(...errors), errors.join(' ')).toBeLessThan(0.1);
    expect(Math.max(...errors), errors.join(' ')).toBeLessThan(0.4);
  });
});

test('light that spreads leaves marks their edges, and solid and bare their own tone', () => {
  const table = tableOf(1.3);
  const dots = createDots(60, 60);
  for (let y = 0; y < 60; y++) dots.data.fill(1, y * 60 + 30, y * 60 + 60);
  const row = predictReflectance(dots, { table }).data.subarray(30 * 60, 31 * 60);
  expect(row[2]).toBeCloseTo(luminanceOf(BARE_L), 3);
  expect(row[46]).toBeCloseTo(luminanceOf(FULL_L), 3);
  // Of the whole step, most is between two dots.
  expect(row[28]! - row[31]!).toBeGreaterThan(0.7 * (luminanceOf(BARE_L) - luminanceOf(FULL_L)));
});
