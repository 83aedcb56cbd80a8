import { dirname, join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { readJson } from '../material/index.ts';
import { type DotGrid, type Dots, decodeDotsBytes, readBitmapFile, sha256 } from '../plane/index.ts';
import { GRID_FIELDS, QUANTITIES, SETTINGS_FIELDS } from '../quantities.ts';
import { parseRecord } from '../schema.ts';

/** A bitmap to be timed, with what its ticket says where there is one. */
export interface TimedBitmap {
  readonly bitmapPath: string;
  readonly dots: Dots;
  /** As the ticket or the file says; undefined when neither does. */
  readonly grid: DotGrid | undefined;
  readonly ticket: TimedTicket | undefined;
}

/** What the clock needs of a ticket; the rest of it is none of its business. */
const ticketSchema = v.object({
  schema: v.literal('tonewright-ticket/1'),
  bitmap: v.object({ file: v.pipe(v.string(), v.regex(/^[^/\\]+$/)), sha256: v.string() }),
  machine: v.object({ name: v.string() }),
  grid: v.object(GRID_FIELDS),
  settings: v.object(SETTINGS_FIELDS),
  optics: v.exactOptional(v.object({ recommendedLineSpacingMm: QUANTITIES.pitchMm })),
  orientation: v.exactOptional(v.object({ turnedDeg: v.number() })),
  around: v.exactOptional(v.object({ degreesPerLine: v.pipe(v.number(), v.gtValue(0), v.maxValue(180)) })),
});

export type TimedTicket = v.InferOutput<typeof ticketSchema>;

/**
 * A bitmap by its own path or by that of its ticket, which names the bitmap beside it.
 * @throws AppError path-*, file-invalid, image-*
 */
export async function readTimedBitmap(path: string, warn: (text: string) => void): Promise<TimedBitmap> {
  const ticket = /\.json$/i.test(path) ? readTicket(path) : undefined;
  const bitmapPath = ticket ? join(dirname(path), ticket.bitmap.file) : path;
  const bytes = await readBitmapFile(bitmapPath);
  if (ticket && sha256(bytes) !== ticket.bitmap.sha256) {
    warn(`${bitmapPath} is not the bitmap that the ticket was written for; its own dots are timed`);
  }
  const { dots, grid } = await decodeDotsBytes(bytes, bitmapPath);
  return { bitmapPath, dots, grid: ticket?.grid ?? grid, ticket };
}

/** @throws AppError path-*, file-invalid */
export function readTicket(path: string): TimedTicket {
  return parseRecord(ticketSchema, { json: readJson(path), what: `ticket ${path}` });
}

/**
 * Pitch and line spacing: as given, else as known; one of them stands for both where only one is there.
 * @throws AppError option-invalid when there is neither
 */
export function chooseGrid(
  known: DotGrid | undefined,
  {
    pitchMm,
    lineSpacingMm,
    what,
  }: { readonly pitchMm?: number | undefined; readonly lineSpacingMm?: number | undefined; readonly what: string },
): DotGrid {
  const x = pitchMm ?? known?.pitchMm ?? lineSpacingMm;
  const y = lineSpacingMm ?? known?.lineSpacingMm ?? pitchMm;
  if (x === undefined || y === undefined) {
    throw new AppError('option-invalid', `found no resolution in the bitmap, needed ${what}`, {
      options: ['pitch', 'spacing'],
    });
  }
  return { pitchMm: x, lineSpacingMm: y };
}
