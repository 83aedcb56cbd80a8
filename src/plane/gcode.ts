import { AppError } from '../errors.ts';
import type { DotGrid, Dots } from './plane.ts';

/** Ways in which a controller can read a program, for records, questions and options. */
export const PROGRAM_CHOICES = {
  units: ['mm', 'in'],
  feedPer: ['min', 's'],
  beam: ['M3', 'M4'],
  end: ['M2', 'M30'],
  zero: ['field', 'piece'],
  turnAxis: ['A', 'B', 'C', 'Y'],
} as const;

/**
 * How the controller of a machine reads a program: the words of the standard that it knows, and its limits. G0 and G1
 * move, G20 and G21 are inches and millimetres, G90 absolute places, G94 feed per minute, F feed, S the power, M0 a
 * pause, M3 and M4 let the beam follow S, M5 keeps it off, M2 and M30 end; A, B and C turn, in degrees; remarks stand
 * in parentheses (source: 'iso6983'; 'kramer2000', sections 2.1.2 and 3.3 to 3.6).
 */
export interface ProgramWords {
  readonly units: (typeof PROGRAM_CHOICES.units)[number];
  /** Time of the F word: the standard's minute, or a second. */
  readonly feedPer: (typeof PROGRAM_CHOICES.feedPer)[number];
  /** The S word of full power. */
  readonly fullPower: number;
  /** The smallest step of the S word; absent: 1. */
  readonly powerStep?: number;
  /** The word that lets the beam follow S. */
  readonly beam: (typeof PROGRAM_CHOICES.beam)[number];
  readonly end: (typeof PROGRAM_CHOICES.end)[number];
  /** Decimals that it reads of a place, in its own unit. */
  readonly decimals: number;
  /** Where its 0, 0 is: at its place in the field, or at that corner of the piece, set by hand. */
  readonly zero: (typeof PROGRAM_CHOICES.zero)[number];
  /** Blocks that it can follow in a second; absent: not known. */
  readonly blocksPerS?: number;
  /** How much later than told the beam follows, measured with lines there and back, µs; absent: 0. */
  readonly beamLagUs?: number;
  /** Slack of the scan axis, measured likewise: how far lines back lie ahead of their place in X, mm; absent: 0. */
  readonly backlashMm?: number;
  /** How it turns round pieces; absent: it has no word for that. */
  readonly turn?: {
    /** An axis that turns, or Y where the motor of the rotary takes that axis' place. */
    readonly axis: (typeof PROGRAM_CHOICES.turnAxis)[number];
    /** What its word grows by in a whole turn: degrees, or for Y mm; negative where it turns the other way. */
    readonly wordPerTurn: number;
  };
}

/** One bitmap within a program. Lengths are mm, x right and y down from the upper left corner of the piece. */
export interface ProgramPart {
  /** What is burned, and how, for people. */
  readonly remarks: readonly string[];
  readonly dots: Dots;
  readonly grid: DotGrid;
  readonly xMm: number;
  readonly yMm: number;
  /** F word, and S word of a dot at full level. */
  readonly feed: number;
  readonly power: number;
  readonly passes: number;
  readonly scan: 'one-way' | 'two-way';
  /** What is run before and after each line with the beam off. */
  readonly runUpMm: number;
  /** What of bare places is run at scan speed. */
  readonly bare: 'skipped' | 'line-ends-scanned' | 'all-scanned';
  /** How far lines are told beside their place, so that they land on it: those to the right, those to the left. */
  readonly shiftMm: { readonly ahead: number; readonly back: number };
}

/** Bitmaps as one program: all that its bytes depend on. */
export interface DotProgram {
  readonly words: ProgramWords;
  /** For people, at its head. */
  readonly remarks: readonly string[];
  readonly parts: readonly ProgramPart[];
  /** What is gone round without power before the pause, mm as of the parts. */
  readonly frame: { readonly xMm: number; readonly yMm: number; readonly widthMm: number; readonly heightMm: number };
  /** Where the piece's upper left corner lies on the axes, mm, and whether they run with x and y or against. */
  readonly axes: { readonly xMm: number; readonly yMm: number; readonly x: 1 | -1; readonly y: 1 | -1 };
  /**
   * Of a piece that turns, whose y runs around it: the axis in Y's place, what its word grows by for each mm, and how
   * far before a pass it turns back, so that all of a pass lies on one side of the slack, mm.
   */
  readonly turn?: { readonly axis: string; readonly wordPerMm: number; readonly slackMm: number };
}

/** Millimetres of an inch. Exact: by definition. */
const INCH_MM = 25.4;
/** Decimals of what remarks say for a reader. Assumed: finer than any controller's step. */
const REMARK_DECIMALS = 9;
/**
 * Characters of a line. Assumed: far below the 256 that NIST's interpreter reads (section 3.3.2), and as wide as a
 * small display.
 */
const LINE_CHARACTERS = 72;

const shorten = (value: number, decimals: number) => String(Number(value.toFixed(decimals)) + 0);

/** One block with its end. */
type Block = string;

/** The smallest step of a place, mm. */
export function stepMmOf({ units, decimals }: ProgramWords): number {
  return unitMm({ units }) / Number(`1e${decimals}`);
}

const unitMm = ({ units }: Pick<ProgramWords, 'units'>) => (units === 'in' ? INCH_MM : 1);

/** The S word nearest to a power, at least one step. */
export function roundPower(power: number, { powerStep = 1 }: ProgramWords): number {
  return Number((Math.max(1, Math.round(power / powerStep)) * powerStep).toPrecision(12));
}

/** What a program holds, counted while it is written. */
export interface ProgramCounts {
  bytes: number;
  blocks: number;
}

/** Codes of letters. Exact: of ASCII. */
const LETTER_A = 65;
const LETTER_X = 88;

/** Bytes of a piece of the file that is made at once. Assumed: large beside a block, small beside any memory. */
const CHUNK_BYTES = 65_536;

/** The file of a program in pieces, so that it need never be whole in memory. */
export function* streamProgram(program: DotProgram, counts?: ProgramCounts): Generator<Buffer> {
  let text = '';
  for (const block of writeBlocks(program)) {
    text += block;
    if (counts && isBlock(block)) counts.blocks++;
    if (text.length < CHUNK_BYTES) continue;
    const chunk = Buffer.from(text, 'latin1');
    if (counts) counts.bytes += chunk.length;
    yield chunk;
    text = '';
  }
  const rest = Buffer.from(text, 'latin1');
  if (counts) counts.bytes += rest.length;
  yield rest;
}

/** Remarks and the signs of start and end are none. */
const isBlock = (block: Block) => block.charCodeAt(0) >= LETTER_A;

/** All blocks. The beam is told to be on only along a run of dots, between a run-up and a run-out without power. */
function* writeBlocks(program: DotProgram): Generator<Block> {
  const { words, parts, remarks, frame } = program;
  yield '%\n';
  yield `${PROGRAM_MARK}\n`;
  for (const text of remarks) yield* writeRemark(text);
  yield `${words.units === 'in' ? 'G20' : 'G21'} G90${words.feedPer === 'min' ? ' G94' : ''}\n`;
  yield 'M5 S0\n';
  const place = placeOn(program);
  yield* writeRemark('Once round the piece, without power');
  const [left, top, right, bottom] = [frame.xMm, frame.yMm, frame.xMm + frame.widthMm, frame.yMm + frame.heightMm];
  for (const [x, y] of [
    [left, top],
    [right, top],
    [right, bottom],
    [left, bottom],
    [left, top],
  ] as const) {
    yield `G0 ${place.x(x)} ${place.y(y)}\n`;
  }
  yield* writeRemark('Pause: look whether it lies right, close the enclosure, then go on');
  yield 'M0\n';
  for (const [at, part] of parts.entries()) yield* writePart(part, { ...program, isLast: at === parts.length - 1 });
  yield 'M5 S0\n';
  yield `${words.end}\n`;
  yield '%\n';
}

/** Remarks hold no parentheses and no letters beyond ASCII: those are written otherwise or left out. */
function* writeRemark(text: string): Generator<Block> {
  const plain = text
    .replaceAll('µ', 'u')
    .replaceAll('²', '2')
    .replaceAll('×', 'x')
    .replaceAll('…', '...')
    .replace(/[–—−]/g, '-')
    .replace(/[‘’“”"]/g, "'")
    .normalize('NFKD')
    .replace(/[(]/g, '[')
    .replace(/[)]/g, ']')
    .replace(/[^\x20-\x7e]/g, '');
  let line = '';
  for (const word of plain.split(' ')) {
    if (line !== '' && line.length + word.length + 3 > LINE_CHARACTERS) {
      yield `(${line})\n`;
      line = '';
    }
    line += line === '' ? word : ` ${word}`;
  }
  if (line !== '') yield `(${line})\n`;
}

/** The words of places, from mm on the piece. */
function placeOn({ words, axes, turn }: Pick<DotProgram, 'words' | 'axes' | 'turn'>) {
  const unit = unitMm(words);
  return {
    x: (mm: number) => `X${shorten((axes.xMm + axes.x * mm) / unit, words.decimals)}`,
    y: turn
      ? (mm: number) => `${turn.axis}${shorten(turn.wordPerMm * mm, words.decimals)}`
      : (mm: number) => `Y${shorten((axes.yMm + axes.y * mm) / unit, words.decimals)}`,
  };
}

/** The X words of every edge between dots, told shifted: thousands of lines use the same. */
function listEdges({ dots: { width }, grid: { pitchMm }, xMm }: ProgramPart, x: (mm: number) => string, shift: number) {
  return Array.from({ length: width + 1 }, (_, at) => x(xMm + at * pitchMm + shift));
}

function* writePart(part: ProgramPart, program: DotProgram & { readonly isLast: boolean }): Generator<Block> {
  const { dots, grid, xMm, yMm, feed, passes, scan, runUpMm, shiftMm } = part;
  const { words, turn } = program;
  const place = placeOn(program);
  for (const text of [...part.remarks, ...listFacts(part, program)]) yield* writeRemark(text);
  yield `F${shorten(feed, 4)}\n`;
  const ways = {
    ahead: { edges: listEdges(part, place.x, shiftMm.ahead), shift: shiftMm.ahead, sign: 1 },
    back: { edges: listEdges(part, place.x, shiftMm.back), shift: shiftMm.back, sign: -1 },
  };
  const powers = Array.from({ length: dots.levels }, (_, level) => `S${powerOf(level, part, words)}\n`);
  let start = '';
  for (let pass = 0; pass < passes; pass++) {
    let isBack = false;
    let hasBegun = false;
    for (let row = 0; row < dots.height; row++) {
      const line = scanOf(part, row);
      if (!line) continue;
      const { edges, shift, sign } = isBack ? ways.back : ways.ahead;
      const [from, to] = isBack ? [line.to, line.from] : [line.from, line.to];
      const y = place.y(yMm + (row + 0.5) * grid.lineSpacingMm);
      const lead = `G0 ${place.x(xMm + from * grid.pitchMm + shift - sign * runUpMm)} ${y}\n`;
      if (start === '') start = lead;
      if (turn && !hasBegun) yield `G0 ${place.y(yMm - turn.slackMm)}\n`;
      hasBegun = true;
      yield lead;
      yield `${words.beam} S0\n`;
      yield `G1 ${edges[from]} S0\n`;
      yield* writeRuns(dots, { row, from, to, edges, powers });
      yield `${place.x(xMm + to * grid.pitchMm + shift + sign * runUpMm)}S0\n`;
      yield 'M5\n';
      isBack = scan === 'two-way' && !isBack;
    }
  }
  if (program.isLast && start !== '') yield start;
}

/** From where to where a line is run at scan speed, in edges between dots; undefined for one that is left out. */
function scanOf({ dots: { data, width }, bare }: ProgramPart, row: number) {
  const start = row * width;
  let from = 0;
  while (from < width && data[start + from] === 0) from++;
  if (from === width) return bare === 'all-scanned' ? { from: 0, to: width } : undefined;
  if (bare !== 'skipped') return { from: 0, to: width };
  let to = width;
  while (data[start + to - 1] === 0) to--;
  return { from, to };
}

/** Runs of dots of one level, one block each, in the sense of the line. */
function* writeRuns(
  { data, width }: Dots,
  {
    row,
    from,
    to,
    edges,
    powers,
  }: {
    readonly row: number;
    readonly from: number;
    readonly to: number;
    readonly edges: readonly string[];
    readonly powers: readonly string[];
  },
): Generator<Block> {
  const start = row * width;
  if (from < to) {
    for (let at = from; at < to; ) {
      const level = data[start + at];
      let end = at + 1;
      while (end < to && data[start + end] === level) end++;
      yield edges[end] + powers[level];
      at = end;
    }
    return;
  }
  for (let at = from; at > to; ) {
    const level = data[start + at - 1];
    let end = at - 1;
    while (end > to && data[start + end - 1] === level) end--;
    yield edges[end] + powers[level];
    at = end;
  }
}

function powerOf(level: number, { dots, power }: ProgramPart, words: ProgramWords): number {
  return level === 0 ? 0 : roundPower((power * level) / (dots.levels - 1), words);
}

/** First remark of every program of ours: a file is known by it. */
const PROGRAM_MARK = '(Tonewright: machine code, ISO 6983-1)';

/** What a reader needs to find the dots again, in the program's own unit. */
function listFacts({ dots, grid, xMm, yMm, power, shiftMm }: ProgramPart, { words, axes, turn }: DotProgram): string[] {
  const say = (mm: number) => shorten(mm / unitMm(words), REMARK_DECIMALS);
  const { width, height, levels } = dots;
  const across = turn ? shorten(turn.wordPerMm * yMm, REMARK_DECIMALS) : say(axes.yMm + axes.y * yMm);
  return [
    `Bitmap ${width} x ${height} dots of ${levels} levels, full level S${roundPower(power, words)}`,
    `Grid pitch ${shorten(grid.pitchMm, REMARK_DECIMALS)} mm, line spacing ${shorten(grid.lineSpacingMm, REMARK_DECIMALS)} mm`,
    `Corner X${say(axes.xMm + axes.x * xMm)} Y${across} to X${axes.x} Y${turn ? 1 : axes.y}`,
    `Shift X${say(axes.x * shiftMm.ahead)} ahead, X${say(axes.x * shiftMm.back)} back`,
    ...(turn ? [`Around by ${turn.axis}${shorten(turn.wordPerMm, REMARK_DECIMALS)} for each mm, for Y`] : []),
  ];
}

/** Whether a file begins as programs of ours do. */
export function isProgram(bytes: Uint8Array): boolean {
  const head = `%\n${PROGRAM_MARK}`;
  return Buffer.from(bytes.buffer, bytes.byteOffset, Math.min(bytes.length, head.length)).toString('latin1') === head;
}

const FACTS =
  /\(Bitmap (\d+) x (\d+) dots of (\d+) levels, full level S(\S+)\)\n\(Grid pitch (\S+) mm, line spacing (\S+) mm\)\n\(Corner X(\S+) Y(\S+) to X(-?1) Y(-?1)\)\n\(Shift X(\S+) ahead, X(\S+) back\)(?:\n\(Around by ([ABCY])(\S+) for each mm, for Y\))?/;

/** Bytes of a program in which its facts stand. Assumed: remarks are a few kilobytes. */
const HEAD_BYTES = 65_536;

function readFacts(bytes: Uint8Array) {
  const head = Buffer.from(bytes.buffer, bytes.byteOffset, Math.min(bytes.length, HEAD_BYTES)).toString('latin1');
  const found = FACTS.exec(head);
  if (!found) return undefined;
  const [width, height, levels, power, pitchMm, lineSpacingMm, x, y, signX, signY, ahead, back] = found
    .slice(1, 13)
    .map(Number) as [number, number, number, number, number, number, number, number, number, number, number, number];
  const [axis, wordPerMm] = found.slice(13);
  const turn = axis === undefined ? undefined : { axis, wordPerMm: Number(wordPerMm) };
  return { width, height, levels, power, pitchMm, lineSpacingMm, x, y, signX, signY, ahead, back, turn };
}

/** Pitch and line spacing of a program's bitmap, mm. */
export function readProgramGrid(bytes: Uint8Array): DotGrid | undefined {
  const facts = readFacts(bytes);
  return facts && { pitchMm: facts.pitchMm, lineSpacingMm: facts.lineSpacingMm };
}

/** How far from its place an edge may be told, in dots. Assumed: a controller's step is far smaller, see `stepMmOf`. */
const OFF_GRID = 0.3;

/**
 * The dots of a program that `streamProgram` wrote, found by following it: what its beam passes with power. Greys, 255
 * bare, 0 the full level.
 * @throws AppError image-broken; file-invalid for one of several bitmaps
 */
export function readProgram(
  bytes: Buffer,
  name: string,
): { readonly width: number; readonly height: number; readonly grey: Uint8Array } {
  const broken = (found: string) =>
    new AppError('image-broken', `${name}: found ${found}, needed a whole program`, { name, bytes: bytes.length });
  const facts = readFacts(bytes);
  if (!facts) throw broken('no facts of its bitmap at its head');
  const { width, height, levels } = facts;
  const text = bytes.toString('latin1');
  const bitmaps = text.match(/^\(Bitmap /gm)!.length;
  if (bitmaps > 1) {
    throw new AppError(
      'file-invalid',
      `${name}: found ${bitmaps} bitmaps in one program, as a dose chart's cells are, needed one; the chart's own sheet says how long it takes, and chart.png holds all of it`,
      { name, bitmaps },
    );
  }
  const unit = unitMm({ units: /^G20\b/m.test(text) ? 'in' : 'mm' });
  const dotX = (facts.signX * facts.pitchMm) / unit;
  const { axis, wordPerMm } = facts.turn ?? { axis: 'Y', wordPerMm: facts.signY / unit };
  const dotY = wordPerMm * facts.lineSpacingMm;
  const grey = new Uint8Array(width * height).fill(255);
  const snap = (value: number, what: string) => {
    const whole = Math.round(value);
    if (Math.abs(value - whole) > OFF_GRID) throw broken(`a run that ends between two ${what}`);
    return whole;
  };
  let [x, y, s, isBurning, isOn, isEnded] = [0, 0, 0, false, false, false];
  for (let at = 0; at < text.length; ) {
    const end = text.indexOf('\n', at);
    const line = end < 0 ? text.slice(at) : text.slice(at, end);
    at = end < 0 ? text.length : end + 1;
    if (line.startsWith('(')) continue;
    let nextX = x;
    let moves = false;
    const power = line.charCodeAt(0) === LETTER_X ? line.indexOf('S') : -1;
    if (power > 0) {
      // Nearly all lines: a place and a power, as `writeRuns` writes them.
      nextX = Number(line.slice(1, power));
      s = Number(line.slice(power + 1));
      moves = true;
    } else {
      for (const [, letter, digits] of line.matchAll(/([A-Z])(-?[\d.]+)/g)) {
        const value = Number(digits);
        if (letter === 'X') [nextX, moves] = [value, true];
        else if (letter === axis) y = value;
        else if (letter === 'S') s = value;
        else if (letter === 'G' && value <= 1) isBurning = value === 1;
        else if (letter === 'M' && value >= 3 && value <= 5) isOn = value < 5;
        else if (letter === 'M' && (value === 2 || value === 30)) isEnded = true;
      }
    }
    if (moves && isBurning && isOn && s > 0) {
      const shift = (nextX - x) * dotX > 0 ? facts.ahead : facts.back;
      const edges = [x, nextX].map((place) => snap((place - shift - facts.x) / dotX, 'dots')).sort((a, b) => a - b);
      const row = snap((y - facts.y) / dotY - 0.5, 'lines');
      const level = Math.round((s / facts.power) * (levels - 1));
      if (row < 0 || row >= height || edges[0]! < 0 || edges[1]! > width || level > levels - 1) {
        throw broken('a run beyond its bitmap');
      }
      const value = 255 - Math.round((255 * Math.max(1, level)) / (levels - 1));
      grey.fill(value, row * width + edges[0]!, row * width + edges[1]!);
    }
    x = nextX;
  }
  if (!isEnded) throw broken('no end');
  return { width, height, grey };
}
