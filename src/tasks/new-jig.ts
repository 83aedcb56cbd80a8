import { AppError } from '../errors.ts';
import { markOfJig, readMachine, STRIP_ROOM } from '../job/index.ts';
import type { Machine } from '../machine/index.ts';
import type { Shop } from '../material/index.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
import {
  type Corner,
  drawJig,
  type FrameOptions,
  JIG_DEFAULTS,
  type Jig,
  layoutGrid,
  type Origin,
  type Pocket,
  parseJig,
  placeField,
  refuseBeyondField,
  sketchJig,
} from '../plate/index.ts';
import { isRoundSize, parseLengthMm, parseLengthOrZeroMm, parseSizeMm } from '../units.ts';
import type { TaskContext } from './context.ts';
import { nameOfTitle, refuseRecordName } from './names.ts';
import { checkChoice, fillAnswers, findUnanswered, type Question } from './questions.ts';

export interface NewJigRecord {
  readonly jig: Jig;
  readonly path: string;
}

const CORNERS: readonly Corner[] = ['top-left', 'top-right', 'bottom-left', 'bottom-right'];
const ORIGINS: readonly Origin['at'][] = ['stop', 'field-corner', 'field-centre'];
const Y_AXES: readonly Origin['yAxis'][] = ['down', 'up'];
/** Most rows or columns, a count. By definition: what a jig's grid takes. */
const MOST_ROWS = 100;
/** Stands where the pockets of a jig that is changed are no grid: they stay as they are. */
const KEPT = 'kept';
const FIT = 'fit';
const CENTRED = 'centred';

/** What the pockets lie by: while none of it changes, they stay to the micrometre. */
const LAYOUT_KEYS = ['columns', 'rows', 'pocket', 'gap', 'rim', 'board', 'strip'] as const;

/** The next thing to ask about a new jig. */
export function askOfJig(known: OptionValues, shop: Shop): Question | undefined {
  const machines = shop.list('machines').map(({ name }) => name);
  const assumed = (mm: number) => ({ fallback: String(mm), rests: 'assumed' as const });
  return findUnanswered(
    [
      { key: 'title', ask: 'What do you call the jig', fallback: undefined },
      { key: 'machine', ask: 'Under which machine does it lie', choices: machines, fallback: undefined, decides: true },
      { key: 'columns', ask: 'Columns of pockets', fallback: '2' },
      { key: 'rows', ask: 'Rows of pockets', fallback: '2' },
      {
        key: 'pocket',
        ask: 'Size of the piece that a pocket takes, such as 85.6x54, ID-1, or ⌀80 (d80) for round ones, mm',
        fallback: 'ID-1',
        measuredBy: 'a caliper on five blanks, the largest counts',
      },
      { key: 'gap', ask: 'Gap between two pockets, mm', ...assumed(JIG_DEFAULTS.gapMm) },
      { key: 'rim', ask: 'Board around the outermost pockets, mm', ...assumed(JIG_DEFAULTS.rimMm) },
      { key: 'board', ask: 'Width and height of the board, mm, or fit: no larger than its pockets ask', fallback: FIT },
      {
        key: 'stop',
        ask: 'Corner into which board and pieces are pushed',
        choices: CORNERS,
        fallback: JIG_DEFAULTS.stop,
      },
      {
        key: 'fieldX',
        ask: 'Left edge of the field from the left edge of the board, mm, or centred',
        fallback: CENTRED,
        measuredBy: 'a frame burned as large as the field on scrap in the stop, and a rule',
      },
      {
        key: 'fieldY',
        ask: 'Upper edge of the field from the upper edge of the board, mm, or centred',
        fallback: CENTRED,
      },
      {
        key: 'origin',
        ask: 'What the control software calls 0, 0',
        choices: ORIGINS,
        fallback: JIG_DEFAULTS.origin.at,
      },
      { key: 'yAxis', ask: 'How the control software counts y', choices: Y_AXES, fallback: JIG_DEFAULTS.origin.yAxis },
      {
        key: 'margin',
        ask: 'Nothing is burned nearer to the edge of the field, mm',
        ...assumed(JIG_DEFAULTS.marginMm),
      },
      {
        key: 'clearance',
        ask: 'What a pocket is cut larger than its piece, mm',
        ...assumed(JIG_DEFAULTS.clearanceMm),
      },
      {
        key: 'kerf',
        ask: 'Width of the cut, mm; 0 where the cutting software allows for it',
        fallback: String(JIG_DEFAULTS.kerfMm),
        measuredBy: 'a square cut out of scrap: half of what it is smaller than its hole',
      },
      { key: 'strip', ask: 'A pocket for the control strip', choices: ['no', 'yes'], fallback: 'no' },
    ],
    known,
  );
}

/** @throws AppError option-invalid */
export function checkJigAnswer(question: Question, text: string): void {
  checkChoice(text, question);
  readNumbers({ [question.key]: text });
}

/** The answers that would give a jig again. */
export function answersOfJig(jig: Jig): Readonly<Record<string, string>> {
  const { title, name, machine, stop, fieldAtMm, origin, marginMm, clearanceMm, kerfMm, pockets } = jig;
  const grid = findGrid(pockets.filter(({ use }) => use === 'piece'));
  const left = Math.min(...pockets.map(({ xMm }) => xMm));
  const laid = grid
    ? {
        ...{ columns: String(grid.columns), rows: String(grid.rows), pocket: saySize(grid) },
        ...{ gap: String(grid.gapMm), rim: String(left), board: `${jig.widthMm}x${jig.heightMm}` },
      }
    : Object.fromEntries(LAYOUT_KEYS.map((key) => [key, KEPT]));
  return {
    title,
    name,
    ...(machine === undefined ? {} : { machine }),
    ...laid,
    stop,
    fieldX: fieldAtMm ? String(fieldAtMm[0]) : CENTRED,
    fieldY: fieldAtMm ? String(fieldAtMm[1]) : CENTRED,
    origin: origin.at,
    yAxis: origin.yAxis,
    margin: String(marginMm),
    clearance: String(clearanceMm),
    kerf: String(kerfMm),
    strip: pockets.some(({ use }) => use === 'strip') ? 'yes' : 'no',
  };
}

const saySize = ({ widthMm, heightMm, round }: Pick<Pocket, 'widthMm' | 'heightMm' | 'round'>) =>
  round ? `⌀${widthMm}` : `${widthMm}x${heightMm}`;

interface JigOptions {
  /** The jig that is changed or copied. */
  readonly from?: string;
}

/**
 * Keeps a new jig in the shop, or one that is changed.
 * @throws AppError option-invalid, name-unknown, jig-exceeds-field, file-invalid for what cannot be cut, result-exists,
 * path-*
 */
export async function newJig(
  answers: OptionValues,
  { shop, force = false, from }: Pick<TaskContext, 'shop'> & JigOptions & { readonly force?: boolean },
): Promise<NewJigRecord> {
  const { jig } = buildJig(answers, { shop, ...(from === undefined ? {} : { from }) });
  return { jig, path: await shop.write('jigs', jig.name, jig, { force }) };
}

/** The jig of answers as a picture to scale: board, pockets, stop and field. @throws AppError as `newJig` */
export function sketchNewJig(answers: OptionValues, options: Pick<TaskContext, 'shop'> & JigOptions): string {
  const { jig, machine } = buildJig(answers, options);
  const svg = sketchJig(jig, { fieldMm: machine.fieldMm, pieces: [], marks: [] });
  return svg.replace('<svg ', '<svg xmlns="http://www.w3.org/2000/svg" font-family="sans-serif" ');
}

/** The drawing of a jig of the shop, to be engraved and cut. @throws AppError name-unknown, file-invalid */
export function drawJigToCut(name: string, shop: Shop): string {
  const { json, path } = shop.read('jigs', name);
  const jig = parseJig(json, path);
  return drawJig(jig, { mark: markOfJig(jig) });
}

function buildJig(
  answers: OptionValues,
  { shop, from }: Pick<TaskContext, 'shop'> & JigOptions,
): { readonly jig: Jig; readonly machine: Machine } {
  const own = from === undefined ? undefined : readJig(from, shop);
  const before = own ? answersOfJig(own) : undefined;
  const all = fillAnswers(answers, (known) => askOfJig(known, shop));
  const title = textOf(all, 'title')!.trim();
  const name = textOf(all, 'name') ?? nameOfTitle(title);
  if (name === undefined) throw new AppError('option-invalid', `title: found "${title}", needed letters or digits`);
  refuseRecordName(name, 'name');
  const machine = readMachine(textOf(all, 'machine')!, shop);
  const isKept = before !== undefined && LAYOUT_KEYS.every((key) => textOf(all, key)?.trim() === before[key]);
  const laid = isKept ? keepPockets(own!, all) : layPockets(all, { name, title, machine });
  const { fieldAtMm: _, ...board } = laid;
  const fieldAtMm = readFieldPlace(all, laid, machine);
  const jig = parseJig(
    JSON.parse(JSON.stringify({ ...board, name, title, machine: machine.name, ...(fieldAtMm ? { fieldAtMm } : {}) })),
    name,
  );
  refuseBeyondField(jig, { fieldMm: machine.fieldMm, machine: machine.name });
  return { jig, machine };
}

function readJig(name: string, shop: Shop): Jig {
  const { json, path } = shop.read('jigs', name);
  return parseJig(json, path);
}

/** Pockets, holes and outline as they are, with what else was answered. */
function keepPockets(own: Jig, answers: OptionValues): Jig {
  const { stop, origin, marginMm, clearanceMm, kerfMm } = readFrame(answers);
  const pockets = own.pockets.map((pocket) => (pocket.stop === own.stop ? { ...pocket, stop } : pocket));
  return { ...own, stop, origin, marginMm, clearanceMm, kerfMm, pockets };
}

function layPockets(
  answers: OptionValues,
  { name, title, machine }: { readonly name: string; readonly title: string; readonly machine: Machine },
): Jig {
  const missing = (['columns', 'rows', 'pocket'] as const).filter((key) => textOf(answers, key)?.trim() === KEPT);
  if (missing.length > 0) {
    const [first] = missing;
    throw new AppError(
      'option-invalid',
      `${first}: found "${KEPT}", needed columns, rows and pocket, all three, where the pockets are laid anew`,
      { options: missing },
    );
  }
  const { gapMm: usualGapMm, rimMm: usualRimMm } = JIG_DEFAULTS;
  const { columns, rows, pocket, board, gapMm = usualGapMm, rimMm = usualRimMm } = readNumbers(answers);
  const frame = { ...readFrame(answers), name, title, machine: machine.name, gapMm, rimMm };
  const lay = (more: Partial<FrameOptions>) =>
    layoutGrid({
      ...{ ...frame, ...more, columns: columns!, rows: rows!, fieldMm: machine.fieldMm, machineTitle: machine.name },
      ...{ pocketWidthMm: pocket!.widthMm, pocketHeightMm: pocket!.heightMm, isRound: isRoundSize(pocket!) },
      ...(checkOf('strip', answers, ['no', 'yes']) === 'yes' ? { strip: STRIP_ROOM } : {}),
    });
  const least = lay({});
  if (!board) return least;
  const { widthMm, heightMm } = board;
  if (widthMm < least.widthMm || heightMm < least.heightMm) {
    throw new AppError(
      'option-invalid',
      `board: found ${widthMm} × ${heightMm} mm, needed at least ${least.widthMm} × ${least.heightMm} mm for its pockets with their rim`,
      { options: ['board', 'rim', 'gap'] },
    );
  }
  return lay({ roomMm: [widthMm - 2 * rimMm, heightMm - 2 * rimMm] });
}

const checkOf = <T extends string>(key: string, answers: OptionValues, choices: readonly T[]) =>
  checkChoice(textOf(answers, key)!, { key, ask: '', choices, fallback: undefined }) as T;

function readFrame(answers: OptionValues) {
  const { marginMm, clearanceMm, kerfMm } = readNumbers(answers);
  const origin = { at: checkOf('origin', answers, ORIGINS), yAxis: checkOf('yAxis', answers, Y_AXES) };
  return {
    ...{ stop: checkOf('stop', answers, CORNERS), origin },
    ...{ marginMm: marginMm!, clearanceMm: clearanceMm!, kerfMm: kerfMm! },
  };
}

/** Undefined for a field that lies centred over the board both ways. */
function readFieldPlace(answers: OptionValues, jig: Jig, { fieldMm }: Machine): Jig['fieldAtMm'] {
  const { fieldX, fieldY } = readNumbers(answers);
  if (fieldX === undefined && fieldY === undefined) return undefined;
  const centred = placeField({ widthMm: jig.widthMm, heightMm: jig.heightMm }, fieldMm);
  return [fieldX ?? centred.xMm, fieldY ?? centred.yMm];
}

/** @throws AppError option-invalid */
function readNumbers(answers: OptionValues) {
  const text = (key: string) => textOf(answers, key)?.trim();
  const read = <T>(key: string, parse: (given: string) => T): T | undefined => {
    const given = text(key);
    return given === undefined ? undefined : parse(given);
  };
  const count = (key: 'columns' | 'rows') =>
    read(key, () => numberOf(answers, key, { min: 1, max: MOST_ROWS, whole: true }));
  const length = (key: string) => read(key, (given) => (given === KEPT ? undefined : parseLengthOrZeroMm(given, key)));
  const place = (key: 'fieldX' | 'fieldY') =>
    read(key, (given) =>
      given === CENTRED ? undefined : readPlaceMm(given, key === 'fieldX' ? 'field-x' : 'field-y'),
    );
  return {
    columns: text('columns') === KEPT ? undefined : count('columns'),
    rows: text('rows') === KEPT ? undefined : count('rows'),
    pocket: read('pocket', (given) => (given === KEPT ? undefined : parseSizeMm(given, 'pocket'))),
    board: read('board', (given) => ([FIT, KEPT].includes(given) ? undefined : parseSizeMm(given, 'board'))),
    gapMm: length('gap'),
    rimMm: length('rim'),
    marginMm: length('margin'),
    clearanceMm: length('clearance'),
    kerfMm: length('kerf'),
    fieldX: place('fieldX'),
    fieldY: place('fieldY'),
  };
}

/** A length that may lie on either side. @throws AppError option-invalid */
function readPlaceMm(text: string, what: string): number {
  if (!/^[-−]/.test(text)) return parseLengthOrZeroMm(text, what);
  return -parseLengthMm(text.slice(1).trim(), what);
}

/** The rows and columns in which pockets of one size lie at even gaps; undefined where they do not. */
function findGrid(pockets: readonly Pocket[]) {
  const [first] = pockets;
  if (!first) return undefined;
  const { widthMm, heightMm, xMm, yMm, round } = first;
  const columns = new Set(pockets.map((one) => one.xMm)).size;
  const rows = new Set(pockets.map((one) => one.yMm)).size;
  const gapX = columns > 1 ? (Math.max(...pockets.map((one) => one.xMm)) - xMm) / (columns - 1) - widthMm : undefined;
  const gapY = rows > 1 ? (Math.max(...pockets.map((one) => one.yMm)) - yMm) / (rows - 1) - heightMm : undefined;
  const gapMm = Math.round((gapX ?? gapY ?? JIG_DEFAULTS.gapMm) * 1e6) / 1e6;
  const near = (a: number, b: number) => Math.abs(a - b) < 1e-5;
  const isEven =
    columns * rows === pockets.length &&
    gapMm >= 0 &&
    near(gapX ?? gapMm, gapMm) &&
    near(gapY ?? gapMm, gapMm) &&
    pockets.every(
      (one, at) =>
        one.round === round &&
        near(one.widthMm, widthMm) &&
        near(one.heightMm, heightMm) &&
        near(one.xMm, xMm + (at % columns) * (widthMm + gapMm)) &&
        near(one.yMm, yMm + Math.floor(at / columns) * (heightMm + gapMm)),
    );
  return isEven ? { columns, rows, widthMm, heightMm, gapMm, ...(round ? { round } : {}) } : undefined;
}
