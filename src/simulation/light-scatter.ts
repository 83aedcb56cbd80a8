import type { LightScatterModel } from './material-model.ts';

/** Takes the next row of samples: linear reflectance, interleaved RGB; the row is read before it returns. */
export type RowSink = (rgb: Float32Array) => void;

export interface ScatterOptions {
  readonly spread: LightScatterModel;
  /** Samples a row, and rows in all. */
  readonly samples: number;
  readonly rows: number;
  readonly sampleXUm: number;
  readonly sampleYUm: number;
}

/**
 * Light that goes in at one place and comes out at another passes the surface twice: with t = √R the pass at one
 * place, a share of the light leaves as t·(p ∗ t), p the spread, instead of as t·t. For spread far beyond the
 * dots the mean reflectance is (mean √R)², Yule and Nielsen's n = 2; without spread it is Murray and Davies' mean R.
 *
 * The spread changes nothing below its own radius, so it is worked out on blocks of samples of at most half of it.
 * A sink before `next` that holds back the rows it still needs.
 */
export function scatterLight(next: RowSink, { spread, samples, rows, sampleXUm, sampleYUm }: ScatterOptions): RowSink {
  const block = (sampleUm: number) => Math.max(1, Math.floor(spread.radiusUm / 2 / sampleUm));
  const [blockX, blockY] = [block(sampleXUm), block(sampleYUm)];
  const blocks = Math.ceil(samples / blockX);
  const blockRows = Math.ceil(rows / blockY);
  const alongTaps = gaussianTaps(spread.radiusUm / (sampleXUm * blockX));
  const acrossTaps = gaussianTaps(spread.radiusUm / (sampleYUm * blockY));
  const reach = (acrossTaps.length - 1) / 2;

  /** Rows of samples of blocks that are not yet passed on, and block rows of pass t blurred along x. */
  const waiting: Float32Array[][] = [];
  const blurred = new Map<number, Float32Array>();
  const factor = new Float32Array(blocks * 3);
  const out = new Float32Array(samples * 3);
  let pending: Float32Array[] = [];
  let arrived = 0;
  let passed = 0;

  const passOn = () => {
    factor.fill(0);
    for (let tap = -reach; tap <= reach; tap++) {
      // Beyond the piece's edge the edge itself is seen once more.
      const from = blurred.get(Math.min(blockRows - 1, Math.max(0, passed + tap)))!;
      const weight = acrossTaps[tap + reach];
      for (let i = 0; i < factor.length; i++) factor[i] = factor[i] + weight * from[i];
    }
    for (const row of waiting.shift()!) {
      for (let block = 0, at = 0; block < blocks; block++) {
        const end = Math.min(samples, (block + 1) * blockX) * 3;
        for (; at < end; at += 3) {
          for (let c = 0; c < 3; c++) {
            const reflectance = row[at + c];
            const through = Math.sqrt(reflectance) * factor[block * 3 + c];
            out[at + c] = reflectance + spread.share * (through - reflectance);
          }
        }
      }
      next(out);
    }
    blurred.delete(passed - reach);
    passed++;
  };

  return (row) => {
    pending.push(row.slice());
    arrived++;
    if (pending.length < blockY && arrived < rows) return;
    blurred.set(waiting.length + passed, blurAlong(meanPass(pending, blockX, blocks), alongTaps));
    waiting.push(pending);
    pending = [];
    const complete = arrived === rows;
    while (waiting.length > 0 && (complete || waiting.length > reach)) passOn();
  };
}

/** Mean of √R over blocks of samples. */
function meanPass(rows: readonly Float32Array[], blockX: number, blocks: number): Float32Array {
  const mean = new Float32Array(blocks * 3);
  const counts = new Float32Array(blocks);
  for (const row of rows) {
    for (let block = 0, at = 0; block < blocks; block++) {
      const end = Math.min(row.length, (block + 1) * blockX * 3);
      counts[block] = counts[block] + (end - at) / 3;
      for (; at < end; at += 3) {
        for (let c = 0; c < 3; c++) mean[block * 3 + c] = mean[block * 3 + c] + Math.sqrt(row[at + c]);
      }
    }
  }
  return mean.map((sum, i) => sum / counts[Math.floor(i / 3)]);
}

function blurAlong(row: Float32Array, taps: Float32Array): Float32Array {
  const count = row.length / 3;
  const reach = (taps.length - 1) / 2;
  const padded = new Float32Array(row.length + 6 * reach);
  padded.set(row, 3 * reach);
  for (let i = 0; i < reach; i++) {
    padded.set(row.subarray(0, 3), 3 * i);
    padded.set(row.subarray(3 * count - 3), 3 * (reach + count + i));
  }
  const out = new Float32Array(row.length);
  for (let tap = 0; tap < taps.length; tap++) {
    const weight = taps[tap];
    for (let i = 0, from = 3 * tap; i < out.length; i++, from++) out[i] = out[i] + weight * padded[from];
  }
  return out;
}

/** A Gaussian of the given standard deviation in samples, cut at three of them, weights summing to 1. */
export function gaussianTaps(sigma: number): Float32Array {
  const reach = Math.max(1, Math.ceil(3 * sigma));
  const taps = new Float32Array(2 * reach + 1).map((_, i) => Math.exp(-((i - reach) ** 2) / (2 * sigma * sigma)));
  const sum = taps.reduce((total, tap) => total + tap, 0);
  return taps.map((tap) => tap / sum);
}
