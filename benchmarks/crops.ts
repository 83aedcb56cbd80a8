// Automatic crops of the sample photos and of what is made of them (groups, turned ones, small figures) on three shapes
// of piece: out/crops/crops.png to look at, and what was found in words. CPU of finding a subject in a photo of 24
// megapixels. FOLDER names a folder of other photos that are cropped instead.
import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp, { type OverlayOptions } from 'sharp';
import { resolveJob, takePicture } from '../src/job/index.ts';
import { openShop } from '../src/material/index.ts';
import { decodePhoto, encodeColour, type Photo, readColour, turnPhoto } from '../src/plane/index.ts';
import { findSubject, loadModels, SEARCHED_PX } from '../src/subject/index.ts';

const PHOTOS = 'images/photos';
const FOLDER = process.env.FOLDER;
const SIZES = ['30x60', '40x40', '60x30'] as const;
/** Side of a picture on the sheet, pixels. Assumed: a person judges it at a glance. */
const CELL_PX = 180;
const shop = openShop({ builtIn: ['shared/shop', 'shared'] });

const head = (side: number) =>
  sharp(`${PHOTOS}/portrait.png`)
    .extract({ left: 110, top: 0, width: 230, height: 230 })
    .resize(side, side)
    .png()
    .toBuffer();

/** Heads on another photo: left upper corners and sides, pixels of a picture of 1200 × 800. */
async function compose(ground: string, places: readonly (readonly [number, number, number])[]): Promise<Buffer> {
  const input = await Promise.all(places.map(async ([left, top, side]) => ({ input: await head(side), left, top })));
  return sharp(`${PHOTOS}/${ground}`).resize(1200, 800, { fit: 'cover' }).blur(6).composite(input).png().toBuffer();
}

async function listCases(): Promise<readonly { readonly name: string; readonly bytes: Buffer }[]> {
  if (FOLDER !== undefined) {
    const names = readdirSync(FOLDER).filter((name) => /\.(jpe?g|png|webp|avif|tiff?)$/i.test(name));
    return names.sort().map((name) => ({ name, bytes: readFileSync(join(FOLDER, name)) }));
  }
  const plain = [
    'portrait.png',
    'photographer.png',
    'cat.png',
    'raccoon.jpg',
    'two-dogs.jpg',
    'cup.png',
    'dandelion.jpg',
  ];
  const turned = [90, 180, 270];
  return [
    ...(await Promise.all(plain.map(async (name) => ({ name, bytes: await sharp(`${PHOTOS}/${name}`).toBuffer() })))),
    ...(await Promise.all(
      turned.map(async (deg) => ({
        name: `portrait, turned by ${deg}°`,
        bytes: await sharp(`${PHOTOS}/portrait.png`).rotate(deg).png().toBuffer(),
      })),
    )),
    {
      name: 'two near',
      bytes: await compose('cup.png', [
        [320, 200, 300],
        [640, 240, 280],
      ]),
    },
    {
      name: 'three across',
      bytes: await compose('dandelion.jpg', [
        [60, 260, 240],
        [480, 200, 260],
        [900, 280, 230],
      ]),
    },
    { name: 'one aside', bytes: await compose('cat.png', [[930, 90, 220]]) },
    { name: 'one small', bytes: await compose('dandelion.jpg', [[220, 420, 110]]) },
    {
      name: 'one fills it',
      bytes: await sharp(`${PHOTOS}/portrait.png`)
        .extract({ left: 120, top: 0, width: 220, height: 220 })
        .resize(900)
        .png()
        .toBuffer(),
    },
  ];
}

async function run(): Promise<void> {
  const cells: OverlayOptions[] = [];
  const cases = await listCases();
  for (const [row, { name, bytes }] of cases.entries()) {
    const photo = await decodePhoto(bytes, name);
    const top = row * (CELL_PX + 10);
    cells.push({ input: await drawWhole(photo), left: 0, top });
    for (const [column, size] of SIZES.entries()) {
      const spec = resolveJob({ size, profile: 'anodised-black' }, { shop, refused: [] });
      const picture = await takePicture(async () => photo, { spec, withThumbnail: true });
      const { subject, turn, notices } = picture;
      const told = notices.map(({ code }) => code).join(' ');
      console.log(
        `${name}, ${size}: ${subject?.by ?? 'what draws the eye'}, ${subject?.faces.length ?? 0} faces, turned by ${turn.deg}° ${told}`,
      );
      const png = await encodeColour(picture.thumbnail!, { format: 'png', compression: 1 });
      const small = await sharp(png).resize(CELL_PX, CELL_PX, { fit: 'inside' }).png().toBuffer();
      cells.push({ input: small, left: (column + 1) * (CELL_PX + 10), top });
    }
  }
  const sheet = {
    width: 4 * (CELL_PX + 10),
    height: cases.length * (CELL_PX + 10),
    channels: 3 as const,
    background: '#808080',
  };
  mkdirSync('out/crops', { recursive: true });
  await sharp({ create: sheet }).composite(cells).png().toFile('out/crops/crops.png');
  if (FOLDER === undefined) await timeLarge();
}

async function drawWhole(photo: Photo): Promise<Buffer> {
  const { width, height } = photo;
  const scale = CELL_PX / Math.max(width, height);
  const size = { width: Math.round(width * scale), height: Math.round(height * scale) };
  const image = readColour(photo, { crop: { x: 0, y: 0, width, height }, ...size });
  return Buffer.from(await encodeColour(image, { format: 'png', compression: 1 }));
}

/** CPU seconds of the first subject of a process, models read, in 24 megapixels: a face at once, and none at all. */
async function timeLarge(): Promise<void> {
  for (const name of ['portrait.png', 'dandelion.jpg']) {
    const bytes = await sharp(`${PHOTOS}/${name}`)
      .resize(6000, 4000, { fit: 'cover' })
      .jpeg({ quality: 92 })
      .toBuffer();
    const photo = await decodePhoto(bytes, name);
    const before = process.cpuUsage();
    const image = readColour(photo, {
      crop: { x: 0, y: 0, width: photo.width, height: photo.height },
      width: SEARCHED_PX,
      height: Math.round((SEARCHED_PX * photo.height) / photo.width),
    });
    findSubject(image, loadModels()!);
    const { user, system } = process.cpuUsage(before);
    console.log(`${name}, 24 megapixels: ${((user + system) / 1e6).toFixed(2)} s CPU`);
  }
  // A quarter turn of such a photo, for one that lies on its side.
  const photo = await decodePhoto(
    await sharp(`${PHOTOS}/portrait.png`).resize(6000, 4000, { fit: 'fill' }).jpeg().toBuffer(),
    'turned',
  );
  const before = process.cpuUsage();
  turnPhoto(photo, 90);
  const { user, system } = process.cpuUsage(before);
  console.log(`a quarter turn: ${((user + system) / 1e6).toFixed(2)} s CPU`);
}

await run();
