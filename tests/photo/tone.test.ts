import { createHash } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import {
  averageCells,
  averageWindow,
  blurCells,
  type Cells,
  coarsenCells,
  refineCells,
} from '../../src/photo/cells.ts';
import { layCalmLines, layGuidedLines } from '../../src/photo/guided-filter.ts';
import {
  adjustTone,
  applyToneFields,
  chooseTone,
  planToneFields,
  TONE_DEFAULTS,
  TONE_FIELDS,
  type ToneOptions,
} from '../../src/photo/index.ts';
import { alongLines, chainLines, countNumbers, multiply } from '../../src/photo/numbers.ts';
import { cellNoise } from '../../src/photo/statistics.ts';
import { toneCurve } from '../../src/photo/tone-curve.ts';
import {
  createPlane,
  lightnessOfLuminance,
  luminanceOfLightness,
  ONE,
  type Plane,
  readPhoto,
  resampleLuminance,
} from '../../src/plane/index.ts';

const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const viewed = { grid, markDiameterUm: 40, viewingDistanceMm: 300 };
const NAMES = Object.keys(TONE_FIELDS) as (keyof ToneOptions)[];

/** A plane whose L* is a function of the place. */
function paint(width: number, height: number, lightnessAt: (x: number, y: number) => number): Plane<'luminance'> {
  const plane = createPlane('luminance', width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) plane.data[y * width + x] = luminanceOfLightness(lightnessAt(x, y));
  }
  return plane;
}

/** Normal numbers of mean 0 and deviation 1, the same for the same seed. */
function seededNormal(seed: number): () => number {
  let state = seed;
  const uniform = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}

const lightness = (plane: Plane<'luminance'>) => Array.from(plane.data, lightnessOfLuminance);
const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
const deviation = (values: readonly number[]) => {
  const middle = mean(values);
  return Math.sqrt(mean(values.map((value) => (value - middle) ** 2)));
};

/** Any values within the ranges that the fields declare. */
const anyTone = fc.record(
  Object.fromEntries(
    NAMES.map((name) => [name, fc.double({ min: TONE_FIELDS[name].min, max: TONE_FIELDS[name].max, noNaN: true })]),
  ) as { [K in keyof ToneOptions]: fc.Arbitrary<number> },
) as fc.Arbitrary<ToneOptions>;
const everything: ToneOptions = {
  ...TONE_DEFAULTS,
  blackPointL: 5,
  whitePointL: 90,
  midtoneL: 8,
  contrast: 0.2,
  localContrast: 0.6,
  noiseL: 0.8,
  sharpenAmount: 1,
};

describe('plain', () => {
  test('returns every value as it was', () => {
    const plane = createPlane(
      'luminance',
      ONE + 1,
      1,
      Uint16Array.from({ length: ONE + 1 }, (_, value) => value),
    );
    expect(adjustTone(plane, TONE_DEFAULTS, { grid }).data).toEqual(plane.data);
  });

  test('every value has a field, every default lies in its range', () => {
    expect(Object.keys(TONE_DEFAULTS).sort()).toEqual([...NAMES].sort());
    for (const name of NAMES) {
      expect(TONE_DEFAULTS[name]).toBeGreaterThanOrEqual(TONE_FIELDS[name].min);
      expect(TONE_DEFAULTS[name]).toBeLessThanOrEqual(TONE_FIELDS[name].max);
    }
  });
});

describe('the pointwise values', () => {
  const steps = (values: readonly number[]) =>
    createPlane('luminance', values.length, 1, Uint16Array.from(values, luminanceOfLightness));
  const apply = (values: readonly number[], tone: Partial<ToneOptions>) =>
    lightness(adjustTone(steps(values), { ...TONE_DEFAULTS, ...tone }, { grid }));

  test('black and white point map to black and white, and what lies between in even steps', () => {
    const [below, black, quarter, middle, white, above] = apply([10, 20, 35, 50, 80, 95], {
      blackPointL: 20,
      whitePointL: 80,
    });
    expect(below).toBe(0);
    expect(black).toBeCloseTo(0, 1);
    expect(quarter).toBeCloseTo(25, 1);
    expect(middle).toBeCloseTo(50, 1);
    expect(white).toBeCloseTo(100, 1);
    expect(above).toBe(100);
  });

  test('midtones move middle grey by as much as they say, black and white not at all', () => {
    for (const midtoneL of [-25, -6, 12, 25]) {
      const [black, middle, white] = apply([0, 50, 100], { midtoneL });
      expect(black).toBe(0);
      expect(middle).toBeCloseTo(50 + midtoneL, 1);
      expect(white).toBe(100);
    }
  });

  test('lightening the middle keeps the steps of the sky', () => {
    const [lower, upper] = apply([92, 97], { midtoneL: 12 });
    expect(upper - lower).toBeGreaterThan(4.2);
  });

  test('contrast turns about middle grey', () => {
    const [dark, middle, light] = apply([30, 50, 70], { contrast: 0.5 });
    expect(middle).toBeCloseTo(50, 1);
    expect(light - dark).toBeGreaterThan(44);
    expect(light + dark).toBeCloseTo(100, 1);
  });

  test('one EV doubles the light', () => {
    const plane = createPlane('luminance', 3, 1, Uint16Array.of(1000, 9000, 20000));
    const doubled = adjustTone(plane, { ...TONE_DEFAULTS, brightnessEv: 1 }, { grid }).data;
    expect(Math.abs(doubled[0] - 2000)).toBeLessThanOrEqual(1);
    expect(Math.abs(doubled[1] - 18000)).toBeLessThanOrEqual(1);
    expect(doubled[2]).toBe(ONE);
  });

  test('with any values in range, more light never becomes less', () => {
    fc.assert(
      fc.property(anyTone, (tone) => {
        const curve = toneCurve(tone);
        let falls = 0;
        for (let i = 1; i < curve.length; i++) if (curve[i] < curve[i - 1] - 1e-4) falls++;
        expect(falls).toBe(0);
        expect(Math.min(...curve.subarray(0, 2), 0)).toBe(0);
        expect(curve[ONE]).toBeLessThanOrEqual(100.0001);
      }),
      { seed: 3, numRuns: 60 },
    );
  });

  test.each([
    ['blackPointL', 60],
    ['whitePointL', 30],
    ['noiseL', -1],
    ['sharpenRadiusMm', 0],
    ['contrast', Number.NaN],
  ] as const)('%s of %d is refused, naming the range', (name, value) => {
    const plane = createPlane('luminance', 1, 1);
    const adjust = () => adjustTone(plane, { ...TONE_DEFAULTS, [name]: value }, { grid });
    expect(adjust).toThrow(AppError);
    expect(adjust).toThrow(new RegExp(`${name}.*found ${value}, needed ${TONE_FIELDS[name].min} to`));
  });
});

describe('what looks at the surroundings', () => {
  test('a constant plane stays constant, and at the value of its curve', () => {
    const curve = toneCurve(everything);
    for (const value of [0, 1, 700, 9000, 21000, ONE]) {
      const plane = createPlane('luminance', 203, 101);
      plane.data.fill(value);
      const out = adjustTone(plane, everything, { grid });
      expect(new Set(out.data).size).toBe(1);
      expect(lightnessOfLuminance(out.data[0])).toBeCloseTo(curve[value], 1);
    }
  });

  test('of two large flat areas the lighter stays the lighter, in a wedge with every value up', () => {
    const steps = 21;
    const side = 200;
    const plane = paint(side * steps, 150, (x) => (100 * Math.floor(x / side)) / (steps - 1));
    const out = adjustTone(plane, { ...TONE_DEFAULTS, localContrast: 1, noiseL: 1, sharpenAmount: 2 }, { grid });
    const middles = Array.from({ length: steps }, (_, k) => out.data[75 * plane.width + (k + 0.5) * side]);
    for (let k = 1; k < steps; k++) expect(middles[k]).toBeGreaterThan(middles[k - 1]);
  });

  test('a strong edge gains no halo: beyond the fine detail, flat is flat', () => {
    const plane = paint(1200, 300, (x) => (x < 600 ? 25 : 75));
    const out = lightness(adjustTone(plane, { ...TONE_DEFAULTS, localContrast: 0.5, sharpenAmount: 1 }, { grid }));
    const row = out.slice(150 * 1200, 151 * 1200);
    // 0.5 mm from the edge local contrast has had its say: a twentieth of the edge at most, and no sharpening is left.
    for (const [x, wanted] of [
      [575, 25],
      [500, 25],
      [300, 25],
      [625, 75],
      [700, 75],
      [900, 75],
    ]) {
      expect(Math.abs(row[x] - wanted)).toBeLessThan(2.5);
    }
    // At the edge itself: no more than the halo limit and the local part.
    expect(Math.min(...row)).toBeGreaterThan(25 - 11);
    expect(Math.max(...row)).toBeLessThan(75 + 11);
  });

  test('sharpening steepens an edge that the mark and the eye would blur', () => {
    const plane = paint(400, 80, (x) => 30 + 40 / (1 + Math.exp(-(x - 199.5) / 4)));
    const out = lightness(adjustTone(plane, { ...TONE_DEFAULTS, sharpenAmount: 1 }, { grid }));
    const before = lightness(plane);
    const slope = (values: number[]) => values[40 * 400 + 203] - values[40 * 400 + 196];
    expect(slope(out)).toBeGreaterThan(1.15 * slope(before));
  });

  test('local contrast strengthens soft modelling and leaves a flat sky as it is', () => {
    const plane = paint(1600, 400, (x) => (x < 800 ? 60 + 5 * Math.sin(x / 25) : 60));
    const out = lightness(adjustTone(plane, { ...TONE_DEFAULTS, localContrast: 0.6 }, { grid }));
    const at = (from: number) => out.slice(200 * 1600 + from, 200 * 1600 + from + 300);
    expect(deviation(at(250))).toBeGreaterThan((1.3 * 5) / Math.SQRT2);
    expect(deviation(at(1200))).toBeLessThan(0.05);
  });

  test('a smooth sky stays smooth: no step larger than the gradient asks for', () => {
    const plane = paint(2000, 60, (x) => 60 + (25 * x) / 2000);
    const out = lightness(adjustTone(plane, everything, { grid })).slice(30 * 2000, 31 * 2000);
    const before = lightness(plane).slice(30 * 2000, 31 * 2000);
    for (let x = 9; x < 2000; x++) {
      expect(out[x] - out[x - 8]).toBeGreaterThanOrEqual(-0.02);
      expect(out[x] - out[x - 8]).toBeLessThan(4 * (before[x] - before[x - 8]) + 0.02);
    }
  });

  test('noise is calmed where it is alone and texture stronger than it stays', () => {
    const normal = seededNormal(5);
    const noisy = paint(800, 400, (x) => 50 + (x >= 400 ? 12 * Math.sin(x / 8) : 0) + 6 * normal());
    const out = adjustTone(noisy, { ...TONE_DEFAULTS, noiseL: 1.5 }, { grid });
    const cellsOf = (plane: Plane<'luminance'>, from: number) => {
      const values = lightness(plane);
      return Array.from({ length: 60 * 60 }, (_, i) => {
        const x = from + 4 * (i % 60);
        const y = 80 + 4 * Math.floor(i / 60);
        return mean(Array.from({ length: 16 }, (_, k) => values[(y + (k >> 2)) * 800 + x + (k & 3)]));
      });
    };
    expect(deviation(cellsOf(out, 80))).toBeLessThan(0.6 * deviation(cellsOf(noisy, 80)));
    expect(deviation(cellsOf(out, 500))).toBeGreaterThan(0.9 * deviation(cellsOf(noisy, 500)));
  });

  test.each([
    [1, 1],
    [1, 7],
    [5, 1],
    [3, 2],
    [9, 33],
  ])('a plane of %d × %d dots comes through with every value up', (width, height) => {
    const plane = paint(width, height, (x, y) => (37 * x + 11 * y) % 100);
    for (const at of [grid, { pitchMm: 0.1, lineSpacingMm: 0.03 }]) {
      const out = adjustTone(plane, everything, { grid: at });
      expect([out.width, out.height]).toEqual([width, height]);
      expect(out.data.every((value) => value <= ONE)).toBe(true);
    }
  });

  test.each([
    [1, 1, 0.02, 0.02],
    [3, 2, 0.02, 0.02],
    [61, 9, 0.02, 0.02],
    [62, 9, 0.03, 0.05],
    [101, 40, 0.0025, 0.1],
    [40, 70, 0.016, 0.011],
  ])(
    'a plane of %d × %d dots at %d × %d mm: the kernels and the plain loops give the same bits',
    (width, height, pitchMm, lineSpacingMm) => {
      const normal = seededNormal(width);
      const plane = paint(width, height, (x, y) => 50 + 40 * Math.sin(x / 9 + y / 5) + 25 * normal());
      const strong = { ...everything, localContrast: 1, noiseL: 6, sharpenAmount: 2 };
      const fields = planToneFields(plane, strong, { grid: { pitchMm, lineSpacingMm } })!;
      const [fast, plain] = (['simd', 'scalar'] as const).map((arithmetic) => {
        const out = createPlane('luminance', width, height);
        applyToneFields(plane, fields, { out, from: 0, to: height, arithmetic });
        const { curve: table, size } = fields;
        const cells = averageCells(plane, { table, size, arithmetic });
        const windows = [0, 1, 3, 40].map((radius) => averageWindow(cells, { radius, arithmetic }).data);
        const blurs = [0, 0.7, 3].map(
          (sigmaX) => blurCells(cells, { sigmaX, sigmaY: 2 - sigmaX / 2, arithmetic }).data,
        );
        const own = () => ({ ...cells, data: cells.data.slice() });
        const [first, second] = [own(), own()];
        averageWindow(first, { radius: 3, into: first, arithmetic });
        blurCells(second, { sigmaX: 0.7, sigmaY: 1.65, into: second, arithmetic });
        expect([first.data, second.data]).toEqual([windows[2], blurs[1]]);
        return { out: out.data, cells: cells.data, windows, blurs };
      });
      expect(fast).toEqual(plain);
    },
  );

  test('the input is not touched, and the same values give the same bits', () => {
    const normal = seededNormal(11);
    const plane = paint(301, 207, (x, y) =>
      Math.min(100, Math.max(0, 50 + 30 * Math.sin(x / 40 + y / 60) + 3 * normal())),
    );
    const before = plane.data.slice();
    const first = adjustTone(plane, everything, { grid });
    expect(plane.data).toEqual(before);
    expect(adjustTone(plane, everything, { grid }).data).toEqual(first.data);
  });

  test('with any values in range every value of the result is light', () => {
    const normal = seededNormal(2);
    const plane = paint(97, 61, (x, y) => (x > 50 ? 100 : 0) + 20 * normal() + (y > 30 ? 5 : 0));
    fc.assert(
      fc.property(anyTone, (tone) => {
        const out = adjustTone(plane, tone, { grid });
        expect(out.data.every((value) => value >= 0 && value <= ONE)).toBe(true);
      }),
      { seed: 4, numRuns: 60 },
    );
  });
});

describe('auto', () => {
  test('a dull grey picture gains range, a full one keeps its own', () => {
    const dull = paint(800, 400, (x) => 40 + (20 * x) / 800);
    const chosen = chooseTone(dull, viewed);
    expect(chosen.blackPointL).toBeGreaterThan(20);
    expect(chosen.whitePointL).toBeLessThan(72);
    const full = chooseTone(
      paint(800, 400, (x) => (100 * x) / 800),
      viewed,
    );
    expect(full.blackPointL).toBeLessThan(1);
    expect(full.whitePointL).toBeGreaterThan(99);
    expect(Math.abs(full.midtoneL)).toBeLessThan(4);
  });

  test('a dark picture is lifted, within its limit, and black stays black', () => {
    const night = paint(800, 400, (x, y) => (x < 20 && y < 200 ? 95 : (18 * x) / 800));
    const chosen = chooseTone(night, viewed);
    expect(chosen.midtoneL).toBeGreaterThan(8);
    expect(chosen.midtoneL).toBeLessThanOrEqual(16);
    const after = medianOf(adjustTone(night, chosen, { grid }));
    expect(after).toBeGreaterThan(medianOf(night) + 5);
    expect(after).toBeLessThan(30);
  });

  test('what the mask leaves out does not count', () => {
    const plane = paint(400, 200, (x) => (x < 200 ? 100 : 30 + (20 * (x - 200)) / 200));
    const mask = createPlane(
      'mask',
      400,
      200,
      new Uint8Array(400 * 200).map((_, i) => (i % 400 < 200 ? 0 : 255)),
    );
    expect(chooseTone(plane, viewed).whitePointL).toBe(100);
    expect(chooseTone(plane, { ...viewed, mask }).whitePointL).toBeLessThan(65);
    expect(chooseTone(plane, { ...viewed, mask: createPlane('mask', 400, 200) })).toEqual(TONE_DEFAULTS);
    expect(() => chooseTone(plane, { ...viewed, mask: createPlane('mask', 200, 400) })).toThrow(RangeError);
  });

  test('the sharpening radius is the eye’s minute of arc and the mark’s radius in quadrature', () => {
    const plane = paint(100, 100, (x) => x);
    expect(chooseTone(plane, viewed).sharpenRadiusMm).toBeCloseTo(Math.hypot(0.08727, 0.02), 3);
    expect(chooseTone(plane, { ...viewed, markDiameterUm: 400, viewingDistanceMm: 600 }).sharpenRadiusMm).toBeCloseTo(
      Math.hypot(0.17453, 0.2),
      3,
    );
  });

  test('a noisy picture is smoothed more and sharpened less', () => {
    const normal = seededNormal(9);
    const clean = paint(800, 400, (x) => 20 + (60 * x) / 800);
    const noisy = paint(800, 400, (x) => 20 + (60 * x) / 800 + 6 * normal());
    const [calm, rough] = [chooseTone(clean, viewed), chooseTone(noisy, viewed)];
    expect(rough.noiseL).toBeGreaterThan(calm.noiseL + 0.8);
    expect(rough.sharpenAmount).toBeLessThan(0.75 * calm.sharpenAmount);
  });

  test.each([
    ['black', 0],
    ['white', 100],
    ['grey', 50],
  ])('a plane all %s has values, and stays one value', (_, value) => {
    for (const side of [1, 3, 200]) {
      const plane = paint(side, side, () => value);
      const chosen = chooseTone(plane, viewed);
      for (const name of NAMES) {
        expect(chosen[name]).toBeGreaterThanOrEqual(TONE_FIELDS[name].min);
        expect(chosen[name]).toBeLessThanOrEqual(TONE_FIELDS[name].max);
      }
      expect(new Set(adjustTone(plane, chosen, { grid }).data).size).toBe(1);
    }
  });

  test('a ticket holds the values: through JSON they give the same bits', () => {
    const normal = seededNormal(21);
    const plane = paint(500, 300, (x, y) => 45 + 25 * Math.sin(x / 50) * Math.cos(y / 70) + 2 * normal());
    const chosen = chooseTone(plane, viewed);
    const read = JSON.parse(JSON.stringify(chosen)) as ToneOptions;
    expect(adjustTone(plane, read, { grid }).data).toEqual(adjustTone(plane, chosen, { grid }).data);
  });
});

/** L* that half of the dots are darker than. */
const medianOf = ({ data }: Plane<'luminance'>): number => lightnessOfLuminance(data.slice().sort()[data.length >> 1]!);

const cellsOf = (width: number, height: number, lightnessAt: (x: number, y: number) => number): Cells => ({
  width,
  height,
  data: Float32Array.from({ length: width * height }, (_, at) => lightnessAt(at % width, Math.floor(at / width))),
});

describe('noise', () => {
  // Source immerkaer1996: the estimate of pure Gaussian noise is its deviation; the smoothest blocks lie a little below
  // it.
  test.each([0.5, 1, 2, 4])('of deviation %d is found, also over a gradient', (sigma) => {
    const normal = seededNormal(33);
    const noiseL = cellNoise(cellsOf(600, 400, (x, y) => 30 + (40 * x) / 600 + y / 50 + sigma * normal()));
    expect(noiseL).toBeGreaterThan(0.8 * sigma);
    expect(noiseL).toBeLessThan(1.02 * sigma);
  });

  test('is not seen in texture beside a smooth place, nor where there is none', () => {
    const normal = seededNormal(34);
    expect(cellNoise(cellsOf(800, 400, (x) => 50 + (x > 300 ? 8 * normal() : 0.3 * normal())))).toBeLessThan(0.5);
    expect(cellNoise(cellsOf(200, 200, () => 50))).toBe(0);
    expect(cellNoise(cellsOf(17, 900, () => 50 + normal()))).toBe(0);
  });
});

// Sizes below, at and beyond a block of the kernels; odd ones, too.
test.each([
  [1, 1],
  [18, 18],
  [37, 41],
  [333, 61],
  [700, 500],
])('%d × %d cells: kernels and plain loops give the same bits', (width, height) => {
  const normal = seededNormal(width + height);
  const cells = cellsOf(width, height, (x, y) =>
    Math.min(100, Math.max(0, 50 + 40 * Math.sin((x + y) / 30) + normal())),
  );
  const other = cellsOf(width, height, () => normal());
  const rule = { varianceAt: Float64Array.from({ length: 101 }, (_, at) => at / 60), mostShare: 0.8 };
  const [fast, plain] = (['simd', 'scalar'] as const).map((arithmetic) => {
    const [values, chained] = [cells.data.slice(), { gain: other.data.slice(), offset: cells.data.slice() }];
    alongLines(values, { gain: other.data, offset: cells.data }, { arithmetic });
    chainLines({ gain: cells.data, offset: other.data }, chained, { arithmetic });
    const calm = layCalmLines(cells, { radius: 3, ...rule, arithmetic });
    return {
      values,
      chained,
      calm: [calm.gain.data, calm.offset.data],
      product: multiply(cells.data, other.data, { arithmetic }),
      counts: countNumbers(cells.data, { steps: 20, most: 100 }, { arithmetic }),
      coarse: [1, 2, 3, 40].map((by) => coarsenCells(cells, by, { arithmetic }).data),
      refined: [1, 2, 3, 40].map((by) => {
        const coarse = coarsenCells(cells, by);
        return refineCells(coarse, by, { width, height, arithmetic }).data;
      }),
      noise: [1, 3, 8, 16, 17].map((step) => cellNoise(cells, { step, arithmetic })),
    };
  });
  expect(fast).toEqual(plain);
  expect(plain!.counts.reduce((sum, count) => sum + count)).toBe(width * height);
});

test('lines that calm are those of the guided filter with the gain that the noise asks for', () => {
  const normal = seededNormal(8);
  const cells = cellsOf(60, 40, (x) => 50 + x / 3 + (x > 30 ? 6 : 1) * normal());
  const [varianceAt, mostShare] = [new Float64Array(101).fill(2), 0.8];
  const wanted = layGuidedLines(cells, {
    radius: 3,
    gainOf: ({ variance }) => 1 - Math.min(mostShare, 2 / variance),
  });
  expect(layCalmLines(cells, { radius: 3, varianceAt, mostShare })).toEqual(wanted);
});

// The bits of one photo: a change here is a change of every shop's results, and a line in the CHANGELOG.
test('the raccoon at 30 × 22.5 mm keeps its bits', async () => {
  const photo = await readPhoto('images/photos/raccoon.jpg');
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const light = resampleLuminance(photo, { crop, width: 750, height: 562 });
  const at = { pitchMm: 0.04, lineSpacingMm: 0.04 };
  const tone = chooseTone(light, { ...viewed, grid: at });
  const hash = createHash('sha256')
    .update(adjustTone(light, tone, { grid: at }).data)
    .digest('hex');
  expect({ tone, hash: hash.slice(0, 16) }).toMatchInlineSnapshot(`
    {
      "hash": "8863727aa1c16a6a",
      "tone": {
        "blackPointL": 1.4,
        "brightnessEv": 0,
        "contrast": 0,
        "localContrast": 0.26,
        "localRadiusMm": 0.9,
        "midtoneL": 1.2,
        "noiseL": 1.12,
        "noiseRadiusMm": 0.25,
        "sharpenAmount": 0.51,
        "sharpenRadiusMm": 0.09,
        "whitePointL": 94.4,
      },
    }
  `);
});
