import { AppError } from './errors.ts';
import { lookUp } from './json.ts';
import type { SourceKey } from './sources.ts';

/** Millimetres in one unit. Exact: the SI prefixes, and 25.4 mm to the inch by definition. */
const MM_PER: Readonly<Record<string, number>> = { mm: 1, um: 0.001, µm: 0.001, cm: 10, in: 25.4 };
const LENGTH = /^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*(mm|um|µm|cm|in)?\s*$/i;

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
 * Length in mm from `80um`, `0.02`, `0.5 in`, `2cm`; bare numbers are mm.
 * @throws AppError option-invalid
 */
export function parseLengthMm(text: string, what: string): number {
  const found = LENGTH.exec(text);
  const value = found ? Number(found[1]) * MM_PER[(found[2] ?? 'mm').toLowerCase()]! : Number.NaN;
  if (!Number.isFinite(value) || value <= 0) {
    throw new AppError(
      'option-invalid',
      `${what}: found "${text}", needed a length above 0 such as 0.02, 80um or 0.5in`,
    );
  }
  return value;
}

/**
 * Size from `85.6x54`, `85.6 x 54 mm`, `3.37x2.13in`, or a named size such as `ID-1`; a unit at the end serves both.
 * @throws AppError option-invalid
 */
export function parseSizeMm(text: string, what: string): SizeMm {
  const named = lookUp(NAMED_SIZES, text.trim().toLowerCase());
  if (named) return { widthMm: named.widthMm, heightMm: named.heightMm, cornerRadiusMm: named.cornerRadiusMm };
  const parts = text.toLowerCase().split(/[x×]/);
  if (parts.length !== 2) {
    const names = Object.keys(NAMED_SIZES).map((name) => name.toUpperCase());
    throw new AppError(
      'option-invalid',
      `${what}: found "${text}", needed WIDTHxHEIGHT such as 85.6x54, or ${names.join(', ')}`,
    );
  }
  const unit = /(mm|um|µm|cm|in)\s*$/.exec(parts[1]!)?.[1] ?? '';
  const width = /[a-zµ]\s*$/.test(parts[0]!) ? parts[0]! : parts[0]! + unit;
  return { widthMm: parseLengthMm(width, what), heightMm: parseLengthMm(parts[1]!, what), cornerRadiusMm: 0 };
}

/** Most dots of one bitmap, a photo's or a chart's; assumed: above it planes of 16-bit values leave no room to work. */
export const MOST_DOTS = 500e6;
