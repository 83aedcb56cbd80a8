import { resolve } from 'node:path';
import { CAPTION_LAYOUT, type CaptionRequest } from '../caption/index.ts';
import { AppError } from '../errors.ts';
import type { GivenSettings, JobRequest } from '../job/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import { numberOf, type OptionValues, textOf } from '../options.ts';
import { MOST_ZOOM, TONE_FIELDS, type ToneOptions } from '../photo/index.ts';
import { type ChannelWeights, type DotFormat, readInputSync } from '../plane/index.ts';
import { SCREEN_OPTIONS, type ScreenOptions } from '../screens/index.ts';
import { parseLengthMm, parseLengthOrZeroMm } from '../units.ts';
import { type ReadSettings, readSettingsFile } from './settings-file.ts';

export interface RequestContext {
  /** From where the paths of files go that options name; where the program runs when absent. */
  readonly folder?: string;
}

/** Longest turn of a photo, degrees either way. Exact: half a turn reaches every place. */
const MOST_TURN_DEG = 180;

/** The request that options make, whoever wrote them: a command line, a line of a list, the page. */
export function readRequest(options: OptionValues, { folder = '.' }: RequestContext = {}): JobRequest {
  const file = textOf(options, 'settings');
  const read = file === undefined ? undefined : readSettingsFile(resolve(folder, file));
  const lengths = {
    pitchMm: autoLength(options, 'pitch'),
    lineSpacingMm: autoLength(options, 'spacing') ?? read?.lineSpacingMm,
    cornerRadiusMm: lengthOrZero(options, 'corner'),
    safeMarginMm: lengthOrZero(options, 'margin'),
    vignetteMm: lengthOrZero(options, 'vignette'),
    viewingDistanceMm:
      textOf(options, 'viewedFrom') === undefined
        ? undefined
        : parseLengthMm(textOf(options, 'viewedFrom')!, 'viewed-from'),
  };
  const texts = {
    profile: textOf(options, 'profile'),
    material: textOf(options, 'material'),
    machine: textOf(options, 'machine'),
    direction: textOf(options, 'direction') as JobRequest['direction'],
    screen: textOf(options, 'screen'),
    fit: textOf(options, 'fit') as JobRequest['fit'],
    backdrop: textOf(options, 'backdrop') as JobRequest['backdrop'],
    outline: textOf(options, 'outline') as JobRequest['outline'],
    tone: textOf(options, 'tone') as JobRequest['tone'],
    range: textOf(options, 'range') as JobRequest['range'],
    aim: textOf(options, 'aim'),
    text: textOf(options, 'text'),
    format: textOf(options, 'format') as DotFormat | undefined,
    settings: overSettings(read, readSettings(options)),
    seen: textOf(options, 'seen') as JobRequest['seen'],
    beneath: textOf(options, 'beneath') as JobRequest['beneath'],
    mirror: options.mirror === true ? true : undefined,
    rotateDeg: readRotation(textOf(options, 'rotate')),
    at: textOf(options, 'at'),
    evenness: textOf(options, 'evenness'),
    strip: options.stripJoined === true ? ('joined' as const) : options.strip === true ? ('apart' as const) : undefined,
  };
  const rest = {
    levels: screenNumber(options, 'levels'),
    focus: readKeep(textOf(options, 'keep')),
    zoom: numberOf(options, 'zoom', { min: 1, max: MOST_ZOOM }),
    turnDeg: numberOf(options, 'turn', { min: -MOST_TURN_DEG, max: MOST_TURN_DEG, unit: 'degrees' }),
    subject: readSubject(textOf(options, 'subject'), folder),
    lay: readLay(options),
    weights: readWeights(textOf(options, 'weights')),
    toneValues: readToneValues(options),
    screenOptions: readScreenOptions(options),
    caption: readCaption(options),
    artwork: readArtworkOptions(options),
    round: readRound(options),
    around: readAround(options),
  };
  return dropAbsent({ size: textOf(options, 'size')!, ...lengths, ...texts, ...rest });
}

/** Least setting that is no slip, in its own unit. Assumed: a thousandth of a watt or of a mm/s marks nothing. */
const LEAST_SETTING = 0.001;

/** Settings that options give, in the order of a record; undefined where they give none. @throws AppError */
export function readSettings(options: OptionValues): GivenSettings | undefined {
  const settings: Present<GivenSettings> = dropAbsent({
    ...readPower(options),
    speedMmPerS: readInUnits(options, 'speed', { 'mm/s': 1, 'mm/min': 1 / 60, 'm/s': 1000 }),
    rateKHz: readRate(options),
    pulseNs: numberOf(options, 'pulse', { min: LEAST_SETTING, unit: 'ns' }),
    passes: numberOf(options, 'passes', { min: 1, max: MOST_PASSES, whole: true }),
    scan: textOf(options, 'scan') as BurnSettings['scan'] | undefined,
  });
  return Object.keys(settings).length === 0 ? undefined : settings;
}

/** `2.5`, `2.5W`, or `45%` of what the machine calls full power. */
function readPower(options: OptionValues): Pick<GivenSettings, 'powerW' | 'powerPercent'> {
  const text = textOf(options, 'power')?.trim();
  if (!text?.endsWith('%')) return dropAbsent({ powerW: readInUnits(options, 'power', { W: 1, kW: 1000 }) });
  const powerPercent = numberOf({ power: text.slice(0, -1).trim() }, 'power', {
    min: LEAST_SETTING,
    max: 100,
    unit: '%',
  });
  return { powerPercent: powerPercent! };
}

/** `40`, `40kHz`, or `25us` from pulse to pulse. */
function readRate(options: OptionValues): number | undefined {
  const text = textOf(options, 'rate')?.trim();
  const period = text && /^(.*?)\s*(?:us|µs|μs)$/i.exec(text)?.[1];
  if (!period) return readInUnits(options, 'rate', { kHz: 1, Hz: 0.001, MHz: 1000 });
  return 1000 / numberOf({ rate: period }, 'rate', { min: LEAST_SETTING, unit: 'µs' })!;
}

/** A number with one of these units behind it, or none, which is the first. Factors to the first. Exact. */
function readInUnits(options: OptionValues, name: string, units: Readonly<Record<string, number>>): number | undefined {
  const text = textOf(options, name)?.trim();
  if (text === undefined) return undefined;
  const [first] = Object.keys(units);
  // The longest first: W ends kW, too.
  const unit = Object.keys(units)
    .sort((a, b) => b.length - a.length)
    .find((known) => text.toLowerCase().endsWith(known.toLowerCase()));
  const number = unit === undefined ? text : text.slice(0, -unit.length).trim();
  const value = numberOf({ [name]: number }, name, { min: LEAST_SETTING, unit: unit ?? first! });
  return value === undefined ? undefined : value * units[unit ?? first!]!;
}

/** Settings by hand over those of a file. */
export function overSettings(
  read: ReadSettings | undefined,
  given: GivenSettings | undefined,
): GivenSettings | undefined {
  if (!read) return given;
  const { powerW, ...others } = read.settings;
  const isShare = given?.powerPercent !== undefined;
  return { ...(powerW === undefined || isShare ? {} : { powerW }), ...others, ...given };
}

/** Most passes, a count. Assumed: a hundred times over is a slip of the keyboard. */
const MOST_PASSES = 100;

function readRotation(text: string | undefined): JobRequest['rotateDeg'] {
  if (text === undefined) return undefined;
  const deg = ([0, 90, 180, 270] as const).find((known) => Number(text) === known || Number(text) === known - 360);
  if (deg === undefined || text.trim() === '') {
    throw new AppError('option-invalid', `rotate: found "${text}", needed 0, 90, 180 or 270 degrees clockwise`);
  }
  return deg === 0 ? undefined : deg;
}

/** Words on the piece; a second line alone is its only one. */
function readCaption(options: OptionValues): JobRequest['caption'] {
  const [text, text2] = ['caption', 'caption2'].map((name) => textOf(options, name)).filter((line) => line?.trim());
  if (text === undefined) return undefined;
  return dropAbsent({
    text,
    text2,
    place: textOf(options, 'captionPlace') as CaptionRequest['place'],
    heightMm: captionLength(options, 'captionHeight', CAPTION_LAYOUT.leastMm, CAPTION_LAYOUT.mostMm),
    font: textOf(options, 'captionFont') as CaptionRequest['font'],
    ink: textOf(options, 'captionInk') as CaptionRequest['ink'],
  });
}

function readArtworkOptions(options: OptionValues): JobRequest['artwork'] {
  const name = textOf(options, 'artwork');
  if (!name?.trim()) return undefined;
  return dropAbsent({
    name,
    widthMm: captionLength(options, 'artworkWidth', 0, MOST_ARTWORK_MM),
    at: readCorner(textOf(options, 'artworkAt')),
    ink: textOf(options, 'artworkInk') as CaptionRequest['ink'],
  });
}

/** Widest drawing, mm. Assumed: wider than any machine's field. */
const MOST_ARTWORK_MM = 3000;

function captionLength(options: OptionValues, name: string, leastMm: number, mostMm: number): number | undefined {
  const text = textOf(options, name);
  if (text === undefined || text === 'auto') return undefined;
  const flag = `--${name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;
  const mm = parseLengthMm(text, flag);
  if (mm < leastMm || mm > mostMm) {
    throw new AppError('option-invalid', `${flag}: found ${mm} mm, needed ${leastMm} to ${mostMm} mm`);
  }
  return mm;
}

function readCorner(text: string | undefined): { readonly xMm: number; readonly yMm: number } | undefined {
  if (text === undefined) return undefined;
  const [xMm, yMm, more] = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (!Number.isFinite(xMm) || !Number.isFinite(yMm) || more !== undefined) {
    throw new AppError('option-invalid', `artwork-at: found "${text}", needed two lengths in mm such as 5,3.5`);
  }
  return { xMm: xMm!, yMm: yMm! };
}

/** The name of a tone value as an option: `blackPointL` → `blackPointL` in commander, `--black-point-l` for people. */
function readToneValues(options: OptionValues): Partial<ToneOptions> {
  const names = Object.keys(TONE_FIELDS) as (keyof ToneOptions)[];
  return dropAbsent(
    Object.fromEntries(
      names.map((name) => {
        const { min, max, unit } = TONE_FIELDS[name];
        return [name, numberOf(options, name, { min, max, unit })];
      }),
    ),
  );
}

function readScreenOptions(options: OptionValues): Partial<ScreenOptions> {
  return dropAbsent({
    scan: options.serpentine === true ? 'serpentine' : options.raster === true ? 'raster' : undefined,
    errorOf: options.modelBased === true ? 'marks' : undefined,
    edges: screenNumber(options, 'edges'),
    response: textOf(options, 'response') as ScreenOptions['response'] | undefined,
    run: screenNumber(options, 'run', { unit: 'dots' }),
    dotSize: screenNumber(options, 'dotSize', { unit: 'dots' }),
    cluster: screenNumber(options, 'cluster', { unit: 'dots' }),
    linesPerCm: screenNumber(options, 'linesPerCm', { unit: 'lines per cm' }),
    angleDeg: screenNumber(options, 'angleDeg', { unit: 'degrees', as: 'angle' }),
    shape: textOf(options, 'shape') as ScreenOptions['shape'] | undefined,
    size: screenNumber(options, 'size', { unit: 'dots', as: 'matrix' }),
    seed: screenNumber(options, 'seed'),
  });
}

/** A number of the screens, in their own range. */
function screenNumber(
  options: OptionValues,
  name: keyof ScreenOptions,
  { unit = '', as = name }: { readonly unit?: string; readonly as?: string } = {},
): number | undefined {
  const rule = SCREEN_OPTIONS[name];
  if ('values' in rule) throw new RangeError(`${name} is no number`);
  return numberOf(options, as, { min: rule.min, max: rule.max, whole: rule.kind !== 'real', unit });
}

function autoLength(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined || text === 'auto' ? undefined : parseLengthMm(text, name);
}

function lengthOrZero(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  if (text === undefined) return undefined;
  return parseLengthOrZeroMm(text, name);
}

function readKeep(text: string | undefined): JobRequest['focus'] {
  if (text === undefined) return undefined;
  const [x, y, more] = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (!(x! >= 0 && x! <= 1 && y! >= 0 && y! <= 1) || more !== undefined) {
    throw new AppError('option-invalid', `keep: found "${text}", needed two shares from 0 to 1 such as 0.5,0.4`);
  }
  return { x: x!, y: y! };
}

function readLay({ upright, lengthwise }: OptionValues): JobRequest['lay'] {
  if (upright === true && lengthwise === true) {
    throw new AppError('option-invalid', 'found both upright and lengthwise, needed one of the two');
  }
  return upright === true ? 'upright' : lengthwise === true ? 'lengthwise' : undefined;
}

/** Largest diameter of a round piece, mm. Assumed: flatter ones are flat. */
const MOST_ROUND_MM = 2000;
/** Most steps of a rotary's turn, a count. Assumed: 200 steps of a motor, each in 256 parts, geared down by 200. */
const MOST_STEPS = 1e7;

function readRound(options: OptionValues): JobRequest['round'] {
  const text = textOf(options, 'round');
  const toneErrorL = numberOf(options, 'roundError', { min: 0.1, max: 50, unit: 'L*' });
  const focusReading = textOf(options, 'focusReading');
  if (text !== undefined) return dropAbsent({ diameterMm: readDiameter(text, 'round'), toneErrorL, focusReading });
  refuseAlone({ 'round-error': toneErrorL, 'focus-reading': focusReading }, 'round');
  return undefined;
}

function readAround(options: OptionValues): JobRequest['around'] {
  const text = textOf(options, 'around');
  const stepsPerTurn = numberOf(options, 'stepsPerTurn', { min: 1, max: MOST_STEPS, whole: true });
  const overlapMm = lengthOrZero(options, 'overlap');
  if (text === undefined) {
    refuseAlone({ 'steps-per-turn': stepsPerTurn, overlap: overlapMm }, 'around');
    return undefined;
  }
  return dropAbsent({ diametersMm: readDiameters(text), stepsPerTurn, overlapMm });
}

/** Of a piece that a rotary turns, at its upper and its lower edge. @throws AppError option-invalid */
export function readDiameters(text: string): readonly [upper: number, lower: number] {
  const [upper, lower = upper, more] = text.split(/[,;]/).map((part) => readDiameter(part, 'around'));
  if (more === undefined) return [upper!, lower!];
  throw new AppError(
    'option-invalid',
    `around: found "${text}", needed a diameter such as 73, or two for a cone: that of the upper and of the lower edge, such as 73,65`,
  );
}

function readDiameter(text: string, what: string): number {
  const diameterMm = parseLengthMm(text.trim(), what);
  if (diameterMm <= MOST_ROUND_MM) return diameterMm;
  throw new AppError('option-invalid', `${what}: found ${diameterMm} mm, needed at most ${MOST_ROUND_MM} mm`);
}

/** @throws AppError option-invalid for what says something of a round piece where there is none */
function refuseAlone(given: Readonly<Record<string, unknown>>, beside: string): void {
  const [name] = Object.entries(given).find(([, value]) => value !== undefined) ?? [];
  if (name === undefined) return;
  throw new AppError('option-invalid', `${name}: found no round piece beside it, needed its diameter`, {
    options: [beside],
  });
}

/** A word, four shares of the photo, or the path of a picture that is white where the subject is. */
function readSubject(text: string | undefined, folder: string): JobRequest['subject'] {
  if (text === undefined || text === 'auto' || text === 'none') return text;
  const numbers = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (numbers.every((number) => !Number.isNaN(number))) {
    const [x, y, width, height, more] = numbers as [number, number, number, number, number?];
    if (!(x >= 0 && y >= 0 && width > 0 && height > 0 && x + width <= 1 && y + height <= 1) || more !== undefined) {
      throw new AppError(
        'option-invalid',
        `subject: found "${text}", needed the left and upper edge, the width and the height as shares of the photo, such as 0.3,0.1,0.4,0.6`,
      );
    }
    return { x, y, width, height };
  }
  if (!/\.[a-z]+$/i.test(text)) {
    throw new AppError(
      'option-invalid',
      `subject: found "${text}", needed auto, none, four shares such as 0.3,0.1,0.4,0.6, or a picture such as mask.png that is white where the subject is`,
    );
  }
  const bytes = readInputSync(resolve(folder, text), {
    kind: 'picture',
    label: text,
    needed: 'a picture of the subject',
  });
  return { mask: Buffer.from(bytes).toString('base64') };
}

function readWeights(text: string | undefined): ChannelWeights | undefined {
  if (text === undefined) return undefined;
  const weights = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  const sum = weights.reduce((total, weight) => total + weight, 0);
  if (weights.length !== 3 || !weights.every((weight) => weight >= 0) || !(sum > 0)) {
    throw new AppError(
      'option-invalid',
      `weights: found "${text}", needed three shares of red, green and blue such as 0.3,0.6,0.1`,
    );
  }
  return [weights[0]! / sum, weights[1]! / sum, weights[2]! / sum];
}

type Present<T> = { [K in keyof T]?: Exclude<T[K], undefined> };

function dropAbsent<T extends object>(
  record: T,
): Present<T> & { [K in keyof T as undefined extends T[K] ? never : K]: T[K] } {
  return Object.fromEntries(Object.entries(record).filter(([, value]) => value !== undefined)) as never;
}
