import { existsSync, readdirSync } from 'node:fs';
import { basename, join } from 'node:path';
import { type ChartLayout, drawDoseCells, type Ramp } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  parseChartLayout,
  parseSimulationErrors,
  readMachine,
  recommendStartSpacingMm,
  startSettings,
} from '../job/index.ts';
import { formatJson } from '../json.ts';
import { type Machine, motionRecord } from '../machine/index.ts';
import { readJson } from '../material/index.ts';
import { tabulate } from '../numeric/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import {
  type Dots,
  decodeDots,
  encodeColour,
  encodeJpeg,
  orientDots,
  readInput,
  refuseResults,
  rememberInput,
  writeFilesAtomic,
} from '../plane/index.ts';
import {
  CAMERAS,
  CAPTURE_FAULTS,
  type CameraOptions,
  type Capture,
  type CaptureFault,
  captureSurface,
  DIRTY_LENS,
  decodeNpy,
  dirtyLens,
  encodeNpy,
  encodeSrgb,
  engrave,
  engraveCone,
  engraveRound,
  type FieldModel,
  type MaterialModel,
  mirrorSurface,
  type PowerModel,
  parseFieldModel,
  parseMaterialModel,
  parsePowerModel,
  type Surface,
  seeThroughPane,
  spoilCamera,
  TILT,
  unrollPiece,
  viewPiece,
} from '../simulation/index.ts';
import type { TaskContext } from './context.ts';
import { readLayout } from './listing.ts';
import type { PieceView } from './piece-views.ts';
import { sharedFolder } from './shop.ts';
import { chooseGrid, readTicket } from './timed-bitmap.ts';
import { formatNumber } from './words.ts';

/*
 * The virtual engraver and scanner, for whoever has no laser at hand: what a bitmap would leave on a hidden material,
 * and what a camera would make of that.
 */

/**
 * Resolution of a surface kept as numbers, and as a picture, dots per inch. Assumed: four and two times a usual scan.
 */
const SURFACE_DPI = { npy: 1200, png: 600 } as const;
/** Steps of linear light whose sRGB codes are tabulated, a count. Assumed: few of them hold the beginning of a code. */
const CODE_STEPS = 1 << 14;
const BURN_FAULTS = ['tilt', 'dirty-lens', 'mirrored'] as const;
export type BurnFault = (typeof BURN_FAULTS)[number];
const FAULTS: readonly string[] = [...BURN_FAULTS, ...Object.keys(CAPTURE_FAULTS)];
const isBurnFault = (fault: string): fault is BurnFault => BURN_FAULTS.includes(fault as BurnFault);
const isCaptureFault = (fault: string): fault is CaptureFault => Object.hasOwn(CAPTURE_FAULTS, fault);
/** Sides of a turned piece, degrees right of the picture's middle. By definition: a quarter each. */
const VIEWS: Readonly<Record<Exclude<PieceView, 'unrolled'>, number>> = { front: 0, right: 90, back: 180, left: 270 };
/** Cameras by name. */
export const CAMERA_NAMES: readonly string[] = Object.keys(CAMERAS);
/** Quality of a phone's file, percent. Assumed: about what phones write. */
const JPEG_QUALITY = 90;

export interface BurnRequest {
  /** The bitmap. */
  readonly path: string;
  /**
   * A material model that comes with the program, or the path of one; absent: the one that behaves like the material of
   * the chart.
   */
  readonly model?: string;
  /** Absent: as the file says; one of the two stands for both. */
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
  /** Resolution of the surface. */
  readonly dpi?: number;
  /** Chance of the material and the camera; 1 when absent. */
  readonly seed?: number;
  /** A chart of the shop, or the path of its layout: burned with its settings, a dose chart cell by cell. */
  readonly chart?: string;
  /** Each absent one as the chart or the ticket beside the bitmap has it, else as the material model marks well. */
  readonly settings?: Partial<Pick<BurnSettings, 'powerW' | 'speedMmPerS' | 'passes' | 'scan'>>;
  /** Bare material around the bitmap, mm. */
  readonly marginMm?: number;
  /** How the beam differs over the machine's field: a model that comes with the program, or the path of one. */
  readonly field?: string;
  /** What the laser makes of levels of power: a model that comes with the program, or the path of one. */
  readonly levels?: string;
  /** Where the bitmap's middle lies in that field, mm from its upper left corner; in its middle when absent. */
  readonly at?: { readonly xMm: number; readonly yMm: number };
  /** Height of the best focus above where it was set, and by how much more along the scan than across it, mm. */
  readonly focusMm?: number;
  readonly astigmatismMm?: number;
  /** Of a round piece that lies still, its axis down the bitmap; flat when absent. */
  readonly roundDiameterMm?: number;
  /**
   * Of a piece that a rotary turns below one line, its axis along the lines: diameter at the upper edge of the picture,
   * where the lines end, and at the lower one; flat when absent.
   */
  readonly aroundDiametersMm?: readonly [upper: number, lower: number];
  /** How such a piece is shown; unrolled when absent. */
  readonly view?: PieceView;
  /** Names of faults to plant. */
  readonly faults?: readonly string[];
  /**
   * `through`: the burned piece is turned over, and looked at through its stock; as its chart is drawn for when absent,
   * else at the burned face.
   */
  readonly seen?: 'face' | 'through';
}

export interface EngraveRequest extends BurnRequest {
  /** A .npy of numbers, or a .png. */
  readonly out: string;
  readonly force?: boolean;
}

/** Of a bitmap, which is burned first, or of a surface (.npy), which is burned already. */
export interface CaptureRequest extends BurnRequest {
  /** Name of a camera, see `listSimulation`. */
  readonly camera: string;
  readonly rotationDeg?: number;
  /** L* of white paper around the piece; none when absent. */
  readonly paperL?: number;
  /** Side of a pixel of a surface that does not say it, mm. */
  readonly pixelMm?: number;
  /** Quality of a JPEG, percent. */
  readonly quality?: number;
  /** A .png or a .jpg. */
  readonly out: string;
  readonly force?: boolean;
}

export interface EngravedRecord {
  readonly files: readonly string[];
  /** Of the picture, in pixels. */
  readonly width: number;
  readonly height: number;
  readonly surface: SurfaceFacts;
  readonly facts: BurnFacts;
}

export interface CapturedRecord {
  readonly file: string;
  readonly camera: { readonly name: string; readonly title: string };
  readonly seed: number;
  readonly width: number;
  readonly height: number;
  readonly geometry: Capture['geometry'];
}

export interface BurnFacts {
  readonly material: string;
  readonly settings: BurnSettings;
  /**
   * File beside the bitmap whose settings were burned, and the machine whose start settings they were compared with.
   */
  readonly settingsOf?: { readonly file: string; readonly machine: string; readonly settings: BurnSettings };
  readonly seed: number;
  readonly faults: readonly BurnFault[];
  /** What the laser made of levels of power; absent where that was in proportion. */
  readonly levels?: string;
  /** How a piece was turned; absent where it was not. */
  readonly around?: TurnFacts;
  /** Where the bitmap's middle lay in which field; absent where the beam was the same everywhere. */
  readonly field?: { readonly title: string; readonly xMm: number; readonly yMm: number };
}

export interface TurnFacts {
  readonly diametersMm: readonly [upper: number, lower: number];
  /** As the ticket beside the bitmap has it, else by the line spacing half-way between both diameters. */
  readonly degreesPerLine: number;
  /** How much of a turn the lines took, degrees. */
  readonly coveredDeg: number;
  /** What is left between the last line and the first half-way, mm; below 0 they lie over one another. */
  readonly gapMm: number;
  readonly view: PieceView;
}

/** Materials, cameras, fields and levels of the virtual engraver. */
export function listSimulation() {
  const materials = listModels().map((name) => {
    const { title, direction } = readModel(name);
    return { name, title, direction };
  });
  const cameras = Object.entries(CAMERAS).map(([name, { title }]) => ({ name, title }));
  const fields = listModels('fields').map((name) => ({ name, title: readFieldModel(name).title }));
  const levels = listModels('levels').map((name) => ({ name, title: readPowerModel(name).title }));
  return { materials, cameras, fields, levels };
}

/**
 * What a bitmap leaves on a virtual material, as a file.
 * @throws AppError option-invalid for the ending of the file or a fault of the camera's; path-*, file-invalid,
 * name-unknown, result-exists
 */
export async function engraveBitmap(request: EngraveRequest, context: TaskContext): Promise<EngravedRecord> {
  const { out, force = false } = request;
  const kind = /\.npy$/i.test(out) ? 'npy' : /\.png$/i.test(out) ? 'png' : undefined;
  if (!kind) throw new AppError('option-invalid', `out: found "${out}", needed a file that ends in .npy or .png`);
  const later = listFaults(request).find(isCaptureFault);
  if (later)
    throw new AppError(
      'option-invalid',
      `faults: ${later} happens when the picture is taken, needed it in "simulate capture"`,
    );
  rememberInput(request.path);
  await refuseResults(kind === 'npy' ? [out, sidecarOf(out)] : [out], { force });
  const { surface, facts } = await burn(request, { context, dpi: SURFACE_DPI[kind] });
  const described = describeSurface(surface);
  context.progress('writing');
  const files =
    kind === 'npy'
      ? [
          { path: out, bytes: encodeNpy({ shape: [surface.height, surface.width, 3], data: surface.rgb }) },
          { path: sidecarOf(out), bytes: formatJson({ ...described, ...facts }, 'record') },
        ]
      : [{ path: out, bytes: await drawSurface(surface) }];
  await writeFilesAtomic(files, { force });
  const { width, height } = surface;
  return { files: files.map(({ path }) => path), width, height, surface: described, facts };
}

/**
 * What a camera makes of a surface, or of a bitmap that is burned first.
 * @throws AppError option-invalid for the ending of the file, a fault that does not happen here, or a surface without
 * its size; path-*, file-invalid, name-unknown, result-exists
 */
export async function captureFile(request: CaptureRequest, context: TaskContext): Promise<CapturedRecord> {
  const { path, out, camera: name, rotationDeg, paperL, seed = 1, force = false } = request;
  const kind = /\.png$/i.test(out) ? 'png' : /\.jpe?g$/i.test(out) ? 'jpg' : undefined;
  if (!kind) throw new AppError('option-invalid', `out: found "${out}", needed a file that ends in .png or .jpg`);
  const preset = Object.hasOwn(CAMERAS, name) ? CAMERAS[name] : undefined;
  if (!preset) {
    throw new AppError('name-unknown', `found no camera "${name}"; there are ${Object.keys(CAMERAS).join(', ')}`);
  }
  const asked = listFaults(request);
  const isBurned = /\.npy$/i.test(path);
  if (isBurned && request.seen !== undefined) {
    throw new AppError(
      'option-invalid',
      `seen: found it with ${basename(path)}, which is looked at already; needed it in "simulate engrave"`,
      { options: ['seen'] },
    );
  }
  const earlier = isBurned ? asked.find(isBurnFault) : undefined;
  if (earlier) {
    throw new AppError(
      'option-invalid',
      `faults: ${earlier} happens when the piece is burned, and ${basename(path)} is burned already; needed it in "simulate engrave"`,
    );
  }
  const ofCapture = asked.filter(isCaptureFault);
  if (ofCapture.includes('glare') && preset.options.kind !== 'phone') {
    throw new AppError(
      'option-invalid',
      `faults: found glare with ${name}, whose lamp moves with the sensor; needed a phone`,
    );
  }
  rememberInput(path);
  await refuseResults([out], { force });
  const turned: CameraOptions = {
    ...preset.options,
    ...(rotationDeg === undefined ? {} : { rotationDeg }),
    ...(paperL === undefined ? {} : { paper: { colour: [paperL, 0.5, -2], side: 'around', widthMm: 25 } }),
  };
  const surface = isBurned
    ? readSurface(await readInput(path, { kind: 'array' }), { path, pixelMm: request.pixelMm })
    : (await burn(request, { context, dpi: SURFACE_DPI.npy })).surface;
  const camera = spoilCamera(turned, { faults: ofCapture, surface });
  context.progress('taking the picture');
  const capture = captureSurface(surface, { ...camera, seed });
  context.progress('writing');
  const bytes = await encodeCapture(capture, { kind, camera, quality: request.quality ?? JPEG_QUALITY });
  await writeFilesAtomic([{ path: out, bytes }], { force });
  const { width, height, geometry } = capture;
  return { file: out, camera: { name, title: preset.title }, seed, width, height, geometry };
}

interface Burned {
  readonly surface: Surface;
  readonly facts: BurnFacts;
}

/** A bitmap burned into a virtual material. */
async function burn(
  request: BurnRequest,
  { context, dpi: usualDpi }: { readonly context: TaskContext; readonly dpi: number },
): Promise<Burned> {
  const { shop, progress } = context;
  const { path, pitchMm, lineSpacingMm, dpi = usualDpi, seed = 1, chart, marginMm = 0 } = request;
  refuseRoundBurn(request);
  const layout = chart === undefined ? undefined : readLayout(chart, shop);
  const clean = readModel(request.model ?? chooseModel(layout ?? findLayoutBeside(path)));
  const { pane } = clean;
  if (request.seen === 'through' && !pane) {
    throw new AppError(
      'option-invalid',
      `seen: found through with the material model ${clean.name}, which nobody looks through; needed one with a pane, such as glass`,
      { options: ['seen', 'material-model'] },
    );
  }
  const faults = listFaults(request).filter(isBurnFault);
  const model = faults.includes('dirty-lens') ? dirtyLens(clean) : clean;
  const { dots, grid: known } = await decodeDots(path);
  const grid = chooseGrid(known, { pitchMm, lineSpacingMm, what: 'its pitch and line spacing' });
  const lens = faults.includes('dirty-lens') ? DIRTY_LENS.power : 1;
  const planned = findPlanned(path, { layout, chart });
  const machine =
    planned && shop.list('machines').some(({ name }) => name === planned.machine)
      ? readMachine(planned.machine, shop)
      : undefined;
  const translate = (wanted: BurnSettings) => (machine ? translateSettings(wanted, { machine, model: clean }) : wanted);
  const typed = {
    ...(planned ? translate(machine ? planned.settings : clean.settings) : clean.settings),
    ...request.settings,
  };
  const settings = { ...typed, powerW: typed.powerW * lens };
  const field = request.field === undefined ? undefined : readFieldModel(request.field);
  if (!field && request.at) {
    throw new AppError('option-invalid', 'at: found a place without a field, needed the field that it lies in', {
      options: ['field'],
    });
  }
  const levels = request.levels === undefined ? undefined : readPowerModel(request.levels);
  const middle = field && (request.at ?? { xMm: field.widthMm / 2, yMm: field.heightMm / 2 });
  const placed = field && {
    model: field,
    xMm: middle!.xMm - (dots.width * grid.pitchMm) / 2,
    yMm: middle!.yMm - (dots.height * grid.lineSpacingMm) / 2,
  };
  const shared = {
    model,
    seed,
    pixelUm: 25_400 / dpi,
    ...(placed ? { field: placed } : {}),
    ...(levels ? { levels } : {}),
    ...leanOf(planned?.ramp, { faults, heightMm: dots.height * grid.lineSpacingMm }),
    ...(request.focusMm === undefined ? {} : { focusMm: request.focusMm }),
    ...(request.astigmatismMm === undefined ? {} : { astigmatismMm: request.astigmatismMm }),
  };
  progress('burning');
  const whole = { ...shared, grid, settings, marginMm };
  const turn = request.aroundDiametersMm && burnAround(dots, { request, planned, options: whole });
  const { roundDiameterMm } = request;
  const burnFlat = () =>
    layout !== undefined
      ? burnCells(dots, { layout, lens, translate, options: whole })
      : roundDiameterMm === undefined
        ? engrave(dots, whole)
        : engraveRound(dots, { ...whole, roundDiameterMm, ...pupilOf(machine) });
  const surface = turn?.surface ?? burnFlat();
  const seen = request.seen ?? planned?.seen;
  const looked =
    seen !== 'through' ? surface : pane ? seeThroughPane(surface, { ...clean, pane }) : mirrorSurface(surface);
  return {
    surface: faults.includes('mirrored') ? mirrorSurface(looked) : looked,
    facts: {
      material: clean.name,
      settings: typed,
      ...(planned && machine
        ? { settingsOf: { file: planned.file, machine: planned.machine, settings: planned.settings } }
        : {}),
      seed,
      faults,
      ...(turn ? { around: turn.facts } : {}),
      ...(field ? { field: { title: field.title, ...middle! } } : {}),
      ...(levels ? { levels: levels.title } : {}),
    },
  };
}

/** @throws AppError option-invalid for what a round piece cannot have */
function refuseRoundBurn({ roundDiameterMm, aroundDiametersMm, view, chart, marginMm, seen }: BurnRequest): void {
  const isTurned = aroundDiametersMm !== undefined;
  const found =
    isTurned && roundDiameterMm !== undefined
      ? ['round', 'a piece that lies still and one that turns, needed one of the two']
      : view !== undefined && !isTurned
        ? ['view', `${view} of a piece that does not turn, needed its diameters`]
        : isTurned && chart !== undefined
          ? ['chart', 'a chart on a piece that turns, needed a flat one']
          : isTurned && marginMm !== undefined && marginMm > 0
            ? ['margin', 'a margin around a piece that turns, needed none: its whole turn is shown']
            : isTurned && seen === 'through'
              ? ['seen', 'through with a piece that turns, needed the burned face']
              : undefined;
  if (found) throw new AppError('option-invalid', `${found[0]}: found ${found[1]}`, { options: [found[0], 'around'] });
}

/** A bitmap burned around a piece, and that piece as it was asked for. @throws AppError option-invalid */
function burnAround(
  dots: Dots,
  {
    request: { aroundDiametersMm, view = 'unrolled' },
    planned,
    options,
  }: {
    readonly request: BurnRequest;
    readonly planned: PlannedBurn | undefined;
    readonly options: Parameters<typeof engrave>[1] & { readonly pixelUm: number };
  },
): { readonly surface: Surface; readonly facts: TurnFacts } {
  const [upper, lower] = aroundDiametersMm!;
  const { grid, pixelUm } = options;
  const lengthMm = dots.width * grid.pitchMm;
  if (Math.abs(upper - lower) >= 2 * lengthMm) {
    throw new AppError(
      'option-invalid',
      `around: found ${upper} and ${lower} mm at the ends of lines ${formatNumber(lengthMm)} mm long, needed less difference than twice that`,
      { options: ['around'] },
    );
  }
  const turnMm = (Math.PI * (upper + lower)) / 2;
  const degreesPerLine = planned?.degreesPerLine ?? (360 * grid.lineSpacingMm) / turnMm;
  if (degreesPerLine > 180) {
    throw new AppError(
      'option-invalid',
      `around: found ${formatNumber(degreesPerLine)} degrees from line to line, needed 180 or less: a thicker piece`,
      { options: ['around'] },
    );
  }
  // Dots that were turned the other way have the upper edge where their lines begin.
  const lain = planned?.turnedDeg === 270 ? orientDots(dots, { mirrored: false, turnedDeg: 180 }) : dots;
  const piece = engraveCone(lain, { ...options, coneDiametersMm: [upper, lower], degreesPerLine });
  const surface =
    view === 'unrolled' ? unrollPiece(piece, { pixelUm }) : viewPiece(piece, { fromDeg: VIEWS[view], pixelUm });
  const { coveredDeg } = piece;
  const gapMm = turnMm * (1 - coveredDeg / 360);
  return { surface, facts: { diametersMm: [upper, lower], degreesPerLine, coveredDeg, gapMm, view } };
}

/** Where the rays of a machine come from. */
const pupilOf = (machine: Machine | undefined): { readonly pupilMm?: number } =>
  machine && motionRecord(machine.motion).rays === 'from-a-point' ? { pupilMm: machine.focalLengthMm } : {};

interface PlannedBurn {
  readonly file: string;
  readonly machine: string;
  readonly settings: BurnSettings;
  readonly ramp?: Ramp;
  readonly seen?: 'through';
  /** Of a piece that a rotary turns. */
  readonly degreesPerLine?: number;
  readonly turnedDeg?: number;
}

/** How the piece leans, mm higher a mm down the piece: as a chart asks, and as a fault adds. */
function leanOf(
  ramp: Ramp | undefined,
  { faults, heightMm }: { readonly faults: readonly string[]; readonly heightMm: number },
): { readonly tilt?: number } {
  const tilt = (faults.includes('tilt') ? TILT : 0) - (ramp ? ramp.riseMm / heightMm : 0);
  return tilt === 0 ? {} : { tilt };
}

/**
 * What a chart or a ticket asks to be burned with: by the layout that was named, else by the file beside the bitmap.
 */
function findPlanned(
  path: string,
  { layout, chart }: { readonly layout: ChartLayout | undefined; readonly chart: string | undefined },
): PlannedBurn | undefined {
  const planOf = ({ machine, settings, ramp, seen }: ChartLayout, file: string) => {
    return { file, machine, settings, ...(ramp ? { ramp } : {}), ...(seen ? { seen } : {}) };
  };
  if (layout) return planOf(layout, basename(chart!));
  const beside = findLayoutBeside(path);
  if (beside) return planOf(beside, basename(layoutPathOf(path)));
  const ticketPath = `${stemOf(path)}.ticket.json`;
  if (!existsSync(ticketPath)) return undefined;
  const { machine, settings, around, orientation } = readTicket(ticketPath);
  return { file: basename(ticketPath), machine: machine.name, settings, ...around, ...orientation };
}

const stemOf = (path: string) => path.replace(/\.[^.\\/]+$/, '');
const layoutPathOf = (path: string) => `${stemOf(path)}.json`;

/** The layout of a chart beside its bitmap. @throws AppError file-invalid */
function findLayoutBeside(path: string): ChartLayout | undefined {
  const layoutPath = layoutPathOf(path);
  if (!existsSync(layoutPath)) return undefined;
  const json = readJson(layoutPath);
  const isChart = (json as { schema?: unknown } | null)?.schema === 'tonewright-chart/1';
  return isChart ? parseChartLayout(json, layoutPath) : undefined;
}

/**
 * The virtual material that behaves like that of a chart: of its kind, else any that marks in the same direction.
 * @throws AppError option-invalid where nothing says which
 */
function chooseModel(layout: Pick<ChartLayout, 'material' | 'direction'> | undefined): string {
  if (!layout) {
    throw new AppError(
      'option-invalid',
      'found no material model, needed the one that the bitmap is burned into: a name in shared/simulation or a JSON file',
      { options: ['material-model'] },
    );
  }
  const path = join(sharedFolder(), 'simulation-errors.json');
  const { rows } = parseSimulationErrors(readJson(path), path);
  const same = rows.filter(({ direction }) => direction === layout.direction);
  return (same.find(({ materials }) => materials.includes(layout.material)) ?? same[0]!).model;
}

/**
 * The virtual laser is no particular machine: the settings for which its material marks well stand for those that a
 * machine starts with, and what a chart sets otherwise changes power, speed and passes by the same factors. So a chart
 * with twice the start dose burns twice the dose.
 */
function translateSettings(
  wanted: BurnSettings,
  { machine, model: { settings } }: { readonly machine: Machine; readonly model: MaterialModel },
): BurnSettings {
  const spacing = recommendStartSpacingMm(machine);
  const start = startSettings(machine, { grid: { pitchMm: spacing, lineSpacingMm: spacing } });
  return {
    ...settings,
    powerW: (settings.powerW * wanted.powerW) / start.powerW,
    speedMmPerS: (settings.speedMmPerS * wanted.speedMmPerS) / start.speedMmPerS,
    passes: Math.max(1, Math.round((settings.passes * wanted.passes) / start.passes)),
    scan: wanted.scan,
  };
}

/** A dose chart: the whole with its own settings, then each cell burned by itself with the settings of the cell. */
function burnCells(
  dots: Dots,
  {
    layout,
    lens,
    translate,
    options,
  }: {
    readonly layout: ChartLayout;
    readonly lens: number;
    readonly translate: (wanted: BurnSettings) => BurnSettings;
    readonly options: Parameters<typeof engrave>[1] & { readonly pixelUm: number };
  },
): Surface {
  const surface = engrave(dots, options);
  for (const cell of drawDoseCells(layout)) {
    const { lineSpacingMm: _spacing, ...wanted } = cell.settings;
    const settings = translate(wanted);
    const burned = engrave(cell.dots, {
      ...options,
      grid: cell.grid,
      marginMm: 0,
      settings: { ...settings, powerW: settings.powerW * lens },
      ...(options.field
        ? { field: { ...options.field, xMm: options.field.xMm + cell.xMm, yMm: options.field.yMm + cell.yMm } }
        : {}),
    });
    paste(surface, burned, { xMm: cell.xMm, yMm: cell.yMm });
  }
  return surface;
}

/** Puts a piece onto another, pixel by nearest pixel. */
function paste(onto: Surface, piece: Surface, { xMm, yMm }: { readonly xMm: number; readonly yMm: number }): void {
  const columnOf = (mm: number) => Math.round((mm - onto.leftMm) / onto.pixelWidthMm);
  const rowOf = (mm: number) => Math.round((mm - onto.topMm) / onto.pixelHeightMm);
  for (let y = rowOf(yMm); y < Math.min(onto.height, rowOf(yMm + piece.heightMm)); y++) {
    const placeY = onto.topMm + (y + 0.5) * onto.pixelHeightMm - yMm;
    const fromY = Math.min(piece.height - 1, Math.max(0, Math.floor(placeY / piece.pixelHeightMm)));
    for (let x = columnOf(xMm); x < Math.min(onto.width, columnOf(xMm + piece.widthMm)); x++) {
      const placeX = onto.leftMm + (x + 0.5) * onto.pixelWidthMm - xMm;
      const fromX = Math.min(piece.width - 1, Math.max(0, Math.floor(placeX / piece.pixelWidthMm)));
      for (let c = 0; c < 3; c++) {
        onto.rgb[(y * onto.width + x) * 3 + c] = piece.rgb[(fromY * piece.width + fromX) * 3 + c];
      }
    }
  }
}

function listModels(folder = '.'): string[] {
  return readdirSync(join(sharedFolder(), 'simulation', folder))
    .filter((file) => file.endsWith('.json'))
    .map((file) => file.slice(0, -'.json'.length))
    .sort();
}

/**
 * A material model that comes with the program, or the one at a path.
 * @throws AppError name-unknown, path-*, file-invalid
 */
export function readModel(nameOrPath: string): MaterialModel {
  return parseMaterialModel(readModelFile(nameOrPath, { what: 'material model', folder: '.' }));
}

/** The same of a field. @throws AppError name-unknown, path-*, file-invalid */
export function readFieldModel(nameOrPath: string): FieldModel {
  return parseFieldModel(readModelFile(nameOrPath, { what: 'field model', folder: 'fields' }));
}

/** The same of levels of power. @throws AppError name-unknown, path-*, file-invalid */
export function readPowerModel(nameOrPath: string): PowerModel {
  return parsePowerModel(readModelFile(nameOrPath, { what: 'model of power levels', folder: 'levels' }));
}

function readModelFile(
  nameOrPath: string,
  { what, folder }: { readonly what: string; readonly folder: string },
): unknown {
  if (/[\\/]|\.json$/i.test(nameOrPath)) return readJson(nameOrPath);
  const names = listModels(folder);
  if (!names.includes(nameOrPath)) {
    throw new AppError('name-unknown', `found no ${what} "${nameOrPath}"; there are ${names.join(', ')}`, {
      asked: nameOrPath,
      names,
    });
  }
  return readJson(join(sharedFolder(), 'simulation', folder, `${nameOrPath}.json`));
}

/** @throws AppError option-invalid for a fault that there is none of */
export function listFaults({ faults = [] }: Pick<BurnRequest, 'faults'>): readonly string[] {
  for (const fault of faults) {
    if (!FAULTS.includes(fault)) {
      throw new AppError('option-invalid', `faults: found "${fault}", needed some of ${FAULTS.join(', ')}`);
    }
  }
  return faults;
}

/**
 * What a .npy file cannot say of itself, beside it in a JSON file: `piece.npy.json`, which no chart's layout is called.
 */
export interface SurfaceFacts {
  readonly schema: 'tonewright-simulation-surface/1';
  readonly pixelWidthMm: number;
  readonly pixelHeightMm: number;
  readonly leftMm: number;
  readonly topMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
}

function describeSurface(surface: Surface): SurfaceFacts {
  const { pixelWidthMm, pixelHeightMm, leftMm, topMm, widthMm, heightMm, cornerRadiusMm } = surface;
  return {
    schema: 'tonewright-simulation-surface/1',
    pixelWidthMm,
    pixelHeightMm,
    leftMm,
    topMm,
    widthMm,
    heightMm,
    cornerRadiusMm,
  };
}

const sidecarOf = (path: string) => `${path}.json`;

function readSurface(
  bytes: Uint8Array,
  { path, pixelMm: given }: { readonly path: string; readonly pixelMm: number | undefined },
): Surface {
  const { shape, data } = decodeNpy(bytes);
  const [height, width, channels = 1] = shape;
  if (!(shape.length >= 2 && shape.length <= 3 && width! > 0 && height! > 0) || (channels !== 1 && channels !== 3)) {
    throw new AppError(
      'file-invalid',
      `${path}: found an array of ${shape.join(' × ')}, needed height × width or height × width × 3 of linear reflectance`,
      { path, shape },
    );
  }
  const rgb = channels === 3 ? data : repeatChannels(data);
  const side = existsSync(sidecarOf(path)) ? (readJson(sidecarOf(path)) as Partial<SurfaceFacts>) : undefined;
  const known = side?.schema === 'tonewright-simulation-surface/1' && given === undefined ? side : undefined;
  const pixelWidthMm = given ?? known?.pixelWidthMm;
  const pixelHeightMm = given === undefined ? known?.pixelHeightMm : pixelWidthMm;
  if (!(pixelWidthMm! > 0 && pixelHeightMm! > 0)) {
    throw new AppError(
      'option-invalid',
      `${path}: found no size of a pixel beside it, needed the side of one such as 0.0212 mm`,
      { options: ['pixel'] },
    );
  }
  return {
    width: width!,
    height: height!,
    pixelWidthMm: pixelWidthMm!,
    pixelHeightMm: pixelHeightMm!,
    leftMm: known?.leftMm ?? 0,
    topMm: known?.topMm ?? 0,
    widthMm: width! * pixelWidthMm!,
    heightMm: height! * pixelHeightMm!,
    cornerRadiusMm: known?.cornerRadiusMm ?? 0,
    rgb,
  };
}

function repeatChannels(grey: Float32Array): Float32Array {
  const rgb = new Float32Array(grey.length * 3);
  for (let i = 0; i < grey.length; i++) rgb.fill(grey[i], 3 * i, 3 * i + 3);
  return rgb;
}

/** The piece as a picture of its own size: sRGB, one pixel for each of the surface's. */
async function drawSurface({ width, height, rgb, pixelWidthMm, pixelHeightMm }: Surface): Promise<Uint8Array> {
  const coded = new Uint8Array(rgb.length);
  const codeOf = (light: number) => Math.round(255 * encodeSrgb(light));
  // Most steps of light hold one code from end to end; where a code begins within one, the formula tells it.
  const codes = tabulate(new Uint8Array(CODE_STEPS + 1), (step) => codeOf(step / CODE_STEPS));
  for (let i = 0; i < rgb.length; i++) {
    const light = Math.min(1, Math.max(0, rgb[i]!));
    const step = Math.min(CODE_STEPS - 1, Math.floor(light * CODE_STEPS));
    coded[i] = codes[step] === codes[step + 1] ? codes[step]! : codeOf(light);
  }
  const grid = { pitchMm: pixelWidthMm, lineSpacingMm: pixelHeightMm };
  return encodeColour({ width, height, rgb: coded }, { format: 'png', grid });
}

async function encodeCapture(
  { width, height, rgb }: Capture,
  { kind, camera, quality }: { readonly kind: 'png' | 'jpg'; readonly camera: CameraOptions; readonly quality: number },
): Promise<Uint8Array> {
  const picture = { width, height, rgb };
  if (kind === 'jpg') return encodeJpeg(picture, { quality });
  const pixelMm = camera.kind === 'flatbed' ? 25.4 / camera.dpi : undefined;
  return encodeColour(picture, {
    format: 'png',
    ...(pixelMm === undefined ? {} : { grid: { pitchMm: pixelMm, lineSpacingMm: pixelMm } }),
  });
}
