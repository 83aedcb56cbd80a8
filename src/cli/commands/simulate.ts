import { existsSync, readdirSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import { type ChartLayout, drawDoseCells } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { parseChartLayout, readMachine, recommendStartSpacingMm, startSettings } from '../../job/index.ts';
import { formatJson } from '../../json.ts';
import type { Machine } from '../../machine/index.ts';
import { readJson, type Shop } from '../../material/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import {
  type DotGrid,
  type Dots,
  decodeDots,
  encodeColour,
  encodeJpeg,
  findPackageRoot,
  readInput,
  writeFilesAtomic,
} from '../../plane/index.ts';
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
  type MaterialModel,
  mirrorSurface,
  parseMaterialModel,
  type Surface,
  spoilCamera,
  TILT,
} from '../../simulation/index.ts';
import { readTicket } from '../../tasks/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { OptionValues, Outcome, Run, Surroundings } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { simulateFaults } from '../simulate-faults.ts';
import { alignColumns, formatNumber } from '../text.ts';

/**
 * Resolution of a surface kept as numbers, and as a picture, dots per inch. Assumed: four and two times a usual scan.
 */
const SURFACE_DPI = { npy: 1200, png: 600 } as const;
const BURN_FAULTS = ['tilt', 'dirty-lens', 'mirrored'] as const;
type BurnFault = (typeof BURN_FAULTS)[number];
const FAULTS: readonly string[] = [...BURN_FAULTS, ...Object.keys(CAPTURE_FAULTS)];
const isBurnFault = (fault: string): fault is BurnFault => BURN_FAULTS.includes(fault as BurnFault);
const isCaptureFault = (fault: string): fault is CaptureFault => Object.hasOwn(CAPTURE_FAULTS, fault);
/** Quality of a phone's file, percent. Assumed: about what phones write. */
const JPEG_QUALITY = 90;

export const run: Run = async ([action, file], options, surroundings) => {
  if (action === 'engrave' && file !== undefined) return engraveFile(file, options, surroundings);
  if (action === 'capture' && file !== undefined) return captureFile(file, options, surroundings);
  if (action === 'list' && file === undefined) return listSimulation();
  if (action === 'faults' && file === undefined) {
    const model = readModel(textOf(options, 'materialModel') ?? 'anodised-black', surroundings.io.cwd);
    return simulateFaults(model, {
      seed: readSeed(options),
      progress: surroundings.progress,
      only: readFaults(options),
    });
  }
  throw new AppError(
    'option-invalid',
    `found "simulate ${[action, file].filter(Boolean).join(' ')}", needed "simulate engrave BITMAP", "simulate capture SURFACE", "simulate faults" or "simulate list"`,
  );
};

function listSimulation(): Outcome {
  const materials = listModels().map((name) => {
    const { title, direction } = readModel(name);
    return { name, title, direction };
  });
  const cameras = Object.entries(CAMERAS).map(([name, { title }]) => ({ name, title }));
  return {
    json: { materials, cameras },
    text: [
      alignColumns([
        ['MATERIAL', 'TITLE', 'MARKS'],
        ...materials.map(({ name, title, direction }) => [name, title, direction]),
      ]),
      alignColumns([['CAMERA', 'TITLE'], ...cameras.map(({ name, title }) => [name, title])]),
    ].join('\n\n'),
  };
}

async function engraveFile(
  file: string,
  options: OptionValues,
  { io, shop, progress }: Surroundings,
): Promise<Outcome> {
  const path = resolve(io.cwd, file);
  const out = resolve(io.cwd, requireText(options, 'out', 'the .npy or .png file to write'));
  const kind = /\.npy$/i.test(out) ? 'npy' : /\.png$/i.test(out) ? 'png' : undefined;
  if (!kind) throw new AppError('option-invalid', `--out: found "${out}", needed a file that ends in .npy or .png`);
  const later = readFaults(options).find(isCaptureFault);
  if (later)
    throw new AppError(
      'option-invalid',
      `--faults: ${later} happens when the picture is taken, needed it in "simulate capture"`,
    );
  const { surface, facts } = await burnFile(path, options, { io, shop, progress, dpi: SURFACE_DPI[kind] });
  progress('writing');
  const { width, height, pixelWidthMm, pixelHeightMm, leftMm, topMm, widthMm, heightMm, cornerRadiusMm } = surface;
  const sidecar: SurfaceFacts = {
    schema: 'tonewright-simulation-surface/1',
    pixelWidthMm,
    pixelHeightMm,
    leftMm,
    topMm,
    widthMm,
    heightMm,
    cornerRadiusMm,
  };
  const files =
    kind === 'npy'
      ? [
          { path: out, bytes: encodeNpy({ shape: [height, width, 3], data: surface.rgb }) },
          { path: sidecarOf(out), bytes: formatJson({ ...sidecar, ...facts }, 'record') },
        ]
      : [{ path: out, bytes: await drawSurface(surface) }];
  await writeFilesAtomic(files, { force: options.force === true });
  return {
    json: { files: files.map((one) => one.path), width, height, ...sidecar, ...facts },
    text: alignColumns([
      ...files.map((one) => ['wrote', one.path]),
      ['piece', `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm, ${width} × ${height} pixels`],
      ['burned', `${facts.material}, ${describeSettings(facts.settings)}, seed ${facts.seed}`],
      ...(facts.settingsOf
        ? [
            [
              'as in',
              `${facts.settingsOf.file}: ${describeSettings(facts.settingsOf.settings)} on ${facts.settingsOf.machine}, whose start settings stand for the material model’s`,
            ],
          ]
        : []),
      ...(facts.faults.length > 0 ? [['faults', facts.faults.join(', ')]] : []),
    ]),
  };
}

async function captureFile(
  file: string,
  options: OptionValues,
  { io, shop, progress }: Surroundings,
): Promise<Outcome> {
  const path = resolve(io.cwd, file);
  const out = resolve(io.cwd, requireText(options, 'out', 'the .png or .jpg file to write'));
  const kind = /\.png$/i.test(out) ? 'png' : /\.jpe?g$/i.test(out) ? 'jpg' : undefined;
  if (!kind) throw new AppError('option-invalid', `--out: found "${out}", needed a file that ends in .png or .jpg`);
  const name = requireText(options, 'camera', `one of ${Object.keys(CAMERAS).join(', ')}`);
  const preset = Object.hasOwn(CAMERAS, name) ? CAMERAS[name] : undefined;
  if (!preset) {
    throw new AppError('name-unknown', `found no camera "${name}"; there are ${Object.keys(CAMERAS).join(', ')}`);
  }
  const turn = numberOf(options, 'rotate', { min: -360, max: 360, unit: 'degrees' });
  const seed = readSeed(options);
  const asked = readFaults(options);
  const earlier = /\.npy$/i.test(path) ? asked.find(isBurnFault) : undefined;
  if (earlier) {
    throw new AppError(
      'option-invalid',
      `--faults: ${earlier} happens when the piece is burned, and ${basename(path)} is burned already; needed it in "simulate engrave"`,
    );
  }
  const ofCapture = asked.filter(isCaptureFault);
  if (ofCapture.includes('glare') && preset.options.kind !== 'phone') {
    throw new AppError(
      'option-invalid',
      `--faults: found glare with ${name}, whose lamp moves with the sensor; needed a phone`,
    );
  }
  const paperL = numberOf(options, 'paper', { min: 80, max: 100, unit: 'L*' });
  const turned: CameraOptions = {
    ...preset.options,
    ...(turn === undefined ? {} : { rotationDeg: turn }),
    ...(paperL === undefined ? {} : { paper: { colour: [paperL, 0.5, -2], side: 'around', widthMm: 25 } }),
  };
  const surface = /\.npy$/i.test(path)
    ? readSurface(await readInput(path, { kind: 'array' }), { path, options })
    : (await burnFile(path, options, { io, shop, progress, dpi: SURFACE_DPI.npy })).surface;
  const camera = spoilCamera(turned, { faults: ofCapture, surface });
  progress('taking the picture');
  const capture = captureSurface(surface, { ...camera, seed });
  progress('writing');
  const bytes = await encodeCapture(capture, { kind, camera, options });
  await writeFilesAtomic([{ path: out, bytes }], { force: options.force === true });
  return {
    json: { file: out, camera: name, seed, width: capture.width, height: capture.height, geometry: capture.geometry },
    text: alignColumns([
      ['wrote', out],
      ['camera', `${preset.title}, seed ${seed}`],
      ['picture', `${capture.width} × ${capture.height} pixels`],
    ]),
  };
}

interface Burned {
  readonly surface: Surface;
  readonly facts: {
    readonly material: string;
    readonly settings: BurnSettings;
    /** File beside the bitmap whose settings were burned, and the machine whose start settings they were compared with. */
    readonly settingsOf?: { readonly file: string; readonly machine: string; readonly settings: BurnSettings };
    readonly seed: number;
    readonly faults: readonly BurnFault[];
  };
}

interface BurnContext extends Pick<Surroundings, 'io' | 'shop' | 'progress'> {
  readonly dpi: number;
}

/** A bitmap burned into a virtual material, as the options ask. */
async function burnFile(
  path: string,
  options: OptionValues,
  { io, shop, progress, dpi: usualDpi }: BurnContext,
): Promise<Burned> {
  const clean = readModel(requireText(options, 'materialModel', 'a name in shared/simulation or a JSON file'), io.cwd);
  const faults = readFaults(options).filter(isBurnFault);
  const model = faults.includes('dirty-lens') ? dirtyLens(clean) : clean;
  const { dots, grid: known } = await decodeDots(path);
  const grid = chooseGrid(options, known);
  const dpi = numberOf(options, 'dpi', { min: 100, max: 2400, unit: 'dots per inch' }) ?? usualDpi;
  const seed = readSeed(options);
  const lens = faults.includes('dirty-lens') ? DIRTY_LENS.power : 1;
  const named = textOf(options, 'chart');
  const layout = named === undefined ? undefined : readLayout(named, { shop, cwd: io.cwd });
  const planned = findPlanned(path, { layout, chart: named });
  const machine =
    planned && shop.list('machines').some(({ name }) => name === planned.machine)
      ? readMachine(planned.machine, shop)
      : undefined;
  const translate = (wanted: BurnSettings) => (machine ? translateSettings(wanted, { machine, model: clean }) : wanted);
  const typed = readSettings(
    options,
    planned ? translate(machine ? planned.settings : clean.settings) : clean.settings,
  );
  const settings = { ...typed, powerW: typed.powerW * lens };
  const margin = textOf(options, 'margin');
  const shared = {
    model,
    seed,
    pixelUm: 25_400 / dpi,
    ...(faults.includes('tilt') ? { tilt: TILT } : {}),
  };
  progress('burning');
  const marginMm = margin === undefined ? 0 : parseLengthMm(margin, '--margin');
  const whole = { ...shared, grid, settings, marginMm };
  const surface =
    layout === undefined ? engrave(dots, whole) : burnCells(dots, { layout, lens, translate, options: whole });
  return {
    surface: faults.includes('mirrored') ? mirrorSurface(surface) : surface,
    facts: {
      material: clean.name,
      settings: typed,
      ...(planned && machine ? { settingsOf: planned } : {}),
      seed,
      faults,
    },
  };
}

/** What a chart or a ticket asks to be burned with: by the layout that was named, else by the file beside the bitmap. */
function findPlanned(
  path: string,
  { layout, chart }: { readonly layout: ChartLayout | undefined; readonly chart: string | undefined },
): { readonly file: string; readonly machine: string; readonly settings: BurnSettings } | undefined {
  if (layout) return { file: basename(chart!), machine: layout.machine, settings: layout.settings };
  const stem = path.replace(/\.[^.\\/]+$/, '');
  const [layoutPath, ticketPath] = [`${stem}.json`, `${stem}.ticket.json`];
  if (existsSync(layoutPath)) {
    const json = readJson(layoutPath);
    if ((json as { schema?: unknown } | null)?.schema === 'tonewright-chart/1') {
      const { machine, settings } = parseChartLayout(json, layoutPath);
      return { file: basename(layoutPath), machine, settings };
    }
  }
  if (!existsSync(ticketPath)) return undefined;
  const { machine, settings } = readTicket(ticketPath);
  return { file: basename(ticketPath), machine: machine.name, settings };
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

function readLayout(nameOrPath: string, { shop, cwd }: { readonly shop: Shop; readonly cwd: string }): ChartLayout {
  const path = resolve(cwd, nameOrPath);
  if (existsSync(path)) return parseChartLayout(readJson(path), path);
  const record = shop.read('charts', nameOrPath);
  return parseChartLayout(record.json, record.path);
}

function listModels(): string[] {
  return readdirSync(join(findPackageRoot() ?? '.', 'shared', 'simulation'))
    .filter((file) => file.endsWith('.json'))
    .map((file) => file.slice(0, -'.json'.length))
    .sort();
}

function readModel(nameOrPath: string, cwd = '.'): MaterialModel {
  const path = resolve(cwd, nameOrPath);
  if (/[\\/]|\.json$/i.test(nameOrPath)) return parseMaterialModel(readJson(path));
  const names = listModels();
  if (!names.includes(nameOrPath)) {
    throw new AppError('name-unknown', `found no material model "${nameOrPath}"; there are ${names.join(', ')}`, {
      asked: nameOrPath,
      names,
    });
  }
  return parseMaterialModel(readJson(join(findPackageRoot() ?? '.', 'shared', 'simulation', `${nameOrPath}.json`)));
}

function chooseGrid(options: OptionValues, known: DotGrid | undefined): DotGrid {
  const lengthOf = (name: 'pitch' | 'spacing') => {
    const text = textOf(options, name);
    return text === undefined ? undefined : parseLengthMm(text, `--${name}`);
  };
  const x = lengthOf('pitch') ?? known?.pitchMm ?? lengthOf('spacing');
  const y = lengthOf('spacing') ?? known?.lineSpacingMm ?? x;
  if (x === undefined || y === undefined) {
    throw new AppError('option-invalid', 'found no resolution in the bitmap, needed --pitch and --spacing');
  }
  return { pitchMm: x, lineSpacingMm: y };
}

function readSettings(options: OptionValues, usual: BurnSettings): BurnSettings {
  const least = 0.001;
  return {
    ...usual,
    powerW: numberOf(options, 'power', { min: least, unit: 'W' }) ?? usual.powerW,
    speedMmPerS: numberOf(options, 'speed', { min: least, unit: 'mm/s' }) ?? usual.speedMmPerS,
    passes: numberOf(options, 'passes', { min: 1, max: 100, whole: true }) ?? usual.passes,
    scan: (textOf(options, 'scan') as BurnSettings['scan'] | undefined) ?? usual.scan,
  };
}

function readSeed(options: OptionValues): number {
  return numberOf(options, 'seed', { min: 0, max: 2 ** 32 - 1, whole: true }) ?? 1;
}

function readFaults(options: OptionValues): readonly string[] {
  const asked = (textOf(options, 'faults') ?? '')
    .split(',')
    .map((word) => word.trim())
    .filter((word) => word !== '');
  for (const word of asked) {
    if (!FAULTS.includes(word)) {
      throw new AppError('option-invalid', `--faults: found "${word}", needed some of ${FAULTS.join(', ')}`);
    }
  }
  return asked;
}

function requireText(options: OptionValues, name: string, needed: string): string {
  const text = textOf(options, name);
  if (text !== undefined) return text;
  const flag = name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
  throw new AppError('option-invalid', `found no --${flag}, needed ${needed}`);
}

/** What a .npy file cannot say of itself, beside it in a JSON file: `piece.npy.json`, which no chart's layout is called. */
interface SurfaceFacts {
  readonly schema: 'tonewright-simulation-surface/1';
  readonly pixelWidthMm: number;
  readonly pixelHeightMm: number;
  readonly leftMm: number;
  readonly topMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
}

const sidecarOf = (path: string) => `${path}.json`;

function readSurface(
  bytes: Uint8Array,
  { path, options }: { readonly path: string; readonly options: OptionValues },
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
  const given = textOf(options, 'pixel');
  const side = existsSync(sidecarOf(path)) ? (readJson(sidecarOf(path)) as Partial<SurfaceFacts>) : undefined;
  const known = side?.schema === 'tonewright-simulation-surface/1' && given === undefined ? side : undefined;
  const pixelWidthMm = given === undefined ? known?.pixelWidthMm : parseLengthMm(given, '--pixel');
  const pixelHeightMm = given === undefined ? known?.pixelHeightMm : pixelWidthMm;
  if (!(pixelWidthMm! > 0 && pixelHeightMm! > 0)) {
    throw new AppError('option-invalid', `${path}: found no size of a pixel beside it, needed --pixel such as 0.0212`);
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
  for (let i = 0; i < rgb.length; i++) coded[i] = Math.round(255 * encodeSrgb(Math.min(1, Math.max(0, rgb[i]))));
  const grid = { pitchMm: pixelWidthMm, lineSpacingMm: pixelHeightMm };
  return encodeColour({ width, height, rgb: coded }, { format: 'png', grid });
}

async function encodeCapture(
  { width, height, rgb }: Capture,
  {
    kind,
    camera,
    options,
  }: { readonly kind: 'png' | 'jpg'; readonly camera: CameraOptions; readonly options: OptionValues },
): Promise<Uint8Array> {
  const picture = { width, height, rgb };
  if (kind === 'jpg') {
    const quality = numberOf(options, 'quality', { min: 1, max: 100, whole: true }) ?? JPEG_QUALITY;
    return encodeJpeg(picture, { quality });
  }
  const pixelMm = camera.kind === 'flatbed' ? 25.4 / camera.dpi : undefined;
  return encodeColour(picture, {
    format: 'png',
    ...(pixelMm === undefined ? {} : { grid: { pitchMm: pixelMm, lineSpacingMm: pixelMm } }),
  });
}

function describeSettings({ powerW, speedMmPerS, passes, scan }: BurnSettings): string {
  return `${formatNumber(powerW)} W, ${formatNumber(speedMmPerS)} mm/s, ${passes} ${passes === 1 ? 'pass' : 'passes'}, ${scan}`;
}
