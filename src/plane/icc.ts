import { createHash } from 'node:crypto';
import { applyMatrix3, invertMatrix3, type Matrix3, tabulate, type Vector3 } from '../numeric/index.ts';
import { readUint16, readUint32 } from './container.ts';
import {
  type CodeCurve,
  colourOfGrey,
  colourOfMatrix,
  decodeCode,
  type PhotoColour,
  powerCurve,
  whiteOf,
} from './photo-colour.ts';

/**
 * What an ICC profile says of a photo (source: 'icc1').
 * `colour`: primaries and curves, which are exact and cut nothing off. `tables`: measured tables, which the image
 * library converts to sRGB. `damaged`: the profile cannot be what its writer made.
 */
export type IccReading =
  | { readonly kind: 'colour'; readonly space: 'RGB ' | 'GRAY'; readonly colour: PhotoColour }
  | { readonly kind: 'tables'; readonly space: string }
  | { readonly kind: 'damaged'; readonly fault: string };

const letters = (bytes: Uint8Array, at: number) => String.fromCharCode(...bytes.subarray(at, at + 4));

type Tags = ReadonlyMap<string, Uint8Array>;

/** Thrown by the readers below; told as the fault of the profile. */
class Damage extends Error {}

/** Reads a profile of any version. Never throws. */
export function readIcc(profile: Uint8Array): IccReading {
  try {
    const tags = readTags(profile);
    const space = letters(profile, 16);
    const isXyz = letters(profile, 20) === 'XYZ ';
    if (space === 'GRAY' && isXyz && tags.has('kTRC')) {
      return { kind: 'colour', space, colour: colourOfGrey(readCurve(tags, 'kTRC')) };
    }
    const hasMatrix = ['rXYZ', 'gXYZ', 'bXYZ', 'rTRC', 'gTRC', 'bTRC'].every((tag) => tags.has(tag));
    if (space === 'RGB ' && isXyz && hasMatrix && !tags.has('A2B0')) {
      return { kind: 'colour', space, colour: readMatrixColour(profile, tags) };
    }
    const hasTables = [...tags.keys()].some((tag) => /^(?:A2B|D2B)\d$/.test(tag));
    if (!hasTables) throw new Damage(`nothing that turns ${space.trim()} into colours`);
    return { kind: 'tables', space };
  } catch (error) {
    if (error instanceof Damage) return { kind: 'damaged', fault: error.message };
    throw error;
  }
}

/** Header and tag table (ICC.1, 7.2 and 7.3). */
function readTags(profile: Uint8Array): Tags {
  if (profile.length < 132) throw new Damage(`${profile.length} bytes`);
  const size = readUint32(profile, 0, false);
  // Some writers pad the profile; none may cut it off.
  if (size > profile.length || size < 132) throw new Damage(`${profile.length} of ${size} bytes`);
  if (letters(profile, 36) !== 'acsp') throw new Damage('no mark of a profile');
  checkSum(profile.subarray(0, size));
  const count = readUint32(profile, 128, false);
  if (count < 1 || 132 + 12 * count > size) throw new Damage(`${count} tags`);
  const tags = new Map<string, Uint8Array>();
  for (let at = 132; at < 132 + 12 * count; at += 12) {
    const from = readUint32(profile, at + 4, false);
    const length = readUint32(profile, at + 8, false);
    if (from < 132 || from + length > size) throw new Damage(`the tag ${letters(profile, at)} outside the profile`);
    tags.set(letters(profile, at), profile.subarray(from, from + length));
  }
  return tags;
}

/** Where a profile bears its own MD5, it must hold: taken over the profile with three fields at 0 (ICC.1, 7.2.18). */
function checkSum(profile: Uint8Array): void {
  const kept = profile.subarray(84, 100);
  if (kept.every((byte) => byte === 0)) return;
  const copy = Uint8Array.from(profile);
  copy.fill(0, 44, 48);
  copy.fill(0, 64, 68);
  copy.fill(0, 84, 100);
  if (!createHash('md5').update(copy).digest().equals(kept)) throw new Damage('a check sum that does not fit');
}

function readMatrixColour(profile: Uint8Array, tags: Tags): PhotoColour {
  const [r, g, b] = ['rXYZ', 'gXYZ', 'bXYZ'].map((tag) => readXyz(tags, tag)) as [Vector3, Vector3, Vector3];
  const toXyz: Matrix3 = [r[0], g[0], b[0], r[1], g[1], b[1], r[2], g[2], b[2]];
  const white = whiteOf(toXyz);
  // D50 of the connection space (ICC.1, 7.2.16), or D65 in old profiles that adapt nothing.
  const near = (value: number, low: number, high: number) => value >= low && value <= high;
  const isWhite = near(white[0], 0.9, 1.05) && near(white[1], 0.95, 1.05) && near(white[2], 0.75, 1.15);
  if (!isWhite || !invertMatrix3(toXyz)) throw new Damage('primaries that do not add up to white');
  const names = ['rTRC', 'gTRC', 'bTRC'] as const;
  const [red, green, blue] = names.map((tag) => readCurve(tags, tag)) as [CodeCurve, CodeCurve, CodeCurve];
  const isOne = names.every((tag) => Buffer.from(tags.get(tag)!).equals(tags.get('rTRC')!));
  return colourOfMatrix(isOne ? [red] : [red, green, blue], toXyz, readOwnWhite(profile, { tags, white }));
}

/**
 * The white that the space was made for: before the adaptation that the profile names (tag 'chad'), else the media
 * white of a display's profile of version 2, else the white of the connection space itself.
 */
function readOwnWhite(profile: Uint8Array, { tags, white }: { readonly tags: Tags; readonly white: Vector3 }): Vector3 {
  const chad = tags.get('chad');
  if (chad) {
    if (letters(chad, 0) !== 'sf32' || chad.length < 44) throw new Damage('a tag chad of another type');
    const matrix = Array.from({ length: 9 }, (_, at) => readFixed(chad, 8 + 4 * at)) as unknown as Matrix3;
    const inverse = invertMatrix3(matrix);
    if (!inverse) throw new Damage('an adaptation that cannot be taken back');
    return scaleToOne(applyMatrix3(inverse, white));
  }
  const isDisplay = ['mntr', 'spac'].includes(letters(profile, 12));
  if (profile[8]! >= 4 || !isDisplay || !tags.has('wtpt')) return white;
  return scaleToOne(readXyz(tags, 'wtpt'));
}

function scaleToOne([x, y, z]: Vector3): Vector3 {
  if (!(x > 0 && y > 0 && z > 0)) throw new Damage('a white without light');
  return [x / y, 1, z / y];
}

function readXyz(tags: Tags, tag: string): Vector3 {
  const bytes = tags.get(tag)!;
  if (letters(bytes, 0) !== 'XYZ ' || bytes.length < 20) throw new Damage(`a tag ${tag} of another type`);
  return [readFixed(bytes, 8), readFixed(bytes, 12), readFixed(bytes, 16)];
}

/** s15Fixed16Number (ICC.1, 4.6). */
const readFixed = (bytes: Uint8Array, at: number) => (readUint32(bytes, at, false) | 0) / 65536;

/** How many numbers each function of a parametric curve takes (ICC.1, table 68). Counts. Published (source: 'icc1'). */
const FORMULA_NUMBERS = [1, 3, 4, 5, 7];

/** A tone curve: 'curv' (ICC.1, 10.6) or 'para' (10.18). It must rise from dark to light. */
function readCurve(tags: Tags, tag: string): CodeCurve {
  const bytes = tags.get(tag)!;
  const curve = letters(bytes, 0) === 'para' ? readFormula(bytes, tag) : readSamples(bytes, tag);
  const [dark, middle, light] = [0, 0.5, 1].map((code) => decodeCode(curve, code)) as [number, number, number];
  if (!(dark <= middle && middle <= light && light > 0.9 && dark < 0.1)) {
    throw new Damage(`a tone curve ${tag} that does not rise from black to white`);
  }
  return curve;
}

function readSamples(bytes: Uint8Array, tag: string): CodeCurve {
  const count = letters(bytes, 0) === 'curv' && bytes.length >= 12 ? readUint32(bytes, 8, false) : Number.NaN;
  if (!(12 + 2 * count <= bytes.length)) throw new Damage(`a tone curve ${tag} cut off`);
  if (count === 0) return powerCurve(1);
  if (count === 1) return powerCurve(readUint16(bytes, 12, false) / 256);
  const samples = tabulate(new Float32Array(count), (at) => readUint16(bytes, 12 + 2 * at, false) / 65535);
  return { kind: 'table', samples };
}

function readFormula(bytes: Uint8Array, tag: string): CodeCurve {
  const type = bytes.length >= 12 ? readUint16(bytes, 8, false) : Number.NaN;
  const count = FORMULA_NUMBERS[type];
  if (count === undefined || bytes.length < 12 + 4 * count) throw new Damage(`a tone curve ${tag} cut off`);
  const [g = 1, a = 1, b = 0, c = 0, d = 0, e = 0, f = 0] = Array.from({ length: count }, (_, at) =>
    readFixed(bytes, 12 + 4 * at),
  );
  // Types 1 and 2 begin where the base of the power becomes positive; below they are flat.
  if (type === 0) return powerCurve(g);
  if (type === 1) return { kind: 'formula', g, a, b, c: 0, d: -b / a, e: 0, f: 0 };
  if (type === 2) return { kind: 'formula', g, a, b, c: 0, d: -b / a, e: c, f: c };
  return { kind: 'formula', g, a, b, c, d, e, f };
}
