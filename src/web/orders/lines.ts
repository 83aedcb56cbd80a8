import { randomBytes } from 'node:crypto';
import { basename, extname } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import type { JobRequest, OrderRow } from '../../job/index.ts';
import { LIST_OPTIONS, readRequest, sha256, TONE_FIELDS } from '../../tasks/index.ts';
import { findNamedSize, parseSizeMm } from '../../units.ts';
import { photoSettingsOf } from '../piece-settings.ts';
import type { OrderPiece, PhotoSettings, PieceSettings } from '../protocol.ts';
import { KEPT_YES, type Yes } from '../server-agreed.ts';
import { isFileName, tidyFileName } from '../server-files.ts';
import { optionsOf, RECORD_NAME } from '../server-photo-settings.ts';

/** What an order's list is called in messages; the page sends its text alone. */
export const LIST = 'list';
/** A piece as the order's folder keeps it. */
export interface KeptPiece extends Omit<OrderPiece, 'agreed' | 'awaitsYes'> {
  /** The line of the list that it stands for, as it was written. */
  readonly line: OrderRow | null;
  /** What its status is about: `keyOf` when it was made, or when it failed. */
  readonly of: string | null;
  /** Names of its result files, while it is made. */
  readonly files: readonly string[];
  /** What its customer has said yes to. */
  readonly yes: Yes | null;
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
  yes: KEPT_YES,
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
    yes: null,
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
  const { count, text } = line.cells;
  const copies = count && /^[1-9]\d{0,5}$/.test(count.text) ? Number(count.text) : 1;
  const kept = Object.fromEntries(
    Object.entries(piece.own).filter(([name]) => !LISTED.includes(name as keyof PieceSettings)),
  ) as PieceSettings;
  return { ...piece, line, own: { ...kept, ...readLine(line) }, count: copies, text: text?.text ?? '' };
}

/** Wishes that a newer list replaces, or takes away. */
const LISTED: readonly (keyof PieceSettings)[] = [
  ...(['widthMm', 'heightMm', 'cornerRadiusMm', 'profile', 'material', 'fit'] as const),
  ...(['backdrop', 'outline', 'vignetteMm', 'caption', 'artwork'] as const),
];

/** Wishes that a line of a list says in cells of its own: what of them is readable is on the card. */
function readLine({ cells }: OrderRow): PieceSettings {
  const { size, corner, profile, material } = cells;
  const { subject, focus, zoom, turnDeg, fit, backdrop, outline, vignetteMm, caption, artwork } = readCells(cells);
  const drawing = artwork && isRecordName(artwork.name) ? { artwork } : {};
  return {
    ...(size ? readSize(size.text, corner === undefined) : {}),
    ...(profile && isRecordName(profile.text) ? { profile: profile.text } : {}),
    ...(material && isRecordName(material.text) ? { material: material.text } : {}),
    ...(typeof subject === 'string' ? { subject } : {}),
    ...(fit ? { fit } : {}),
    ...(focus ? { focus } : {}),
    ...(zoom === undefined ? {} : { zoom }),
    ...(turnDeg === undefined ? {} : { turnDeg }),
    ...(backdrop ? { backdrop } : {}),
    ...(outline ? { outline } : {}),
    ...(vignetteMm === undefined ? {} : { vignetteMm }),
    ...(caption ? { caption } : {}),
    ...drawing,
  };
}

/** Columns that belong together: what is wrong in one group says nothing of the others. */
const GROUPS: readonly (readonly string[])[] = [
  ...['fit', 'keep', 'zoom', 'turn', 'subject', 'backdrop', 'outline', 'vignette'].map((column) => [column]),
  ['caption', 'caption2', 'caption-place', 'caption-height', 'caption-font', 'caption-ink'],
  ['artwork', 'artwork-width', 'artwork-at', 'artwork-ink'],
];

function readCells(cells: OrderRow['cells']): Partial<JobRequest> {
  const read = GROUPS.map((columns) => {
    const options = columns.flatMap((column) => {
      const cell = cells[column];
      const option = LIST_OPTIONS.get(column);
      const isKnown = cell && option && (option.choices?.includes(cell.text) ?? true);
      // A mask of the list's own lies where only the making looks.
      const isPath = column === 'subject' && !/^(auto|none)$/.test(cell?.text ?? '');
      return isKnown && !isPath ? [[option.key, cell.text] as const] : [];
    });
    try {
      const { size: _size, ...request } = readRequest({ size: '10x10', ...Object.fromEntries(options) });
      return request;
    } catch (error) {
      if (error instanceof AppError) return {};
      throw error;
    }
  });
  return Object.assign({}, ...read);
}

const isRecordName = (text: string) => v.safeParse(RECORD_NAME, text).success;

/** A size by name has corners of its own, which go before the order's, unless the line says others. */
function readSize(text: string, withCorner: boolean): Pick<PieceSettings, 'widthMm' | 'heightMm' | 'cornerRadiusMm'> {
  try {
    const { widthMm, heightMm, cornerRadiusMm } = parseSizeMm(text, 'size');
    return { widthMm, heightMm, ...(findNamedSize(text) && withCorner ? { cornerRadiusMm } : {}) };
  } catch (error) {
    if (error instanceof AppError) return {};
    throw error;
  }
}

/** The columns of a list that a wish of a piece stands for. */
const COLUMNS: Readonly<Partial<Record<keyof PieceSettings, readonly string[]>>> = {
  widthMm: ['size'],
  heightMm: ['size'],
  turned: ['size'],
  cornerRadiusMm: ['corner'],
  safeMarginMm: ['margin'],
  machine: ['machine'],
  profile: ['profile', 'material'],
  material: ['profile', 'material'],
  fit: ['fit'],
  focus: ['keep'],
  zoom: ['zoom'],
  turnDeg: ['turn'],
  subject: ['subject'],
  backdrop: ['backdrop'],
  outline: ['outline'],
  vignetteMm: ['vignette'],
  screen: ['screen'],
  tone: ['tone'],
  range: ['range'],
  seen: ['seen'],
  beneath: ['beneath'],
  mirror: ['mirror'],
  rotateDeg: ['rotate'],
  format: ['format'],
  at: ['at'],
  round: ['round', 'round-error', 'focus-reading'],
  around: ['around', 'steps-per-turn', 'overlap'],
  settings: ['power', 'speed', 'rate', 'pulse', 'passes', 'scan'],
  caption: GROUPS.at(-2)!,
  artwork: GROUPS.at(-1)!,
};

/** Of all tone values: those that columns have, by their names. */
const columnOf = (key: string) => key.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);

function columnsOf(name: keyof PieceSettings): readonly string[] {
  return name === 'toneValues' ? Object.keys(TONE_FIELDS).map(columnOf) : (COLUMNS[name] ?? []);
}

/** What a person changes on a card goes over the line: the cells that it stands for are given up. */
export function changeByHand(
  piece: KeptPiece,
  { own, count, text, excluded }: Partial<Pick<OrderPiece, 'own' | 'count' | 'text' | 'excluded'>>,
): KeptPiece {
  const names = [...new Set([...Object.keys(piece.own), ...Object.keys(own ?? {})])] as (keyof PieceSettings)[];
  const changed = own
    ? names.filter((name) => JSON.stringify(own[name]) !== JSON.stringify(piece.own[name])).flatMap(columnsOf)
    : [];
  const given = new Set([
    ...changed,
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
export function rowOf(wish: PhotoSettings, { photo, line, own, count, text }: KeptPiece): OrderRow {
  const cells = line?.cells ?? {};
  const at = line?.line ?? 0;
  const set = (column: string, value: string | undefined) =>
    value === undefined ? {} : { [column]: { line: at, column: cells[column]?.column ?? 0, text: value } };
  const { widthMm, heightMm } = photoSettingsOf(wish, own);
  // A size that nobody changed by hand stays as the line says it: by its name, which may lie either way.
  const hasSize = !cells.size && (own.widthMm !== undefined || own.heightMm !== undefined || own.turned === true);
  const asked = Object.fromEntries(listOwn(wish, own).flatMap(([column, value]) => Object.entries(set(column, value))));
  return {
    line: at,
    cells: {
      ...cells,
      ...(line && !cells.photo ? {} : set('photo', photo)),
      ...set('size', hasSize ? `${widthMm}x${heightMm}` : undefined),
      ...set('profile', own.profile),
      ...set('material', own.profile === undefined ? own.material : undefined),
      ...asked,
      ...set('count', cells.count ? undefined : String(count)),
      ...set('text', text === '' ? undefined : text),
    },
  };
}

/** The profile that a piece is made through; none where only its material is known. */
export function profileOf(wish: PhotoSettings, piece: KeptPiece): string | undefined {
  const { cells } = rowOf(wish, piece);
  if (cells.profile) return cells.profile.text;
  return cells.material ? undefined : wish.profile;
}

/** Columns that say what a piece wants differently, beside its size and material. */
function listOwn(wish: PhotoSettings, own: PieceSettings): readonly (readonly [column: string, value: string])[] {
  const { widthMm: _width, heightMm: _height, turned: _turned, profile: _profile, material: _material, ...rest } = own;
  const names = Object.keys(rest) as (keyof typeof rest)[];
  const columns = new Set(names.flatMap(columnsOf));
  const options = Object.entries(optionsOf({ ...wish, ...rest }));
  return options.flatMap(([key, value]) => {
    const column = columnOf(key);
    return columns.has(column) ? [[column, value === true ? 'yes' : String(value)] as const] : [];
  });
}

/** Pieces are never changed in place, so what was worked out of one holds as long as it is there. */
const keys = new WeakMap<KeptPiece, { readonly wish: PhotoSettings; readonly key: string }>();

/** Tells what is asked of a piece, but for how many, from everything else that could be asked. */
export function keyOf(wish: PhotoSettings, piece: KeptPiece): string {
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
