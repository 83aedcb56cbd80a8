import { inflateSync } from 'node:zlib';
import type { Matrix3 } from '../numeric/index.ts';
import type { SourceKey } from '../sources.ts';
import { hasProfileMark, type PhotoFormat, readPngChunks, readUint16, readUint32 } from './container.ts';
import { saysAdobeRgb } from './exif.ts';
import { readIcc } from './icc.ts';
import {
  type Chromaticities,
  type CodeCurve,
  colourOfGrey,
  colourOfMatrix,
  isSrgb,
  matrixOfPrimaries,
  type PhotoColour,
  powerCurve,
  SRGB_CHROMATICITIES,
  SRGB_CURVE,
} from './photo-colour.ts';
import { crc32 } from './png.ts';

/**
 * What a file says of its colours. `srgb`: nothing, or that they are sRGB. `own`: primaries and curves of its own,
 * taken from its samples as they are. `library`: a profile of tables, or for inks, which the image library converts.
 * `damaged`, `unreadable`: what is wrong, in words that follow "found".
 */
export type FileColour =
  | { readonly kind: 'srgb' }
  | { readonly kind: 'own'; readonly colour: PhotoColour }
  | { readonly kind: 'library' }
  | { readonly kind: 'damaged'; readonly found: string }
  | { readonly kind: 'unreadable'; readonly found: string };

export interface FileColourOptions {
  readonly format: PhotoFormat;
  /** The profile as the image library takes it out of the file; absent when it finds none. */
  readonly icc: Uint8Array | undefined;
  /** The block that a camera writes, as the library takes it out of the file. */
  readonly exif?: Uint8Array | undefined;
  /** What the samples are. */
  readonly samples: 'grey' | 'colour' | 'inks';
}

/** Most bytes of a PNG's profile, unpacked; assumed, several times what printers' profiles have. */
const PROFILE_BYTES = 2 ** 24;

/**
 * The colours of a file, in the order in which its parts go before one another: the code points of PNG and AVIF, the
 * profile, then PNG's sRGB and its gamma and primaries (source: 'png3', 4.3); last what a camera says beside a photo.
 */
export function readFileColour(bytes: Uint8Array, { format, icc, exif, samples }: FileColourOptions): FileColour {
  const points = readCodePoints(bytes, format);
  const hdr = points && HDR[points.transfer];
  if (hdr) return { kind: 'unreadable', found: `a picture in high dynamic range (${hdr})` };
  const chunks = format === 'png' ? readPngChunks(bytes) : undefined;
  // The image library takes a damaged profile of a PNG, and leaves some out that it finds odd: so it is unpacked here.
  const packed = chunks?.get('iCCP');
  const profile = packed ? unpackPngProfile(packed, bytes) : icc;
  if (packed && !profile) return { kind: 'damaged', found: 'a damaged colour profile that cannot be unpacked' };
  if (profile && !(points && format === 'png')) return colourOfProfile(profile, samples);
  if (points) return colourOfPoints(points, samples);
  if (hasProfileMark(bytes, format)) return { kind: 'damaged', found: 'a colour profile that cannot be put together' };
  if (!chunks && samples === 'colour' && exif && saysAdobeRgb(exif)) {
    return ownUnlessSrgb(ADOBE_RGB.curve, matrixOfPrimaries(ADOBE_RGB.primaries)!, samples);
  }
  if (!chunks || chunks.has('sRGB')) return { kind: 'srgb' };
  return colourOfGamma(chunks, samples);
}

function colourOfProfile(icc: Uint8Array, samples: FileColourOptions['samples']): FileColour {
  const found = readIcc(icc);
  if (found.kind === 'damaged') return { kind: 'damaged', found: `a damaged colour profile (${found.fault})` };
  if (samples === 'inks' || found.kind === 'tables') {
    const wanted = { grey: 'GRAY', colour: 'RGB ', inks: 'CMYK' }[samples];
    return found.space === wanted ? { kind: 'library' } : wrongSpace(found.space, samples);
  }
  if (samples === 'colour' && found.space === 'GRAY') return wrongSpace(found.space, samples);
  // Grey pictures are often saved with the profile of the colours that they were made of: its curve is theirs.
  const colour = samples === 'grey' ? colourOfGrey(found.colour.curves[0]) : found.colour;
  // The library knows sRGB's profiles, and what it made of them stays as it is.
  if (!isSrgb(colour)) return { kind: 'own', colour };
  return found.space === 'RGB ' && samples === 'grey' ? { kind: 'srgb' } : { kind: 'library' };
}

function wrongSpace(space: string, samples: FileColourOptions['samples']): FileColour {
  return { kind: 'damaged', found: `a colour profile for ${space.trim()} in a picture of ${samples}` };
}

/**
 * The profile in an iCCP chunk of a file: a name, a zero, the method 0, deflated data (source: 'png3', 11.3.2.3).
 * Undefined when a check sum does not hold or it cannot be unpacked.
 */
function unpackPngProfile(chunk: Uint8Array, file: Uint8Array): Uint8Array | undefined {
  const from = chunk.byteOffset - file.byteOffset;
  const whole = crc32(file.subarray(from - 4, from + chunk.length));
  const end = chunk.indexOf(0);
  if (whole !== readUint32(file, from + chunk.length, false) || end < 1 || chunk[end + 1] !== 0) return undefined;
  try {
    return inflateSync(chunk.subarray(end + 2), { maxOutputLength: PROFILE_BYTES });
  } catch {
    return undefined;
  }
}

/** gAMA and cHRM (source: 'png3', 11.3.2.1 and 11.3.2.2): 100 000 times the value. */
function colourOfGamma(chunks: ReadonlyMap<string, Uint8Array>, samples: FileColourOptions['samples']): FileColour {
  const told = chunks.get('gAMA');
  const gamma = told?.length === 4 ? readUint32(told, 0, false) : 0;
  const places = chunks.get('cHRM');
  const primaries = places?.length === 32 ? readPrimaries(places) : SRGB_CHROMATICITIES;
  const toXyz = matrixOfPrimaries(primaries);
  if (!toXyz) return { kind: 'damaged', found: 'primaries (cHRM) that span no colours' };
  if (gamma === 0 && !places) return { kind: 'srgb' };
  const isUsual = places !== undefined && isSrgb(colourOfMatrix([SRGB_CURVE], toXyz));
  // With sRGB's primaries this gamma is how sRGB is said to programs that know no more ('png3', 11.3.2.5).
  const curve = gamma === 0 || (gamma === SRGB_GAMMA && isUsual) ? SRGB_CURVE : powerCurve(100_000 / gamma);
  return ownUnlessSrgb(curve, toXyz, samples);
}

/** Gamma of sRGB in a PNG's gAMA chunk, 1/100000. Published (source: 'png3', 11.3.2.5). */
const SRGB_GAMMA = 45_455;

function ownUnlessSrgb(curve: CodeCurve, toXyz: Matrix3, samples: FileColourOptions['samples']): FileColour {
  const colour = samples === 'grey' ? colourOfGrey(curve) : colourOfMatrix([curve], toXyz);
  return isSrgb(colour) ? { kind: 'srgb' } : { kind: 'own', colour };
}

function readPrimaries(chunk: Uint8Array): Chromaticities {
  const at = (place: number) => readUint32(chunk, 4 * place, false) / 100_000;
  return { white: [at(0), at(1)], red: [at(2), at(3)], green: [at(4), at(5)], blue: [at(6), at(7)] };
}

/** Primaries and transfer by their numbers (source: 'h273', tables 2 and 3). */
interface CodePoints {
  readonly primaries: number;
  readonly transfer: number;
}

/**
 * First bytes in which the boxes of a file lie. Assumed: those of a phone’s photo, of dozens of tiles, take a few
 * kilobytes.
 */
const BOXES_BYTES = { avif: 4096, heic: 65_536 } as const;

/** The cICP chunk of a PNG, or the colour box of an AVIF or HEIC, which lies in its first bytes. */
function readCodePoints(bytes: Uint8Array, format: PhotoFormat): CodePoints | undefined {
  if (format === 'png') {
    const chunk = readPngChunks(bytes).get('cICP');
    return chunk?.length === 4 ? { primaries: chunk[0]!, transfer: chunk[1]! } : undefined;
  }
  if (format !== 'avif' && format !== 'heic') return undefined;
  const at = Buffer.from(bytes.buffer, bytes.byteOffset, Math.min(bytes.length, BOXES_BYTES[format])).indexOf(
    'colrnclx',
    0,
    'latin1',
  );
  if (at < 0) return undefined;
  return { primaries: readUint16(bytes, at + 8, false), transfer: readUint16(bytes, at + 10, false) };
}

const WHITE_D65 = SRGB_CHROMATICITIES.white;

/** What a camera means by Adobe RGB. Published: x and y of the primaries, and the exponent of the curve. */
const ADOBE_RGB = {
  primaries: { red: [0.64, 0.33], green: [0.21, 0.71], blue: [0.15, 0.06], white: WHITE_D65 } satisfies Chromaticities,
  curve: powerCurve(563 / 256),
  source: 'adobeRgb1998' satisfies SourceKey,
  locator: '4.3.1 and 4.3.4',
};

/**
 * Primaries other than those of BT.709: BT.2020 and P3 with the white D65 (source: 'h273', table 2). Published: x and
 * y, without unit.
 */
const PRIMARIES: Readonly<Record<number, Chromaticities>> = {
  9: { red: [0.708, 0.292], green: [0.17, 0.797], blue: [0.131, 0.046], white: WHITE_D65 },
  12: { red: [0.68, 0.32], green: [0.265, 0.69], blue: [0.15, 0.06], white: WHITE_D65 },
};

/** Curves other than sRGB's, by number; BT.709's own stays with sRGB, as it does in practice. */
const CURVES: Readonly<Record<number, CodeCurve>> = { 4: powerCurve(2.2), 5: powerCurve(2.8), 8: powerCurve(1) };

/** What is brighter than white on paper, by number. */
const HDR: Readonly<Record<number, string>> = { 16: 'PQ', 18: 'HLG' };

function colourOfPoints({ primaries, transfer }: CodePoints, samples: FileColourOptions['samples']): FileColour {
  const toXyz = matrixOfPrimaries(PRIMARIES[primaries] ?? SRGB_CHROMATICITIES)!;
  return ownUnlessSrgb(CURVES[transfer] ?? SRGB_CURVE, toXyz, samples);
}
