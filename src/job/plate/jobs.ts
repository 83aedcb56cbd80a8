import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { type Dots, isQuarterTurn } from '../../plane/index.ts';
import { GRID_FIELDS, QUANTITIES, SETTINGS_FIELDS, wholeWithin } from '../../quantities.ts';
import { parseRecord } from '../../schema.ts';

const counting = wholeWithin(1, 1e9);
const plainFile = v.pipe(v.string(), v.regex(/^[^/\\]+$/, 'the name of a file beside it'));

/** What a plate needs of a ticket; the rest of it is none of its business. */
const ticketSchema = v.object({
  schema: v.literal('tonewright-ticket/1'),
  name: v.pipe(v.string(), v.nonEmpty()),
  bitmap: v.object({ file: plainFile, sha256: v.string(), width: counting, height: counting, levels: counting }),
  piece: v.object({ widthMm: QUANTITIES.sizeMm, heightMm: QUANTITIES.sizeMm, cornerRadiusMm: QUANTITIES.marginMm }),
  grid: v.object(GRID_FIELDS),
  machine: v.object({ name: v.string(), title: v.string() }),
  material: v.object({ name: v.string(), title: v.string() }),
  profile: v.object({
    name: v.string(),
    title: v.string(),
    sha256: v.string(),
    bareL: QUANTITIES.lightness,
    fullL: QUANTITIES.lightness,
    curve: v.picklist(['measured', 'predicted']),
  }),
  settings: v.object(SETTINGS_FIELDS),
  orientation: v.optional(v.object({ mirrored: v.boolean(), turnedDeg: v.picklist([0, 90, 180, 270]) })),
  screen: v.object({ name: v.string(), options: v.record(v.string(), v.union([v.string(), v.number()])) }),
  evenness: v.optional(v.object({ xMm: QUANTITIES.placeMm, yMm: QUANTITIES.placeMm })),
  seen: v.optional(v.object({ note: v.string() })),
  twoWay: v.optional(v.object({ movedDots: wholeWithin(-1e6, 1e6) })),
  time: v.object({ seconds: QUANTITIES.seconds }),
  cautions: v.array(v.object({ text: v.string(), source: v.string() })),
  warnings: v.array(v.string()),
  assumptions: v.array(v.string()),
});

export type JobTicket = v.InferOutput<typeof ticketSchema>;

/** Price of all copies of a job, in the currency's smallest coin. */
export interface JobPrice {
  readonly amountMinor: number;
  readonly currency: string;
  readonly locale: string;
  readonly minorDigits: number;
}

/** A finished job that is to lie on plates. */
export interface PlateJob {
  readonly ticket: JobTicket;
  readonly count: number;
  /** What the customer or the shop wrote for the ticket. */
  readonly text: string | null;
  readonly price: JobPrice | null;
  /** The dots of its bitmap; asked for once a plate. */
  readonly load: () => Promise<Dots>;
  /**
   * Screens a piece that was corrected for its place again, for where it comes to lie, or says what keeps it from that.
   */
  readonly remake?: (place: RemadePlace) => Promise<RemadePiece | NotRemade>;
}

/** Where a piece comes to lie: its middle, mm from the field's upper left corner, and whether a quarter turned. */
export interface RemadePlace {
  readonly xMm: number;
  readonly yMm: number;
  readonly turned: boolean;
}

export interface NotRemade {
  /** Why, as part of a sentence: `its photo is not …`. */
  readonly why: string;
}

export interface RemadePiece {
  /** As the piece lies. */
  readonly dots: Dots;
  /** By how many dots lines that run back are moved in them. */
  readonly movedDots: number;
  /** What was corrected. */
  readonly note: string;
}

/**
 * A job's ticket from parsed JSON, as far as a plate reads it. `path` is what messages call the file.
 * @param isAlone the bitmap must be of the piece alone
 * @throws AppError file-invalid; also when the bitmap is not of the piece alone, as with a control strip joined to it
 */
export function parseJobTicket(json: unknown, path: string, { isAlone = true } = {}): JobTicket {
  if ((json as { schema?: unknown } | null)?.schema === 'tonewright-marks/1') {
    throw new AppError(
      'file-invalid',
      `ticket ${path}: found a job of several marks, needed one of a single bitmap; pieces of several marks are burned one by one`,
    );
  }
  const ticket = lieDown(parseRecord(ticketSchema, { json, what: `ticket ${path}` }));
  const { bitmap, piece, grid } = ticket;
  const off = {
    width: Math.abs(bitmap.width - piece.widthMm / grid.pitchMm),
    height: Math.abs(bitmap.height - piece.heightMm / grid.lineSpacingMm),
  };
  if (isAlone && (off.width > 1 || off.height > 1)) {
    throw new AppError(
      'file-invalid',
      `ticket ${path}: found a bitmap of ${bitmap.width} × ${bitmap.height} dots for a piece of ${piece.widthMm} × ${piece.heightMm} mm, needed the piece alone; prepare it without a joined control strip and give the plate a strip`,
      { bitmap: [bitmap.width, bitmap.height], piece: [piece.widthMm, piece.heightMm] },
    );
  }
  return ticket;
}

/** The piece as it lies in the machine: on a plate nobody looks at it from any other side. */
function lieDown(ticket: JobTicket): JobTicket {
  if (!isQuarterTurn(ticket.orientation)) return ticket;
  const { widthMm, heightMm } = ticket.piece;
  return { ...ticket, piece: { ...ticket.piece, widthMm: heightMm, heightMm: widthMm } };
}

const orderSchema = v.object({
  schema: v.literal('tonewright-order/1'),
  pieces: v.array(
    v.variant('status', [
      v.object({
        status: v.literal('done'),
        name: v.string(),
        count: counting,
        text: v.nullable(v.string()),
        ticket: plainFile,
      }),
      v.object({ status: v.literal('failed'), name: v.string() }),
    ]),
  ),
  quote: v.nullable(
    v.object({
      currency: v.string(),
      locale: v.string(),
      minorDigits: v.number(),
      pieces: v.array(v.object({ id: v.string(), amountMinor: v.pipe(v.number(), v.integer()) })),
    }),
  ),
});

/** A piece of an order that is done: where its ticket lies, how many are burned, what they cost. */
export interface OrderedJob {
  readonly name: string;
  /** Name of the file beside the order's. */
  readonly ticketFile: string;
  readonly count: number;
  readonly text: string | null;
  readonly price: JobPrice | null;
}

/**
 * The pieces of an order that can be burned, in its own sequence, and the names of those that cannot.
 * @throws AppError file-invalid
 */
export function parseOrderForPlates(
  json: unknown,
  path: string,
): { readonly jobs: readonly OrderedJob[]; readonly failed: readonly string[] } {
  const { pieces, quote } = parseRecord(orderSchema, { json, what: `order ${path}` });
  const jobs: OrderedJob[] = [];
  const failed: string[] = [];
  for (const piece of pieces) {
    if (piece.status === 'failed') {
      failed.push(piece.name);
      continue;
    }
    const { name, ticket, count, text } = piece;
    const priced = quote?.pieces.find(({ id }) => id === name);
    const price = quote && priced ? priceOf(quote, priced.amountMinor) : null;
    jobs.push({ name, ticketFile: ticket, count, text, price });
  }
  return { jobs, failed };
}

function priceOf({ currency, locale, minorDigits }: Omit<JobPrice, 'amountMinor'>, amountMinor: number): JobPrice {
  return { amountMinor, currency, locale, minorDigits };
}
