import { averageWindow, type Cells } from './cells.ts';
import { type Arithmetic, calmWindows, multiply, type NoiseRule } from './numbers.ts';

/** What a window of cells is like. */
export interface WindowFacts {
  /** Variance of the guide, never below 0. */
  readonly variance: number;
  /** Covariance of guide and input; the variance where the guide is its own input. */
  readonly covariance: number;
  /** Mean of the guide. */
  readonly mean: number;
}

export interface GuidedOptions {
  /** Cells to each side of a window. */
  readonly radius: number;
  /** What follows the guide; the guide itself when absent. */
  readonly input?: Cells;
  /** Gain of the line of one window, `at` its cell. The facts are one object that is written over. */
  readonly gainOf: (facts: WindowFacts, at: number) => number;
}

/**
 * The guided filter (`heSunTang2013`, eq. 5 to 8) as the lines that it lays: input ≈ gain · guide + offset, each the
 * mean over all windows that hold the cell. Whoever asks says what the gain is: covariance / (variance + ε) is the
 * filter as published; 1 in place of it keeps, less smooths and more brings out what differs from the mean of the
 * window.
 */
export function layGuidedLines(
  guide: Cells,
  { radius, input, gainOf }: GuidedOptions,
): { readonly gain: Cells; readonly offset: Cells } {
  const squares = averageProduct(guide, guide, radius);
  const means = averageWindow(guide, { radius });
  const products = input && averageProduct(guide, input, radius);
  const inputMeans = input && averageWindow(input, { radius });
  const facts = { variance: 0, covariance: 0, mean: 0 };
  // Both are written where they are read from: large planes take time to make.
  for (let at = 0; at < means.data.length; at++) {
    const mean = means.data[at];
    const inputMean = inputMeans ? inputMeans.data[at] : mean;
    facts.mean = mean;
    facts.variance = Math.max(0, squares.data[at] - mean * mean);
    facts.covariance = products ? products.data[at] - mean * inputMean : facts.variance;
    squares.data[at] = gainOf(facts, at);
    means.data[at] = inputMean - squares.data[at] * mean;
  }
  return averageLines({ gain: squares, offset: means }, radius);
}

/**
 * The same, guided by itself, with the gain of a noise filter: toward the mean of the window, the more so the less its
 * variance exceeds the noise's. Both arithmetics give the same bits.
 */
export function layCalmLines(
  guide: Cells,
  { radius, arithmetic = 'simd', ...rule }: NoiseRule & Arithmetic & { readonly radius: number },
): { readonly gain: Cells; readonly offset: Cells } {
  const squares = averageProduct(guide, guide, radius);
  const means = averageWindow(guide, { radius });
  calmWindows({ squares: squares.data, means: means.data }, rule, { arithmetic });
  return averageLines({ gain: squares, offset: means }, radius);
}

/** Into themselves: averaging the lines keeps windows from showing as blocks. */
const averageLines = ({ gain, offset }: { readonly gain: Cells; readonly offset: Cells }, radius: number) => ({
  gain: averageWindow(gain, { radius, into: gain }),
  offset: averageWindow(offset, { radius, into: offset }),
});

function averageProduct(a: Cells, b: Cells, radius: number): Cells {
  const product = { ...a, data: multiply(a.data, b.data) };
  return averageWindow(product, { radius, into: product });
}
