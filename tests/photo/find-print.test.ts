import sharp from 'sharp';
import { beforeAll, describe, expect, test } from 'vitest';
import { findPrint, PRINT_SEARCHED_PX } from '../../src/photo/index.ts';
import type { ColourImage } from '../../src/plane/index.ts';
import { openRandom } from '../subject/noise.ts';

const [WIDTH, HEIGHT] = [240, 180];

async function read(
  path: string,
  size: { width?: number; height?: number; fit?: 'inside' | 'fill' },
): Promise<ColourImage> {
  const { data, info } = await sharp(path)
    .resize(size)
    .toColourspace('srgb')
    .removeAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  const grey = info.channels === 1;
  const rgb = Uint8Array.from({ length: 3 * info.width * info.height }, (_, i) => data[grey ? Math.floor(i / 3) : i]!);
  return { width: info.width, height: info.height, rgb };
}

interface Scene {
  /** Corners of the print on the photo, pixels: left upper, right upper, right lower, left lower. */
  readonly corners: readonly (readonly [number, number])[];
  readonly glare?: { readonly x: number; readonly y: number; readonly radius: number; readonly strength: number };
  /** Width of the print's white border, a share; 0 for none. */
  readonly border?: number;
}

/** A print of a photo on a grained table, as a camera sees it from any side, with a lamp mirrored in it. */
function photograph(print: ColourImage, { corners, glare, border = 0.04 }: Scene): ColourImage {
  const next = openRandom(5);
  const rgb = new Uint8Array(3 * WIDTH * HEIGHT);
  const inverse = solveHomography(corners);
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      const lit = 0.85 + 0.25 * (x / WIDTH);
      const sums = [0, 0, 0];
      for (const [dx, dy] of [
        [0.25, 0.25],
        [0.75, 0.25],
        [0.25, 0.75],
        [0.75, 0.75],
      ] as const) {
        const [u, v] = inverse(x + dx, y + dy);
        const isPrint = u >= 0 && v >= 0 && u < 1 && v < 1;
        const isBorder = u < border || v < border || u >= 1 - border || v >= 1 - border;
        for (let c = 0; c < 3; c++) {
          const from = 3 * (Math.floor(v * print.height) * print.width + Math.floor(u * print.width)) + c;
          const wood = [112, 84, 60][c]! + 6 * Math.sin(y / 2.3 + Math.sin(x / 31));
          const paper = isBorder ? 214 : 20 + 0.76 * print.rgb[from]!;
          const shine =
            isPrint && glare
              ? glare.strength * Math.exp(-(((x - glare.x) ** 2 + (y - glare.y) ** 2) / glare.radius ** 2))
              : 0;
          sums[c]! += (isPrint ? paper * lit + shine : wood * lit) / 4;
        }
      }
      for (let c = 0; c < 3; c++)
        rgb[3 * (y * WIDTH + x) + c] = Math.min(255, Math.max(0, Math.round(sums[c]! + 4 * (next() - 0.5))));
    }
  }
  return { width: WIDTH, height: HEIGHT, rgb };
}

/**
 * From places of the photo to shares of the print: the projective map of a square to four corners (Heckbert 1989,
 * Fundamentals of Texture Mapping and Image Warping, section 2.2.3), inverted by its adjoint.
 */
function solveHomography(corners: Scene['corners']): (x: number, y: number) => readonly [number, number] {
  const [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = corners as readonly [
    [number, number],
    [number, number],
    [number, number],
    [number, number],
  ];
  const [sx, sy] = [x0 - x1 + x2 - x3, y0 - y1 + y2 - y3];
  const [dx1, dx2, dy1, dy2] = [x1 - x2, x3 - x2, y1 - y2, y3 - y2];
  const determinant = dx1 * dy2 - dx2 * dy1;
  const g = (sx * dy2 - dx2 * sy) / determinant;
  const h = (dx1 * sy - sx * dy1) / determinant;
  const [a, b, c] = [x1 - x0 + g * x1, x3 - x0 + h * x3, x0];
  const [d, e, f] = [y1 - y0 + g * y1, y3 - y0 + h * y3, y0];
  return (x, y) => {
    const w = (d * h - e * g) * x + (b * g - a * h) * y + (a * e - b * d);
    return [
      ((e - f * h) * x + (c * h - b) * y + (b * f - c * e)) / w,
      ((f * g - d) * x + (a - c * g) * y + (c * d - a * f)) / w,
    ];
  };
}

const STRAIGHT: Scene['corners'] = [
  [40, 25],
  [205, 25],
  [205, 150],
  [40, 150],
];
const ASKEW: Scene['corners'] = [
  [44, 20],
  [208, 31],
  [199, 154],
  [36, 143],
];
const ASLANT: Scene['corners'] = [
  [58, 30],
  [186, 28],
  [214, 152],
  [30, 156],
];

let prints: readonly ColourImage[];
beforeAll(async () => {
  const names = ['photographer.png', 'raccoon.jpg', 'two-dogs.jpg', 'cup.png'];
  prints = await Promise.all(
    names.map((name) => read(`images/photos/${name}`, { width: 160, height: 120, fit: 'fill' })),
  );
});

describe.each([
  ['straight', STRAIGHT],
  ['askew', ASKEW],
  ['aslant', ASLANT],
] as const)('a print that lies %s', (_, corners) => {
  test.each([0, 1, 2, 3])('is found with its four corners (photo %i)', (which) => {
    const found = findPrint(photograph(prints[which]!, { corners }));
    expect(found, 'found').toBeDefined();
    found!.corners.forEach(({ x, y }, i) => {
      expect(Math.abs(x * WIDTH - corners[i]![0])).toBeLessThan(2);
      expect(Math.abs(y * HEIGHT - corners[i]![1])).toBeLessThan(2);
    });
    expect(found!.glare).toBeUndefined();
  });
});

test('how it leans and how aslant it was taken are told', () => {
  const [straight, askew, aslant] = [STRAIGHT, ASKEW, ASLANT].map(
    (corners) => findPrint(photograph(prints[0]!, { corners }))!,
  );
  expect(straight!.leansDeg).toBeCloseTo(0, 0);
  expect(straight!.slant).toBeLessThan(0.03);
  // By the corners: 11 rows in 164 columns.
  expect(askew!.leansDeg).toBeCloseTo((Math.atan(11 / 164) * 180) / Math.PI, 0);
  expect(aslant!.slant).toBeCloseTo(184 / 128 - 1, 1);
});

test.each([
  ['at the upper left', 62, 45],
  ['at the right', 185, 88],
  ['in the middle', 122, 90],
])('a lamp that is mirrored %s is told of', (where, x, y) => {
  const { glare } = findPrint(
    photograph(prints[1]!, { corners: STRAIGHT, glare: { x, y, radius: 13, strength: 260 } }),
  )!;
  expect(glare!.where).toBe(where);
  expect(glare!.share).toBeGreaterThan(0.003);
  expect(glare!.share).toBeLessThan(0.06);
});

test('the photos of the project are no prints', async () => {
  for (const name of [
    'cat.png',
    'cup.png',
    'dandelion.jpg',
    'photographer.png',
    'portrait.png',
    'raccoon.jpg',
    'two-dogs.jpg',
  ]) {
    const size = { width: PRINT_SEARCHED_PX, height: PRINT_SEARCHED_PX, fit: 'inside' } as const;
    expect(findPrint(await read(`images/photos/${name}`, size)), name).toBeUndefined();
  }
});

/** Paints another ground around a straight print. */
function layOn(groundAt: (x: number, y: number) => number): ColourImage {
  const drawn = photograph(prints[0]!, { corners: STRAIGHT });
  for (let at = 0; at < drawn.rgb.length; at += 3) {
    const [x, y] = [(at / 3) % WIDTH, Math.floor(at / 3 / WIDTH)];
    if (x < 40 || x >= 205 || y < 25 || y >= 150) drawn.rgb.fill(groundAt(x, y), at, at + 3);
  }
  return drawn;
}

test('a picture in the window of a program is none', () => {
  expect(findPrint(layOn((_, y) => 176 + Math.floor(y / 24)))).toBeUndefined();
});

test('a drawn frame, an empty sheet and a speck are none', () => {
  expect(findPrint(layOn(() => 128))).toBeUndefined();
  expect(findPrint(photograph(prints[0]!, { corners: STRAIGHT, border: 0.5 }))).toBeUndefined();
  expect(findPrint({ width: 3, height: 2, rgb: new Uint8Array(18) })).toBeUndefined();
});
