import { loadKernels, reserveBuffers } from '../plane/index.ts';
import type { DoseColours } from './law.ts';

export interface RowShape {
  /** Dots a row, samples a dot, and pixels of the surface a row. */
  readonly columns: number;
  readonly perDot: number;
  readonly pixels: number;
}

/** What happens to each row of samples. Both results are used before the next call. */
export interface EngraveRows {
  /**
   * Linear RGB of each sample, interleaved, by its dose, J/cm²; each dot has its own answer, entries of the table a
   * dose, and its own shade, a factor on the light.
   */
  colour(dose: Float32Array, answer: Float32Array, shade: Float32Array): Float32Array;
  /** Means of a row over the pixels, interleaved; a sample on a pixel's edge counts in both by its share. */
  average(row: Float32Array): Float32Array;
}

export function startPlainRows({ columns, perDot, pixels }: RowShape, { rgb, count }: DoseColours): EngraveRows {
  const samples = columns * perDot;
  const out = new Float32Array(samples * 3);
  const line = new Float32Array(pixels * 3);
  const { ends, shares, length } = cutRow(samples, pixels);
  return {
    colour(dose, answer, shade) {
      const last = count - 1;
      let at = 0;
      let to = 0;
      for (let cell = 0; cell < columns; cell++) {
        const perDose = answer[cell];
        const light = shade[cell];
        for (let sub = 0; sub < perDot; sub++) {
          let entry = (dose[at++] * perDose + 0.5) | 0;
          if (entry > last) entry = last;
          entry *= 3;
          out[to++] = Math.min(1, rgb[entry] * light);
          out[to++] = Math.min(1, rgb[entry + 1] * light);
          out[to++] = Math.min(1, rgb[entry + 2] * light);
        }
      }
      return out;
    },
    average(row) {
      for (let pixel = 0; pixel < pixels; pixel++) {
        const last = ends[2 * pixel + 1];
        let i = ends[2 * pixel];
        const share = shares[2 * pixel];
        let red = share * row[i * 3];
        let green = share * row[i * 3 + 1];
        let blue = share * row[i * 3 + 2];
        for (i++; i < last; i++) {
          red += row[i * 3];
          green += row[i * 3 + 1];
          blue += row[i * 3 + 2];
        }
        if (i === last) {
          const lastShare = shares[2 * pixel + 1];
          red += lastShare * row[i * 3];
          green += lastShare * row[i * 3 + 1];
          blue += lastShare * row[i * 3 + 2];
        }
        line[pixel * 3] = red / length;
        line[pixel * 3 + 1] = green / length;
        line[pixel * 3 + 2] = blue / length;
      }
      return line;
    },
  };
}

/** The same bits by the WebAssembly kernels; undefined where there are none. */
export function startFastRows(shape: RowShape, { rgb, count }: DoseColours): EngraveRows | undefined {
  const kernels = loadKernels();
  if (!kernels) return undefined;
  const { columns, perDot, pixels } = shape;
  const samples = columns * perDot;
  const { ends, shares, length } = cutRow(samples, pixels);
  const sizes = [
    4 * samples,
    4 * columns,
    4 * columns,
    16 * count,
    4 * (3 * samples + 1),
    ends.byteLength,
    shares.byteLength,
    4 * (3 * pixels + 1),
  ];
  const [doseAt, answerAt, shadeAt, tableAt, rowAt, endsAt, sharesAt, lineAt] = reserveBuffers(kernels, sizes) as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const { buffer } = kernels.memory;
  const floats = (at: number, length: number) => new Float32Array(buffer, at, length);
  const [doses, answers, shades] = [floats(doseAt, samples), floats(answerAt, columns), floats(shadeAt, columns)];
  const [rows, line] = [floats(rowAt, 3 * samples), floats(lineAt, 3 * pixels)];
  const table = floats(tableAt, 4 * count);
  for (let entry = 0; entry < count; entry++) table.set(rgb.subarray(3 * entry, 3 * entry + 3), 4 * entry);
  new Int32Array(buffer, endsAt, ends.length).set(ends);
  new Float64Array(buffer, sharesAt, shares.length).set(shares);
  return {
    colour(dose, answer, shade) {
      doses.set(dose);
      answers.set(answer);
      shades.set(shade);
      kernels.colourDoses(doseAt, answerAt, shadeAt, tableAt, rowAt, columns, perDot, count);
      return rows;
    },
    average(row) {
      if (row !== rows) rows.set(row);
      kernels.averageRuns(rowAt, endsAt, sharesAt, length, lineAt, pixels);
      return line;
    },
  };
}

/** First and last sample of each pixel of a row, what these two count, and the samples a pixel. */
function cutRow(samples: number, pixels: number) {
  const length = samples / pixels;
  const ends = new Int32Array(2 * pixels);
  const shares = new Float64Array(2 * pixels);
  for (let pixel = 0; pixel < pixels; pixel++) {
    const from = pixel * length;
    const to = Math.min(samples, from + length);
    const first = Math.floor(from);
    const last = Math.ceil(to) - 1;
    ends.set([first, last], 2 * pixel);
    shares.set([Math.min(first + 1, to) - from, to - last], 2 * pixel);
  }
  return { ends, shares, length };
}
