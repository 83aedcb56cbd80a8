import { randomBytes } from 'node:crypto';
import { basename, extname } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import type { OrderRow } from '../../job/index.ts';
import { sha256 } from '../../tasks/index.ts';
import { parseSizeMm } from '../../units.ts';
import { wishOf } from '../piece-wish.ts';
import type { OrderPiece, PieceWish, Wish } from '../protocol.ts';
import { isFileName } from '../server-files.ts';
import { tidyFileName } from '../server-jobs.ts';
import { optionsOf, RECORD_NAME, subjectText } from '../server-wish.ts';

/** What an order's list is called in messages; the page sends its text alone. */
export const LIST = 'list';
/** A piece as the order's folder keeps it. */
export interface KeptPiece extends OrderPiece {
  /** The line of the list that it stands for, as it was written. */
  readonly line: OrderRow | null;
  /** What its status is about: `keyOf` when it was made, or when it failed. */
  readonly of: string | null;
  /** Names of its result files, while it is made. */
  readonly files: readonly string[];
}

const CELL = v.strictObject({ text: v.string(), line: v.number(), column: v.number() });
/**
 * What a piece keeps beside what the page shows, as it comes from the disk; pieces of older versions have none of it.
 */
export const KEPT_PIECE = v.object({
  line: v.optional(v.nullable(v.strictObject({ line: v.number(), cells: v.record(v.string(), CELL) })), null),
  of: v.optional(v.nullable(v.string()), null),
  files: v.optional(v.array(v.custom<string>(isFileName)), []),
  missing: v.optional(v.boolean(), false),
});

/** A new card of a photo that nothing was asked of yet. */
export function createPiece(photo: string, { width, height }: { width: number; height: number }): KeptPiece {
  return {
    id: randomBytes(8).toString('hex'),
    photo,
    width,
    height,
    missing: false,
    count: 1,
    text: '',
    excluded: false,
    own: {},
    status: 'waiting',
    reason: null,
    name: basename(photo, extname(photo)),
    seconds: null,
    worstDeltaL: null,
    line: null,
    of: null,
    files: [],
  };
}

/**
 * The cards of an order with a list applied: one for each line, in the sequence of the lines, then those of photos that
 * no line names. A card that is there already stands for the first line of its photo; cards that an earlier list made
 * and this one does not are gone. A line whose photo is not there is a card, too.
 */
export function applyList(pieces: readonly KeptPiece[], rows: readonly OrderRow[]): readonly KeptPiece[] {
  const left = [...pieces];
  const listed = rows.map((row) => {
    const asked = row.cells.photo?.text;
    const photo = asked === undefined ? `line-${row.line}` : tidyFileName(asked);
    const known = pieces.find((piece) => piece.photo === photo && !piece.missing);
    const at = left.findIndex((piece) => piece.photo === photo);
    const [card] = at < 0 ? [] : left.splice(at, 1);
    const piece = card ?? { ...createPiece(photo, known ?? { width: 0, height: 0 }), missing: !known };
    return writeLine(piece, row);
  });
  const named = new Set(listed.map(({ photo }) => photo));
  const others = left.filter((piece) => piece.line === null || (!named.has(piece.photo) && !piece.missing));
  return [...listed, ...others.map((piece) => (piece.line === null ? piece : { ...piece, line: null }))];
}

/** The card says what the line says; what is wrong with the line stays in it and is told when the piece is planned. */
function writeLine(piece: KeptPiece, line: OrderRow): KeptPiece {
  const { size, profile, material, fit, count, text } = line.cells;
  const copies = count && /^[1-9]\d{0,5}$/.test(count.text) ? Number(count.text) : 1;
  const { widthMm: _width, heightMm: _height, profile: _profile, material: _material, fit: _fit, ...kept } = piece.own;
  const own: PieceWish = {
    ...kept,
    ...(size ? readSize(size.text) : {}),
    ...(profile && isRecordName(profile.text) ? { profile: profile.text } : {}),
    ...(material && isRecordName(material.text) ? { material: material.text } : {}),
    ...(fit && (fit.text === 'cover' || fit.text === 'contain') ? { fit: fit.text } : {}),
  };
  return { ...piece, line, own, count: copies, text: text?.text ?? '' };
}

const isRecordName = (text: string) => v.safeParse(RECORD_NAME, text).success;

function readSize(text: string): Pick<PieceWish, 'widthMm' | 'heightMm'> {
  try {
    const { widthMm, heightMm } = parseSizeMm(text, 'size');
    return { widthMm, heightMm };
  } catch (error) {
    if (error instanceof AppError) return {};
    throw error;
  }
}

/** Cells that the page's own choices stand for. */
const OWN_CELLS = ['size', 'profile', 'material', 'fit', 'keep', 'zoom', 'turn', 'subject'];

/** What a person changes on a card goes over the line: the cells that it stands for are given up. */
export function changeByHand(
  piece: KeptPiece,
  { own, count, text, excluded }: Partial<Pick<OrderPiece, 'own' | 'count' | 'text' | 'excluded'>>,
): KeptPiece {
  const given = new Set([
    ...(own !== undefined && JSON.stringify(own) !== JSON.stringify(piece.own) ? OWN_CELLS : []),
    ...(count === undefined || count === piece.count ? [] : ['count']),
    ...(text === undefined ? [] : ['text']),
  ]);
  const line = piece.line && {
    ...piece.line,
    cells: Object.fromEntries(Object.entries(piece.line.cells).filter(([column]) => !given.has(column))),
  };
  return {
    ...piece,
    line,
    own: own ?? piece.own,
    count: count ?? piece.count,
    text: text ?? piece.text,
    excluded: excluded ?? piece.excluded,
  };
}

/** A card as the line of a list that would ask for the same. */
export function rowOf(wish: Wish, { photo, line, own, count, text }: KeptPiece): OrderRow {
  const cells = line?.cells ?? {};
  const at = line?.line ?? 0;
  const set = (column: string, value: string | undefined) =>
    value === undefined ? {} : { [column]: { line: at, column: cells[column]?.column ?? 0, text: value } };
  const { widthMm, heightMm } = wishOf(wish, own);
  const hasSize = own.widthMm !== undefined || own.heightMm !== undefined || own.turned === true;
  return {
    line: at,
    cells: {
      ...cells,
      ...(line && !cells.photo ? {} : set('photo', photo)),
      ...set('size', hasSize ? `${widthMm}x${heightMm}` : undefined),
      ...set('profile', own.profile),
      ...set('material', own.profile === undefined ? own.material : undefined),
      ...set('fit', own.fit),
      ...set('keep', own.focus && `${own.focus.x},${own.focus.y}`),
      ...set('zoom', own.zoom === undefined ? undefined : String(own.zoom)),
      ...set('turn', own.turnDeg === undefined ? undefined : String(own.turnDeg)),
      ...set('subject', own.subject && subjectText(own.subject)),
      ...set('count', cells.count ? undefined : String(count)),
      ...set('text', text === '' ? undefined : text),
    },
  };
}

/** The profile that a piece is made through; none where only its material is known. */
export function profileOf(wish: Wish, piece: KeptPiece): string | undefined {
  const { cells } = rowOf(wish, piece);
  if (cells.profile) return cells.profile.text;
  return cells.material ? undefined : wish.profile;
}

/** Pieces are never changed in place, so what was worked out of one holds as long as it is there. */
const keys = new WeakMap<KeptPiece, { readonly wish: Wish; readonly key: string }>();

/** Tells what is asked of a piece, but for how many, from everything else that could be asked. */
export function keyOf(wish: Wish, piece: KeptPiece): string {
  const known = keys.get(piece);
  if (known?.wish === wish) return known.key;
  const { cells } = rowOf(wish, piece);
  const asked = Object.entries(cells)
    .filter(([column]) => column !== 'count')
    .map(([column, { text }]) => [column, text])
    .sort(([a], [b]) => (a! < b! ? -1 : 1));
  const key = sha256(JSON.stringify([optionsOf(wish), asked])).slice(0, 16);
  keys.set(piece, { wish, key });
  return key;
}
