import * as v from 'valibot';
import { AppError } from '../errors.ts';
import type { JobRequest } from '../job/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { OptionValues } from '../options.ts';
import {
  BACKDROPS,
  BENEATH,
  DOT_FORMAT_NAMES,
  isMaskName,
  locateMask,
  MOST_ZOOM,
  OUTLINES,
  QUANTITIES,
  readSubjectMask,
  SEEN,
  TONE_FIELDS,
} from '../tasks/index.ts';
import type { PhotoSettings, PieceSettings, SubjectSettings } from './protocol.ts';

/** A name of a record: never a path. */
export const RECORD_NAME = v.pipe(v.string(), v.regex(/^[a-z0-9]+(?:[-.][a-z0-9]+)*$/), v.maxLength(80));
const lengthMm = v.pipe(v.number(), v.minValue(1), v.maxValue(2000));
const share = v.pipe(v.number(), v.minValue(0), v.maxValue(1));

const words = v.pipe(v.string(), v.minLength(1), v.maxLength(200));
const ink = v.picklist(['solid', 'bare']);
const place = v.pipe(v.number(), v.minValue(-2000), v.maxValue(2000));

/** How a photo lies on its piece. */
const CROP_FIELDS = {
  fit: v.picklist(['cover', 'contain']),
  focus: v.exactOptional(v.strictObject({ x: share, y: share })),
  zoom: v.exactOptional(v.pipe(v.number(), v.minValue(1), v.maxValue(MOST_ZOOM))),
  turnDeg: v.exactOptional(v.pipe(v.number(), v.minValue(-180), v.maxValue(180))),
  subject: v.exactOptional(
    v.union([
      v.picklist(['auto', 'none']),
      v.strictObject({ mask: v.pipe(v.string(), v.check(isMaskName, 'needed the name of a mask')) }),
    ]),
  ),
} as const;

/** Power levels per dot, a count. By definition: 2 where the beam fires or not, and 256 are what 8 bits tell. */
export const LEVELS = v.pipe(v.number(), v.integer(), v.minValue(2), v.maxValue(256));

const PHOTO_SETTINGS = v.strictObject({
  widthMm: lengthMm,
  heightMm: lengthMm,
  cornerRadiusMm: v.pipe(v.number(), v.minValue(0), v.maxValue(1000)),
  machine: RECORD_NAME,
  profile: v.exactOptional(RECORD_NAME),
  material: v.exactOptional(RECORD_NAME),
  ...CROP_FIELDS,
  backdrop: v.exactOptional(v.picklist(BACKDROPS)),
  outline: v.exactOptional(v.picklist(OUTLINES)),
  vignetteMm: v.exactOptional(v.pipe(v.number(), v.minValue(0), v.maxValue(1000))),
  safeMarginMm: v.pipe(v.number(), v.minValue(0), v.maxValue(1000)),
  screen: v.exactOptional(RECORD_NAME),
  levels: v.exactOptional(LEVELS),
  tone: v.picklist(['auto', 'plain']),
  toneValues: v.strictObject(
    Object.fromEntries(
      Object.entries(TONE_FIELDS).map(([name, { min, max }]) => [
        name,
        v.exactOptional(v.pipe(v.number(), v.minValue(min), v.maxValue(max))),
      ]),
    ),
  ),
  range: v.picklist(['scale', 'absolute']),
  settings: v.exactOptional(
    v.strictObject({
      powerW: v.exactOptional(QUANTITIES.powerW),
      speedMmPerS: v.exactOptional(QUANTITIES.speedMmPerS),
      rateKHz: v.exactOptional(QUANTITIES.rateKHz),
      pulseNs: v.exactOptional(QUANTITIES.pulseNs),
      passes: v.exactOptional(v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100))),
      scan: v.exactOptional(v.picklist(['one-way', 'two-way'])),
    }),
  ),
  seen: v.exactOptional(v.picklist(SEEN)),
  beneath: v.exactOptional(v.picklist(BENEATH)),
  mirror: v.exactOptional(v.literal(true)),
  rotateDeg: v.exactOptional(v.picklist([90, 180, 270])),
  format: v.exactOptional(v.picklist(DOT_FORMAT_NAMES)),
  at: v.exactOptional(v.pipe(v.string(), v.nonEmpty(), v.maxLength(80))),
  round: v.exactOptional(
    v.strictObject({
      diameterMm: lengthMm,
      toneErrorL: v.exactOptional(v.pipe(v.number(), v.minValue(0.1), v.maxValue(50))),
    }),
  ),
  around: v.exactOptional(
    v.strictObject({
      diametersMm: v.strictTuple([lengthMm, lengthMm]),
      stepsPerTurn: v.exactOptional(v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(1e7))),
      overlapMm: v.exactOptional(v.pipe(v.number(), v.minValue(0), v.maxValue(1000))),
    }),
  ),
  caption: v.exactOptional(
    v.strictObject({
      text: words,
      text2: v.exactOptional(words),
      place: v.exactOptional(v.picklist(['below', 'band', 'picture', 'edge'])),
      heightMm: v.exactOptional(v.pipe(v.number(), v.minValue(0.5), v.maxValue(200))),
      font: v.exactOptional(v.picklist(['sans', 'serif', 'script'])),
      ink: v.exactOptional(ink),
    }),
  ),
  artwork: v.exactOptional(
    v.strictObject({
      name: RECORD_NAME,
      widthMm: v.exactOptional(lengthMm),
      at: v.exactOptional(v.strictObject({ xMm: place, yMm: place })),
      ink: v.exactOptional(ink),
    }),
  ),
});

/** Of a piece of an order: any of the same, or nothing. */
const PIECE_WISH = v.strictObject({ ...v.partial(PHOTO_SETTINGS).entries, turned: v.optional(v.boolean()) });

/** @throws AppError option-invalid naming the field */
export function parsePieceSettings(json: unknown): PieceSettings {
  return parseWith(PIECE_WISH, json) as PieceSettings;
}

/** @throws AppError option-invalid naming the field */
export function parsePhotoSettings(json: unknown): PhotoSettings {
  return parseWith(PHOTO_SETTINGS, json) as PhotoSettings;
}

/** @throws AppError option-invalid naming the field */
export function parseWith<S extends v.GenericSchema>(schema: S, json: unknown): v.InferOutput<S> {
  const result = v.safeParse(schema, json);
  if (result.success) return result.output;
  const [issue] = result.issues;
  throw new AppError('option-invalid', `${v.getDotPath(issue) ?? 'the request'}: ${issue.message}`);
}

/**
 * The request that the command line would make of the same choices.
 * @param folder of the photo, beside which its masks lie
 * @throws AppError path-missing for a mask that is gone
 */
export function requestOf({ widthMm, heightMm, ...wish }: PhotoSettings, folder: string): JobRequest {
  const { profile, material, subject, ...rest } = wish;
  return {
    ...rest,
    ...(subject === undefined ? {} : { subject: typeof subject === 'string' ? subject : readMask(folder, subject) }),
    size: `${widthMm}x${heightMm}`,
    ...(profile === undefined ? (material === undefined ? {} : { material }) : { profile }),
  };
}

const readMask = (folder: string, { mask }: { readonly mask: string }) => ({
  mask: readSubjectMask(folder, mask).toString('base64'),
});

/** The subject as an option says it: a mask by its path from the photo's folder. */
const subjectText = (subject: SubjectSettings): string =>
  typeof subject === 'string' ? subject : locateMask(subject.mask);

const optionsOfRound = ({ diameterMm, toneErrorL }: NonNullable<PhotoSettings['round']>): OptionValues => ({
  round: String(diameterMm),
  ...(toneErrorL === undefined ? {} : { roundError: String(toneErrorL) }),
});

const optionsOfAround = ({
  diametersMm: [upper, lower],
  stepsPerTurn,
  overlapMm,
}: NonNullable<PhotoSettings['around']>): OptionValues => ({
  around: upper === lower ? String(upper) : `${upper},${lower}`,
  ...(stepsPerTurn === undefined ? {} : { stepsPerTurn: String(stepsPerTurn) }),
  ...(overlapMm === undefined ? {} : { overlap: String(overlapMm) }),
});

/** The options that would ask the same of a command: numbers as texts that read back as they are. */
export function optionsOf(wish: PhotoSettings): OptionValues {
  const { widthMm, heightMm, cornerRadiusMm, safeMarginMm, machine, profile, material, fit, focus, screen } = wish;
  const { tone, toneValues, range, zoom, turnDeg, subject, backdrop, outline, vignetteMm, caption, artwork } = wish;
  const { settings, seen, beneath, mirror, rotateDeg, format, at, round, around, levels } = wish;
  return {
    size: `${widthMm}x${heightMm}`,
    corner: String(cornerRadiusMm),
    margin: String(safeMarginMm),
    machine,
    ...(profile === undefined ? (material === undefined ? {} : { material }) : { profile }),
    fit,
    ...(focus ? { keep: `${focus.x},${focus.y}` } : {}),
    ...(zoom === undefined ? {} : { zoom: String(zoom) }),
    ...(turnDeg === undefined ? {} : { turn: String(turnDeg) }),
    ...(subject === undefined ? {} : { subject: subjectText(subject) }),
    ...(backdrop === undefined ? {} : { backdrop }),
    ...(outline === undefined ? {} : { outline }),
    ...(vignetteMm === undefined ? {} : { vignette: String(vignetteMm) }),
    ...(screen === undefined ? {} : { screen }),
    ...(levels === undefined ? {} : { levels: String(levels) }),
    tone,
    range,
    ...Object.fromEntries(Object.entries(toneValues).map(([name, value]) => [name, String(value)])),
    ...(settings ? optionsOfSettings(settings) : {}),
    ...(seen === undefined ? {} : { seen }),
    ...(beneath === undefined ? {} : { beneath }),
    ...(mirror ? { mirror } : {}),
    ...(rotateDeg === undefined ? {} : { rotate: String(rotateDeg) }),
    ...(format === undefined ? {} : { format }),
    ...(at === undefined ? {} : { at }),
    ...(round ? optionsOfRound(round) : {}),
    ...(around ? optionsOfAround(around) : {}),
    ...(caption ? optionsOfCaption(caption) : {}),
    ...(artwork ? optionsOfArtwork(artwork) : {}),
  };
}

function optionsOfSettings({
  powerW,
  speedMmPerS,
  rateKHz,
  pulseNs,
  passes,
  scan,
}: Partial<BurnSettings>): OptionValues {
  return {
    ...(powerW === undefined ? {} : { power: String(powerW) }),
    ...(speedMmPerS === undefined ? {} : { speed: String(speedMmPerS) }),
    ...(rateKHz === undefined ? {} : { rate: String(rateKHz) }),
    ...(pulseNs === undefined ? {} : { pulse: String(pulseNs) }),
    ...(passes === undefined ? {} : { passes: String(passes) }),
    ...(scan === undefined ? {} : { scan }),
  };
}

function optionsOfCaption({
  text,
  text2,
  place,
  heightMm,
  font,
  ink,
}: NonNullable<PhotoSettings['caption']>): OptionValues {
  return {
    caption: text,
    ...(text2 === undefined ? {} : { caption2: text2 }),
    ...(place === undefined ? {} : { captionPlace: place }),
    ...(heightMm === undefined ? {} : { captionHeight: String(heightMm) }),
    ...(font === undefined ? {} : { captionFont: font }),
    ...(ink === undefined ? {} : { captionInk: ink }),
  };
}

function optionsOfArtwork({ name, widthMm, at, ink }: NonNullable<PhotoSettings['artwork']>): OptionValues {
  return {
    artwork: name,
    ...(widthMm === undefined ? {} : { artworkWidth: String(widthMm) }),
    ...(at ? { artworkAt: `${at.xMm},${at.yMm}` } : {}),
    ...(ink === undefined ? {} : { artworkInk: ink }),
  };
}
