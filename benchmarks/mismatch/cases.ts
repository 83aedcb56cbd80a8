// Captures of the second camera: which chart on which stock, what else lies there, and with what it is taken.
import sharp from 'sharp';
import type { CaptureImage, ChartLayout } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { toCaptureImage } from '../../src/job/index.ts';
import { decodePhoto } from '../../src/plane/index.ts';
import { drawOnce, LAYOUTS } from '../common/example-charts.ts';
import { attachProfile, makeWideProfile } from '../common/odd-images.ts';
import { type PhoneOptions, scanTable, takeShot } from './camera.ts';
import { createOtherRandom } from './engraver.ts';
import { createLens, type Lens } from './lens.ts';
import { burnPiece, layBoards, placeThing, printCard, type Rgb, RULER, type Thing, tintTo } from './table.ts';

/** A chart on the table. */
export interface Placed {
  readonly layout: ChartLayout;
  /** Linear luminance of bare and solid. */
  readonly bare: number;
  readonly solid: number;
  /** Where a point of the chart lies in the picture. */
  readonly place: (xMm: number, yMm: number) => readonly [number, number];
}

export interface OtherCase {
  readonly name: string;
  readonly traits: readonly string[];
  readonly charts: readonly Placed[];
  /** Whether the file holds sRGB or says what it holds, without a curve of the camera's own. */
  readonly plain: boolean;
  readonly take: () => Promise<CaptureImage>;
}

/** Hues of stock: grey, wood, leather, red, blue, gold, green. */
const HUES: readonly Rgb[] = [
  [1, 1, 1],
  [1.35, 1, 0.62],
  [1.5, 0.95, 0.6],
  [2.2, 0.7, 0.75],
  [0.6, 1, 2.1],
  [1.3, 1.02, 0.4],
  [0.75, 1.08, 0.9],
];
const LIGHTS: readonly Rgb[] = [
  [1, 1, 1],
  [1.35, 1, 0.6],
  [0.85, 1, 1.25],
  [1.1, 1, 0.8],
];
const KINDS = [LAYOUTS.tone, LAYOUTS.tone, LAYOUTS.verify, LAYOUTS.spot, LAYOUTS.dose, LAYOUTS.check];

interface Spot {
  readonly at: readonly [xMm: number, yMm: number];
  readonly turnDeg: number;
}

/** Place on the table of a point of a chart whose middle lies at a spot. */
function tableOf({ widthMm, heightMm }: ChartLayout, { at, turnDeg }: Spot) {
  const turn = (turnDeg * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return (xMm: number, yMm: number): readonly [number, number] => {
    const dx = xMm - widthMm / 2;
    const dy = yMm - heightMm / 2;
    return [at[0] + c * dx - s * dy, at[1] + s * dx + c * dy];
  };
}

export function makeOtherCase(at: number, seed: number): OtherCase {
  const random = createOtherRandom(seed * 7919 + at);
  const between = (low: number, high: number) => low + (high - low) * random();
  const chosen = <T>(list: readonly T[]) => list[Math.floor(random() * list.length)]!;
  const layout = KINDS[at % KINDS.length]!;
  const traits: string[] = [];
  const sometimes = (share: number, trait: string) => {
    const there = random() < share;
    if (there) traits.push(trait);
    return there;
  };

  const scan = at % 5 === 4;
  const lighter = random() < 0.5;
  const difference = chosen([8, 10, 15, 25, 40, 60]);
  const bareL = lighter ? between(14, 88 - difference) : between(difference + 10, 88);
  const solidL = bareL + (lighter ? difference : -difference);
  const hue = chosen(HUES);
  const bareRgb = tintTo(reflectanceOfLightness(bareL), hue);
  const solidRgb = tintTo(reflectanceOfLightness(solidL), chosen([hue, HUES[0]!]));
  const rough = difference > 12 && sometimes(0.3, 'grained');
  const rimMm = between(1, 6);
  const stock = (turn: number) => ({
    bare: bareRgb,
    solid: solidRgb,
    rimMm,
    softMm: between(0.01, 0.04),
    grain: [rough ? between(0.03, 0.1) : 0.01, 8, between(0.1, 0.5)] as const,
    seed: at + turn,
  });

  const spots: Spot[] = [{ at: [0, 0], turnDeg: 0 }];
  const layouts = [layout];
  if (!scan && layout.kind !== 'check' && sometimes(0.12, 'two charts')) {
    layouts.push(LAYOUTS.check);
    spots.push({
      at: [between(-10, 10), layout.heightMm / 2 + rimMm * 2 + 8 + LAYOUTS.check.heightMm / 2],
      turnDeg: between(-6, 6),
    });
  }
  const pieces = layouts.map((one, i) => {
    const toTable = tableOf(one, spots[i]!);
    return placeThing(burnPiece(drawOnce(one), one, stock(i)), toTable(0, 0), spots[i]!.turnDeg);
  });
  const things: Thing[] = [...pieces];
  if (sometimes(0.35, 'ruler')) {
    things.push(placeThing(RULER, [between(-90, -40), -layout.heightMm / 2 - rimMm - between(15, 22)], between(-8, 8)));
  }
  if (sometimes(0.35, 'card')) {
    things.push(
      placeThing(printCard(at), [layout.widthMm / 2 + rimMm + between(1, 10), between(-50, -10)], between(-40, 40)),
    );
  }
  things.push(layBoards(at + 1));

  const width = scan ? 1200 : 1440;
  const height = scan ? 1200 : 1080;
  const rollDeg = scan ? chosen([0, 90, 180, 270]) + between(-3, 3) : between(0, 360);
  const focalPx = scan ? 1e6 : width * between(0.75, 1.6);
  const tiltDeg = scan ? 0 : between(0, 22);
  // Of the half diagonal: up to 6 % of barrel or pincushion at the corner.
  const corner = (Math.hypot(width, height) / 2 / focalPx) ** 2;
  const bend = scan ? 0 : between(-0.05, 0.05);
  const geometry = {
    width,
    height,
    focalPx,
    principal: (!scan && sometimes(0.25, 'cropped')
      ? [width * between(0.35, 0.65), height * between(0.35, 0.65)]
      : [width / 2 + between(-8, 8), height / 2 + between(-8, 8)]) as [number, number],
    rollDeg,
    tiltDeg,
    tiltTowardsDeg: between(0, 360),
    k1: bend / corner,
    k2: (scan ? 0 : between(-0.2, 0.2) * bend) / corner ** 2,
    p1: scan ? 0 : between(-0.002, 0.002),
    p2: scan ? 0 : between(-0.002, 0.002),
  };
  const lens = frameCharts(layouts, spots, {
    ...geometry,
    pxPerMm: scan ? 11.81 : 40,
    fill: scan ? 1 : between(0.7, 0.98),
  });
  const charts = layouts.map((one, i): Placed => {
    const toTable = tableOf(one, spots[i]!);
    return {
      layout: one,
      bare: reflectanceOfLightness(bareL),
      solid: reflectanceOfLightness(solidL),
      place: (xMm, yMm) => lens.toPicture(...toTable(xMm, yMm)),
    };
  });
  const head = `${layout.kind} Δ${difference} ${lighter ? 'lighter' : 'darker'}`;
  if (scan) {
    const kind = SCAN_FILES[Math.floor(at / 5) % SCAN_FILES.length]!;
    const light = {
      width,
      height,
      seed: at,
      offPx: between(0, 0.4),
      tiredShare: between(0, 0.06),
      noise: between(0.001, 0.004),
    };
    return {
      name: `${head} scan ${kind} ${traits.join(', ')}`,
      traits,
      charts,
      plain: true,
      take: () => fileScan(scanTable(things, lens, light), { width, height, kind }),
    };
  }
  const contrast = sometimes(0.5, 'S-curve') ? between(1.05, 1.3) : 1;
  const localTone = sometimes(0.3, 'local tone') ? between(0.75, 0.9) : 1;
  const sharpened = sometimes(0.5, 'sharpened');
  const smeared = sometimes(0.4, 'smeared');
  const glossy = sometimes(0.12, 'window');
  const jpeg = Math.round(between(60, 92));
  const orientation = sometimes(0.3, 'EXIF turn') ? chosen([3, 6, 8]) : 1;
  const discPx = between(0, 2.2);
  const shakePx = sometimes(0.3, 'shake') ? between(1, 4) : 0;
  const phone: PhoneOptions = {
    width,
    height,
    seed: at,
    light: chosen(LIGHTS),
    balanced: between(0.6, 1),
    lamp: [between(-150, 150), between(-150, 150), between(200, 500)],
    ambient: between(0.2, 0.7),
    ...(glossy
      ? {
          window: {
            at: [between(-30, 30), between(-20, 20)] as [number, number],
            half: [between(6, 14), between(5, 12)] as [number, number],
            adds: between(0.01, 0.12) * reflectanceOfLightness(Math.max(bareL, solidL)),
          },
        }
      : {}),
    falloff: between(1, 4),
    focalPx,
    discPx,
    shakePx,
    shakeDeg: between(0, 180),
    lateralPx: sometimes(0.4, 'fringes') ? between(0.3, 1.2) : 0,
    wellElectrons: between(800, 6000),
    readElectrons: between(2, 6),
    localTone,
    contrast,
    smearPx: smeared ? 1 + Math.round(random()) : 0,
    sharpenPx: 1 + Math.round(random()),
    sharpenAmount: sharpened ? between(0.3, 1.2) : 0,
  };
  return {
    name: `${head} photo bend ${bend.toFixed(3)} tilt ${tiltDeg.toFixed(0)} disc ${discPx.toFixed(1)} jpeg ${jpeg} ${traits.join(', ')}`,
    traits,
    charts,
    plain: contrast === 1 && localTone === 1,
    take: () => filePhoto(takeShot(things, lens, phone), { jpeg, orientation }),
  };
}

/** A lens from so far away that the corners of all charts fill the wanted part of the picture. */
function frameCharts(
  layouts: readonly ChartLayout[],
  spots: readonly Spot[],
  options: Parameters<typeof createLens>[0] & { readonly fill: number },
): Lens {
  const { width, height, fill, rollDeg } = options;
  const corners = layouts.flatMap((one, i) => {
    const toTable = tableOf(one, spots[i]!);
    return [toTable(0, 0), toTable(one.widthMm, 0), toTable(one.widthMm, one.heightMm), toTable(0, one.heightMm)];
  });
  for (let pxPerMm = options.pxPerMm; ; pxPerMm *= 0.98) {
    const lens = createLens({ ...options, pxPerMm });
    const seen = corners.map(([x, y]) => lens.toPicture(x, y));
    const inside = seen.every(([x, y]) => x > 4 && y > 4 && x < width - 4 && y < height - 4);
    const across = Math.max(...seen.map(([x]) => x)) - Math.min(...seen.map(([x]) => x));
    const down = Math.max(...seen.map(([, y]) => y)) - Math.min(...seen.map(([, y]) => y));
    if (inside && Math.max(across / width, down / height) <= fill) return lens;
    if (pxPerMm < 2) throw new RangeError(`charts turned by ${rollDeg}° do not fit the picture`);
  }
}

interface FileOptions {
  readonly jpeg: number;
  /** EXIF orientation that the file carries; its pixels are turned so that it comes out upright. */
  readonly orientation: number;
}

async function filePhoto(
  { width, height, rgb }: { readonly width: number; readonly height: number; readonly rgb: Uint8Array },
  { jpeg, orientation }: FileOptions,
): Promise<CaptureImage> {
  const turns: Readonly<Record<number, number>> = { 1: 0, 3: 180, 6: 270, 8: 90 };
  const bytes = await sharp(rgb, { raw: { width, height, channels: 3 } })
    .rotate(turns[orientation]!)
    .jpeg({ quality: jpeg, chromaSubsampling: '4:2:0' })
    .withMetadata({ orientation })
    .toBuffer();
  return toCaptureImage(await decodePhoto(bytes, 'photo'));
}

const SCAN_FILES = ['16-bit TIFF', 'grey PNG', 'Adobe RGB', '8-bit PNG', 'wide JPEG'] as const;

const codeSrgb = (linear: number) =>
  linear <= 0.0031308 ? 12.92 * Math.max(0, linear) : 1.055 * Math.min(1, linear) ** (1 / 2.4) - 0.055;

/** The scan as a file of the kind, and decoded as the program does. */
async function fileScan(
  linear: Float32Array,
  {
    width,
    height,
    kind,
  }: { readonly width: number; readonly height: number; readonly kind: (typeof SCAN_FILES)[number] },
): Promise<CaptureImage> {
  const raw = { width, height, channels: 3 } as const;
  let bytes: Buffer;
  if (kind === '16-bit TIFF') {
    const words = Uint16Array.from(linear, (value) => Math.round(65535 * codeSrgb(value)));
    bytes = await sharp(words, { raw }).toColourspace('rgb16').tiff({ compression: 'lzw' }).toBuffer();
  } else if (kind === 'grey PNG') {
    const grey = Uint8Array.from({ length: width * height }, (_, at) =>
      Math.round(
        255 * codeSrgb(0.2126 * linear[3 * at]! + 0.7152 * linear[3 * at + 1]! + 0.0722 * linear[3 * at + 2]!),
      ),
    );
    bytes = await sharp(grey, { raw: { width, height, channels: 1 } })
      .toColourspace('b-w')
      .png()
      .toBuffer();
  } else if (kind === '8-bit PNG') {
    bytes = await sharp(
      Uint8Array.from(linear, (value) => Math.round(255 * codeSrgb(value))),
      { raw },
    )
      .png()
      .toBuffer();
  } else {
    const wide = new Uint8Array(linear.length);
    for (let at = 0; at < linear.length; at += 3) {
      const [r, g, b] = [linear[at]!, linear[at + 1]!, linear[at + 2]!];
      // From sRGB's primaries to Adobe RGB (1998)'s, which share green's and blue's lines: rows sum to 1 (derived from
      // both standards' primaries).
      const own = [0.71513 * r + 0.28487 * g, g, 0.04116 * g + 0.95884 * b];
      for (let k = 0; k < 3; k++) wide[at + k] = Math.round(255 * Math.min(1, Math.max(0, own[k]!)) ** (256 / 563));
    }
    const plain = sharp(wide, { raw });
    const file = kind === 'Adobe RGB' ? plain.png() : plain.jpeg({ quality: 88 });
    bytes = await file.toBuffer();
    bytes = attachProfile(kind === 'Adobe RGB' ? bytes : await sharp(bytes).png().toBuffer(), makeWideProfile());
  }
  return toCaptureImage(await decodePhoto(bytes, 'scan'));
}
