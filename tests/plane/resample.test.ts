import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import * as odd from '../../benchmarks/common/odd-images.ts';
import { findProgram, PYTHON, runProgram } from '../../benchmarks/common/outside-programs.ts';
import { decodeSrgb } from '../../src/colour/index.ts';
import {
  decodePhoto,
  ONE,
  type Photo,
  type Plane,
  type ResampleOptions,
  resampleAlpha,
  resampleLuminance,
} from '../../src/plane/index.ts';
import { loadKernels } from '../../src/plane/kernels.ts';
import { lightOf, readLightRow } from '../../src/plane/luminance.ts';
import { planTaps, TAP_BITS, weighLanczos3 } from '../../src/plane/taps.ts';

interface Made {
  readonly width: number;
  readonly height: number;
  readonly channels?: 1 | 3;
  readonly bits?: 8 | 16;
  readonly alpha?: boolean;
}

/** A photo whose sample `at` is `value(at)`, 0…1. */
function makePhoto(
  { width, height, channels = 3, bits = 8, alpha = false }: Made,
  value: (at: number) => number,
): Photo {
  const full = 2 ** bits - 1;
  const samples = Array.from({ length: width * height * channels }, (_, at) => Math.round(full * value(at)));
  return {
    width,
    height,
    bits,
    channels,
    rgb: bits === 8 ? Uint8Array.from(samples) : Uint16Array.from(samples),
    ...(alpha
      ? { alpha: Uint8Array.from({ length: width * height }, (_, at) => Math.round(255 * value(at * 7 + 3))) }
      : {}),
    facts: {
      format: 'png',
      space: 'srgb',
      iccProfile: undefined,
      orientation: 1,
      hasAlpha: alpha,
      progressive: false,
      bytes: 0,
      sha256: '',
    },
  };
}

/** Seeded noise 0…1 (a multiplicative hash of the place). */
const noise = (seed: number) => (at: number) => (Math.imul(at * 2 + seed * 77 + 1, 0x9e3779b1) >>> 8) / 0xffffff;

const whole = ({ width, height }: Photo) => ({ x: 0, y: 0, width, height });

/** The same filter in floating point, straight from its formula, pixel by pixel; bounded along axes that grow. */
function resampleExactly(light: Float64Array, width: number, height: number, options: ResampleOptions): Float64Array {
  const { crop } = options;
  const weigh = (length: number, from: number, span: number, count: number, at: number) => {
    const widen = Math.max(1, span / count);
    const centre = from + ((at + 0.5) * span) / count;
    const weights = Array.from({ length }, (_, k) => weighLanczos3((k + 0.5 - centre) / widen));
    const sum = weights.reduce((a, b) => a + b, 0);
    return weights.map((weight) => weight / sum);
  };
  /** A weighted sum of a line of samples; kept between the two around its place when the line grows. */
  const filter = (line: readonly number[], from: number, span: number, count: number, at: number) => {
    const weights = weigh(line.length, from, span, count, at);
    const sum = line.reduce((total, value, k) => total + weights[k]! * value, 0);
    if (span >= count) return sum;
    const place = from + ((at + 0.5) * span) / count - 0.5;
    const sides = [Math.floor(place), Math.ceil(place)].map((k) => line[Math.max(0, Math.min(line.length - 1, k))]!);
    return Math.max(Math.min(...sides), Math.min(sum, Math.max(...sides)));
  };
  const out = new Float64Array(options.width * options.height);
  for (let y = 0; y < options.height; y++) {
    const row = Array.from({ length: width }, (_, column) => {
      const line = Array.from({ length: height }, (_, k) => light[k * width + column]!);
      return filter(line, crop.y, crop.height, options.height, y);
    });
    for (let x = 0; x < options.width; x++) {
      out[y * options.width + x] = Math.max(0, Math.min(1, filter(row, crop.x, crop.width, options.width, x)));
    }
  }
  return out;
}

function lightPlane(photo: Photo): Float64Array {
  const source = lightOf(photo);
  const light = new Float64Array(photo.width * photo.height);
  const row = new Int16Array(photo.width);
  for (let y = 0; y < photo.height; y++) {
    readLightRow(source, y, 0, row);
    light.set(
      Array.from(row, (sample) => (sample + 16384) / ONE),
      y * photo.width,
    );
  }
  return light;
}

const CASES: readonly (readonly [string, Made, Partial<ResampleOptions>])[] = [
  ['8-bit colour, smaller', { width: 61, height: 47 }, { width: 40, height: 31 }],
  ['8-bit colour, larger', { width: 23, height: 19 }, { width: 50, height: 41 }],
  ['smaller in x, larger in y', { width: 64, height: 20 }, { width: 23, height: 57 }],
  ['much smaller', { width: 200, height: 150 }, { width: 7, height: 5 }],
  ['to one dot', { width: 40, height: 30 }, { width: 1, height: 1 }],
  [
    'a fractional crop',
    { width: 61, height: 47 },
    { width: 33, height: 20, crop: { x: 3.3, y: 7.9, width: 41.2, height: 29.6 } },
  ],
  [
    'a crop at the far corner',
    { width: 61, height: 47 },
    { width: 20, height: 20, crop: { x: 40.5, y: 30.25, width: 20.5, height: 16.75 } },
  ],
  ['8-bit grey', { width: 61, height: 47, channels: 1 }, { width: 40, height: 31 }],
  ['16-bit colour', { width: 61, height: 47, bits: 16 }, { width: 40, height: 31 }],
  ['16-bit grey', { width: 61, height: 47, bits: 16, channels: 1 }, { width: 40, height: 31 }],
  ['with alpha', { width: 61, height: 47, alpha: true }, { width: 40, height: 31 }],
  ['16-bit with alpha', { width: 31, height: 47, bits: 16, alpha: true }, { width: 40, height: 31 }],
  ['8 × 8', { width: 8, height: 8 }, { width: 3, height: 9 }],
  ['weights of its own', { width: 33, height: 21 }, { width: 20, height: 20, weights: [0.7, 0.3, 0] }],
];

describe('the kernels and the plain version give the same bits', () => {
  test('the kernels were built', () => {
    expect(loadKernels()).toBeDefined();
  });

  test.each(CASES)('%s', (_, made, partial) => {
    const photo = makePhoto(made, noise(1));
    const options = { crop: whole(photo), width: 1, height: 1, ...partial };
    expect(resampleLuminance(photo, options)).toEqual(resampleLuminance(photo, { ...options, arithmetic: 'scalar' }));
    expect(resampleAlpha(photo, options)).toEqual(resampleAlpha(photo, { ...options, arithmetic: 'scalar' }));
  });

  test('on any photo, crop and size', () => {
    const side = fc.integer({ min: 1, max: 70 });
    const share = fc.double({ min: 0, max: 1, noNaN: true });
    fc.assert(
      fc.property(
        side,
        side,
        side,
        side,
        share,
        share,
        fc.nat(1000),
        fc.constantFrom(1, 3),
        fc.constantFrom(8, 16),
        fc.boolean(),
        (width, height, toWidth, toHeight, left, top, seed, channels, bits, alpha) => {
          const photo = makePhoto(
            { width, height, channels: channels as 1 | 3, bits: bits as 8 | 16, alpha },
            noise(seed),
          );
          const crop = {
            x: left * 0.9 * width,
            y: top * 0.9 * height,
            width: width * (1 - left * 0.9),
            height: height * (1 - top * 0.9),
          };
          const options = { crop, width: toWidth, height: toHeight };
          expect(resampleLuminance(photo, options).data).toEqual(
            resampleLuminance(photo, { ...options, arithmetic: 'scalar' }).data,
          );
        },
      ),
      { seed: 20, numRuns: 150 },
    );
  });
});

describe('the filter', () => {
  test.each(CASES.filter(([, { alpha }, { weights }]) => !alpha && !weights))(
    'is Lanczos of three lobes in linear light: %s',
    (_, made, partial) => {
      const photo = makePhoto(made, noise(2));
      const options = { crop: whole(photo), width: 1, height: 1, ...partial };
      const { data } = resampleLuminance(photo, options);
      const exact = resampleExactly(lightPlane(photo), photo.width, photo.height, options);
      const worst = exact.reduce((most, value, at) => Math.max(most, Math.abs(data[at]! / ONE - value)), 0);
      const mean = exact.reduce((sum, value, at) => sum + data[at]! / ONE - value, 0) / exact.length;
      expect(worst).toBeLessThan(6e-4);
      expect(Math.abs(mean)).toBeLessThan(1e-4);
    },
  );

  test('a hard edge gets no rings when a photo is enlarged, in either direction, with and without alpha', () => {
    const [dark, light] = [60, 240];
    for (const way of ['across', 'down'] as const) {
      for (const alpha of [false, true]) {
        const photo = makePhoto({ width: 40, height: 40, channels: 1, alpha }, () => 1);
        for (let at = 0; at < 1600; at++) {
          photo.rgb[at] = (way === 'across' ? at % 40 : Math.floor(at / 40)) < 20 ? dark : light;
          if (photo.alpha) photo.alpha[at] = 255;
        }
        const size = { width: 317, height: 291 };
        const { data } = resampleLuminance(photo, { crop: whole(photo), ...size });
        const [low, high] = [dark, light].map((code) => Math.round(ONE * decodeSrgb(code / 255)));
        expect(data.every((level) => level >= low! - 1 && level <= high! + 1)).toBe(true);
        const across = Array.from({ length: way === 'across' ? 317 : 291 }, (_, at) =>
          way === 'across' ? data[145 * 317 + at]! : data[at * 317 + 158]!,
        );
        // Still as steep as the filter: from a tenth to nine tenths within one pixel of the photo.
        const share = (level: number) => (level - low!) / (high! - low!);
        const steps = across.filter((level) => share(level) > 0.1 && share(level) < 0.9).length;
        expect(steps / (across.length / 40)).toBeLessThan(1);
        expect(across.every((level, at) => at === 0 || level >= across[at - 1]! - 1)).toBe(true);
      }
    }
  });

  test('agrees with Pillow, a library of its own, on a floating-point picture', () => {
    if (!findProgram(PYTHON, ['-c', 'import PIL'])) return;
    const photo = makePhoto({ width: 90, height: 70 }, noise(3));
    const options = { crop: { x: 4.25, y: 3.5, width: 80.5, height: 60.25 }, width: 57, height: 43 };
    const script = [
      'import sys',
      'from PIL import Image',
      "im = Image.frombytes('F', (90, 70), sys.stdin.buffer.read())",
      'out = im.resize((57, 43), Image.LANCZOS, box=(4.25, 3.5, 84.75, 63.75))',
      'sys.stdout.buffer.write(out.tobytes())',
    ].join('\n');
    const stdout = runProgram(PYTHON, ['-c', script], Buffer.from(Float32Array.from(lightPlane(photo)).buffer));
    const theirs = new Float32Array(stdout.buffer.slice(stdout.byteOffset, stdout.byteOffset + stdout.length));
    const ours = resampleLuminance(photo, options).data;
    const worst = theirs.reduce(
      (most, value, at) => Math.max(most, Math.abs(ours[at]! / ONE - Math.max(0, Math.min(1, value)))),
      0,
    );
    expect(theirs.length).toBe(ours.length);
    expect(worst).toBeLessThan(6e-4);
  });

  test('taps sum to exactly 1, for any sides', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 5000 }),
        fc.integer({ min: 1, max: 300 }),
        fc.double({ min: 0.01, max: 1, noNaN: true }),
        (length, count, share) => {
          const span = length * share;
          const { taps, starts, lengths, stride } = planTaps({ length, from: (length - span) / 2, span, count });
          for (let at = 0; at < count; at++) {
            const own = taps.subarray(at * stride, at * stride + lengths[at]!);
            expect(own.reduce((a, b) => a + b, 0)).toBe(1 << TAP_BITS);
            expect(starts[at]! >= 0 && starts[at]! + lengths[at]! <= length).toBe(true);
          }
        },
      ),
      { seed: 4, numRuns: 100 },
    );
  });
});

describe('what comes out', () => {
  const levels = ({ data }: Plane<'luminance'>) => [...new Set(data)];

  test('every constant grey keeps its value exactly, at any scale', () => {
    for (const code of [0, 1, 17, 128, 200, 254, 255]) {
      const photo = makePhoto({ width: 50, height: 40 }, () => code / 255);
      const [own] = levels(resampleLuminance(photo, { crop: whole(photo), width: 50, height: 40 }));
      for (const [width, height] of [
        [31, 23],
        [7, 90],
        [200, 3],
      ] as const) {
        expect(levels(resampleLuminance(photo, { crop: whole(photo), width, height }))).toEqual([own]);
      }
    }
  });

  test('black is 0, white is ONE, code 128 is 0.2158605 (IEC 61966-2-1, recomputed), in 8 and 16 bits, colour and grey', () => {
    for (const bits of [8, 16] as const) {
      for (const channels of [1, 3] as const) {
        const light = (code: number) => {
          const photo = makePhoto({ width: 8, height: 8, bits, channels }, () => code / 255);
          return resampleLuminance(photo, { crop: whole(photo), width: 8, height: 8 }).data[0]!;
        };
        expect([light(0), light(255)]).toEqual([0, ONE]);
        expect(light(128) / ONE).toBeCloseTo(0.2158605, 4);
      }
    }
  });

  test.each([
    ['red', 0, 0.2126],
    ['green', 1, 0.7152],
    ['blue', 2, 0.0722],
  ] as const)('pure %s has the luminance of ITU-R BT.709', (_, channel, weight) => {
    for (const bits of [8, 16] as const) {
      const photo = makePhoto({ width: 8, height: 8, bits }, (at) => (at % 3 === channel ? 1 : 0));
      const [level] = levels(resampleLuminance(photo, { crop: whole(photo), width: 4, height: 4 }));
      expect(Math.abs(level! / ONE - weight)).toBeLessThan(4e-5);
    }
  });

  test('a one-pixel checkerboard halves to linear 0.5, not to coded 0.5', () => {
    const photo = makePhoto({ width: 80, height: 60, channels: 1 }, (at) => ((at % 80) + Math.floor(at / 80)) % 2);
    const { data, width, height } = resampleLuminance(photo, { crop: whole(photo), width: 40, height: 30 });
    for (let y = 3; y < height - 3; y++) {
      for (let x = 3; x < width - 3; x++) expect(Math.abs(data[y * width + x]! / ONE - 0.5)).toBeLessThan(1e-4);
    }
    const mean = data.reduce((a, b) => a + b, 0) / data.length / ONE;
    expect(Math.abs(mean - 0.5)).toBeLessThan(1e-4);
  });

  test('a large reduction of the finest stripes is grey, without beats', () => {
    const photo = makePhoto({ width: 900, height: 60, channels: 1 }, (at) => at % 2);
    const { data } = resampleLuminance(photo, { crop: whole(photo), width: 61, height: 4 });
    data.forEach((level, at) => {
      if (at % 61 >= 3 && at % 61 < 58) expect(Math.abs(level / ONE - 0.5)).toBeLessThan(0.004);
    });
  });

  test('at scale 1 every pixel stays as it is', () => {
    const photo = makePhoto({ width: 31, height: 17 }, noise(5));
    const { data } = resampleLuminance(photo, { crop: { x: 4, y: 2, width: 20, height: 11 }, width: 20, height: 11 });
    const light = lightPlane(photo);
    data.forEach((level, at) => {
      expect(level / ONE).toBe(light[(2 + Math.floor(at / 20)) * 31 + 4 + (at % 20)]);
    });
  });

  test('a photo turned upside down gives the same picture upside down, within one level', () => {
    const photo = makePhoto({ width: 41, height: 33, channels: 1 }, noise(6));
    const turned = { ...photo, rgb: photo.rgb.slice().reverse() };
    const options = { crop: whole(photo), width: 29, height: 50 };
    const one = resampleLuminance(photo, options).data;
    const other = resampleLuminance(turned, options).data.slice().reverse();
    one.forEach((level, at) => {
      expect(Math.abs(level - other[at]!)).toBeLessThanOrEqual(12);
    });
  });

  test('the photo is left as it was', () => {
    const photo = makePhoto({ width: 20, height: 20, alpha: true }, noise(7));
    const [before, alpha] = [photo.rgb.slice(), photo.alpha!.slice()];
    resampleLuminance(photo, { crop: whole(photo), width: 9, height: 9 });
    expect([photo.rgb, photo.alpha]).toEqual([before, alpha]);
  });
});

describe('where the photo is transparent', () => {
  test('edges keep the colour of the opaque side: no fringe from what lies under the transparent one', () => {
    const photo = makePhoto({ width: 40, height: 40 }, (at) => (Math.floor(at / 3) % 40 < 20 ? 0.5 : 1));
    const alpha = Uint8Array.from({ length: 1600 }, (_, at) => (at % 40 < 20 ? 255 : 0));
    const options = { crop: whole(photo), width: 23, height: 23 };
    const { data } = resampleLuminance({ ...photo, alpha }, options);
    const mask = resampleAlpha({ ...photo, alpha }, options)!;
    expect([mask.data[0], mask.data[22]]).toEqual([255, 0]);
    const inside = data[0]!;
    data.forEach((level, at) => {
      if (mask.data[at]! >= 16) expect(Math.abs(level - inside)).toBeLessThan(ONE * 0.004);
      if (mask.data[at] === 0) expect(level).toBe(ONE);
    });
  });

  test('a fully opaque alpha changes nothing', () => {
    const photo = makePhoto({ width: 30, height: 20 }, noise(8));
    const opaque = { ...photo, alpha: new Uint8Array(600).fill(255) };
    const options = { crop: whole(photo), width: 17, height: 13 };
    expect(resampleLuminance(opaque, options).data).toEqual(resampleLuminance(photo, options).data);
    expect(new Set(resampleAlpha(opaque, options)!.data)).toEqual(new Set([255]));
  });

  test('a photo without alpha has no mask', () => {
    const photo = makePhoto({ width: 9, height: 9 }, noise(9));
    expect(resampleAlpha(photo, { crop: whole(photo), width: 3, height: 3 })).toBeUndefined();
  });

  test('a decoded file gives its alpha', async () => {
    const photo = await decodePhoto(await odd.makeAlphaPng(), 'photo');
    const mask = resampleAlpha(photo, { crop: whole(photo), width: 32, height: 16 })!;
    for (let x = 2; x < 30; x++) expect(Math.abs(mask.data[x]! - ((2 * x + 0.5) / 63) * 255)).toBeLessThan(1.5);
  });
});

describe('what is refused', () => {
  const photo = makePhoto({ width: 20, height: 10 }, noise(1));
  test.each([
    { x: -1, y: 0, width: 5, height: 5 },
    { x: 16, y: 0, width: 5, height: 5 },
    { x: 0, y: 0, width: 0, height: 5 },
    { x: 0, y: 0, width: Number.NaN, height: 5 },
  ])('crop %o', (crop) => {
    expect(() => resampleLuminance(photo, { crop, width: 4, height: 4 })).toThrow(RangeError);
  });
  test.each([[[0.5, 0.5, 0.5]], [[1.5, -0.5, 0]], [[Number.NaN, 0, 1]]] as const)('weights %j', (weights) => {
    expect(() => resampleLuminance(photo, { crop: whole(photo), width: 4, height: 4, weights })).toThrow(RangeError);
  });
});
