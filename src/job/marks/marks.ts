import { formatJson } from '../../json.ts';
import { estimateTime, type TimeEstimate } from '../../machine/index.ts';
import {
  type Lab,
  type Palette,
  type PaletteMark,
  parsePalette,
  type RefusedMaterial,
  type Shop,
  STRAIGHT_CURVE_WARNING,
} from '../../material/index.ts';
import { computeArealDoseJPerCm2 } from '../../optics/index.ts';
import { adjustTone, type Frame, resolutionWarning, type ToneOptions } from '../../photo/index.ts';
import {
  type ColourImage,
  convertToSrgb,
  countFiring,
  createDots,
  createPlane,
  decodeSrgb,
  encodeColour,
  encodeDots,
  encodeJpeg,
  encodeSrgb,
  lightnessOfReflectance,
  ONE,
  type Photo,
  type Plane,
  resampleLuminance,
  sha256,
} from '../../plane/index.ts';
import { convertLabToLinearRgb, createAverager, filterByEye, layOnTable, planEyeCells } from '../../proof/index.ts';
import { type LinearColour, mixNearest, separateMarks } from '../../screens/index.ts';
import { chooseToneValues, markable } from '../prepare/choices.ts';
import { type Picture, takePicture } from '../prepare/picture.ts';
import type { JobFile, PrepareOptions } from '../prepare/run.ts';
import type { Caution } from '../prepare/ticket.ts';
import { refuseBeyond } from '../request/grid.ts';
import { type JobRequest, type JobSpec, resolveJob, sayAssumedProfile } from '../request/spec.ts';
import { labOfOpponent, opponentOfLab, opponentOfRgb } from './opponent.ts';
import { renderMarksPage } from './page.ts';

/** What is separated: the photo's lightness alone, or its colours as far as the palette has them. */
export type SeparateBy = 'lightness' | 'colour';

export interface MarksRequest
  extends Omit<JobRequest, 'profile' | 'material' | 'machine' | 'pitchMm' | 'lineSpacingMm'> {
  /** Name or path of the palette. */
  readonly palette: string;
  readonly by?: SeparateBy;
}

export interface MarksSpec {
  readonly job: JobSpec;
  readonly palette: Palette;
  readonly by: SeparateBy;
  readonly warnings: readonly string[];
}

/**
 * Palettes whose colours lie further apart than this beside their lightness are colours to the eye, ΔE in a* b*.
 * Assumed: a palette of greys with a tinge is judged by its lightness alone.
 */
const COLOURFUL = 12;
/**
 * Lightness carries the picture: beyond the palette's colours a difference in L* counts so many times one in a* or b*.
 * Assumed, by eye on portraits: with 1 faces turn to the nearest colour and lose their shape.
 */
const LIGHTNESS_WEIGHT = 2;

/**
 * A job of several marks: names turned into records. Its grid, material and machine are the palette's.
 * @throws AppError those of `parsePalette` and `resolveJob`
 */
export function resolveMarks(
  { palette: asked, by, ...request }: MarksRequest,
  { shop, refused }: { readonly shop: Shop; readonly refused: readonly RefusedMaterial[] },
): MarksSpec {
  const { json, path } = shop.read('palettes', asked);
  const palette = parsePalette(json, path);
  const job = resolveJob(
    { ...request, material: palette.material, machine: palette.machine, ...palette.grid },
    { shop, refused },
  );
  for (const { name, settings } of palette.marks) {
    refuseBeyond(settings, { machine: job.machine, of: `${path}: mark ${name}`, code: 'file-invalid' });
  }
  const warnings = job.warnings.filter((text) => text !== STRAIGHT_CURVE_WARNING);
  if (palette.origin === 'assumed') {
    warnings.unshift(
      `NOT MEASURED: the palette "${palette.name}" holds assumed colours and settings. Good for a look; burn a dose chart and read a palette of your own before you burn a customer’s piece.`,
    );
  }
  return { job, palette, by: by ?? (isColourful(palette) ? 'colour' : 'lightness'), warnings };
}

function isColourful({ bare, marks }: Palette): boolean {
  const colours = [bare, ...marks.map(({ colour }) => colour)];
  return colours.some(([, a, b]) => colours.some((other) => Math.hypot(a - other[1], b - other[2]) > COLOURFUL));
}

/** One burn of the job: a bitmap with the settings of its mark. */
export interface MarkBurn {
  /** 1 is burned first. */
  readonly order: number;
  readonly mark: string;
  readonly title: string;
  readonly colour: Lab;
  readonly settings: PaletteMark['settings'];
  readonly doseJPerCm2: number;
  readonly file: string;
  readonly sha256: string;
  /** Share of the dots that get this mark. */
  readonly firing: number;
  readonly time: TimeEstimate;
}

/** Everything about a job of several marks; no date and no path, so that the same input gives the same bytes. */
export interface MarksTicket {
  readonly schema: 'tonewright-marks/1';
  readonly version: string;
  readonly name: string;
  readonly photo: { readonly file: string; readonly sha256: string; readonly width: number; readonly height: number };
  readonly piece: { readonly widthMm: number; readonly heightMm: number; readonly cornerRadiusMm: number };
  readonly grid: {
    readonly pitchMm: number;
    readonly lineSpacingMm: number;
    readonly width: number;
    readonly height: number;
  };
  readonly machine: { readonly name: string; readonly title: string };
  readonly material: { readonly name: string; readonly title: string };
  readonly palette: {
    readonly name: string;
    readonly title: string;
    readonly origin: string;
    readonly date: string;
    readonly sha256: string;
  };
  readonly by: SeparateBy;
  readonly tone: {
    readonly mode: 'plain' | 'auto';
    readonly values: ToneOptions;
    readonly range: 'scale' | 'absolute';
  };
  /** Share of the dots that stay bare. */
  readonly bare: number;
  /** In the order of burning. */
  readonly burns: readonly MarkBurn[];
  /** All burns together; what a person does between them is not in it. */
  readonly seconds: number;
  /** ΔE between what the palette can show of the photo and what the dots will, as the eye sees both. */
  readonly prediction: { readonly meanDeltaE: number; readonly p95DeltaE: number };
  readonly placement: { readonly xMm: number; readonly yMm: number };
  readonly cautions: readonly Caution[];
  readonly warnings: readonly string[];
  readonly assumptions: readonly string[];
}

export interface MarksOptions extends Omit<PrepareOptions, 'spec' | 'searchBands'> {
  readonly spec: MarksSpec;
}

export interface MarksJob {
  readonly files: readonly JobFile[];
  readonly ticket: MarksTicket;
}

/** The road of a photo to the bitmaps of several marks, a proof and a ticket with their order. */
export async function prepareMarks(load: () => Promise<Photo>, options: MarksOptions): Promise<MarksJob> {
  const { spec, name, photoFile, version, only, progress = () => undefined } = options;
  const { job, palette, by } = spec;
  progress('reading the photo');
  const photo = await load();
  const picture = await takePicture(async () => photo, {
    spec: job,
    withThumbnail: only === 'everything',
    shows: 'colours',
  });
  const { frame } = picture;
  const colours = [palette.bare, ...palette.marks.map(({ colour }) => colour)];
  const linear = colours.map(opponentOfLab);

  progress('setting the tone');
  const tone = chooseToneValues(picture.light, {
    spec: job,
    ...(picture.opaque ? { mask: picture.opaque } : {}),
  });
  const toned = adjustTone(picture.light, tone, { grid: job.grid });
  const range = rangeOf(job.range, colours);
  const wantedAt =
    by === 'colour' ? openColours(photo, { picture, toned, linear, range }) : openTones(toned, { linear, range });

  progress('separating');
  const { width, height, place } = frame;
  const mask = markable(frame, picture.opaque);
  const cells = planEyeCells(frame, { grid: job.grid, viewingDistanceMm: job.viewingDistanceMm });
  const wanted = openAverages(frame, cells);
  const separated = separateMarks({
    width,
    height,
    colours: linear,
    ...(mask ? { mask } : {}),
    wantedOf(y, row) {
      for (let x = 0; x < width; x++) {
        const [px, py] = [x - place.x, y - place.y];
        const isOpen =
          px >= 0 && py >= 0 && px < place.width && py < place.height && (!mask || mask.data[y * width + x]! >= 128);
        if (isOpen) wantedAt(py * place.width + px, row, 3 * x);
        else row.set(linear[0]!, 3 * x);
      }
      wanted.add(row);
    },
  });

  const motion = { motion: job.machine.motion, grid: job.grid };
  const burns: MarkBurn[] = [];
  const bitmaps: JobFile[] = [];
  palette.marks.forEach((mark, at) => {
    const dots = createDots(width, height);
    for (let i = 0; i < dots.data.length; i++) dots.data[i] = separated.data[i] === at + 1 ? 1 : 0;
    const file = `${name}.${at + 1}-${mark.name}.${job.format}`;
    const bytes = encodeDots(dots, job.grid, { format: job.format });
    bitmaps.push({ name: file, bytes });
    burns.push({
      order: at + 1,
      mark: mark.name,
      title: mark.title,
      colour: mark.colour,
      settings: mark.settings,
      doseJPerCm2: computeArealDoseJPerCm2({ ...mark.settings, lineSpacingMm: job.grid.lineSpacingMm }),
      file,
      sha256: sha256(bytes),
      firing: countFiring(dots) / dots.data.length,
      time: estimateTime(dots, { ...motion, settings: mark.settings }),
    });
  });

  progress('proofing');
  const shown = openAverages(frame, cells);
  const row = new Float64Array(3 * width);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) row.set(linear[separated.data[y * width + x]!]!, 3 * x);
    shown.add(row);
  }
  const soft = resolutionWarning(frame);
  const ticket: MarksTicket = {
    schema: 'tonewright-marks/1',
    version,
    name,
    photo: { file: photoFile, sha256: picture.facts.sha256, width: picture.width, height: picture.height },
    piece: { widthMm: frame.widthMm, heightMm: frame.heightMm, cornerRadiusMm: frame.cornerRadiusMm },
    grid: { ...job.grid, width, height },
    machine: { name: job.machine.name, title: job.machine.title },
    material: { name: job.material.name, title: job.material.title },
    palette: {
      name: palette.name,
      title: palette.title,
      origin: palette.origin,
      date: palette.date,
      sha256: sha256(JSON.stringify(palette)),
    },
    by,
    tone: { mode: job.tone, values: tone, range: job.range },
    bare: 1 - burns.reduce((sum, { firing }) => sum + firing, 0),
    burns,
    seconds: burns.reduce((sum, { time }) => sum + time.seconds, 0),
    prediction: compareSeen(wanted.means(), shown.means(), { ...cells, viewingDistanceMm: job.viewingDistanceMm }),
    placement: {
      xMm: (job.machine.fieldMm[0] - frame.widthMm) / 2,
      yMm: (job.machine.fieldMm[1] - frame.heightMm) / 2,
    },
    cautions: [...job.machine.cautions, ...job.material.cautions],
    warnings: [...spec.warnings, ...(soft ? [soft] : [])],
    assumptions: [
      ...job.assumptions.filter((text) => text !== sayAssumedProfile(job.profile)),
      'Each mark fills its own dot and no other: burn a corner of the picture first, and look at it.',
      'Marks are burned one after the other on the piece as it lies: do not move it between them.',
    ],
  };
  if (only === 'bitmap') return { files: bitmaps, ticket };
  const piece = drawPiece(separated, { frame, colours });
  const proof = layOnTable(piece, { cornerRadiusPx: (frame.cornerRadiusMm / frame.widthMm) * piece.width });
  const [png, proofJpeg, photoJpeg] = await Promise.all([
    encodeColour(proof, { format: 'png', compression: 2 }),
    encodeJpeg(proof, { quality: 82 }),
    encodeJpeg(picture.thumbnail!, { quality: 82 }),
  ]);
  const files = [
    ...bitmaps,
    { name: `${name}.proof.png`, bytes: png },
    { name: `${name}.ticket.json`, bytes: formatJson(ticket, 'ticket') },
    {
      name: `${name}.ticket.html`,
      bytes: renderMarksPage(ticket, { photo: dataUri(photoJpeg), proof: dataUri(proofJpeg) }),
    },
  ];
  return { files, ticket };
}

const dataUri = (jpeg: Uint8Array) => `data:image/jpeg;base64,${Buffer.from(jpeg).toString('base64')}`;

/** From the photo's L* to that on the work. */
type Range = (lightness: number) => number;

function rangeOf(range: JobSpec['range'], colours: readonly Lab[]): Range {
  if (range === 'absolute') return (lightness) => lightness;
  const tones = colours.map(([lightness]) => lightness);
  const [low, high] = [Math.min(...tones), Math.max(...tones)];
  return (lightness) => low + ((high - low) * lightness) / 100;
}

/** Writes the wanted colour of a dot of the picture into a row. */
type WantedAt = (dot: number, row: Float64Array, to: number) => void;

interface Gamut {
  readonly linear: readonly LinearColour[];
  readonly range: Range;
}

const toEven = (colour: LinearColour): LinearColour => {
  const [lightness, a, b] = labOfOpponent(colour);
  return [LIGHTNESS_WEIGHT * lightness, a, b];
};

/** Wanted colours of lightness alone: one mixture for each of 1024 lightnesses. */
function openTones(toned: Plane<'luminance'>, { linear, range }: Gamut): WantedAt {
  const steps = 1023;
  const mixtures = Float64Array.from(
    Array.from({ length: steps + 1 }, (_, step) =>
      mixNearest(opponentOfLab([range((100 * step) / steps), 0, 0]), { colours: linear, toEven }),
    ).flat(),
  );
  const stepOf = Uint16Array.from({ length: ONE + 1 }, (_, level) =>
    Math.round((steps * lightnessOfReflectance(level / ONE)) / 100),
  );
  return (dot, row, to) => {
    const from = 3 * stepOf[toned.data[dot]!]!;
    row[to] = mixtures[from]!;
    row[to + 1] = mixtures[from + 1]!;
    row[to + 2] = mixtures[from + 2]!;
  };
}

/**
 * Nodes of the table of colours along one axis, which runs over sRGB codes so that steps look even. A count. Assumed:
 * straight between them to 1 ΔE; more cost time by their cube.
 */
const NODES = 17;

/** Wanted colours of the photo: mixtures at the nodes of a cube of colours, found where the photo has them, linear between. */
function openColours(
  photo: Photo,
  { picture, toned, linear, range }: Gamut & { readonly picture: Picture; readonly toned: Plane<'luminance'> },
): WantedAt {
  const { crop, place } = picture.frame;
  const placed = { crop, width: place.width, height: place.height };
  const inSrgb = convertToSrgb(photo);
  const [red, green, blue] = (
    [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ] as const
  ).map((weights) => resampleLuminance(inSrgb, { ...placed, weights }).data) as [Uint16Array, Uint16Array, Uint16Array];
  const light = picture.light.data;
  const nodes = new Float64Array(3 * NODES ** 3).fill(Number.NaN);
  const codeOf = Float64Array.from({ length: ONE + 1 }, (_, level) => (NODES - 1) * encodeSrgb(level / ONE));
  const nodeAt = (r: number, g: number, b: number): number => {
    const at = 3 * ((r * NODES + g) * NODES + b);
    if (Number.isNaN(nodes[at]!)) {
      const rgb = [r, g, b].map((node) => decodeSrgb(node / (NODES - 1))) as [number, number, number];
      const [lightness, a, bb] = labOfOpponent(opponentOfRgb(rgb));
      nodes.set(mixNearest(opponentOfLab([range(lightness), a, bb]), { colours: linear, toEven }), at);
    }
    return at;
  };
  const last = NODES - 2;
  return (dot, row, to) => {
    // The tone was set on luminance; the channels follow it.
    const gain = light[dot]! > 0 ? toned.data[dot]! / light[dot]! : 1;
    const r = codeOf[Math.min(ONE, Math.round(red[dot]! * gain))]!;
    const g = codeOf[Math.min(ONE, Math.round(green[dot]! * gain))]!;
    const b = codeOf[Math.min(ONE, Math.round(blue[dot]! * gain))]!;
    const [r0, g0, b0] = [Math.min(last, r | 0), Math.min(last, g | 0), Math.min(last, b | 0)];
    const [rs, gs, bs] = [r - r0, g - g0, b - b0];
    let [first, second, third] = [0, 0, 0];
    for (let corner = 0; corner < 8; corner++) {
      const [cr, cg, cb] = [corner >> 2, (corner >> 1) & 1, corner & 1];
      const share = (cr === 1 ? rs : 1 - rs) * (cg === 1 ? gs : 1 - gs) * (cb === 1 ? bs : 1 - bs);
      if (share === 0) continue;
      const at = nodeAt(r0 + cr, g0 + cg, b0 + cb);
      first += share * nodes[at]!;
      second += share * nodes[at + 1]!;
      third += share * nodes[at + 2]!;
    }
    row[to] = first;
    row[to + 1] = second;
    row[to + 2] = third;
  };
}

interface Averages {
  readonly add: (row: Float64Array) => void;
  readonly means: () => readonly Float32Array[];
}

/** Averages of the three dimensions over cells that the eye does not tell apart. */
function openAverages(
  from: { readonly width: number; readonly height: number },
  to: { readonly width: number; readonly height: number },
): Averages {
  const averagers = [0, 1, 2].map(() => createAverager({ from, to }));
  return {
    add(row) {
      averagers.forEach((averager, channel) => {
        averager.add((target) => {
          for (let x = 0; x < target.length; x++) target[x] += row[3 * x + channel]!;
        });
      });
    },
    means: () => averagers.map(({ means }) => means),
  };
}

interface SeenSize {
  readonly width: number;
  readonly height: number;
  readonly cellXMm: number;
  readonly cellYMm: number;
  readonly viewingDistanceMm: number;
}

function compareSeen(
  wanted: readonly Float32Array[],
  shown: readonly Float32Array[],
  { width, height, ...eye }: SeenSize,
): MarksTicket['prediction'] {
  const see = (channels: readonly Float32Array[]) =>
    channels.map((data) => filterByEye(createPlane('reflectance', width, height, data), eye).data);
  const [a, b] = [see(wanted), see(shown)];
  const differences = Float64Array.from({ length: width * height }, (_, i) => {
    const at = (channels: readonly Float32Array[]) =>
      labOfOpponent([channels[0]![i]!, channels[1]![i]!, channels[2]![i]!]);
    const [p, q] = [at(a), at(b)];
    return Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
  }).sort();
  return {
    meanDeltaE: differences.reduce((sum, value) => sum + value, 0) / differences.length,
    p95DeltaE: differences[Math.min(differences.length - 1, Math.floor(0.95 * differences.length))]!,
  };
}

/** About so many pixels along the long side of the proof. Assumed: a card fills a screen without scrolling. */
const PROOF_PX = 1200;

/** The piece in its colours, averaged in linear light. */
function drawPiece(
  { data, width, height }: Plane<'bit'>,
  { frame, colours }: { readonly frame: Frame; readonly colours: readonly Lab[] },
): ColourImage {
  // Whole dots along the scan line, not narrower than a scan line, so that pixels can be square.
  const { pitchMm, lineSpacingMm } = frame.grid;
  const least = Math.max(1, Math.ceil(lineSpacingMm / pitchMm - 1e-9));
  const dotsPerPixel = Math.max(least, Math.round(Math.max(frame.widthMm, frame.heightMm) / PROOF_PX / pitchMm));
  const to = {
    width: Math.max(1, Math.round(width / dotsPerPixel)),
    height: Math.min(height, Math.max(1, Math.round((width / dotsPerPixel) * (frame.heightMm / frame.widthMm)))),
  };
  const rgb = colours.map(convertLabToLinearRgb);
  const averages = openAverages({ width, height }, to);
  const row = new Float64Array(3 * width);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) row.set(rgb[data[y * width + x]!]!, 3 * x);
    averages.add(row);
  }
  const pixels = new Uint8Array(3 * to.width * to.height);
  averages.means().forEach((means, channel) => {
    means.forEach((value, i) => {
      pixels[3 * i + channel] = Math.round(255 * encodeSrgb(Math.min(1, Math.max(0, value))));
    });
  });
  return { ...to, rgb: pixels };
}
