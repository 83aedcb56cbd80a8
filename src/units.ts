import { explainComma, readDecimal } from './decimals.ts';
import { AppError } from './errors.ts';
import { lookUp } from './json.ts';
import type { SourceKey } from './sources.ts';

/** Millimetres in one unit. Exact: the SI prefixes, and 25.4 mm to the inch by definition. */
const MM_PER: Readonly<Record<string, number>> = { mm: 1, um: 0.001, µm: 0.001, cm: 10, in: 25.4 };
/** Other signs for the units: the Greek letter beside the sign of SI, inches as rulers write them. */
const SAME_UNIT: Readonly<Record<string, string>> = {
  μm: 'µm',
  inch: 'in',
  inches: 'in',
  '"': 'in',
  '″': 'in',
  '”': 'in',
};
const UNIT = /(?:mm|um|µm|μm|cm|inches|inch|in|"|″|”)$/;

/** `3 3/8`, as inches are written. */
const FRACTION = /^(?:(\d+)\s+)?(\d+)\/([1-9]\d*)$/;

export interface SizeMm {
  readonly widthMm: number;
  readonly heightMm: number;
  /** Corner radius, mm; 0 for square corners. */
  readonly cornerRadiusMm: number;
}

/**
 * Named sizes, mm. The corner radius of ID-1 is the nominal value of ISO/IEC 7813 within the 2.88 … 3.48 of ISO/IEC
 * 7810; the other formats are drawn with square corners. Published, each with its source.
 */
export const NAMED_SIZES: Readonly<Record<string, SizeMm & { readonly source: SourceKey }>> = {
  'id-1': { widthMm: 85.6, heightMm: 53.98, cornerRadiusMm: 3.18, source: 'iso7813' },
  'id-2': { widthMm: 105, heightMm: 74, cornerRadiusMm: 0, source: 'iso7810' },
  'id-3': { widthMm: 125, heightMm: 88, cornerRadiusMm: 0, source: 'iso7810' },
  'id-000': { widthMm: 25, heightMm: 15, cornerRadiusMm: 0, source: 'iso7810' },
};

/**
 * Length in mm from `80um`, `0.02`, `0,02`, `0.5 in`, `3 3/8"`, `2cm`; bare numbers are mm.
 * @throws AppError option-invalid
 */
export function parseLengthMm(text: string, what: string): number {
  const value = readLengthMm(text);
  if (!Number.isFinite(value) || value <= 0) {
    throw new AppError(
      'option-invalid',
      `${what}: found "${text}", needed a length above 0 such as 0.02, 80um or 0.5in${explainComma(splitUnit(text).number)}`,
    );
  }
  return value;
}

/** As `parseLengthMm`, and nothing is a length, too. @throws AppError option-invalid */
export function parseLengthOrZeroMm(text: string, what: string): number {
  return readLengthMm(text) === 0 ? 0 : parseLengthMm(text, what);
}

/** A place from `20,35.5` or `20; 35,5`: two lengths from an upper left corner, x right, y down. @throws AppError */
export function parsePlaceMm(text: string, what: string): { readonly xMm: number; readonly yMm: number } {
  const parts = text.includes(';') ? text.split(';') : text.split(',');
  const [xMm, yMm] = parts.map(readLengthMm);
  if (parts.length === 2 && xMm! >= 0 && yMm! >= 0) return { xMm: xMm!, yMm: yMm! };
  throw new AppError('option-invalid', `${what}: found "${text}", needed two lengths of 0 or more such as 20,35.5`);
}

function splitUnit(text: string): { readonly number: string; readonly unit: string } {
  const plain = text.trim().toLowerCase();
  const unit = UNIT.exec(plain)?.[0] ?? '';
  return { number: plain.slice(0, plain.length - unit.length).trim(), unit };
}

/** Length in mm, NaN where a text is none. */
function readLengthMm(text: string): number {
  const { number, unit } = splitUnit(text);
  const [, whole, part, of] = FRACTION.exec(number) ?? [];
  const value = part === undefined ? readDecimal(number) : Number(whole ?? 0) + Number(part) / Number(of);
  return value * MM_PER[SAME_UNIT[unit] ?? (unit || 'mm')]!;
}

/** Whether a size is that of a round piece: one diameter, its corners half of it. */
export const isRoundSize = ({ widthMm, heightMm, cornerRadiusMm }: SizeMm): boolean =>
  widthMm === heightMm && cornerRadiusMm >= widthMm / 2;

/**
 * Size from `85.6x54`, `85,6 × 54 mm`, `85.6 by 54`, `3.37x2.13in`, `3 3/8" x 2 1/8"`; from one length for a
 * square; from `⌀80`, `d80` or `round 80` for a round piece; or a named size such as `ID-1`, `id1` or `card`. A unit at
 * the end serves both lengths.
 * @throws AppError option-invalid
 */
export function parseSizeMm(text: string, what: string): SizeMm {
  const plain = text.trim().toLowerCase();
  const named = findNamedSize(plain);
  if (named) return { widthMm: named.widthMm, heightMm: named.heightMm, cornerRadiusMm: named.cornerRadiusMm };
  const round = /^(?:[⌀∅ø]|d(?:ia(?:m(?:eter)?)?\.?)?|round)\s*(\d.*|\..*)$/.exec(plain)?.[1];
  if (round !== undefined) {
    const diameterMm = parseLengthMm(round, what);
    return { widthMm: diameterMm, heightMm: diameterMm, cornerRadiusMm: diameterMm / 2 };
  }
  const parts = plain.split(/[x×]|\bby\b/).map((part) => part.trim());
  const isSquare = parts.length === 1 && readLengthMm(plain) > 0;
  if ((parts.length !== 2 || parts.includes('')) && !isSquare) {
    const names = Object.keys(NAMED_SIZES).map((each) => each.toUpperCase());
    throw new AppError(
      'option-invalid',
      `${what}: found "${text}", needed WIDTHxHEIGHT such as 85.6x54, one length for a square, ⌀80 or d80 for a round piece, or card, ${names.join(', ')}${explainComma(splitUnit(plain).number)}`,
    );
  }
  const [first, second = first] = parts as [string, string?];
  const width = splitUnit(first).unit === '' ? first + splitUnit(second).unit : first;
  return { widthMm: parseLengthMm(width, what), heightMm: parseLengthMm(second, what), cornerRadiusMm: 0 };
}

/** A size that a standard names, with its corners; undefined for one in lengths. */
export function findNamedSize(text: string): SizeMm | undefined {
  const plain = text.trim().toLowerCase();
  return lookUp(NAMED_SIZES, plain === 'card' ? 'id-1' : plain.replace(/^id[\s_]?(?=\d)/, 'id-'));
}

/** Most dots of one bitmap, a photo's or a chart's; assumed: above it planes of 16-bit values leave no room to work. */
export const MOST_DOTS = 500e6;
