import type { ChartLayout } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { formatJson } from '../../json.ts';
import { controlOf, type Machine, moveBackLines } from '../../machine/index.ts';
import type { Profile } from '../../material/index.ts';
import { type Dots, encodeColour, type PictureFormat, turnQuarter } from '../../plane/index.ts';
import {
  aimAt,
  type Correction,
  type Jig,
  placeMarks,
  placeOrigin,
  roundMm,
  toControlPlace,
} from '../../plate/index.ts';
import type { JobFile } from '../prepare/types.ts';

import { type LayoutSource, layPieces, type PlacedPiece, type PlacedPlate } from './batches.ts';
import { addStrip, burnGroup, groupBurns, type Part } from './burns.ts';
import { pictureOfDots } from './dots.ts';
import {
  describeBurnDifferences,
  describeRemade,
  describeSides,
  findFieldWarnings,
  findPlaceWarnings,
  gatherCautions,
  gatherWarnings,
  middleInField,
  offFromCorrected,
} from './facts.ts';
import { makeJigFiles, markOfJig } from './jig.ts';
import type { PlateJob } from './jobs.ts';
import { renderPlatePage, renderPlatesPage } from './page.ts';
import { makePlateStrip } from './strip.ts';
import { type PlateBurn, type PlatePiece, type PlatesRecord, type PlateTicket, writePlacementTable } from './ticket.ts';
import { addTimes, timeBitmap } from './time.ts';

export interface PlateOptions {
  readonly source: LayoutSource;
  /** `plate`: pieces of the same settings in one bitmap; `piece`: each piece a bitmap of its own. */
  readonly bitmaps: 'plate' | 'piece';
  /** Whether pieces with square dots may lie turned by a quarter. */
  readonly quarterTurns: boolean;
  readonly correction: Correction;
  /** A control strip in the strip pocket of each plate. */
  readonly strip: boolean;
  readonly format: PictureFormat;
  /** Version of the program, for the tickets. */
  readonly version: string;
  readonly readMachine: (name: string) => Machine;
  /** Asked only for control strips. */
  readonly readProfile: (name: string) => Profile;
  readonly progress?: (stage: string, share?: number) => void;
}

export interface Plates {
  /** In the order in which they are to be written; the page of all plates, which says "done", last. */
  readonly files: readonly JobFile[];
  readonly record: PlatesRecord;
  /** Layouts of the control strips, for the shop to keep. */
  readonly stripLayouts: readonly ChartLayout[];
}

/**
 * Plates of finished jobs: layout, bitmaps at whole dots, tickets, and the jigs to cut with their alignment marks.
 * @throws AppError those of `layPieces`; option-invalid when a bitmap would be too large, or a strip has no pocket
 */
export async function makePlates(jobs: readonly PlateJob[], options: PlateOptions): Promise<Plates> {
  const { progress = () => undefined, version } = options;
  if (jobs.length === 0) throw new AppError('option-invalid', 'found no job, needed at least one finished job');
  progress('laying out');
  const layout = layPieces(jobs, options);
  const jigs = [...new Set(layout.plates.map(({ jig }) => jig))];
  const fileOf = new Map(jigs.map((jig, at) => [jig, jigs.length === 1 ? 'jig' : `jig-${at + 1}`]));
  const files = new Map<string, JobFile>();
  const keep = (file: JobFile) => files.set(file.name, file);
  for (const jig of jigs) {
    const { machine, pieces } = layout.plates.find((plate) => plate.jig === jig)!;
    const { grid, settings } = pieces[0]!.job.ticket;
    const { correction, format } = options;
    makeJigFiles(jig, { machine, grid, settings, correction, format, file: fileOf.get(jig)!, version }).forEach(keep);
  }
  const tickets: PlateTicket[] = [];
  const stripLayouts: ChartLayout[] = [];
  for (const [at, plate] of layout.plates.entries()) {
    progress('composing plates', at / layout.plates.length);
    const made = await makePlate(plate, {
      ...options,
      number: at + 1,
      of: layout.plates.length,
      jigFile: fileOf.get(plate.jig)!,
    });
    made.files.forEach(keep);
    tickets.push(made.ticket);
    if (made.strip) stripLayouts.push(made.strip);
  }
  const record: PlatesRecord = {
    schema: 'tonewright-plates/1',
    version,
    bitmaps: options.bitmaps,
    batches: layout.batches,
    notes: layout.notes,
    time: addTimes(tickets.map(({ time }) => time)),
    jigs: jigs.map((jig) => `${fileOf.get(jig)!}.json`),
    plates: tickets,
  };
  keep({ name: 'plates.csv', bytes: writePlacementTable(tickets) });
  keep({ name: 'plates.json', bytes: formatJson(record, 'record') });
  keep({
    name: 'plates.html',
    bytes: renderPlatesPage(record, { jigOf: (ticket) => layout.plates[ticket.number - 1]!.jig }),
  });
  return { files: [...files.values()], record, stripLayouts };
}

interface OnePlate extends PlateOptions {
  readonly number: number;
  readonly of: number;
  readonly jigFile: string;
}

async function makePlate(plate: PlacedPlate, options: OnePlate) {
  const { jig, machine } = plate;
  const control = controlOf(machine);
  const name = `plate-${options.number}`;
  const marks = placeMarks(jig);
  const aim = aimAt(jig, { fieldMm: machine.fieldMm, correction: options.correction, pivot: marks[0]! });
  const load = rememberDots(machine);
  const parts: Part[] = [];
  const pictures: string[] = [];
  const remade = new Map<PlacedPiece, NonNullable<PlatePiece['corrected']>>();
  const notRemade = new Map<PlacedPiece, string>();
  for (const piece of plate.pieces) {
    const { dots, picture, corrected, why } = await load(piece, plate);
    if (corrected) remade.set(piece, corrected);
    else if (why !== undefined) notRemade.set(piece, why);
    const { grid, settings } = piece.job.ticket;
    const time = timeBitmap(dots, { machine, settings, grid });
    parts.push({ place: piece.place, dots, piece, time, ...(corrected ? { isOwn: true } : {}) });
    pictures.push(picture);
  }
  const strip = options.strip ? makePlateStrip(plate, options) : undefined;
  const groups = groupBurns(parts, options.bitmaps);
  if (strip) addStrip(groups, { strip: strip.part, bitmaps: options.bitmaps });
  const files = new Map<string, JobFile>();
  const burns: PlateBurn[] = [];
  const pieces: PlatePiece[] = [];
  for (const [at, group] of groups.entries()) {
    const { file, burn, placed } = burnGroup(group, {
      aim,
      machine,
      format: options.format,
      bitmaps: options.bitmaps,
      sequence: at + 1,
      of: groups.length,
      name,
      plate,
    });
    files.set(file.name, file);
    burns.push(burn);
    for (const { part, xDots, yDots, off } of placed) {
      if (!part.piece) continue;
      const { job, copy, pocket, turned, place } = part.piece;
      pieces.push({
        number: plate.pieces.indexOf(part.piece) + 1,
        name: job.ticket.name,
        copy,
        count: job.count,
        text: job.text,
        pocket,
        turned,
        place,
        control: toControlPlace(place, aim),
        burn: burn.sequence,
        xDots,
        yDots,
        off,
        secondsAlone: part.time.seconds,
        ...(remade.has(part.piece) ? { corrected: remade.get(part.piece)! } : {}),
      });
    }
  }
  pieces.sort((a, b) => a.number - b.number);
  const stripBurn = burns.find((burn) => burn.strip);
  const secondsApart =
    options.bitmaps === 'plate'
      ? [...parts, ...(strip ? [strip.part] : [])].reduce((sum, one) => sum + one.time.seconds, 0)
      : null;
  const ticket: PlateTicket = {
    schema: 'tonewright-plate/1',
    version: options.version,
    name,
    number: options.number,
    of: options.of,
    machine: { name: machine.name, title: machine.title, fieldMm: machine.fieldMm, ...(control ? { control } : {}) },
    material: plate.pieces[0]!.job.ticket.material,
    jig: { name: jig.name, title: jig.title, mark: markOfJig(jig), file: `${options.jigFile}.json` },
    origin: { ...jig.origin, ...placeOrigin(jig, machine.fieldMm) },
    correction: { ...options.correction, pivot: { xMm: marks[0]!.xMm, yMm: marks[0]!.yMm } },
    marks,
    burns,
    pieces,
    strip:
      strip && stripBurn
        ? {
            layout: `${name}.strip.json`,
            hash: strip.layout.hash,
            pocket: strip.pocket.name,
            burn: stripBurn.sequence,
            place: strip.part.place,
            control: toControlPlace(strip.part.place, aim),
          }
        : null,
    time: { ...addTimes(burns.map(({ time }) => time)), secondsApart },
    price: sumPrices(plate.pieces),
    notes: [
      ...describeSides(plate.pieces),
      ...describeBurnDifferences(burns, options.bitmaps),
      ...describeRemade(pieces),
      ...(plate.pieces.some(({ turned }) => turned) ? [TURN_NOTE] : []),
    ],
    cautions: gatherCautions(plate.pieces),
    warnings: [
      ...gatherWarnings(plate.pieces),
      ...findFieldWarnings(burns, { aim, jig, machine }),
      ...findPlaceWarnings(notRemade, { jig, machine }),
    ],
    assumptions: [...new Set(plate.pieces.flatMap(({ job }) => job.ticket.assumptions))],
  };
  const own: JobFile[] = [
    ...files.values(),
    ...(strip ? [{ name: `${name}.strip.json`, bytes: formatJson(strip.layout, 'layout of the strip') }] : []),
    { name: `${name}.ticket.json`, bytes: formatJson(ticket, 'ticket') },
    { name: `${name}.ticket.html`, bytes: renderPlatePage(ticket, { jig, pictures }) },
  ];
  return { ticket, files: own, strip: strip?.layout };
}

const TURN_NOTE =
  'Pieces marked ↻ lie turned by a quarter, and their dots with them, each whole. The beam now crosses the picture the other way: where a mark is longer along the scan than across it, their tone differs a little from the profile, which was learned unturned. A control strip beside them does not show this; burn one such piece first.';

/** Dots of a piece as it lies, and its small picture, read once a job and turn. */
interface LoadedPiece {
  readonly dots: Dots;
  readonly picture: string;
  readonly corrected?: NonNullable<PlatePiece['corrected']>;
  /** Why it was not corrected for where it lies, though it was for another place. */
  readonly why?: string;
}

const NO_PHOTO = { why: 'its photo is not at hand' } as const;

function rememberDots({ motion }: Machine) {
  const known = new Map<string, Promise<LoadedPiece>>();
  return async (piece: PlacedPiece, { jig, machine }: PlacedPlate): Promise<LoadedPiece> => {
    const { job, turned } = piece;
    const off = offFromCorrected(piece, { jig, machine });
    const { xMm, yMm } = middleInField(piece, { jig, machine });
    const again = off > 0 ? ((await job.remake?.({ xMm, yMm, turned })) ?? NO_PHOTO) : undefined;
    if (again && 'dots' in again) {
      const dots = moveBackLines(again.dots, { byDots: -again.movedDots, bare: motion.bare });
      const corrected = { xMm: roundMm(xMm), yMm: roundMm(yMm), note: again.note };
      return { ...(await draw(dots, job)), corrected };
    }
    const key = `${turned} ${job.ticket.name}`;
    const found = known.get(key) ?? read(job, turned);
    known.set(key, found);
    return again ? { ...(await found), why: again.why } : found;
  };
  async function draw(dots: Dots, { ticket: { grid, profile } }: PlateJob): Promise<LoadedPiece> {
    const png = await encodeColour(pictureOfDots(dots, { grid, ...profile }), { format: 'png', compression: 9 });
    return { dots, picture: `data:image/png;base64,${png.toString('base64')}` };
  }
  async function read(job: PlateJob, turned: boolean) {
    const { name, bitmap } = job.ticket;
    const { movedDots = 0 } = job.ticket.twoWay ?? {};
    // Which lines run back is the plate's matter, so they are put where they were.
    const upright = moveBackLines(await job.load(), { byDots: -movedDots, bare: motion.bare });
    if (upright.width !== bitmap.width || upright.height !== bitmap.height) {
      throw new AppError(
        'file-invalid',
        `${name}: found a bitmap of ${upright.width} × ${upright.height} dots, needed the ${bitmap.width} × ${bitmap.height} of its ticket`,
        { name },
      );
    }
    if (bitmap.levels > 2 && upright.levels === 2) {
      throw new AppError(
        'file-invalid',
        `${name}: found two tones in a bitmap of ${bitmap.levels} levels, which do not tell the powers that were meant; burn it by itself`,
        { name, levels: bitmap.levels },
      );
    }
    return draw(turned ? turnQuarter(upright) : upright, job);
  }
}

/**
 * Each copy bears its part of its job's price, in whole coins, so that all plates together come to the price of the
 * order.
 */
function sumPrices(pieces: readonly PlacedPiece[]): PlateTicket['price'] {
  const [first] = pieces;
  const price = first!.job.price;
  if (!price || pieces.some(({ job }) => job.price?.currency !== price.currency)) return null;
  const partOf = ({ job, copy }: PlacedPiece) => {
    const upTo = (copies: number) => Math.floor((job.price!.amountMinor * copies) / job.count);
    return upTo(copy) - upTo(copy - 1);
  };
  const { currency, locale, minorDigits } = price;
  return { amountMinor: pieces.reduce((sum, piece) => sum + partOf(piece), 0), currency, locale, minorDigits };
}

/** Files of a jig by itself, before there are jobs: drawing, data, placement of the pockets, alignment marks, page. */
export function makeJig(
  jig: Jig,
  {
    machine,
    correction,
    format,
    version,
  }: Pick<PlateOptions, 'correction' | 'format' | 'version'> & { readonly machine: Machine },
): readonly JobFile[] {
  return makeJigFiles(jig, {
    machine,
    correction,
    format,
    version,
    file: 'jig',
    settings: machine.defaults,
    grid: undefined,
  });
}
