import { AppError } from '../errors.ts';
import { type Notice, notice } from '../notices.ts';
import type { BurnSettings } from '../optics/index.ts';
import {
  type DotGrid,
  type DotProgram,
  type Dots,
  type ProgramPart,
  type ProgramWords,
  roundPower,
  stepMmOf,
} from '../plane/index.ts';
import { type ControlSoftware, controlOf, type FieldPlace, placeInControl } from './control.ts';
import { motionRecord } from './motions/register.ts';
import type { Machine } from './types.ts';

/** One bitmap to be burned, and where it lies from the upper left corner of the piece, mm. */
export interface ProgramBlock {
  readonly remark: string;
  readonly dots: Dots;
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  readonly xMm: number;
  readonly yMm: number;
}

/** The piece and where its upper left corner lies in the field, mm from the field's upper left corner. */
export interface ProgramPiece extends FieldPlace {
  readonly widthMm: number;
  readonly heightMm: number;
  /** Once around a piece that turns, mm: its height runs around it then, its width along its axis. */
  readonly turnMm?: number;
}

export interface ProgramRequest {
  readonly title: string;
  readonly blocks: readonly ProgramBlock[];
  readonly piece: ProgramPiece;
  /** Of the machine and of the material. */
  readonly cautions: readonly string[];
}

/** What a ticket says of a program. */
export interface ProgramFacts {
  readonly bytes: number;
  readonly blocks: number;
  readonly words: ProgramWords;
  /** F and S of a dot at full level, and the power that S is, W. */
  readonly feed: number;
  readonly power: number;
  readonly powerW: number;
  /** Free room that lines need to the left and right of the piece, mm. */
  readonly runUpMm: number;
}

/** Where control software counts from when nothing is known. By definition: the right-handed axes of ISO 841. */
const STANDARD_ORIGIN: ControlSoftware['origin'] = 'bottom-left';
/** Seconds in a minute. Exact: by definition. */
const MINUTE_S = 60;
/** Millimetres of an inch. Exact: by definition. */
const INCH_MM = 25.4;
/**
 * Part of a dot that a controller's step may be. Assumed: an edge is then within a twentieth of a dot of its place,
 * far less than a spot is wide.
 */
const STEP_OF_DOT = 0.1;
/** Share of power by which a rounded S word is told of. Assumed: what is just seen on a steep material. */
const POWER_OFF = 0.01;
/**
 * How far a rotary turns back before a pass, turns. Assumed: common practice, no source; two degrees, more than gears
 * or the belt of one give way.
 */
const SLACK_TURNS = 2 / 360;
/** Blocks that a controller has read ahead. Assumed: shorter lines do not starve it, whatever their pace. */
const READ_AHEAD = 16;

/** @throws AppError program-impossible for a machine whose record does not say that it reads programs */
export function wordsOf({ name, program }: Pick<Machine, 'name' | 'program'>): ProgramWords {
  if (program) return program;
  throw new AppError(
    'program-impossible',
    `${name}: found no word in its record that its controller reads programs (ISO 6983, G-code), needed how it reads them: "program" in the record, or a machine described with it`,
    { machine: name },
  );
}

/** F and S words of settings, not rounded. */
function wordedSettings({ speedMmPerS, powerW }: BurnSettings, machine: Machine, words: ProgramWords) {
  const fullPowerW = controlOf(machine)?.fullPowerW ?? machine.powerW.max;
  const perUnit = words.units === 'in' ? INCH_MM : 1;
  return {
    feed: (speedMmPerS * (words.feedPer === 'min' ? MINUTE_S : 1)) / perUnit,
    exactPower: (words.fullPower * powerW) / fullPowerW,
    wattsPerS: fullPowerW / words.fullPower,
  };
}

/** How far lines are told beside their place: earlier by what the beam lags behind, and back lines by the slack. */
export function shiftsOf(speedMmPerS: number, { beamLagUs = 0, backlashMm = 0 }: ProgramWords) {
  const lagMm = (speedMmPerS * beamLagUs) / 1e6;
  // What is 0 is no minus 0: files say it.
  return { ahead: 0 - lagMm, back: lagMm - backlashMm };
}

/**
 * Run-up of a program's lines: in whole steps of the controller, so that rounding never takes of it.
 * @returns mm
 */
export function programRunUpMm(speedMmPerS: number, { motion }: Machine, words: ProgramWords): number {
  const stepMm = stepMmOf(words);
  const { runUpMm } = motionRecord(motion).computeRunUp(motion, speedMmPerS);
  return (Math.ceil(runUpMm / stepMm) + 1) * stepMm;
}

/** What of the piece's surroundings a line runs over, mm on either side: run-up and shift. */
function roomMm(speedMmPerS: number, machine: Machine, words: ProgramWords): number {
  const { ahead, back } = shiftsOf(speedMmPerS, words);
  return programRunUpMm(speedMmPerS, machine, words) + Math.max(Math.abs(ahead), Math.abs(back));
}

/**
 * What stands against a program, told before anything is made.
 * @throws AppError program-impossible
 */
export function refuseProgram(
  machine: Machine,
  {
    widthMm,
    xMm = (machine.fieldMm[0] - widthMm) / 2,
    settings,
    grid,
    turnMm,
  }: {
    readonly widthMm: number;
    /** Left edge of the bitmap in the field; in its middle when absent. */
    readonly xMm?: number;
    readonly settings: Pick<BurnSettings, 'speedMmPerS'>;
    readonly grid: DotGrid;
    /** Once around a piece that turns, mm. */
    readonly turnMm?: number | undefined;
  },
): void {
  const words = wordsOf(machine);
  if (turnMm !== undefined) refuseTurn(machine, { words, turnMm, grid });
  const { speedMmPerS } = settings;
  const stepMm = stepMmOf(words);
  if (stepMm > STEP_OF_DOT * grid.pitchMm) {
    throw new AppError(
      'program-impossible',
      `${machine.name}: found places in steps of ${stepMm} mm for dots ${grid.pitchMm} mm apart, needed steps of a tenth of a dot: more decimals, if the controller reads them, or a pitch of ${Number((stepMm / STEP_OF_DOT).toPrecision(6))} mm or more`,
      { stepMm, pitchMm: grid.pitchMm },
    );
  }
  const room = roomMm(speedMmPerS, machine, words);
  const [fieldWidth] = machine.fieldMm;
  const beside =
    words.zero === 'field' && turnMm === undefined
      ? Math.min(xMm, fieldWidth - xMm - widthMm)
      : (fieldWidth - widthMm) / 2;
  if (room <= beside) return;
  throw new AppError(
    'program-impossible',
    `${machine.name}: found ${mm(Math.max(0, beside))} mm of the field beside a bitmap of ${mm(widthMm)} mm, needed ${roomUp(room)} mm on either side to gain ${speedMmPerS} mm/s there: a lower speed, or a smaller piece`,
    { widthMm, roomMm: room, besideMm: beside },
  );
}

/** @throws AppError program-impossible for a controller without a word that turns, or one too coarse for the lines */
function refuseTurn(
  { name }: Machine,
  { words, turnMm, grid }: { readonly words: ProgramWords; readonly turnMm: number; readonly grid: DotGrid },
): void {
  const { turn, decimals } = words;
  if (!turn) {
    throw new AppError(
      'program-impossible',
      `${name}: found no word in its record that turns a piece, needed the axis of its rotary in the record, such as A, or Y where the motor of the rotary takes that axis' place`,
      { machine: name, options: ['format'] },
    );
  }
  const stepMm = (turnMm / Math.abs(turn.wordPerTurn)) * Number(`1e-${decimals}`);
  if (stepMm <= STEP_OF_DOT * grid.lineSpacingMm) return;
  throw new AppError(
    'program-impossible',
    `${name}: found turns in steps of ${Number(stepMm.toPrecision(3))} mm around the piece for lines ${grid.lineSpacingMm} mm apart, needed steps of a tenth of that: more decimals, if the controller reads them, or a thinner piece`,
    { stepMm, lineSpacingMm: grid.lineSpacingMm },
  );
}

const mm = (value: number) => Number(value.toFixed(2));
/** Never less than is needed. */
const roomUp = (value: number) => mm(Math.ceil(100 * value) / 100);

/** A plan whose bytes `DOT_FORMATS` writes, with what a person should know of it. */
export interface PlannedProgram {
  readonly program: DotProgram;
  readonly notices: readonly Notice[];
  /** Of the first block. */
  readonly facts: Omit<ProgramFacts, 'bytes' | 'blocks'>;
}

/**
 * Bitmaps as a program of the machine's own words, as the standard has them (source: 'iso6983', 'kramer2000'): each
 * with its own feed and power, each line from a run-up to a run-out that its speed needs, by the kinematics of the
 * clock.
 * @throws AppError program-impossible
 */
export function planProgram(machine: Machine, request: ProgramRequest): PlannedProgram {
  const words = wordsOf(machine);
  const { blocks, piece, title, cautions } = request;
  const { turnMm } = piece;
  for (const { settings, grid, dots, xMm } of blocks) {
    refuseProgram(machine, { widthMm: dots.width * grid.pitchMm, xMm: piece.xMm + xMm, settings, grid, turnMm });
  }
  const planned = blocks.map((block) => planPart(block, machine, words));
  const room = Math.max(...blocks.map(({ settings }) => roomMm(settings.speedMmPerS, machine, words)));
  const [first] = planned;
  const { feed, power } = first!.part;
  return {
    program: {
      words,
      remarks: [
        title,
        ...listRemarks(machine, { words, room, piece }),
        ...cautions.map((text) => `Caution: ${text}`),
        'This program is no safe exposure. Try it without power first. The manual of the machine decides.',
      ],
      parts: planned.map(({ part }) => part),
      frame: frameOf(blocks),
      axes: placeAxes(machine, piece, words),
      ...(turnMm === undefined ? {} : { turn: turnOf(words, turnMm) }),
    },
    notices: planned.flatMap(({ notices }) => notices),
    facts: { words, feed, power, powerW: first!.powerW, runUpMm: roomUp(room) },
  };
}

/** The smallest rectangle around all bitmaps. */
function frameOf(blocks: readonly ProgramBlock[]): DotProgram['frame'] {
  const xMm = Math.min(...blocks.map((block) => block.xMm));
  const yMm = Math.min(...blocks.map((block) => block.yMm));
  const right = blocks.map((block) => block.xMm + block.dots.width * block.grid.pitchMm);
  const bottom = blocks.map((block) => block.yMm + block.dots.height * block.grid.lineSpacingMm);
  return { xMm, yMm, widthMm: Math.max(...right) - xMm, heightMm: Math.max(...bottom) - yMm };
}

function planPart(block: ProgramBlock, machine: Machine, words: ProgramWords) {
  const { remark, dots, grid, settings, xMm, yMm } = block;
  const { feed, exactPower, wattsPerS } = wordedSettings(settings, machine, words);
  const power = roundPower(exactPower, words);
  const powerW = power * wattsPerS;
  const { speedMmPerS, passes, scan } = settings;
  const bare = machine.motion.bare ?? 'skipped';
  const part: ProgramPart = {
    remarks: [`${remark}: ${Number(powerW.toPrecision(4))} W, ${speedMmPerS} mm/s, ${passes} x ${scan}`],
    dots,
    grid,
    xMm,
    yMm,
    feed,
    power,
    passes,
    scan,
    runUpMm: programRunUpMm(speedMmPerS, machine, words),
    bare: bare === 'dot-by-dot' ? 'skipped' : bare,
    shiftMm: shiftsOf(speedMmPerS, words),
  };
  return { part, powerW, notices: listNotices(part, { exactPower, speedMmPerS, words }) };
}

function listNotices(
  part: ProgramPart,
  { exactPower, speedMmPerS, words }: { exactPower: number; speedMmPerS: number; words: ProgramWords },
): Notice[] {
  const { dots, power } = part;
  const { blocksPerS: limit } = words;
  const needed = limit === undefined ? 0 : densestLine(part) * speedMmPerS;
  const share = power / exactPower - 1;
  const told = Math.floor(power / (words.powerStep ?? 1));
  return [
    ...(limit !== undefined && needed > limit
      ? [notice('program-too-dense', { needed, limit, speedMmPerS: (speedMmPerS * limit) / needed })]
      : []),
    ...(Math.abs(share) > POWER_OFF
      ? [notice('program-power-rounded', { asked: Number(exactPower.toPrecision(4)), told: power, share })]
      : []),
    ...(told < dots.levels - 1 ? [notice('program-levels-merged', { levels: dots.levels - 1, told })] : []),
  ];
}

/** Blocks a millimetre of the line that has most of them, among lines that are longer than what is read ahead. */
export function densestLine({ dots: { data, width, height }, grid: { pitchMm } }: ProgramPart): number {
  let most = 0;
  for (let y = 0; y < height; y++) {
    let [blocks, first, last, before] = [0, -1, -1, 0];
    for (let x = 0; x < width; x++) {
      const level = data[y * width + x]!;
      if (level !== before) blocks++;
      before = level;
      if (level === 0) continue;
      if (first < 0) first = x;
      last = x;
    }
    if (blocks > READ_AHEAD) most = Math.max(most, blocks / ((last + 1 - first) * pitchMm));
  }
  return most;
}

function listRemarks(
  machine: Machine,
  { words, room, piece }: { readonly words: ProgramWords; readonly room: number; readonly piece: ProgramPiece },
): string[] {
  const { title, rateKHz, pulseNs } = machine;
  const fullPowerW = controlOf(machine)?.fullPowerW ?? machine.powerW.max;
  const origin = machine.control?.origin ?? STANDARD_ORIGIN;
  const at = origin === 'centre' ? 'middle' : `${origin.replace('-', ' ')} corner`;
  const unit = words.units === 'in' ? 'Inches' : 'Millimetres';
  return [
    `For ${title}`,
    `${unit}, feed per ${words.feedPer === 'min' ? 'minute' : 'second'}; S${words.fullPower} is full power, ${fullPowerW} W`,
    ...(piece.turnMm === undefined
      ? [
          `Piece ${mm(piece.widthMm)} x ${mm(piece.heightMm)} mm; 0, 0 is the ${at} of ${words.zero === 'field' ? 'the field' : 'the piece, set by hand'}`,
        ]
      : listTurnRemarks({ ...piece, turnMm: piece.turnMm }, { words, origin })),
    `Keep ${roomUp(room)} mm free to the left and right of the piece: lines gain their speed there`,
    ...(rateKHz || pulseNs ? ['No word says the pulses: set rate and duration at the machine'] : []),
  ];
}

/** What a person sets by hand where no word moves across the lines. */
function listTurnRemarks(
  { widthMm, heightMm, turnMm }: Required<Pick<ProgramPiece, 'widthMm' | 'heightMm' | 'turnMm'>>,
  { words, origin }: { readonly words: ProgramWords; readonly origin: ControlSoftware['origin'] },
): string[] {
  const { axis, wordPerTurn } = words.turn!;
  const end = origin === 'centre' ? 'middle' : `${origin.endsWith('right') ? 'right' : 'left'} end`;
  return [
    `Piece that turns: ${mm(widthMm)} mm along its axis, ${mm(heightMm)} of ${mm(turnMm)} mm around it; ${axis}${wordPerTurn} is a whole turn`,
    `X0 is the ${end} of the picture, ${axis}0 is where the piece stands at the start: both set by hand. Set the head above the axis by hand as well: no word moves it there`,
    'If it comes out mirrored, the rotary turns the other way: its word of a turn is negative then',
  ];
}

/** How the words of a piece grow that turns: a length only where they stand in a straight axis' place. */
function turnOf({ turn, units }: ProgramWords, turnMm: number): NonNullable<DotProgram['turn']> {
  const { axis, wordPerTurn } = turn!;
  const perUnit = axis === 'Y' && units === 'in' ? INCH_MM : 1;
  return { axis, wordPerMm: wordPerTurn / perUnit / turnMm, slackMm: SLACK_TURNS * turnMm };
}

/** Where the piece lies on the axes of the controller, and how they run. */
function placeAxes(machine: Machine, piece: ProgramPiece, words: ProgramWords): DotProgram['axes'] {
  const origin = machine.control?.origin ?? STANDARD_ORIGIN;
  const ofField = words.zero === 'field' && piece.turnMm === undefined;
  const fieldMm = ofField ? machine.fieldMm : ([piece.widthMm, piece.heightMm] as const);
  const corner = ofField ? piece : { xMm: 0, yMm: 0 };
  const at = placeInControl(corner, { control: { origin }, fieldMm });
  const beyond = placeInControl({ xMm: corner.xMm + 1, yMm: corner.yMm + 1 }, { control: { origin }, fieldMm });
  return { xMm: at.xMm, yMm: at.yMm, x: beyond.xMm > at.xMm ? 1 : -1, y: beyond.yMm > at.yMm ? 1 : -1 };
}
