/** A stretch of neighbouring points that were pooled because they did not rise. */
interface Block {
  sum: number;
  weight: number;
  xSum: number;
  count: number;
}

/**
 * Centred isotonic regression: each pooled stretch becomes one point at the weighted mean of its x, so that the curve
 * through the points strictly rises and has no flat steps to invert (source: 'oronFlournoy2017', algorithm CIR).
 * Gives the points; between them the estimate is linear, or any monotone interpolation.
 * @param x strictly rising. @param weights positive; all 1 when absent.
 */
export function regressCentredIsotonic(
  x: ArrayLike<number>,
  values: ArrayLike<number>,
  weights?: ArrayLike<number>,
): { readonly x: Float64Array; readonly y: Float64Array; readonly weights: Float64Array } {
  const blocks = poolBlocks(values, weights, x);
  return {
    x: Float64Array.from(blocks, (block) => block.xSum / block.weight),
    y: Float64Array.from(blocks, (block) => block.sum / block.weight),
    weights: Float64Array.from(blocks, (block) => block.weight),
  };
}

/** Pools neighbours that do not rise (source: 'ayer1955', pooling adjacent violators). */
function poolBlocks(values: ArrayLike<number>, weights: ArrayLike<number> | undefined, x: ArrayLike<number>): Block[] {
  if ((weights && weights.length !== values.length) || x.length !== values.length) {
    throw new RangeError(`needed ${values.length} weights and x, got ${weights?.length ?? 'none'} and ${x.length}`);
  }
  const blocks: Block[] = [];
  for (let i = 0; i < values.length; i++) {
    const weight = weights ? weights[i] : 1;
    if (!(weight > 0)) throw new RangeError(`weights must be above 0, got ${weight}`);
    let block: Block = { sum: values[i] * weight, weight, xSum: x[i] * weight, count: 1 };
    for (let last = blocks.at(-1); last && violates(last, block); last = blocks.at(-1)) {
      blocks.pop();
      block = {
        sum: last.sum + block.sum,
        weight: last.weight + block.weight,
        xSum: last.xSum + block.xSum,
        count: last.count + block.count,
      };
    }
    blocks.push(block);
  }
  return blocks;
}

function violates(before: Block, after: Block): boolean {
  return before.sum / before.weight >= after.sum / after.weight;
}
