import { AppError } from '../errors.ts';
import { type PhotoFormat, type PixelsPerMetre, sniffFormat } from './container.ts';
import { checkDecodedBytes, checkLibraryFormat, checkPixelCount, explainDecodeError, PHOTO_LIMITS } from './decode.ts';
import { type BitmapSamples, DOT_FORMAT_NAMES, DOT_FORMATS, type DotFormat, nameDotFormats } from './dot-formats.ts';
import { loadSharp } from './kernels.ts';
import { createDots, type DotGrid, type Dots } from './plane.ts';
import { readInput } from './read-input.ts';

export interface DecodedDots {
  readonly dots: Dots;
  /** What the file says of pitch and line spacing; undefined when it says nothing. */
  readonly grid: DotGrid | undefined;
}

/**
 * Read a bitmap back: PNG, TIFF or BMP, ours or any other program's. Two tones, whatever they are and in whatever order
 * a palette has them: the darker fires. More tones of grey: 256 levels, black the full dose.
 * Transparent counts as bare.
 * @throws AppError those of {@link readBitmapFile}; image-broken, image-too-large; file-invalid for colours
 */
export async function decodeDots(path: string): Promise<DecodedDots> {
  return decodeDotsBytes(await readBitmapFile(path), path);
}

/**
 * Bytes of a bitmap's file, refused by its first bytes where they are of no bitmap.
 * @throws AppError path-*, file-too-large, image-empty, image-unknown; file-invalid for a lossy format
 */
export function readBitmapFile(path: string): Promise<Buffer> {
  return readInput(path, { kind: 'picture', needed: 'a bitmap', checkHead: (head) => void checkFormat(head, path) });
}

/** The same from the bytes of a file; `name` is what messages call it. */
export async function decodeDotsBytes(bytes: Buffer, name: string): Promise<DecodedDots> {
  const format = checkFormat(bytes, name);
  const { pixels, readResolution } = DOT_FORMATS[format];
  const samples = typeof pixels === 'function' ? pixels(bytes, name) : await readSamples(bytes, name, pixels);
  return { dots: toDots(samples, name), grid: toGrid(readResolution(bytes)) };
}

function checkFormat(bytes: Uint8Array, name: string): DotFormat {
  if (bytes.length === 0) throw new AppError('image-empty', `${name}: found 0 bytes, needed a bitmap`, { name });
  const sniffed = sniffFormat(bytes);
  const format = DOT_FORMAT_NAMES.find((one) => DOT_FORMATS[one].sniff(bytes, sniffed));
  if (format !== undefined) return format;
  const { found } = sniffed;
  const needed = `needed a ${nameDotFormats()} bitmap`;
  if (sniffed.format === undefined) {
    throw new AppError('image-unknown', `${name}: found ${found}, ${needed}`, { name, found });
  }
  throw new AppError('file-invalid', `${name}: found ${found}, ${needed}: a format for photos does not keep dots`, {
    name,
    found,
  });
}

async function readSamples(bytes: Buffer, name: string, format: PhotoFormat): Promise<BitmapSamples> {
  const { seconds } = PHOTO_LIMITS;
  // Dots are numbers, not colours: a profile must not bend them.
  const open = () => loadSharp()(bytes, { limitInputPixels: false, ignoreIcc: true }).timeout({ seconds });
  try {
    const header = await open().metadata();
    checkLibraryFormat(header, name, format);
    checkPixelCount(header, name);
    checkDecodedBytes(header, name);
    const grey = header.space === 'b-w' || header.space === 'grey16';
    const flat = header.hasAlpha ? open().flatten({ background: '#ffffff' }) : open();
    const { data, info } = await flat
      .toColourspace(grey ? 'b-w' : 'srgb')
      .raw({ depth: 'uchar' })
      .toBuffer({ resolveWithObject: true });
    return { width: info.width, height: info.height, channels: info.channels === 1 ? 1 : 3, data };
  } catch (error) {
    if (error instanceof AppError) throw error;
    throw explainDecodeError(error as Error, { name, bytes: bytes.length, seconds });
  }
}

function toDots({ width, height, channels, data }: BitmapSamples, name: string): Dots {
  const colours = new Set<number>();
  let coloured = false;
  for (let at = 0, last = -1; at < data.length; at += channels) {
    const colour = channels === 1 ? data[at] * 0x010101 : (data[at] << 16) | (data[at + 1] << 8) | data[at + 2];
    if (colour === last) continue;
    last = colour;
    if (colours.size <= 256) colours.add(colour);
    if (colour !== (colour & 0xff) * 0x010101) coloured = true;
    if (coloured && colours.size > 2) {
      throw new AppError('file-invalid', `${name}: found a picture in colour, needed two tones or greys`, { name });
    }
  }
  const tones = [...colours].sort((a, b) => brightness(a) - brightness(b));
  const pixels = width * height;
  const values = new Uint8Array(pixels);
  if (tones.length > 2) {
    for (let pixel = 0; pixel < pixels; pixel++) values[pixel] = 255 - data[pixel * channels];
    return createDots(width, height, 256, values);
  }
  // One tone alone: dark is all fired, light is all bare.
  const dark = tones.length === 2 || brightness(tones[0]!) < 128 ? tones[0]! : -1;
  const channel = channels === 1 ? 0 : tellingChannel(tones);
  const sample = dark < 0 ? -1 : (dark >> (8 * (channels - 1 - channel))) & 0xff;
  for (let pixel = 0; pixel < pixels; pixel++) values[pixel] = data[pixel * channels + channel] === sample ? 1 : 0;
  return createDots(width, height, 2, values);
}

/** Brightness 0…255 of a packed colour, good enough to order two tones. */
function brightness(colour: number): number {
  return 0.2126 * (colour >> 16) + 0.7152 * ((colour >> 8) & 0xff) + 0.0722 * (colour & 0xff);
}

/** A channel in which two colours differ. */
function tellingChannel([first, second = -1]: readonly number[]): number {
  return Math.max(
    0,
    [16, 8, 0].findIndex((shift) => ((first! >> shift) & 0xff) !== ((second >> shift) & 0xff)),
  );
}

function toGrid(resolution: PixelsPerMetre | undefined): DotGrid | undefined {
  return resolution && { pitchMm: 1000 / resolution.x, lineSpacingMm: 1000 / resolution.y };
}
