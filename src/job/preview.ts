import { type CoverageTable, fillDotTable, type Profile } from '../material/index.ts';
import {
  adjustTone,
  type Frame,
  planToneFields,
  type Rectangle,
  type ToneFields,
  type ToneOptions,
} from '../photo/index.ts';
import {
  type ColourImage,
  createDots,
  createPlane,
  type DotGrid,
  type Dots,
  type Photo,
  type Plane,
  reflectanceOfLightness,
} from '../plane/index.ts';
import { predictReflectance, renderSurface, type SurfaceColours } from '../proof/index.ts';
import { chooseToneValues, markable } from './choices.ts';
import { type Picture, takePicture } from './picture.ts';
import type { PriceList } from './price-list.ts';
import { assessProof } from './proof.ts';
import { type Made, makeDots, tabulateCoverage } from './run.ts';
import type { JobSpec } from './spec.ts';
import { type Ticket, writeTicket } from './ticket.ts';

/** About so many pixels along the long side of a look: what a card takes of a screen. */
const LOOK_PX = 1100;
/** Colours over what the material cannot show, sRGB: what goes to its darkest, and to its lightest. */
export const CLIP_COLOURS = { dark: [28, 110, 214], light: [226, 88, 12] } as const;

/**
 * A photo's light at the dots of one crop, kept while a person tries tones on it: plain data that threads can share.
 * The coarse picture has one value for a square of dots and serves the draft.
 */
export interface Sight {
  readonly picture: Picture;
  readonly coarse: Picture;
  /** Tone that the job's mode chooses for this picture, without values set by hand. */
  readonly chosenTone: ToneOptions;
  /** What of the piece may be marked; undefined: all of it. */
  readonly mask: Plane<'mask'> | undefined;
}

/** What a person sees of a job before its files are made. */
export interface Look {
  /** The piece without surroundings, as the material will look. */
  readonly image: ColourImage;
  /** Shares of the picture at the ends of the material's range, 0 … 1. */
  readonly clippedDark: number;
  readonly clippedLight: number;
}

export interface LookOptions {
  readonly spec: JobSpec;
  /** Paint over what the material cannot show. */
  readonly showClipped?: boolean;
}

/** Light of the photo at the crop that the spec asks for, fine and coarse. */
export async function takeSight(photo: Photo, spec: JobSpec): Promise<Sight> {
  const load = async () => photo;
  const picture = await takePicture(load, { spec, withThumbnail: false });
  const { x, y } = picture.focus;
  const coarseSpec = { ...spec, focus: { x, y }, grid: coarsenGrid(picture.frame) };
  const coarse = await takePicture(load, { spec: coarseSpec, withThumbnail: false });
  const { opaque } = picture;
  const chosenTone = chooseToneValues(picture.light, {
    spec: { ...spec, toneValues: {} },
    ...(opaque ? { mask: opaque } : {}),
  });
  return { picture, coarse, chosenTone, mask: markable(picture.frame, opaque) };
}

function coarsenGrid({ width, height, grid }: Frame): DotGrid {
  const times = Math.max(1, Math.round(Math.max(width, height) / LOOK_PX));
  return { pitchMm: grid.pitchMm * times, lineSpacingMm: grid.lineSpacingMm * times };
}

/**
 * The tones of the piece without its dots: a draft that follows the hand. It differs from the proof by the screen's grain
 * and by what the screen loses, nowhere else.
 */
export function drawDraft({ coarse, chosenTone }: Sight, { spec, showClipped = false }: LookOptions): Look {
  const { frame, light, opaque } = coarse;
  const toned = adjustTone(light, { ...chosenTone, ...spec.toneValues }, { grid: frame.grid });
  const table = tabulateCoverage(spec).table;
  const seen = wantedOnPiece(toned, { frame, table, opaque, profile: spec.profile });
  const clip = countClipped(toned, table, opaque);
  const image = renderSurface(seen, coloursOf(spec.profile));
  if (showClipped) paintClipped(image, { toned, table, frame });
  return { image, clippedDark: clip.dark, clippedLight: clip.light };
}

/** What the ticket would say, without what only a written bitmap has. */
export type LookFacts = Omit<Ticket, 'bitmap' | 'photo'> & {
  readonly bitmap: Pick<Ticket['bitmap'], 'width' | 'height' | 'firing'>;
};

/** The toned picture of a sight: what threads may share the rows of. Undefined where the tone asks for no surroundings. */
export function planSightTone({ picture, chosenTone }: Sight, spec: JobSpec): ToneFields | undefined {
  return planToneFields(picture.light, { ...chosenTone, ...spec.toneValues }, { grid: spec.grid });
}

/** The dots as the job will have them, and how they are seen on the material. */
export interface DotLook {
  readonly image: ColourImage;
  readonly dots: Dots;
  readonly made: Made;
  readonly seen: Plane<'reflectance'>;
}

export interface DotLookOptions extends LookOptions {
  /** The toned picture, where its rows are made already. */
  readonly toned?: Plane<'luminance'>;
}

export function drawDots(
  { picture, chosenTone, mask }: Sight,
  { spec, toned, showClipped = false }: DotLookOptions,
): DotLook {
  const tone = { ...chosenTone, ...spec.toneValues };
  const made = makeDots(picture, { spec, tone, ...(toned ? { toned } : {}), ...(mask ? { mask } : {}) });
  const { dots } = made;
  const table = fillDotTable(spec.profile, spec.grid);
  const seen = predictReflectance(dots, { table, ...lookSize(dots, spec.grid) });
  const image = renderSurface(seen, coloursOf(spec.profile));
  if (showClipped) paintClipped(image, { toned: made.toned, table: made.table, frame: picture.frame });
  return { image, dots, made, seen };
}

export interface ForetellOptions {
  readonly spec: JobSpec;
  readonly name: string;
  readonly version: string;
  /** For the price; none is told without. */
  readonly prices?: PriceList;
}

/** What the dots of a look foretell: all that the ticket will say. */
export function foretell(
  { picture }: Sight,
  { made, seen }: Pick<DotLook, 'made' | 'seen'>,
  { spec, name, version, prices }: ForetellOptions,
): LookFacts {
  const dotTable = fillDotTable(spec.profile, spec.grid);
  const { frame } = picture;
  const prediction = assessProof(seen, { ...made, spec, picture, frame, dotTable });
  const {
    bitmap,
    photo: _,
    ...ticket
  } = writeTicket({
    ...made,
    spec,
    name,
    version,
    picture,
    frame,
    photoFile: '',
    burned: made.dots,
    prediction,
    bitmapFile: '',
    bitmapSha256: '',
    ...(prices ? { prices } : {}),
  });
  return { ...ticket, bitmap: { width: bitmap.width, height: bitmap.height, firing: bitmap.firing } };
}

export interface EnlargeOptions {
  readonly spec: JobSpec;
  /** The part to show, whole dots; cut off at the edges of the piece. */
  readonly part: Rectangle;
  /** `dots`: black where the beam fires. `surface`: one predicted colour a dot. */
  readonly as: 'dots' | 'surface';
}

/** A few dots, one pixel each, for a loupe that enlarges them to whole pixels. */
export function enlargeDots(dots: Dots, { spec, part, as }: EnlargeOptions): ColourImage {
  const left = Math.min(Math.max(0, Math.round(part.x)), dots.width - 1);
  const top = Math.min(Math.max(0, Math.round(part.y)), dots.height - 1);
  const width = Math.max(1, Math.min(Math.round(part.width), dots.width - left));
  const height = Math.max(1, Math.min(Math.round(part.height), dots.height - top));
  const field = createDots(width, height, dots.levels);
  for (let y = 0; y < height; y++) {
    const from = (top + y) * dots.width + left;
    field.data.set(dots.data.subarray(from, from + width), y * width);
  }
  if (as === 'surface') {
    const table = fillDotTable(spec.profile, spec.grid);
    return renderSurface(predictReflectance(field, { table }), coloursOf(spec.profile));
  }
  const rgb = new Uint8Array(3 * width * height);
  const full = dots.levels - 1;
  for (let i = 0; i < field.data.length; i++) rgb.fill(255 - (255 * field.data[i]!) / full, 3 * i, 3 * i + 3);
  return { width, height, rgb };
}

function lookSize({ width, height }: Dots, grid: DotGrid): { readonly width: number; readonly height: number } {
  const times = Math.max(1, Math.round(Math.max(width, height) / LOOK_PX));
  const across = Math.max(1, Math.round(width / times));
  const down = Math.round((across * height * grid.lineSpacingMm) / (width * grid.pitchMm));
  return { width: across, height: Math.min(height, Math.max(1, down)) };
}

/** Wanted reflectance of the whole piece; what may not be marked stays bare. */
function wantedOnPiece(
  toned: Plane<'luminance'>,
  {
    frame,
    table,
    opaque,
    profile,
  }: {
    readonly frame: Frame;
    readonly table: CoverageTable;
    readonly opaque: Plane<'mask'> | undefined;
    readonly profile: Profile;
  },
): Plane<'reflectance'> {
  const { width, height, place } = frame;
  const bare = reflectanceOfLightness(profile.bare[0]);
  const out = createPlane('reflectance', width, height);
  out.data.fill(bare);
  const mask = markable(frame, opaque);
  for (let y = 0; y < place.height; y++) {
    const to = (place.y + y) * width + place.x;
    for (let x = 0; x < place.width; x++) {
      const wanted = table.reflectance[toned.data[y * place.width + x]!]!;
      const share = mask ? mask.data[to + x]! / 255 : 1;
      out.data[to + x] = bare + share * (wanted - bare);
    }
  }
  return out;
}

function countClipped(
  toned: Plane<'luminance'>,
  { clipBelow, clipAbove }: CoverageTable,
  opaque: Plane<'mask'> | undefined,
): { readonly dark: number; readonly light: number } {
  let [dark, light, all] = [0, 0, 0];
  for (let i = 0; i < toned.data.length; i++) {
    if (opaque && opaque.data[i]! < 128) continue;
    all++;
    if (toned.data[i]! <= clipBelow) dark++;
    else if (toned.data[i]! >= clipAbove) light++;
  }
  return { dark: dark / Math.max(1, all), light: light / Math.max(1, all) };
}

/** Paints each pixel whose middle is clipped. */
function paintClipped(
  { width, height, rgb }: ColourImage,
  { toned, table, frame }: { readonly toned: Plane<'luminance'>; readonly table: CoverageTable; readonly frame: Frame },
): void {
  const { place } = frame;
  for (let y = 0; y < height; y++) {
    const py = Math.floor(((y + 0.5) * frame.height) / height) - place.y;
    if (py < 0 || py >= place.height) continue;
    for (let x = 0; x < width; x++) {
      const px = Math.floor(((x + 0.5) * frame.width) / width) - place.x;
      if (px < 0 || px >= place.width) continue;
      const value = toned.data[py * place.width + px]!;
      const colour =
        value <= table.clipBelow ? CLIP_COLOURS.dark : value >= table.clipAbove ? CLIP_COLOURS.light : undefined;
      if (colour) rgb.set(colour, 3 * (y * width + x));
    }
  }
}

function coloursOf({ bare, full, response }: Profile): SurfaceColours {
  return { bare, full, yuleNielsenN: response.yuleNielsenN };
}
