import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import { assumeResponse, fillDotTable } from '../../src/material/index.ts';
import { createDots, createPlane, type Dots, ONE } from '../../src/plane/index.ts';
import { assessTone, predictReflectance } from '../../src/proof/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { burnByHand, luminanceOf, mixByHand } from '../material/burn-by-hand.ts';

/**
 * What light that spreads makes of marks, worked out apart from the code under test: the strength of a whole field is
 * averaged, and only then mixed. source: 'yuleNielsen1951'.
 */
const COLOURS = { bareL: 82, fullL: 31 } as const;
const GRID = { pitchMm: 0.1, lineSpacingMm: 0.1 };
const RESPONSE = assumeResponse(
  { markDiameterXUm: 110, markDiameterYUm: 110, steepness: 2, drive: 1.6, yuleNielsenN: 1 },
  GRID,
);
const tableOf = (n: number) =>
  fillDotTable({
    response: { ...RESPONSE, yuleNielsenN: n },
    bare: [COLOURS.bareL, 4, 20],
    full: [COLOURS.fullL, 8, 14],
  });
const mix = (strength: number, n: number) => mixByHand(strength, { ...COLOURS, n });

/** Away from simple fractions, where error diffusion changes from one regular texture to another. */
const COVERAGES = [0.05, 0.15, 0.29, 0.46, 0.77, 0.95];
const HEIGHT = 96;

interface Piece {
  readonly dots: Dots;
  readonly stepOf: (x: number) => number;
  /**
   * A part of each step, away from its neighbours, on whole pixels of one, two and three dots; and its true strength.
   */
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
    return {
      x,
      width: span,
      strength: burnByHand(dots, { law: RESPONSE, grid: GRID, part: { ...PART, x, width: span } }),
    };
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
  expect(row[2]).toBeCloseTo(luminanceOf(COLOURS.bareL), 3);
  expect(row[46]).toBeCloseTo(luminanceOf(COLOURS.fullL), 3);
  // Of the whole step, most is between two dots.
  expect(row[28]! - row[31]!).toBeGreaterThan(0.7 * (luminanceOf(COLOURS.bareL) - luminanceOf(COLOURS.fullL)));
});
