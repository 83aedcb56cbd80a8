import { AppError } from '../errors.ts';
import { readMachine } from '../job/index.ts';
import { CONTROL_CHOICES, type ControlSoftware, type Machine, parseMachine, type Range } from '../machine/index.ts';
import type { Shop } from '../material/index.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
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
      { key: 'like', ask: 'Which of these is nearest to it', choices: names, fallback: undefined },
    ],
    known,
  );
  if (first) return first;
  const like = readMachine(textOf(known, 'like')!, shop);
  const control = { ...CONTROL_DEFAULTS, ...like.control };
  const asksControl = isAsked || (Object.keys(CONTROL_KEYS) as ControlKey[]).some((key) => known[key] !== undefined);
  return findUnanswered(
    [
      { key: 'focalLength', ask: 'Focal length of its lens, mm', fallback: String(like.focalLengthMm) },
      { key: 'field', ask: 'Largest width and height that it burns, mm', fallback: like.fieldMm.join('x') },
      { key: 'fullPower', ask: 'Mean power at the work at full power, W', fallback: String(like.powerW.max) },
      { key: 'topSpeed', ask: 'Highest speed along a scan line, mm/s', fallback: String(like.speedMmPerS.max) },
      ...(like.rateKHz
        ? [
            {
              key: 'rates',
              ask: 'Pulse rates that can be set, kHz',
              fallback: `${like.rateKHz.min}:${like.rateKHz.max}`,
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
    ],
    known,
  );
}

/**
 * One answer, looked at as soon as it is given.
 * @throws AppError option-invalid
 */
export function checkMachineAnswer(question: Question, text: string): void {
  checkChoice(text, question);
  readNumbers({ [question.key]: text });
}

/**
 * Keeps a new machine in the shop: what was answered over what the nearest known machine lends.
 * @throws AppError option-invalid, name-unknown, result-exists, path-*
 */
export async function newMachine(
  answers: OptionValues,
  { shop, force = false }: Pick<TaskContext, 'shop'> & { readonly force?: boolean },
): Promise<NewMachineRecord> {
  const all = fillAnswers(answers, (known) => askOfMachine(known, shop));
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
}

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
  return {
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
  const { spotDiameterUm: _, motionUncertainty, control: _control, ...lent } = like;
  const note = (what: string) => `${what} typed in by the shop; the rest as ${like.name} has it.`;
  const control = readControl(answers, like);
  const spot = numbers.spotDiameterUm;
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
    ...(control ? { control } : {}),
    defaults: {
      ...like.defaults,
      // The same share of full power: the nearest machine's start power may be none of this one's.
      powerW: within(Number(((like.defaults.powerW / like.powerW.max) * fullPowerW).toPrecision(3)), powerW),
      speedMmPerS: within(like.defaults.speedMmPerS, speedMmPerS),
      ...(like.defaults.rateKHz === undefined || !rateKHz ? {} : { rateKHz: within(like.defaults.rateKHz, rateKHz) }),
    },
    ...(motionUncertainty?.kind === 'assumed' ? { motionUncertainty } : {}),
    origins: {
      ...like.origins,
      optics: { kind: 'assumed', source: 'commonPractice', note: note('Lens and field') },
      ranges: { kind: 'assumed', source: 'commonPractice', note: note('Power, speed and pulse rate') },
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

const within = (value: number, { min, max }: Range) => Math.min(max, Math.max(min, value));
