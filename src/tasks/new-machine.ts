import { AppError } from '../errors.ts';
import { readMachine } from '../job/index.ts';
import {
  ASSUMED_ROTARY,
  CONTROL_CHOICES,
  type ControlSoftware,
  type Machine,
  parseMachine,
  type Range,
  type RotaryMotion,
  withoutRotary,
} from '../machine/index.ts';
import type { Shop } from '../material/index.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
import { PROGRAM_CHOICES, type ProgramWords } from '../plane/index.ts';
import { parseLengthMm, parseSizeMm } from '../units.ts';
import type { TaskContext } from './context.ts';
import { nameOfTitle, refuseRecordName } from './names.ts';
import { checkChoice, fillAnswers, findUnanswered, type Question } from './questions.ts';

export interface NewMachineRecord {
  readonly machine: Machine;
  readonly path: string;
}

/** Answers about the control software: with none of them its facts stay unknown. */
const CONTROL_KEYS = {
  powerUnit: 'power',
  speedUnit: 'speed',
  rateUnit: 'rate',
  fires: 'fires',
  origin: 'origin',
  mirrors: 'mirrors',
} as const satisfies Readonly<Record<string, keyof typeof CONTROL_CHOICES>>;
type ControlKey = keyof typeof CONTROL_KEYS;

const CONTROL_ASKS: Readonly<Record<ControlKey, string>> = {
  powerUnit: 'How does its software take power',
  speedUnit: 'How does it take speed',
  rateUnit: 'How does it take the pulse rate: as a frequency, or as the time from pulse to pulse',
  fires: 'Which pixels of a bitmap does it burn',
  origin: 'Where in the field is its 0, 0',
  mirrors: 'Does it burn bitmaps mirrored: no, left to right (x), top to bottom (y)',
};
/** Answers about how the controller reads programs: with none of them it is not known to read any. */
const PROGRAM_KEYS = {
  programUnits: 'units',
  programFeed: 'feedPer',
  programBeam: 'beam',
  programEnd: 'end',
  programZero: 'zero',
} as const satisfies Readonly<Record<string, keyof typeof PROGRAM_CHOICES>>;
type ProgramKey = keyof typeof PROGRAM_KEYS;
/** Those that are numbers. */
const PROGRAM_NUMBERS = ['programPower', 'programDecimals', 'programBlocks', 'programLag', 'programBacklash'] as const;
/** Answers about the axis that turns pieces. */
const TURN_AXES = ['no', ...PROGRAM_CHOICES.turnAxis] as const;
const PROGRAM_TURN = ['programTurnAxis', 'programTurn'] as const;
/** A whole turn of an axis that turns, degrees. Exact: by definition. */
const TURN_DEG = 360;

/** Answers about a rotary that turns pieces, and the fields of the motion that they are. */
const ROTARY_KEYS = {
  rotarySpeed: 'rotarySpeedDegPerS',
  rotaryAcceleration: 'rotaryAccelerationDegPerS2',
  rotarySettle: 'rotarySettleMs',
} as const satisfies Readonly<Record<string, keyof RotaryMotion>>;
type RotaryKey = keyof typeof ROTARY_KEYS;
const ROTARY_NAMES = Object.keys(ROTARY_KEYS) as readonly RotaryKey[];

const ROTARY_ASKS: Readonly<Record<RotaryKey, string>> = {
  rotarySpeed: 'Highest speed of the rotary, degrees a second',
  rotaryAcceleration: 'How fast it gains speed, degrees a second each second',
  rotarySettle: 'How long it comes to rest after a turn, ms',
};

const PROGRAM_ASKS: Readonly<Record<ProgramKey, string>> = {
  programUnits: 'Units of its programs',
  programFeed: 'Time of the F word: per minute, as the standard has it, or per second',
  programBeam: 'Word that lets the beam follow the S word',
  programEnd: 'Word that ends a program',
  programZero: 'Where 0, 0 of its programs is: at its place in the field, or at the corner of the piece, set by hand',
};
/** The standard's own words; S of full power and decimals of a place. Assumed: what most controllers read. */
const PROGRAM_DEFAULTS: ProgramWords = {
  units: 'mm',
  feedPer: 'min',
  fullPower: 1000,
  beam: 'M3',
  end: 'M2',
  decimals: 3,
  zero: 'piece',
};

/** What most control software does. Assumed. */
const CONTROL_DEFAULTS: ControlSoftware = {
  power: 'W',
  speed: 'mm/s',
  rate: 'kHz',
  fires: 'black',
  origin: 'top-left',
  mirrors: 'no',
};

/**
 * The next thing to ask about a new machine. What the nearest known machine lends is offered as an answer.
 * @param isAsked whether a person answers: then the control software is asked for as well
 */
export function askOfMachine(known: OptionValues, shop: Shop, { isAsked = false } = {}): Question | undefined {
  const names = shop.list('machines').map(({ name }) => name);
  const first = findUnanswered(
    [
      { key: 'title', ask: 'What do you call the machine with this lens', fallback: undefined },
      { key: 'like', ask: 'Which of these is nearest to it', choices: names, fallback: undefined, decides: true },
    ],
    known,
  );
  if (first) return first;
  const like = readMachine(textOf(known, 'like')!, shop);
  const control = { ...CONTROL_DEFAULTS, ...like.control };
  const asksProgram =
    textOf(known, 'program') === 'yes' ||
    [...Object.keys(PROGRAM_KEYS), ...PROGRAM_NUMBERS, ...PROGRAM_TURN].some((key) => known[key] !== undefined);
  const program = { ...PROGRAM_DEFAULTS, ...like.program };
  const asksRotary = textOf(known, 'rotary') === 'yes' || ROTARY_NAMES.some((key) => known[key] !== undefined);
  const asksControl = isAsked || (Object.keys(CONTROL_KEYS) as ControlKey[]).some((key) => known[key] !== undefined);
  return findUnanswered(
    [
      {
        key: 'focalLength',
        ask: 'Focal length of its lens, mm',
        fallback: String(like.focalLengthMm),
        rests: like.origins.optics.kind,
        measuredBy: 'it is engraved on the lens; a focus chart and a spot chart tell what it makes of the beam',
      },
      {
        key: 'field',
        ask: 'Largest width and height that it burns, mm',
        fallback: like.fieldMm.join('x'),
        rests: like.origins.optics.kind,
        measuredBy: 'a frame burned as large as it goes, and a rule',
      },
      {
        key: 'fullPower',
        ask: 'Mean power at the work at full power, W',
        fallback: String(like.powerW.max),
        rests: like.origins.ranges.kind,
        measuredBy: 'a power meter at the work',
      },
      {
        key: 'topSpeed',
        ask: 'Highest speed along a scan line, mm/s',
        fallback: String(like.speedMmPerS.max),
        rests: like.origins.ranges.kind,
        measuredBy: 'stopwatch readings of jobs at two speeds',
      },
      ...(like.rateKHz
        ? [
            {
              key: 'rates',
              ask: 'Pulse rates that can be set, kHz',
              fallback: `${like.rateKHz.min}:${like.rateKHz.max}`,
              rests: like.origins.ranges.kind,
              measuredBy: 'the manual of the laser source',
            },
          ]
        : []),
      ...(asksControl
        ? (Object.keys(CONTROL_KEYS) as ControlKey[])
            .filter((key) => key !== 'rateUnit' || like.rateKHz !== undefined)
            .map((key) => ({
              key,
              ask: CONTROL_ASKS[key],
              choices: CONTROL_CHOICES[CONTROL_KEYS[key]],
              fallback: control[CONTROL_KEYS[key]],
            }))
        : []),
      ...(isAsked
        ? [
            {
              key: 'program',
              ask: 'Does its controller read programs of ISO 6983 (G-code)',
              choices: ['no', 'yes'],
              fallback: like.program ? 'yes' : 'no',
            },
          ]
        : []),
      ...(asksProgram
        ? [
            ...(Object.keys(PROGRAM_KEYS) as ProgramKey[]).map((key) => ({
              key,
              ask: PROGRAM_ASKS[key],
              choices: PROGRAM_CHOICES[PROGRAM_KEYS[key]],
              fallback: program[PROGRAM_KEYS[key]],
            })),
            { key: 'programPower', ask: 'S word of full power', fallback: String(program.fullPower) },
            { key: 'programDecimals', ask: 'Decimals that it reads of a place', fallback: String(program.decimals) },
          ]
        : []),
      ...(isAsked
        ? [
            {
              key: 'rotary',
              ask: 'Does it have a rotary that turns round pieces',
              choices: ['no', 'yes'],
              fallback: like.motion.rotarySettleMs === undefined && !like.program?.turn ? 'no' : 'yes',
            },
          ]
        : []),
      ...(asksRotary
        ? ROTARY_NAMES.map((key) => ({
            key,
            ask: ROTARY_ASKS[key],
            fallback: String({ ...ASSUMED_ROTARY, ...like.motion }[ROTARY_KEYS[key]]),
            rests: 'assumed' as const,
            measuredBy: 'stopwatch readings of pieces that it turned',
          }))
        : []),
      ...(asksProgram && (asksRotary || PROGRAM_TURN.some((key) => known[key] !== undefined))
        ? listTurnQuestions(known, like)
        : []),
    ],
    known,
  );
}

/** How programs turn a piece. */
function listTurnQuestions(known: OptionValues, { program }: Machine): readonly Question[] {
  const axis = textOf(known, 'programTurnAxis') ?? program?.turn?.axis ?? 'no';
  return [
    {
      key: 'programTurnAxis',
      ask: 'Axis with which its programs turn a round piece, Y where the motor of the rotary takes that axis’ place',
      choices: TURN_AXES,
      // A word of a turn belongs to an axis: without one it would be lost unsaid.
      fallback: program?.turn?.axis ?? (textOf(known, 'programTurn') === undefined ? 'no' : undefined),
    },
    ...(axis === 'no'
      ? []
      : [
          {
            key: 'programTurn',
            ask: 'Word of a whole turn: degrees, for Y mm; negative where it turns the other way',
            fallback: turnWordOf(axis, program)?.toString(),
          },
        ]),
  ];
}

/** What a whole turn is when nothing is said of it; undefined for a straight axis, whose drive nobody knows. */
function turnWordOf(axis: string, program: ProgramWords | undefined): number | undefined {
  if (program?.turn?.axis === axis) return program.turn.wordPerTurn;
  return axis === 'Y' ? undefined : TURN_DEG;
}

/**
 * One answer, looked at as soon as it is given.
 * @throws AppError option-invalid
 */
export function checkMachineAnswer(question: Question, text: string): void {
  checkChoice(text, question);
  readNumbers({ [question.key]: text });
}

/** The answers that would give a machine again. */
export function answersOfMachine(machine: Machine): Readonly<Record<string, string>> {
  const { name, title, focalLengthMm, fieldMm, powerW, speedMmPerS, rateKHz, control } = machine;
  const facts = Object.entries(CONTROL_KEYS).flatMap(([key, field]) => {
    const value = control?.[field];
    return value === undefined ? [] : [[key, value] as const];
  });
  return {
    title,
    name,
    like: name,
    focalLength: String(focalLengthMm),
    field: fieldMm.join('x'),
    fullPower: String(powerW.max),
    topSpeed: String(speedMmPerS.max),
    ...(rateKHz ? { rates: `${rateKHz.min}:${rateKHz.max}` } : {}),
    ...Object.fromEntries(facts),
  };
}

/**
 * Keeps a new machine in the shop: what was answered over what the nearest known machine lends.
 * @throws AppError option-invalid, name-unknown, result-exists, path-*
 */
export async function newMachine(
  answers: OptionValues,
  { shop, force = false, from }: Pick<TaskContext, 'shop'> & { readonly force?: boolean; readonly from?: string },
): Promise<NewMachineRecord> {
  const made = from === undefined ? {} : { like: from };
  const all = fillAnswers({ ...answers, ...made }, (known) => askOfMachine(known, shop));
  const like = readMachine(textOf(all, 'like')!, shop);
  const title = textOf(all, 'title')!.trim();
  const name = textOf(all, 'name') ?? nameOfTitle(title);
  if (name === undefined) throw new AppError('option-invalid', `title: found "${title}", needed letters or digits`);
  refuseRecordName(name, 'name');
  const machine = parseMachine(JSON.parse(JSON.stringify(buildMachine(all, { like, name, title }))), name);
  return { machine, path: await shop.write('machines', name, machine, { force }) };
}

interface Numbers {
  readonly focalLengthMm?: number;
  readonly fieldMm?: readonly [number, number];
  readonly spotDiameterUm?: number;
  readonly fullPowerW?: number;
  readonly topSpeedMmPerS?: number;
  readonly rateKHz?: Range;
  readonly fullPower?: number;
  readonly decimals?: number;
  readonly blocksPerS?: number;
  readonly beamLagUs?: number;
  readonly backlashMm?: number;
  readonly wordPerTurn?: number;
  readonly rotary?: RotaryMotion;
}

/** Decimals of a place that a controller can read, and the largest lag, µs, and word of a turn. Assumed: beyond any. */
const PROGRAM_LIMITS = { decimals: 6, lagUs: 1e6, backlashMm: 10, turnWord: 1e5 } as const;

/** Fastest rotary, degrees a second and each second, and its longest rest, ms. Assumed: beyond any. */
const ROTARY_LIMITS = { turnDegPerS: 1e5, rampDegPerS2: 1e7, settleMs: 1e4 } as const;

/** @throws AppError option-invalid */
function readNumbers(answers: OptionValues): Numbers {
  const text = (key: string) => textOf(answers, key)?.trim();
  const length = (key: string, name: string) => {
    const given = text(key);
    return given === undefined ? undefined : parseLengthMm(given, name);
  };
  const field = text('field');
  const size = field === undefined ? undefined : parseSizeMm(field, 'field');
  const spotMm = length('spot', 'spot');
  const focalLengthMm = length('focalLength', 'focal-length');
  const fullPowerW = numberOf(answers, 'fullPower', { min: 0.001, unit: 'W' });
  const topSpeedMmPerS = readSpeed(text('topSpeed'));
  const rateKHz = readRange(text('rates'));
  const { decimals, lagUs, backlashMm, turnWord } = PROGRAM_LIMITS;
  const program = {
    fullPower: numberOf(answers, 'programPower', { min: 0.001 }),
    decimals: numberOf(answers, 'programDecimals', { min: 1, max: decimals, whole: true }),
    blocksPerS: numberOf(answers, 'programBlocks', { min: 1, unit: 'blocks a second' }),
    beamLagUs: numberOf(answers, 'programLag', { min: -lagUs, max: lagUs, unit: 'µs' }),
    backlashMm: numberOf(answers, 'programBacklash', { min: -backlashMm, max: backlashMm, unit: 'mm' }),
    wordPerTurn: numberOf(answers, 'programTurn', { min: -turnWord, max: turnWord, unit: 'degrees, or for Y mm' }),
  };
  const { turnDegPerS, rampDegPerS2, settleMs } = ROTARY_LIMITS;
  const rotary = {
    rotarySpeedDegPerS: numberOf(answers, 'rotarySpeed', { min: 0.1, max: turnDegPerS, unit: 'degrees a second' }),
    rotaryAccelerationDegPerS2: numberOf(answers, 'rotaryAcceleration', {
      ...{ min: 1, max: rampDegPerS2, unit: 'degrees a second, each second' },
    }),
    rotarySettleMs: numberOf(answers, 'rotarySettle', { min: 0, max: settleMs, unit: 'ms' }),
  };
  const known = <T extends object>(values: T) =>
    Object.fromEntries(Object.entries(values).filter(([, value]) => value !== undefined));
  return {
    ...known(program),
    rotary: known(rotary),
    ...(focalLengthMm === undefined ? {} : { focalLengthMm }),
    ...(size ? { fieldMm: [size.widthMm, size.heightMm] as const } : {}),
    ...(spotMm === undefined ? {} : { spotDiameterUm: Math.round(spotMm * 1e6) / 1000 }),
    ...(fullPowerW === undefined ? {} : { fullPowerW }),
    ...(topSpeedMmPerS === undefined ? {} : { topSpeedMmPerS }),
    ...(rateKHz ? { rateKHz } : {}),
  };
}

function readSpeed(text: string | undefined): number | undefined {
  if (text === undefined) return undefined;
  const perMinute = /^(.*?)\s*mm\/min$/i.exec(text)?.[1];
  const number = perMinute ?? text.replace(/\s*mm\/s$/i, '');
  const value = numberOf({ topSpeed: number }, 'topSpeed', { min: 0.001, unit: 'mm/s' })!;
  return perMinute === undefined ? value : value / 60;
}

function readRange(text: string | undefined): Range | undefined {
  if (text === undefined) return undefined;
  const [min, max, more] = text.split(/\s*(?::|-|–|to|…)\s*/).map(Number);
  if (!(min! > 0) || !(max! >= min!) || more !== undefined) {
    throw new AppError('option-invalid', `rates: found "${text}", needed two numbers in kHz such as 20:80`);
  }
  return { min: min!, max: max! };
}

function buildMachine(
  answers: OptionValues,
  { like, name, title }: { readonly like: Machine; readonly name: string; readonly title: string },
): Machine {
  const numbers = readNumbers(answers);
  const { fullPowerW = like.powerW.max, topSpeedMmPerS = like.speedMmPerS.max, rateKHz = like.rateKHz } = numbers;
  const powerW = { min: Math.min(like.powerW.min, fullPowerW), max: fullPowerW };
  const speedMmPerS = { min: Math.min(like.speedMmPerS.min, topSpeedMmPerS), max: topSpeedMmPerS };
  const hasRotary = textOf(answers, 'rotary') !== 'no';
  const kept = hasRotary ? like : withoutRotary(like);
  const { spotDiameterUm: ownSpot, motionUncertainty, control: _control, program: _program, ...lent } = kept;
  // A machine that is changed keeps what was measured of it; one that is only like it has none of that.
  const isSame = name === like.name;
  const sameLens = numbers.focalLengthMm === undefined || numbers.focalLengthMm === like.focalLengthMm;
  const sameField = numbers.fieldMm === undefined || numbers.fieldMm.join() === like.fieldMm.join();
  const isRange = (a: Range | undefined, b: Range | undefined) => a?.min === b?.min && a?.max === b?.max;
  const sameRanges =
    isRange(powerW, like.powerW) && isRange(speedMmPerS, like.speedMmPerS) && isRange(rateKHz, like.rateKHz);
  const keepsOptics = isSame && sameLens && sameField && numbers.spotDiameterUm === undefined;
  const note = (what: string) => `${what} typed in by the shop; the rest as ${like.name} has it.`;
  const control = readControl(answers, like);
  const program = readProgramWords(answers, { like, numbers });
  const spot = numbers.spotDiameterUm ?? (isSame && sameLens ? ownSpot : undefined);
  return {
    ...lent,
    name,
    title,
    focalLengthMm: numbers.focalLengthMm ?? like.focalLengthMm,
    fieldMm: numbers.fieldMm ?? like.fieldMm,
    ...(spot === undefined ? {} : { spotDiameterUm: spot }),
    powerW,
    speedMmPerS,
    ...(rateKHz ? { rateKHz } : {}),
    motion: hasRotary ? { ...lent.motion, ...numbers.rotary } : lent.motion,
    ...(control ? { control } : {}),
    ...(program ? { program } : {}),
    defaults: {
      ...like.defaults,
      // The same share of full power: the nearest machine's start power may be none of this one's.
      powerW: within(Number(((like.defaults.powerW / like.powerW.max) * fullPowerW).toPrecision(3)), powerW),
      speedMmPerS: within(like.defaults.speedMmPerS, speedMmPerS),
      ...(like.defaults.rateKHz === undefined || !rateKHz ? {} : { rateKHz: within(like.defaults.rateKHz, rateKHz) }),
    },
    ...(motionUncertainty && (isSame || motionUncertainty.kind === 'assumed') ? { motionUncertainty } : {}),
    origins: {
      ...like.origins,
      optics: keepsOptics
        ? like.origins.optics
        : { kind: 'assumed', source: 'commonPractice', note: note('Lens and field') },
      ranges:
        isSame && sameRanges
          ? like.origins.ranges
          : { kind: 'assumed', source: 'commonPractice', note: note('Power, speed and pulse rate') },
    },
  };
}

function readControl(answers: OptionValues, like: Machine): ControlSoftware | undefined {
  const given = Object.entries(CONTROL_KEYS).flatMap(([key, field]) => {
    const text = textOf(answers, key);
    const choices = CONTROL_CHOICES[field];
    return text === undefined ? [] : [[field, checkChoice(text, { key, ask: '', choices, fallback: undefined })]];
  });
  return given.length === 0 ? like.control : { ...CONTROL_DEFAULTS, ...like.control, ...Object.fromEntries(given) };
}

/** What was answered over what the nearest machine lends; undefined for one that reads no programs. */
function readProgramWords(
  answers: OptionValues,
  { like, numbers }: { readonly like: Machine; readonly numbers: Numbers },
): ProgramWords | undefined {
  if (textOf(answers, 'program') === 'no') return undefined;
  const given = Object.entries(PROGRAM_KEYS).flatMap(([key, field]) => {
    const text = textOf(answers, key);
    const choices = PROGRAM_CHOICES[field];
    return text === undefined ? [] : [[field, checkChoice(text, { key, ask: '', choices, fallback: undefined })]];
  });
  const { fullPower, decimals, blocksPerS, beamLagUs, backlashMm } = numbers;
  const typed = Object.entries({ fullPower, decimals, blocksPerS, beamLagUs, backlashMm }).filter(
    ([, value]) => value !== undefined,
  );
  const axis = textOf(answers, 'programTurnAxis');
  if (given.length === 0 && typed.length === 0 && axis === undefined && textOf(answers, 'program') !== 'yes') {
    return withoutTurn(answers, like.program);
  }
  const words = { ...PROGRAM_DEFAULTS, ...like.program, ...Object.fromEntries([...given, ...typed]) };
  return readTurn(axis, { words: withoutTurn(answers, words)!, wordPerTurn: numbers.wordPerTurn });
}

/** Words without a turn, where the machine has no rotary any more. */
function withoutTurn(answers: OptionValues, words: ProgramWords | undefined): ProgramWords | undefined {
  if (words === undefined || textOf(answers, 'rotary') !== 'no') return words;
  const { turn: _, ...straight } = words;
  return straight;
}

/**
 * The axis that turns pieces over what the words have.
 * @throws AppError option-invalid for a word of a turn that is 0, or missing where none can be assumed
 */
function readTurn(
  asked: string | undefined,
  { words, wordPerTurn }: { readonly words: ProgramWords; readonly wordPerTurn: number | undefined },
): ProgramWords {
  const { turn, ...straight } = words;
  const question = { key: 'programTurnAxis', ask: '', choices: TURN_AXES, fallback: undefined };
  const axis = checkChoice(asked ?? turn?.axis ?? 'no', question) as (typeof TURN_AXES)[number];
  if (axis === 'no') return straight;
  const word = wordPerTurn ?? turnWordOf(axis, words);
  if (word) return { ...straight, turn: { axis, wordPerTurn: word } };
  const needed =
    axis === 'Y'
      ? 'mm: mark the piece, move Y by 10 mm, and see what part of a turn that is'
      : 'degrees, 360 as a rule';
  throw new AppError(
    'option-invalid',
    `program-turn: found ${word ?? 'nothing'}, needed what the word ${axis} grows by in a whole turn of the piece, ${needed}`,
    { options: ['program-turn'] },
  );
}

const within = (value: number, { min, max }: Range) => Math.min(max, Math.max(min, value));
