import sharp from 'sharp';
import { beforeAll, describe, expect, test } from 'vitest';
import type { ColourImage } from '../../src/plane/index.ts';
import {
  describeShare,
  findSubject,
  loadModels,
  readShare,
  SEARCHED_PX,
  type SubjectModels,
} from '../../src/subject/index.ts';

let models: SubjectModels;
beforeAll(() => {
  const found = loadModels();
  expect(found, 'npm ci installs the models').toBeDefined();
  models = found!;
});

const portrait = 'images/photos/portrait.png';

async function read(input: string | Buffer, turnDeg = 0): Promise<ColourImage> {
  const { data, info } = await sharp(input)
    .rotate(turnDeg)
    .resize(SEARCHED_PX, SEARCHED_PX, { fit: 'inside', withoutEnlargement: true })
    .removeAlpha()
    .toColourspace('srgb')
    .raw()
    .toBuffer({ resolveWithObject: true });
  const at = info.channels === 1 ? (i: number) => Math.floor(i / 3) : (i: number) => i;
  const rgb = Uint8Array.from({ length: 3 * info.width * info.height }, (_, i) => data[at(i)]!);
  return { width: info.width, height: info.height, rgb };
}

/** Copies of one face on a grey wall: the places of their left upper corners, and their size. */
async function group(places: readonly (readonly [number, number])[], side: number): Promise<Buffer> {
  const head = await sharp(portrait)
    .extract({ left: 130, top: 20, width: 190, height: 190 })
    .resize(side, side)
    .toBuffer();
  return sharp({ create: { width: 900, height: 600, channels: 3, background: '#8c8f94' } })
    .composite(places.map(([left, top]) => ({ input: head, left, top })))
    .png()
    .toBuffer();
}

describe('faces', () => {
  test('one is found where it is, with its eyes', async () => {
    const { turn, subject } = findSubject(await read(portrait), models);
    expect(turn).toBe(0);
    expect(subject!.by).toBe('faces');
    expect(subject!.faces).toHaveLength(1);
    const { box, eyes, mouth } = subject!.faces[0]!;
    // By eye on the photo of 512 × 512: the eyes at (201, 110) and (242, 108), the mouth at (222, 150).
    expect(box.x).toBeGreaterThan(0.3);
    expect(box.x + box.width).toBeLessThan(0.6);
    expect(512 * eyes[0].x).toBeCloseTo(201, -1.2);
    expect(512 * eyes[1].x).toBeCloseTo(242, -1.2);
    expect(512 * mouth.y).toBeGreaterThan(512 * eyes[0].y + 20);
  });

  test.each([90, 180, 270] as const)('a photo that was turned by %i° is noticed, and back by how much', async (deg) => {
    const { turn } = findSubject(await read(portrait, deg), models);
    expect(turn).toBe(360 - deg);
  });

  test('all of a group are found', async () => {
    const places = [
      [80, 120],
      [380, 180],
      [660, 90],
    ] as const;
    const picture = await group(places, 150);
    const { subject } = findSubject(await read(picture), models);
    expect(subject!.faces).toHaveLength(3);
  });

  // Places and sizes of heads on a picture of 1200 × 800, of chance: the whole shows the model the largest at most.
  test.each([
    [
      [259, 140, 457],
      [146, 1033, 233],
    ],
    [
      [167, 422, 619],
      [178, 912, 176],
      [237, 379, 337],
    ],
    [
      [240, 364, 144],
      [164, 891, 161],
      [161, 260, 564],
    ],
    [
      [190, 813, 545],
      [194, 149, 49],
      [254, 400, 422],
    ],
  ])('all of several are found wherever they are and however large: %j, %j, %j', async (...heads) => {
    const input = await Promise.all(
      heads.map(async ([side, left, top]) => ({
        input: await sharp(portrait)
          .extract({ left: 110, top: 0, width: 230, height: 230 })
          .resize(side, side)
          .toBuffer(),
        left: left!,
        top: top!,
      })),
    );
    const ground = sharp('images/photos/cat.png').resize(1200, 800, { fit: 'cover' }).blur(6);
    const { subject } = findSubject(await read(await ground.composite(input).png().toBuffer()), models);
    expect(subject!.faces).toHaveLength(heads.length);
  });

  test('the shape of a person is told from the background', async () => {
    const { subject } = findSubject(await read('images/photos/photographer.png'), models);
    expect(subject!.by).toBe('faces');
    const { area, sure } = describeShare(subject!.share);
    expect(area).toBeGreaterThan(0.15);
    expect(area).toBeLessThan(0.45);
    expect(sure).toBeGreaterThan(0.8);
  });
});

test.each(['cat.png', 'raccoon.jpg', 'cup.png', 'two-dogs.jpg'])(
  '%s has no face of a person, and a subject',
  async (name) => {
    const { turn, isCertain, subject } = findSubject(await read(`images/photos/${name}`), models);
    expect([turn, isCertain]).toEqual([0, true]);
    expect(subject!.faces).toEqual([]);
  },
);

test('two dogs at a window are told by their shape, both heads and little else', async () => {
  const { subject } = findSubject(await read('images/photos/two-dogs.jpg'), models);
  expect(subject!.by).toBe('shape');
  // By eye on the photo of 2056 × 3088 pixels: heads about (850, 950) and (1160, 1640), the drainpipe at (350, 900).
  const at = (x: number, y: number) => readShare(subject!.share, { x: x / 2056, y: y / 3088 });
  expect(at(850, 950)).toBeGreaterThan(0.5);
  expect(at(1160, 1640)).toBeGreaterThan(0.5);
  expect(at(350, 900)).toBeLessThan(0.1);
  expect(at(1700, 400)).toBeLessThan(0.1);
});

test.each([
  ['nothing but one colour', 3, 3],
  ['a strip of pixels', 640, 2],
])('%s has no subject', (_, width, height) => {
  const image = { width, height, rgb: new Uint8Array(3 * width * height).fill(90) };
  expect(findSubject(image, models).subject).toBeUndefined();
});
