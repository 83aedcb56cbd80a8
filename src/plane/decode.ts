import { readFile, stat } from 'node:fs/promises';
import type { Metadata } from 'sharp';
import { AppError } from '../errors.ts';
import { type PhotoFormat, readIccName, sniffFormat } from './container.ts';
import { type ExifFacts, readExifFacts } from './exif.ts';
import { sha256 } from './files.ts';
import { loadSharp } from './kernels.ts';
import { dropBytes } from './memory.ts';

/** What is taken as a photograph. The pixel limit is checked from the header, before anything is decoded. */
export const PHOTO_LIMITS = {
  /** Shortest side, pixels. */
  minSide: 8,
  /** Longest side over shortest side. */
  maxAspect: 20,
  /** Width × height: 2^14 − 1 squared, 268 megapixels. */
  maxPixels: 268_402_689,
} as const;

export interface PhotoFacts {
  readonly format: PhotoFormat;
  /** Colour space of the file before conversion: `srgb`, `cmyk`, `b-w`, `rgb16`, `grey16`, … */
  readonly space: string;
  /** Name of the embedded ICC profile; undefined when there is none. */
  readonly iccProfile: string | undefined;
  /** EXIF orientation 1…8 as found; the pixels are already turned. */
  readonly orientation: number;
  readonly hasAlpha: boolean;
  readonly progressive: boolean;
  /** Size of the file, bytes. */
  readonly bytes: number;
  /** SHA-256 of the file, hexadecimal. */
  readonly sha256: string;
  /** What the camera says about the taking; undefined when it says nothing. */
  readonly exif?: ExifFacts;
}

/** A decoded photograph: sRGB-coded samples, row-major, channels interleaved, turned upright. */
export interface Photo {
  readonly width: number;
  readonly height: number;
  readonly bits: 8 | 16;
  /** 3: red, green, blue; 1: grey. */
  readonly channels: 1 | 3;
  /** Uint8Array when bits is 8, Uint16Array when 16; width × height × channels samples. */
  readonly rgb: Uint8Array | Uint16Array;
  /** 0 transparent (bare material) … 255 opaque; undefined when the file has no alpha. */
  readonly alpha?: Uint8Array;
  readonly facts: PhotoFacts;
}

/**
 * Read a photograph: JPEG, PNG, TIFF, WebP or AVIF, 8 or 16 bit, colour, grey or CMYK, any embedded ICC profile.
 * @throws AppError path-missing, path-is-folder, path-unreadable, and those of {@link decodePhoto}
 */
export async function readPhoto(path: string): Promise<Photo> {
  const bytes = await readBytes(path);
  const photo = await decodePhoto(bytes, path);
  dropBytes(bytes);
  return photo;
}

/**
 * Bytes of a file.
 * @throws AppError path-missing, path-is-folder, path-unreadable
 */
export async function readBytes(path: string): Promise<Buffer> {
  try {
    if ((await stat(path)).isDirectory()) {
      throw new AppError('path-is-folder', `${path}: found a folder, needed a file`, { path });
    }
    return await readFile(path);
  } catch (error) {
    if (error instanceof AppError) throw error;
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') {
      throw new AppError('path-missing', `${path}: found nothing there, needed a file`, { path });
    }
    throw new AppError('path-unreadable', `${path}: the system does not let the file be read (${code})`, {
      path,
      code,
    });
  }
}

/**
 * Decode a photograph from the bytes of its file; `name` is what messages call it.
 * `maxPixels` refuses less than {@link PHOTO_LIMITS} would, where memory is shared with others.
 * Embedded ICC profiles (and CMYK) are converted to sRGB, at 16 bit when the file has 16.
 * @throws AppError image-empty, image-unknown, image-broken, image-too-small, image-too-long, image-too-large
 */
export async function decodePhoto(
  bytes: Buffer,
  name: string,
  { maxPixels = PHOTO_LIMITS.maxPixels }: { readonly maxPixels?: number } = {},
): Promise<Photo> {
  const format = checkFormat(bytes, name);
  const sharp = loadSharp();
  const found = await readHeader(bytes, name);
  checkSides(found.autoOrient, name);
  checkPixelCount(found.autoOrient, name, maxPixels);

  const deep = found.depth === 'ushort';
  const grey = found.space === 'b-w' || found.space === 'grey16';
  // The limit was checked above; the library's own must not speak first with words of its own.
  let pipeline = sharp(bytes, { limitInputPixels: false, failOn: 'warning' });
  if ((found.orientation ?? 1) !== 1) pipeline = pipeline.autoOrient();
  // The library converts profiled 16-bit samples to the P3 primaries on reading; a second step brings them to sRGB.
  // Without a profile that step must not run: it would take plain samples for P3.
  if (deep && found.hasProfile) pipeline = pipeline.withIccProfile('srgb');
  pipeline = pipeline.toColourspace(deep ? (grey ? 'grey16' : 'rgb16') : grey ? 'b-w' : 'srgb');

  const { data, info } = await pipeline
    .raw({ depth: deep ? 'ushort' : 'uchar' })
    .toBuffer({ resolveWithObject: true })
    .catch((error: Error) => {
      throw new AppError('image-broken', `${name}: found damage while decoding (${tidy(error)}), needed a whole file`, {
        name,
        bytes: bytes.length,
      });
    });
  const samples = deep ? viewWords(data) : new Uint8Array(data.buffer, data.byteOffset, data.length);
  const exif = found.exif && readExifFacts(found.exif);
  const facts: PhotoFacts = {
    format,
    space: found.space,
    iccProfile: found.icc ? (readIccName(found.icc) ?? 'unnamed') : undefined,
    orientation: found.orientation ?? 1,
    hasAlpha: found.hasAlpha,
    progressive: found.isProgressive,
    bytes: bytes.length,
    sha256: sha256(bytes),
    ...(exif ? { exif } : {}),
  };
  return {
    width: info.width,
    height: info.height,
    bits: deep ? 16 : 8,
    ...splitAlpha(samples, info.channels),
    facts,
  };
}

function checkFormat(bytes: Uint8Array, name: string): PhotoFormat {
  if (bytes.length === 0) {
    throw new AppError('image-empty', `${name}: found 0 bytes, needed a photo`, { name, bytes: 0 });
  }
  const { format, found } = sniffFormat(bytes);
  if (format === undefined || format === 'bmp') {
    throw new AppError('image-unknown', `${name}: found ${found}, needed a JPEG, PNG, TIFF, WebP or AVIF photo`, {
      name,
      found,
    });
  }
  return format;
}

async function readHeader(bytes: Buffer, name: string): Promise<Metadata> {
  const found = await loadSharp()(bytes, { limitInputPixels: false })
    .metadata()
    .catch((error: Error) => {
      throw new AppError('image-broken', `${name}: found a damaged header (${tidy(error)}), needed a whole file`, {
        name,
        bytes: bytes.length,
      });
    });
  if (found.depth !== 'uchar' && found.depth !== 'ushort') {
    throw new AppError('image-unknown', `${name}: found ${found.depth} samples, needed 8 or 16 bits a channel`, {
      name,
      depth: found.depth,
    });
  }
  return found;
}

function checkSides({ width, height }: { width: number; height: number }, name: string): void {
  const { minSide, maxAspect } = PHOTO_LIMITS;
  const found = `${name}: found ${width} × ${height} pixels`;
  if (Math.min(width, height) < minSide) {
    throw new AppError('image-too-small', `${found}, needed at least ${minSide} on each side`, {
      width,
      height,
      minSide,
    });
  }
  const aspect = Math.max(width, height) / Math.min(width, height);
  if (aspect > maxAspect) {
    const ratio = Math.round(aspect * 10) / 10;
    throw new AppError('image-too-long', `${found} (sides ${ratio} : 1), needed at most ${maxAspect} : 1`, {
      width,
      height,
      aspect,
      maxAspect,
    });
  }
}

/**
 * Refuse what would fill the memory, by the header alone.
 * @throws AppError image-too-large
 */
export function checkPixelCount(
  { width, height }: { width: number; height: number },
  name: string,
  maxPixels: number = PHOTO_LIMITS.maxPixels,
): void {
  if (width * height <= maxPixels) return;
  const [has, may] = [width * height, maxPixels].map((pixels) => Math.round(pixels / 1e6));
  throw new AppError(
    'image-too-large',
    `${name}: found ${width} × ${height} pixels (${has} megapixels), needed at most ${may} megapixels`,
    { width, height, maxPixels },
  );
}

/** First line of the library's message; the rest repeats it. */
function tidy(error: Error): string {
  return error.message.split('\n')[0]!.trim();
}

/** 16-bit view of the library's bytes; a copy only if they should lie at an odd address. */
function viewWords(data: Buffer): Uint16Array {
  const whole = data.byteOffset % 2 === 0 ? data : new Uint8Array(data);
  return new Uint16Array(whole.buffer, whole.byteOffset, data.length >> 1);
}

/** Take the last channel out as 8-bit alpha and close the gaps in place: no second copy of a large photo. */
function splitAlpha(samples: Uint8Array | Uint16Array, found: number): Pick<Photo, 'rgb' | 'channels' | 'alpha'> {
  if (found === 1 || found === 3) return { rgb: samples, channels: found };
  const channels = found === 2 ? 1 : 3;
  const pixels = samples.length / found;
  const alpha = new Uint8Array(pixels);
  const full = samples instanceof Uint16Array ? 65535 : 255;
  for (let pixel = 0, from = 0, to = 0; pixel < pixels; pixel++) {
    for (let channel = 0; channel < channels; channel++) samples[to++] = samples[from++];
    alpha[pixel] = full === 255 ? samples[from++] : Math.round((samples[from++] * 255) / full);
  }
  return { rgb: samples.subarray(0, pixels * channels), channels, alpha };
}
