// Automatic tone on 37 pictures: skin of six tones by an outside scale, before a wall and before a bright sky, in
// the shade, in haze, dark coats, two faces at once, small noisy files, and photos without a face. out/faces/faces.png
// shows each plain beside automatic, as the piece will look; a line each says, on a card of 17 … 80 L*:
//   skin    place of the middle of the skin in the material's range, 0 its darkest … 1 its lightest, plain → automatic
//   face    local contrast of the face (what differs from its surroundings of a millimetre), automatic over plain
//   folds   the same of a dark coat
//   noise   what noise is left on the work, automatic over plain, against the same picture without noise; small
//           files, and the strongest lifts of a dark face before a sky
//   dust    dots in a thousand where the plain tone asks for less than 1 % of coverage, plain → automatic
// `--out DIR` writes the sheet elsewhere; `--small FILE` writes a small JPEG of it, too.
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import sharp, { type OverlayOptions } from 'sharp';
import { drawText, LETTER_HEIGHT, LETTER_WIDTH } from '../src/chart/font.ts';
import {
  chooseToneValues,
  coarsenTaken,
  drawDraft,
  facesOf,
  type JobSpec,
  makeDots,
  resolveJob,
  tabulateCoverage,
  takeImage,
  takePicture,
} from '../src/job/index.ts';
import type { Picture } from '../src/job/prepare/picture.ts';
import { type CoverageTable, openShop } from '../src/material/index.ts';
import { adjustTone, type ToneOptions } from '../src/photo/index.ts';
import { decodePhoto, encodeColour, ONE, type Photo, type Plane } from '../src/plane/index.ts';
import {
  DUSK,
  darkenCloth,
  FACE,
  fileOf,
  layHaze,
  type MonkTone,
  noisyPhoto,
  readScene,
  type Scene,
  type Sitter,
  SKY,
  seat,
  sitPortrait,
  standBefore,
  tintSkin,
  WALL,
} from './common/face-scenes.ts';

type Part = { readonly x: number; readonly y: number; readonly width: number; readonly height: number };

interface Case {
  readonly name: string;
  readonly kind: 'even' | 'sky' | 'haze' | 'coat' | 'two' | 'noisy' | 'other';
  readonly bytes: Buffer;
  readonly size: string;
  readonly faces?: readonly Part[];
  /** Where a dark coat is. */
  readonly coat?: Part;
  /** The same without noise, and a smooth part of it. */
  readonly clean?: Buffer;
}

/** Width and height of a picture on the sheet, pixels. Assumed: 37 pairs are judged in a minute. */
const CELL = { width: 190, height: 190, gap: 8, label: 18 } as const;
const COLUMNS = 5;
const TONES: readonly MonkTone[] = [4, 5, 6, 7, 8, 9];
const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const { values: asked } = parseArgs({ options: { out: { type: 'string' }, small: { type: 'string' } }, strict: false });

async function listCases(): Promise<readonly Case[]> {
  const sitter = await sitPortrait();
  const sitting = async (kind: Case['kind'], name: string, scene: Sitter, more: Partial<Case> = {}): Promise<Case> => ({
    name,
    kind,
    bytes: await fileOf(scene),
    size: '30x30',
    faces: [FACE],
    ...more,
  });
  const tinted = TONES.map((tone) => [tone, tintSkin(sitter, tone)] as const);
  const of = (tone: MonkTone) => tintSkin(sitter, tone);
  const coat = { coat: { x: 0.3, y: 0.8, width: 0.4, height: 0.18 } };
  const noisy = { side: 420, noise: 10, quality: 60 } as const;
  const dim = { side: 420, noise: 6, quality: 75 } as const;
  const large = { side: 1000, quality: 90 } as const;
  const pair = async (name: string, scene: Scene & { readonly faces: readonly Part[] }): Promise<Case> => ({
    name,
    kind: 'two',
    bytes: await fileOf(scene),
    size: '60x30',
    faces: scene.faces,
  });
  const small = async (
    name: string,
    scene: Scene,
    file: { side: number; noise: number; quality: number },
    faces = [FACE] as readonly Part[],
  ) => ({
    name,
    kind: 'noisy' as const,
    bytes: await fileOf(scene, file),
    clean: await fileOf(scene, { side: file.side }),
    size: '40x40',
    faces,
  });
  const smallPhoto = async (file: string, name: string): Promise<Case> => ({
    name,
    kind: 'noisy',
    bytes: await noisyPhoto(file, noisy),
    clean: await noisyPhoto(file, { ...noisy, noise: 0, quality: 100 }),
    size: '60x40',
  });
  const other = async (file: string, size: string): Promise<Case> => ({
    name: file,
    kind: 'other',
    bytes: await sharp(`images/photos/${file}`).toBuffer(),
    size,
  });
  return [
    ...(await Promise.all(tinted.map(([tone, one]) => sitting('even', `Monk ${tone}, wall`, standBefore(one, WALL))))),
    ...(await Promise.all(
      tinted.map(([tone, one]) => sitting('sky', `Monk ${tone}, bright sky`, standBefore(one, SKY))),
    )),
    await sitting('sky', 'Monk 4, sky, in the shade 1 EV', standBefore(of(4), SKY, -1)),
    await sitting('sky', 'Monk 5, sky, in the shade 1 EV', standBefore(of(5), SKY, -1)),
    await sitting('sky', 'Monk 5, sky, in the shade 1.5 EV', standBefore(of(5), SKY, -1.5)),
    await sitting('sky', 'Monk 7, sky, in the shade 0.5 EV', standBefore(of(7), SKY, -0.5)),
    await sitting('haze', 'Monk 5 in haze', layHaze(standBefore(of(5), WALL, -0.5), 0.55, 66)),
    {
      name: 'dandelions in haze',
      kind: 'haze',
      bytes: await fileOf(layHaze(await readScene('dandelion.jpg', 1000), 0.5, 72)),
      size: '60x40',
    },
    await sitting('coat', 'Monk 5, dark coat, dusk', darkenCloth(standBefore(of(5), DUSK, -1), 0.12), coat),
    await sitting('coat', 'Monk 8, dark coat, sky', darkenCloth(standBefore(of(8), SKY, -0.5), 0.12), coat),
    { ...(await other('photographer.png', '40x40')), kind: 'coat', coat: { x: 0.22, y: 0.5, width: 0.2, height: 0.3 } },
    await pair('Monk 4 and 8, wall', seat(standBefore(of(8), WALL), standBefore(of(4), WALL))),
    await pair('Monk 6 and 9, sky', seat(standBefore(of(9), SKY), standBefore(of(6), SKY))),
    await small('Monk 5, 420 px, noise 10, quality 60', standBefore(of(5), WALL), noisy),
    await small('Monk 8, 420 px, noise 10, quality 60', standBefore(of(8), WALL), noisy),
    await small('Monk 5, sky, shade, noise 6, quality 75', standBefore(of(5), SKY, -1), dim),
    await small('Monk 9, sky, noise 6, quality 75', standBefore(of(9), SKY), dim),
    await small('Monk 7, sky, shade, noise 4', standBefore(of(7), SKY, -1), { side: 420, noise: 4, quality: 85 }),
    await small('Monk 7, sky, shade, 1000 px, noise 4', standBefore(of(7), SKY, -1), { ...large, noise: 4 }),
    await small('Monk 7, sky, shade, 1000 px, noise 12', standBefore(of(7), SKY, -1), { ...large, noise: 12 }),
    await small('Monk 9, sky, 2000 px, noise 20', standBefore(of(9), SKY), { side: 2000, noise: 20, quality: 90 }),
    await small('Monk 5, sky, shade 1.5 EV, noise 2', standBefore(of(5), SKY, -1.5), {
      side: 420,
      noise: 2,
      quality: 95,
    }),
    await small('Monk 5, coat, dusk, noise 5', darkenCloth(standBefore(of(5), DUSK, -1), 0.12), {
      ...large,
      noise: 5,
    }),
    await smallPhoto('cat.png', 'cat, 420 px, noise 10, quality 60'),
    await smallPhoto('two-dogs.jpg', 'dogs, 420 px, noise 10, quality 60'),
    await other('cat.png', '60x40'),
    await other('raccoon.jpg', '40x30'),
  ];
}

/** L* on the work of a toned picture. */
function workOf(
  toned: Plane<'luminance'>,
  spec: JobSpec,
): { readonly width: number; readonly height: number; readonly data: Float32Array } {
  const { lightness } = tabulateCoverage(spec).table;
  return {
    width: toned.width,
    height: toned.height,
    data: Float32Array.from(toned.data, (value) => lightness[value]!),
  };
}

type Work = ReturnType<typeof workOf>;

/** Means of squares of so many dots, of a part of the piece. */
function meansOf(work: Work, part: Part, side: number): Work {
  const [left, top] = [Math.round(part.x * work.width), Math.round(part.y * work.height)];
  const width = Math.floor((part.width * work.width) / side);
  const height = Math.floor((part.height * work.height) / side);
  const data = new Float32Array(width * height);
  for (let y = 0; y < height * side; y++) {
    for (let x = 0; x < width * side; x++) {
      data[Math.floor(y / side) * width + Math.floor(x / side)]! +=
        work.data[(top + y) * work.width + left + x]! / side ** 2;
    }
  }
  return { width, height, data };
}

const median = (values: Iterable<number>) => {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 1]!;
};
const deviation = (values: readonly number[]) => {
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  return Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / values.length);
};

/** Deviation of cells of 0.1 mm from the means of a square millimetre about them. */
function contrastOf(work: Work, part: Part): number {
  const cells = meansOf(work, part, 5);
  const differences: number[] = [];
  for (let y = 0; y < cells.height; y++) {
    for (let x = 0; x < cells.width; x++) {
      let [sum, count] = [0, 0];
      for (let v = Math.max(0, y - 5); v <= Math.min(cells.height - 1, y + 5); v++) {
        for (let u = Math.max(0, x - 5); u <= Math.min(cells.width - 1, x + 5); u++) {
          sum += cells.data[v * cells.width + u]!;
          count++;
        }
      }
      differences.push(cells.data[y * cells.width + x]! - sum / count);
    }
  }
  return deviation(differences);
}

/** The middle of the face: skin and little else. */
const cheeksOf = (face: Part): Part => ({
  x: face.x + 0.2 * face.width,
  y: face.y + 0.2 * face.height,
  width: 0.6 * face.width,
  height: 0.55 * face.height,
});

interface Taken {
  readonly spec: JobSpec;
  readonly picture: Picture;
  readonly tone: ToneOptions;
  readonly toned: Plane<'luminance'>;
  readonly work: Work;
}

async function take(
  photo: Photo,
  size: string,
  mode: 'plain' | 'auto',
  known?: Pick<Taken, 'tone' | 'picture'>,
  framing: Partial<Picture['framing']> = {},
): Promise<Taken> {
  const { focus, zoom } = framing;
  const crop = { ...(focus ? { focus } : {}), ...(zoom === undefined ? {} : { zoom }) };
  const spec = resolveJob({ size, profile: 'anodised-black', tone: mode, ...crop }, { shop, refused: [] });
  const picture = await takePicture(async () => photo, { spec, withThumbnail: false });
  const tone = known?.tone ?? chooseToneValues(picture, spec);
  const toned = adjustTone(picture.light, tone, { grid: spec.grid, ...facesOf(known?.picture ?? picture) });
  return { spec, picture, tone, toned, work: workOf(toned, spec) };
}

/** Half the side of the surroundings that noise is told from, cells of 0.1 mm. */
const AROUND = 10;

/**
 * Deviation from the same picture without noise, by cells of 0.1 mm, where that picture is even, less the mean of what
 * lies a millimetre around: clipped noise also makes whole areas darker, which is no noise.
 */
function noiseOf(noisy: Work, clean: Work, even: Work): number {
  const whole = { x: 0.03, y: 0.03, width: 0.94, height: 0.94 };
  const [a, b, plain] = [noisy, clean, even].map((work) => meansOf(work, whole, 5)) as [Work, Work, Work];
  const added = { ...a, data: a.data.map((value, i) => value - b.data[i]!) };
  const differences: number[] = [];
  for (let y = AROUND; y < a.height - AROUND; y++) {
    for (let x = AROUND; x < a.width - AROUND; x++) {
      if (deviation(windowOf(plain, { x, y, reach: 3 })) >= 1) continue;
      const around = windowOf(added, { x, y, reach: AROUND });
      const mean = around.reduce((sum, value) => sum + value, 0) / around.length;
      differences.push(added.data[y * a.width + x]! - mean);
    }
  }
  return deviation(differences);
}

function windowOf({ width, data }: Work, { x, y, reach }: { x: number; y: number; reach: number }): number[] {
  const out: number[] = [];
  for (let v = y - reach; v <= y + reach; v++) {
    for (let u = x - reach; u <= x + reach; u++) out.push(data[v * width + u]!);
  }
  return out;
}

/** Dots in a thousand that fire where the profile wants less than 1 % of coverage. */
function dustOf({ picture, spec, tone, toned }: Taken, { coverage }: CoverageTable): number | undefined {
  const { dots } = makeDots(picture, { spec, tone, toned });
  let [places, fired] = [0, 0];
  for (let i = 0; i < dots.data.length; i++) {
    if (coverage[toned.data[i]!]! >= 0.01 * ONE) continue;
    places++;
    if (dots.data[i]! > 0) fired++;
  }
  return places > 2000 ? (1000 * fired) / places : undefined;
}

const shown = (value: number | undefined, digits = 2) => (value === undefined ? '' : value.toFixed(digits));

async function run(): Promise<void> {
  const out = typeof asked.out === 'string' ? asked.out : 'out/faces';
  mkdirSync(out, { recursive: true });
  const cells: OverlayOptions[] = [];
  const found: {
    kind: Case['kind'];
    name: string;
    plain: number[];
    auto: number[];
    face?: number;
    noise?: number;
    folds?: number;
  }[] = [];
  const cases = await listCases();
  for (const [index, one] of cases.entries()) {
    const photo = await decodePhoto(one.bytes, one.name);
    const auto = await take(photo, one.size, 'auto');
    // All of a case have one crop: the look for a subject may choose another one for the picture without noise.
    const { framing } = auto.picture;
    const plain = await take(photo, one.size, 'plain', undefined, framing);
    const { darkest, lightest } = tabulateCoverage(auto.spec).table;
    const placeOf = (work: Work, face: Part) =>
      (median(meansOf(work, cheeksOf(face), 5).data) - darkest) / (lightest - darkest);
    const places = (work: Work) => (one.faces ?? []).map((face) => placeOf(work, face));
    const face =
      one.faces && Math.min(...one.faces.map((part) => contrastOf(auto.work, part) / contrastOf(plain.work, part)));
    const folds = one.coat && contrastOf(auto.work, one.coat) / contrastOf(plain.work, one.coat);
    let noise: number | undefined;
    if (one.clean) {
      const clean = await decodePhoto(one.clean, one.name);
      const cleanPlain = await take(clean, one.size, 'plain', undefined, framing);
      const cleanAuto = await take(clean, one.size, 'auto', auto, framing);
      noise =
        noiseOf(auto.work, cleanAuto.work, cleanPlain.work) / noiseOf(plain.work, cleanPlain.work, cleanPlain.work);
    }
    const dust =
      index % 4 === 0 || one.coat
        ? [plain, auto].map((taken) => dustOf(taken, tabulateCoverage(plain.spec).table))
        : [];
    const [before, after] = [places(plain.work), places(auto.work)];
    found.push({
      kind: one.kind,
      name: one.name,
      plain: before,
      auto: after,
      ...(face === undefined ? {} : { face }),
      ...(noise === undefined ? {} : { noise }),
      ...(folds === undefined ? {} : { folds }),
    });
    const { midtoneL, contrast, blackPointL, noiseL, sharpenAmount } = auto.tone;
    console.log(
      `${one.name.padEnd(40)} ${auto.picture.meter.by.padEnd(7)} skin ${before.map((v) => shown(v)).join(',')} → ${after.map((v) => shown(v)).join(',')}  face ${shown(face)}  folds ${shown(folds)}  noise ${shown(noise)}  dust ${dust.map((v) => shown(v, 1)).join(' → ')}   | mid ${midtoneL} con ${contrast} black ${blackPointL} noise ${noiseL} sharp ${sharpenAmount}`,
    );
    const left = (index % COLUMNS) * (2 * CELL.width + 3 * CELL.gap);
    const top = Math.floor(index / COLUMNS) * (CELL.height + CELL.label + CELL.gap);
    cells.push({ input: await drawName(one.name), left, top: top + 6 });
    for (const [at, mode] of (['plain', 'auto'] as const).entries()) {
      cells.push({
        input: await drawPiece(photo, mode === 'plain' ? plain.spec : auto.spec),
        left: left + at * (CELL.width + 2),
        top: top + CELL.label,
      });
    }
  }
  summarise(found);
  const sheet = {
    width: COLUMNS * (2 * CELL.width + 3 * CELL.gap),
    height: Math.ceil(cases.length / COLUMNS) * (CELL.height + CELL.label + CELL.gap),
    channels: 3 as const,
    background: '#8c8c8c',
  };
  const png = await sharp({ create: sheet }).composite(cells).png().toBuffer();
  await sharp(png).toFile(join(out, 'faces.png'));
  if (typeof asked.small === 'string') await sharp(png).resize(1280).jpeg({ quality: 72 }).toFile(asked.small);
}

/** The name of a pair, in the letters of the charts. */
function drawName(name: string): Promise<Buffer> {
  const { width, points } = drawText(name.slice(0, Math.floor((2 * CELL.width) / LETTER_WIDTH)));
  const raw = { width, height: LETTER_HEIGHT, channels: 1 as const };
  return sharp(
    Uint8Array.from(points, (point) => (point ? 20 : 140)),
    { raw },
  )
    .png()
    .toBuffer();
}

async function drawPiece(photo: Photo, spec: JobSpec): Promise<Buffer> {
  const prepared = await takeImage(photo, spec);
  const { image } = drawDraft(coarsenTaken(prepared, { spec, longSidePx: 380 }), { spec });
  const png = await encodeColour(image, { format: 'png', compression: 1 });
  return sharp(png).resize(CELL.width, CELL.height, { fit: 'inside' }).png().toBuffer();
}

function summarise(
  found: readonly {
    kind: Case['kind'];
    plain: number[];
    auto: number[];
    face?: number;
    noise?: number;
    folds?: number;
  }[],
): void {
  const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const of = (kind: Case['kind']) => found.filter((one) => one.kind === kind);
  const skins = (kind: Case['kind'], way: 'plain' | 'auto') => mean(of(kind).flatMap((one) => one[way]));
  for (const kind of ['even', 'sky'] as const) {
    console.log(`skin, ${kind}: plain ${shown(skins(kind, 'plain'))}, automatic ${shown(skins(kind, 'auto'))}`);
  }
  const faces = found.flatMap(({ face }) => face ?? []);
  const noise = found.flatMap((one) => one.noise ?? []);
  const folds = found.flatMap((one) => one.folds ?? []);
  console.log(`local contrast of faces: ${shown(mean(faces))} of plain, at least ${shown(Math.min(...faces))}`);
  console.log(`folds: ${folds.map((value) => shown(value)).join(', ')} of plain`);
  console.log(`noise: ${noise.map((value) => shown(value)).join(', ')} of plain, at most ${shown(Math.max(...noise))}`);
  if (Math.max(...noise) > 1) process.exitCode = 1;
}

await run();
