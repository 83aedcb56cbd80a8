import { encodeSrgb, type Lab, labOfOpponent, linearRgbOfLab, opponentOfLab } from '../../colour/index.ts';
import { formatJson } from '../../json.ts';
import { controlOf, estimateTime } from '../../machine/index.ts';
import type { Palette } from '../../material/index.ts';
import { knowNotice, settleNotices } from '../../notices.ts';
import { tabulate } from '../../numeric/index.ts';
import { computeArealDoseJPerCm2 } from '../../optics/index.ts';
import { adjustTone, type Frame, type ToneOptions } from '../../photo/index.ts';
import {
  type ColourImage,
  countFiring,
  createDots,
  createPlane,
  encodeColour,
  encodeDots,
  encodeJpeg,
  isProgramFormat,
  orientDots,
  type Photo,
  type Plane,
  sha256,
} from '../../plane/index.ts';
import { createAverager, filterByEye, layOnTable, planEyeCells } from '../../proof/index.ts';
import { separateMarks } from '../../screens/index.ts';
import { markable } from '../prepare/choices.ts';
import { type Picture, takePicture } from '../prepare/picture.ts';
import { type PrepareOptions, warnOfSoftness } from '../prepare/run.ts';
import { describeHandling, describeSide, lyingSize } from '../prepare/ticket.ts';
import { chooseToneValues, facesOf } from '../prepare/tone.ts';
import type { JobFile } from '../prepare/types.ts';
import { sayAssumedProfile } from '../request/resolve.ts';
import type { JobSpec } from '../request/types.ts';

import { renderMarksPage } from './page.ts';
import type { MarkBurn, MarksSpec, MarksTicket } from './types.ts';
import { openColours, openTones, rangeOf, type WantedAt } from './wanted-colours.ts';

export interface MarksOptions extends Omit<PrepareOptions, 'spec' | 'searchBands'> {
  readonly spec: MarksSpec;
}

export interface MarksJob {
  readonly files: readonly JobFile[];
  readonly ticket: MarksTicket;
}

/** The way of a photo to the bitmaps of several marks, a proof and a ticket with their order. */
export async function prepareMarks(load: () => Promise<Photo>, options: MarksOptions): Promise<MarksJob> {
  const { spec, name, only, progress = () => undefined } = options;
  const { job, palette } = spec;
  progress('reading the photo');
  const photo = await load();
  const picture = await takePicture(async () => photo, {
    spec: job,
    withThumbnail: only === 'everything',
    shows: 'colours',
  });

  progress('setting the tone');
  const tone = chooseToneValues(picture, job);
  const toned = adjustTone(picture.light, tone, { grid: job.grid, ...facesOf(picture) });
  const colours = listColours(palette);
  const wantedAt = findWanted(photo, { spec, picture, toned, colours });

  progress('separating');
  const { separated, wanted } = separatePicture(picture, { spec, colours, wantedAt });
  const { burns, bitmaps } = drawBurns(separated, { spec, name });

  progress('proofing');
  const shown = averageShown(separated, { spec, picture, colours });
  const prediction = compareSeen(wanted, shown, {
    ...planCells(picture, job),
    viewingDistanceMm: job.viewingDistanceMm,
  });
  const ticket = writeMarksTicket({ ...options, picture, tone, burns, prediction });
  if (only === 'bitmap') return { files: bitmaps, ticket };
  return { files: [...bitmaps, ...(await drawPages(ticket, { name, separated, picture, colours }))], ticket };
}

/** The bare surface and the marks, in the order of their numbers in a separated picture. */
function listColours({ bare, marks }: Palette): readonly Lab[] {
  return [bare, ...marks.map(({ colour }) => colour)];
}

interface WantedFacts {
  readonly spec: MarksSpec;
  readonly picture: Picture;
  readonly toned: Plane<'luminance'>;
  readonly colours: readonly Lab[];
}

function findWanted(photo: Photo, { spec: { job, by }, picture, toned, colours }: WantedFacts): WantedAt {
  const gamut = { linear: colours.map(opponentOfLab), range: rangeOf(job.range, colours) };
  return by === 'colour' ? openColours(photo, { picture, toned, ...gamut }) : openTones(toned, gamut);
}

/** The cells that the eye does not tell apart at the job's distance. */
function planCells({ frame }: Picture, { grid, viewingDistanceMm }: JobSpec) {
  return planEyeCells(frame, { grid, viewingDistanceMm });
}

/** Which mark each dot gets, and the means of what was wanted over the eye's cells. */
function separatePicture(
  picture: Picture,
  { spec: { job }, colours, wantedAt }: Pick<WantedFacts, 'spec' | 'colours'> & { readonly wantedAt: WantedAt },
) {
  const { frame } = picture;
  const { width, height, place } = frame;
  const linear = colours.map(opponentOfLab);
  const mask = markable(frame, picture.opaque, job);
  const averages = openAverages(frame, planCells(picture, job));
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
      averages.add(row);
    },
  });
  return { separated, wanted: averages.means() };
}

/** The bitmap of each mark, in the order of burning. */
function drawBurns(
  { data, width, height }: Plane<'bit'>,
  { spec: { job, palette }, name }: Pick<MarksOptions, 'spec' | 'name'>,
) {
  const motion = { motion: job.machine.motion, grid: job.grid };
  const { format } = job;
  if (isProgramFormat(format)) throw new RangeError('several marks are written as pictures');
  const burns: MarkBurn[] = [];
  const bitmaps: JobFile[] = [];
  palette.marks.forEach((mark, at) => {
    const dots = createDots(width, height);
    for (let i = 0; i < dots.data.length; i++) dots.data[i] = data[i] === at + 1 ? 1 : 0;
    const file = `${name}.${at + 1}-${mark.name}.${format}`;
    const lying = orientDots(dots, job.orientation);
    const bytes = encodeDots(lying, job.grid, { format });
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
      time: estimateTime(lying, { ...motion, settings: mark.settings }),
    });
  });
  return { burns, bitmaps };
}

/** Means of what the dots will show over the eye's cells. */
function averageShown(
  { data, width, height }: Plane<'bit'>,
  { spec: { job }, picture, colours }: Pick<WantedFacts, 'spec' | 'picture' | 'colours'>,
): readonly Float32Array[] {
  const linear = colours.map(opponentOfLab);
  const averages = openAverages(picture.frame, planCells(picture, job));
  const row = new Float64Array(3 * width);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) row.set(linear[data[y * width + x]!]!, 3 * x);
    averages.add(row);
  }
  return averages.means();
}

interface MarksFacts extends Pick<MarksOptions, 'spec' | 'name' | 'photoFile' | 'version'> {
  readonly picture: Picture;
  readonly tone: ToneOptions;
  readonly burns: readonly MarkBurn[];
  readonly prediction: MarksTicket['prediction'];
}

/** Gathers what was decided and computed into the ticket. */
function writeMarksTicket({
  spec,
  name,
  photoFile,
  version,
  picture,
  tone,
  burns,
  prediction,
}: MarksFacts): MarksTicket {
  const { job, palette, by } = spec;
  const { frame } = picture;
  const control = controlOf(job.machine);
  const [widthMm, heightMm] = lyingSize(frame, job.orientation);
  const soft = warnOfSoftness(frame);
  const { speaking, resting } = settleNotices([...spec.warnings, ...(soft ? [soft] : [])], job.atRest);
  return {
    schema: 'tonewright-marks/1',
    version,
    name,
    photo: { file: photoFile, sha256: picture.facts.sha256, width: picture.width, height: picture.height },
    piece: { widthMm: frame.widthMm, heightMm: frame.heightMm, cornerRadiusMm: frame.cornerRadiusMm },
    grid: { ...job.grid, width: frame.width, height: frame.height },
    machine: { name: job.machine.name, title: job.machine.title, ...(control ? { control } : {}) },
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
    prediction,
    placement: {
      xMm: (job.machine.fieldMm[0] - widthMm) / 2,
      yMm: (job.machine.fieldMm[1] - heightMm) / 2,
    },
    ...(job.orientation ? { orientation: job.orientation } : {}),
    ...(job.side ? { seen: describeSide(job.side) } : {}),
    ...describeHandling(job.material),
    cautions: [...job.machine.cautions, ...job.material.cautions],
    warnings: speaking.map(({ text }) => text),
    ...(speaking.length > 0 ? { warned: speaking.map(knowNotice) } : {}),
    ...(resting.length > 0 ? { atRest: resting.map(knowNotice) } : {}),
    assumptions: [
      ...job.assumptions.filter((text) => text !== sayAssumedProfile(job.profile)),
      'Each mark fills its own dot and no other: burn a corner of the picture first, and look at it.',
      'Marks are burned one after the other on the piece as it lies: do not move it between them.',
    ],
  };
}

interface PageFacts {
  readonly name: string;
  readonly separated: Plane<'bit'>;
  readonly picture: Picture;
  readonly colours: readonly Lab[];
}

/** The proof, the ticket and its page. */
async function drawPages(
  ticket: MarksTicket,
  { name, separated, picture, colours }: PageFacts,
): Promise<readonly JobFile[]> {
  const { frame, thumbnail } = picture;
  const piece = drawPiece(separated, { frame, colours });
  const proof = layOnTable(piece, { cornerRadiusPx: (frame.cornerRadiusMm / frame.widthMm) * piece.width });
  const [png, proofJpeg, photoJpeg] = await Promise.all([
    encodeColour(proof, { format: 'png', compression: 2 }),
    encodeJpeg(proof, { quality: 82 }),
    encodeJpeg(thumbnail!, { quality: 82 }),
  ]);
  return [
    { name: `${name}.proof.png`, bytes: png },
    { name: `${name}.ticket.json`, bytes: formatJson(ticket, 'ticket') },
    {
      name: `${name}.ticket.html`,
      bytes: renderMarksPage(ticket, { photo: dataUri(photoJpeg), proof: dataUri(proofJpeg) }),
    },
  ];
}

const dataUri = (jpeg: Uint8Array) => `data:image/jpeg;base64,${Buffer.from(jpeg).toString('base64')}`;

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
  const differences = tabulate(new Float64Array(width * height), (i) => {
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
  const rgb = colours.map(linearRgbOfLab);
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
