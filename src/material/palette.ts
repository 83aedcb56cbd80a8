import * as v from 'valibot';
import type { Lab } from '../colour/index.ts';
import { differenceOf } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { parseRecord } from '../schema.ts';
import { RECORD_RULES } from './parse.ts';

/** One of the marks that a material shows: a colour, and the settings that make it. */
export interface PaletteMark {
  readonly name: string;
  readonly title: string;
  /** Colour of a solid fill. */
  readonly colour: Lab;
  readonly settings: BurnSettings;
  /** Cell of the dose chart that it was read from. */
  readonly cell?: string;
}

/** The marks of several tones that a material shows on one grid, in the order in which they are burned. */
export interface Palette {
  readonly schema: 'tonewright-palette/1';
  readonly name: string;
  readonly title: string;
  readonly material: string;
  readonly machine: string;
  readonly grid: DotGrid;
  readonly bare: Lab;
  /** One to eight. */
  readonly marks: readonly PaletteMark[];
  readonly origin: 'measured' | 'assumed';
  /** ISO date of reading. */
  readonly date: string;
  readonly note: string;
}

/**
 * Most marks, a count, and the least difference of two colours, ΔE. Assumed: closer ones are one mark to the eye, and
 * burn twice the time.
 */
export const PALETTE_LIMITS = { marks: 8, deltaE: 4 } as const;

const { date, grid, lab, name, settings, text } = RECORD_RULES;

const PALETTE = v.strictObject(
  {
    schema: v.literal('tonewright-palette/1', '"tonewright-palette/1"'),
    name,
    title: text,
    material: text,
    machine: text,
    grid,
    bare: lab,
    marks: v.pipe(
      v.array(
        v.strictObject({ name, title: text, colour: lab, settings, cell: v.exactOptional(text) }, 'an object'),
        'a list',
      ),
      v.minLength(1, 'at least one mark'),
      v.maxLength(PALETTE_LIMITS.marks, `at most ${PALETTE_LIMITS.marks} marks`),
    ),
    origin: v.picklist(['measured', 'assumed'], '"measured" or "assumed"'),
    date,
    note: v.string('text'),
  },
  'an object',
);

/**
 * A palette from parsed JSON.
 * @throws AppError file-invalid naming the field, or the two marks that have one name or nearly one colour.
 */
export function parsePalette(json: unknown, path: string): Palette {
  const palette: Palette = parseRecord(PALETTE, { json, what: path });
  const colours = [{ name: 'bare', colour: palette.bare }, ...palette.marks];
  colours.forEach((mark, at) => {
    for (const other of colours.slice(0, at)) {
      if (mark.name === other.name) {
        throw new AppError('file-invalid', `${path}: found two marks named "${mark.name}", needed a name for each`);
      }
      const deltaE = differenceOf(mark.colour, other.colour);
      if (deltaE < PALETTE_LIMITS.deltaE) {
        throw new AppError(
          'file-invalid',
          `${path}: found ${other.name} and ${mark.name} only ${deltaE.toFixed(1)} ΔE apart, needed ${PALETTE_LIMITS.deltaE} or more: they are one mark to the eye`,
          { deltaE, marks: [other.name, mark.name] },
        );
      }
    }
  });
  return palette;
}
