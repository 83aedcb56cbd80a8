import { AppError } from '../errors.ts';
import { tabulate } from '../numeric/index.ts';
import { createPlane, type DotGrid, luminanceOfLightness, ONE, type Plane } from '../plane/index.ts';
import {
  averageCells,
  averageWindow,
  type BlurOptions,
  blurCells,
  type CellSize,
  type Cells,
  cellSize,
  coarsenCells,
  refineCells,
} from './cells.ts';
import type { PhotoPart } from './choose-crop.ts';
import { layCalmLines } from './guided-filter.ts';
import { alongLines, chainLines, type Lines, multiply } from './numbers.ts';
import { mapSkin } from './skin.ts';
import { toneCurve } from './tone-curve.ts';
import { TONE_DEFAULTS, TONE_FIELDS, type ToneOptions } from './tone-options.ts';
import { applyToneFields, DETAIL, DETAIL_ENTRIES, type ToneFields } from './tone-rows.ts';

/**
 * Variance (L*²) at which half of a difference counts as an edge: local contrast lets it be. Assumed, by eye on photos:
 * larger makes halos beside edges, smaller leaves fur flat.
 */
const EDGE_VARIANCE = 120;
/**
 * Distance from black and white, L*, from which local contrast is full. Assumed: a quarter of the range; smaller clips
 * deep shadows.
 */
const ROOM_L = 25;
/** Middle of the scale, L*. Exact: half of 100. */
const MIDDLE_L = 50;
/**
 * Least window of the noise filter, cells to each side. Assumed: 49 cells steady a variance.
 */
const LEAST_NOISE_RADIUS = 3;
/**
 * Factor on the standard deviation of noise. Assumed: noise of enlarged photos hangs together over cells, and the
 * estimate, made on neighbours, sees only part of it.
 */
const NOISE_MARGIN = 1.5;
/**
 * Share of the noise that is taken away at most. Assumed, by eye: what stays keeps surfaces from looking like plastic.
 */
const NOISE_SHARE = 0.8;
/**
 * Detail weaker than this is not sharpened even in a clean picture, L*; on top come two standard deviations of noise.
 * Assumed: below what the eye tells apart side by side.
 */
const CORING_L = 0.4;
/**
 * Sharpening changes no dot by more than this, L*: keeps edges from growing halos. Assumed, by eye on portraits: larger
 * shows a bright rim, smaller sharpens less.
 */
const HALO_LIMIT_L = 8;
/** Share of the local contrast that skin goes without. Assumed, by eye: pores and blemishes are not brought out. */
const SKIN_CALM = 0.5;
/**
 * Detail of skin weaker than this is sharpened by less than half, L*. Assumed, by eye: lashes and lips are stronger.
 */
const SKIN_CORING_L = 6;

export interface AdjustOptions {
  readonly grid: DotGrid;
  /** Faces, shares of the picture, whose skin is brought out less than the rest; none when absent. */
  readonly faces?: readonly PhotoPart[];
}

/**
 * The photograph's own tone: exposure, black and white point, midtones, contrast; then, in L*, noise, local contrast
 * and sharpening. `TONE_DEFAULTS` ("plain") returns the plane itself. Runs in one order on one thread: the same input
 * and values give the same bits. A flat area stays flat, and of two large flat areas the lighter stays the lighter.
 *
 * Noise: the guided filter (`heSunTang2013`, self-guided) on cells of about 0.08 mm, with the weights of the
 * local-statistics filter (`lee1980`); its lines are laid at the dots: what is finer than a cell is calmed, too.
 * Local contrast: what the guided filter leaves over (`heSunTang2013`, self-guided, eq. 5 and 6), in its fast form
 * (`heSun2015`: coefficients on a coarse plane, interpolated, applied at the dots); changed: no gain on noise, nor near
 * black and white. Sharpening: unsharp mask of what is left then, with coring and a bounded change, common practice.
 * Memory beside input and output: floats per cell, about one per 16 dots at 0.02 mm.
 * @throws AppError option-invalid when a value is outside its range in `TONE_FIELDS`
 */
export function adjustTone(
  luminance: Plane<'luminance'>,
  tone: ToneOptions,
  options: AdjustOptions,
): Plane<'luminance'> {
  const fields = planToneFields(luminance, tone, options);
  if (!fields) return adjustPointwise(luminance, tone);
  const out = createPlane('luminance', luminance.width, luminance.height);
  applyToneFields(luminance, fields, { out, from: 0, to: luminance.height });
  return out;
}

/**
 * What `adjustTone` takes from the surroundings of each dot, as plain data that threads can share; undefined when the
 * tone asks for no surroundings. With `applyToneFields` for all rows, in any parts, it gives the same bits as
 * `adjustTone`.
 * @throws AppError option-invalid when a value is outside its range in `TONE_FIELDS`
 */
export function planToneFields(
  luminance: Plane<'luminance'>,
  tone: ToneOptions,
  { grid, faces = [] }: AdjustOptions,
): ToneFields | undefined {
  requireInRange(tone);
  if (tone.noiseL === 0 && tone.localContrast === 0 && tone.sharpenAmount === 0) return undefined;

  const curve = toneCurve(tone);
  const size = cellSize(grid);
  const toned = averageCells(luminance, { table: curve, size });
  const slopes = slopeByLightness(curve);
  const noise = noiseLines(toned, tone, { slopes, cellMm: cellMmOf({ grid, size }) });
  // How strong the noise is once the curve has stretched it, taken where pictures have most of their area.
  const noiseWantedL = tone.noiseL * slopes[MIDDLE_L];
  const clean = noise ? clear(toned, noise) : toned;
  const skin = faces.length > 0 ? mapSkin(clean, faces) : undefined;
  const { gain, offset } = localFields(clean, tone, { grid, size, noiseWantedL, skin });
  const local = { gain: gain.data, offset: offset.data };
  const blur = blurRest(tone.sharpenRadiusMm, { grid, size });
  const blurred = blurCells(clean, skin ? blur : { ...blur, into: clean });
  if (skin) calmSkin(blurred.data, clean.data, skin);
  alongLines(blurred.data, local);
  if (noise) chainLines(noise, local);
  return { curve, size, gain, offset, blurred, detail: detailTable(tone.sharpenAmount, noiseWantedL) };
}

/** No neighbours asked: one table from light to light, without the step through coded lightness. */
function adjustPointwise(luminance: Plane<'luminance'>, tone: ToneOptions): Plane<'luminance'> {
  const plain = (['brightnessEv', 'blackPointL', 'whitePointL', 'midtoneL', 'contrast'] as const).every(
    (name) => tone[name] === TONE_DEFAULTS[name],
  );
  if (plain) return luminance;
  const { width, height } = luminance;
  const curve = toneCurve(tone);
  const table = tabulate(new Uint16Array(curve.length), (level) => luminanceOfLightness(curve[level]!));
  const data = luminance.data.slice();
  for (let i = 0; i < data.length; i++) data[i] = table[data[i]];
  return createPlane('luminance', width, height, data);
}

/**
 * The line that the noise filter lays at each cell: toward the local mean, the more so the less the local variance
 * exceeds the noise's. The tone curve has stretched the noise where it is steep, so its slope at the cell goes along.
 */
function noiseLines(
  toned: Cells,
  { noiseL, noiseRadiusMm }: ToneOptions,
  { slopes, cellMm }: { readonly slopes: Float32Array; readonly cellMm: number },
): Lines | undefined {
  if (noiseL === 0) return undefined;
  const radius = Math.max(LEAST_NOISE_RADIUS, Math.round(noiseRadiusMm / cellMm));
  const varianceAt = Float64Array.from(slopes, (slope) => (NOISE_MARGIN * noiseL * slope) ** 2);
  const { gain, offset } = layCalmLines(toned, { radius, varianceAt, mostShare: NOISE_SHARE });
  return { gain: gain.data, offset: offset.data };
}

/** Without its noise, into the first. */
function clear(cells: Cells, noise: Lines): Cells {
  alongLines(cells.data, noise);
  return cells;
}

/** Weak detail of skin counts as less than it is: the blurred picture is brought nearer to the sharp one. */
function calmSkin(blurred: Float32Array, clean: Float32Array, skin: Float32Array): void {
  const core = SKIN_CORING_L ** 2;
  for (let i = 0; i < blurred.length; i++) {
    if (skin[i] === 0) continue;
    const difference = clean[i] - blurred[i];
    blurred[i] += skin[i] * difference * (core / (core + difference * difference));
  }
}

/** Slope of the tone curve, wanted L* per L* of the photo, by whole wanted L* 0…100. */
function slopeByLightness(curve: Float32Array): Float32Array {
  const slopes = new Float32Array(101);
  const photo = toneCurve(TONE_DEFAULTS);
  let from = 0;
  for (let wanted = 0; wanted <= 100; wanted++) {
    while (from < ONE && curve[from] < wanted - 1) from++;
    let to = from;
    while (to < ONE && curve[to] < wanted + 1) to++;
    const distance = photo[to] - photo[from];
    slopes[wanted] = distance > 0 ? (curve[to] - curve[from]) / distance : 0;
  }
  return slopes;
}

interface Geometry {
  readonly grid: DotGrid;
  readonly size: CellSize;
}

interface LocalFacts {
  readonly noiseWantedL: number;
  /** How much each cell is skin; undefined without a face. */
  readonly skin: Float32Array | undefined;
}

/** Side of a square cell of the same area, mm. */
const cellMmOf = ({ grid, size }: Geometry): number => Math.sqrt(size.x * grid.pitchMm * size.y * grid.lineSpacingMm);

/**
 * Local contrast as a line per place: wanted = gain·L* + offset, gain ≥ 1. On a coarse plane, about four coarse cells
 * to the radius. A place counts as far as its variance is more than noise and less than an edge, and as it has room
 * above and below.
 */
function localFields(
  clean: Cells,
  tone: ToneOptions,
  { grid, size, noiseWantedL, skin }: Geometry & LocalFacts,
): { gain: Cells; offset: Cells } {
  if (tone.localContrast === 0) {
    const data = new Float32Array(clean.data.length);
    return { gain: { ...clean, data: data.slice().fill(1) }, offset: { ...clean, data } };
  }
  const cellMm = cellMmOf({ grid, size });
  const by = Math.max(2, Math.round(tone.localRadiusMm / cellMm / 4));
  const radius = Math.max(1, Math.round(tone.localRadiusMm / cellMm / by));
  const coarse = coarsenCells(clean, by);
  const mean = averageWindow(coarse, { radius });
  const square = averageWindow({ ...coarse, data: multiply(coarse.data, coarse.data) }, { radius });
  const { length } = coarse.data;
  const gain = new Float32Array(length);
  const offset = new Float32Array(length);
  const floor = 0.3 + noiseWantedL / 2;
  const calm = skin && coarsenCells({ ...clean, data: skin }, by).data;
  for (let i = 0; i < length; i++) {
    const m = mean.data[i];
    const variance = Math.max(0, square.data[i] - m * m);
    const room = roomAbout(m);
    const texture = variance / (variance + 4 * floor * floor);
    const share = calm ? 1 - SKIN_CALM * calm[i] : 1;
    const g = tone.localContrast * share * texture * room * (EDGE_VARIANCE / (EDGE_VARIANCE + variance));
    gain[i] = 1 + g;
    offset[i] = -g * m;
  }
  const refined = (data: Float32Array) => refineCells(averageWindow({ ...coarse, data }, { radius }), by, clean);
  return { gain: refined(gain), offset: refined(offset) };
}

/** Local contrast fades out toward black and white, where it could only clip: 0 at the ends, 1 from ROOM_L on. */
function roomAbout(lightness: number): number {
  const x = Math.min(Math.max(Math.min(lightness, 100 - lightness) / ROOM_L, 0), 1);
  return x * x * (3 - 2 * x);
}

/**
 * What a blur of cells must still add, in cells, when averaging and interpolation have already blurred by half a cell.
 */
function blurRest(sigmaMm: number, { grid, size }: Geometry): BlurOptions {
  const rest = (cellMm: number) => Math.sqrt(Math.max(0, (sigmaMm / cellMm) ** 2 - 0.25));
  return { sigmaX: rest(size.x * grid.pitchMm), sigmaY: rest(size.y * grid.lineSpacingMm) };
}

/** What sharpening adds for a difference from the blurred picture of −110 … 110 L*. */
function detailTable(sharpenAmount: number, noiseWantedL: number): Float32Array {
  const core = (CORING_L + 2 * noiseWantedL) ** 2;
  return tabulate(new Float32Array(DETAIL_ENTRIES), (i) => {
    const difference = i / DETAIL.steps - DETAIL.rangeL;
    const squared = difference * difference;
    const wanted = sharpenAmount * difference * (squared / (squared + core));
    return wanted / (1 + Math.abs(wanted) / HALO_LIMIT_L);
  });
}

function requireInRange(tone: ToneOptions): void {
  for (const name of Object.keys(TONE_FIELDS) as (keyof ToneOptions)[]) {
    const { label, unit, min, max } = TONE_FIELDS[name];
    const value = tone[name];
    if (!(value >= min && value <= max)) {
      throw new AppError(
        'option-invalid',
        `${label.toLowerCase()} (${name}): found ${value}, needed ${min} to ${max}${unit ? ` ${unit}` : ''}`,
        { name, value, min, max },
      );
    }
  }
}
