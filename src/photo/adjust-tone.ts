import { AppError } from '../errors.ts';
import { createPlane, type DotGrid, ONE, type Plane } from '../plane/index.ts';
import {
  averageCells,
  averageWindow,
  betweenCells,
  blurCells,
  CellRow,
  type CellSize,
  type Cells,
  cellSize,
  coarsenCells,
} from './cells.ts';
import { CODES_PER_L, luminanceOf, luminanceTable } from './lightness.ts';
import { toneCurve } from './tone-curve.ts';
import { TONE_DEFAULTS, TONE_FIELDS, type ToneOptions } from './tone-options.ts';

/** Variance (L*²) at which half of a difference counts as an edge: local contrast lets it be. */
const EDGE_VARIANCE = 120;
/** Window of the noise filter, cells to each side. */
const NOISE_RADIUS = 2;
/** Share of the noise that is taken away at most: what stays keeps surfaces from looking like plastic. */
const NOISE_SHARE = 0.8;
/** Detail weaker than this is not sharpened even in a clean picture, L*; on top come two standard deviations of noise. */
const CORING_L = 0.4;
/** Sharpening changes no dot by more than this, L*: keeps edges from growing halos. */
const HALO_LIMIT_L = 8;
/** Table of the sharpening: steps per L*, and its reach, with room for what the noise filter adds. */
const DETAIL_STEPS = 100;
const DETAIL_RANGE_L = 110;

/**
 * The photograph's own tone: exposure, black and white point, midtones, contrast; then, in L*, noise, local contrast and sharpening.
 * `TONE_DEFAULTS` ("plain") returns the same values exactly. Runs in one order on one thread: the same input and values give
 * the same bits. A flat area stays flat, and of two large flat areas the lighter stays the lighter.
 *
 * Noise: the local-statistics filter of Lee 1980 on cells of about 0.08 mm. Local contrast: what the guided filter of He, Sun and
 * Tang 2013 leaves over, in its fast form (coefficients on a coarse plane, interpolated, applied at the dots). Sharpening: unsharp
 * mask with coring and a bounded change.
 * @throws AppError option-invalid when a value is outside its range in `TONE_FIELDS`
 */
export function adjustTone(
  luminance: Plane<'luminance'>,
  tone: ToneOptions,
  { grid }: { readonly grid: DotGrid },
): Plane<'luminance'> {
  requireInRange(tone);
  const curve = toneCurve(tone);
  if (tone.noiseL === 0 && tone.localContrast === 0 && tone.sharpenAmount === 0)
    return adjustPointwise(luminance, curve, tone);

  const { width, height, data } = luminance;
  const size = cellSize(grid);
  const toned = averageCells(luminance, curve, size);
  const noise = noiseField(toned, curve, tone.noiseL);
  const clean = noise ? add(toned, noise) : toned;
  const local = localFields(clean, tone, { grid, size });
  const blurred = blurCells(clean, ...blurRest(tone.sharpenRadiusMm, { grid, size }));
  const detail = detailTable(tone);

  const out = createPlane('luminance', width, height);
  const target = out.data;
  const light = luminanceTable();
  const across = betweenCells(width, size.x, toned.width);
  const down = betweenCells(height, size.y, toned.height);
  const acrossLocal = betweenCells(width, size.x * local.by, local.gain.width);
  const downLocal = betweenCells(height, size.y * local.by, local.gain.height);
  const noiseRow = new CellRow(noise ?? { width: toned.width, height: 1, data: new Float32Array(toned.width) });
  const blurRow = new CellRow(blurred);
  const gainRow = new CellRow(local.gain);
  const offsetRow = new CellRow(local.offset);
  for (let y = 0; y < height; y++) {
    if (noise) noiseRow.moveTo(down.cell[y], down.way[y]);
    blurRow.moveTo(down.cell[y], down.way[y]);
    gainRow.moveTo(downLocal.cell[y], downLocal.way[y]);
    offsetRow.moveTo(downLocal.cell[y], downLocal.way[y]);
    const { value: noiseAt, slope: noiseBy } = noiseRow;
    const { value: blurAt, slope: blurBy } = blurRow;
    const { value: gainAt, slope: gainBy } = gainRow;
    const { value: offsetAt, slope: offsetBy } = offsetRow;
    const row = y * width;
    for (let x = 0; x < width; x++) {
      const cell = across.cell[x];
      const way = across.way[x];
      const coarse = acrossLocal.cell[x];
      const coarseWay = acrossLocal.way[x];
      const lightness = curve[data[row + x]] + noiseAt[cell] + way * noiseBy[cell];
      const fine = lightness - blurAt[cell] - way * blurBy[cell];
      const result =
        lightness * (gainAt[coarse] + coarseWay * gainBy[coarse]) +
        (offsetAt[coarse] + coarseWay * offsetBy[coarse]) +
        detail[(fine * DETAIL_STEPS + (DETAIL_RANGE_L * DETAIL_STEPS + 0.5)) | 0];
      const code = (result * CODES_PER_L + 0.5) | 0;
      target[row + x] = light[code < 0 ? 0 : Math.min(code, ONE)];
    }
  }
  return out;
}

/** No neighbours asked: one table from light to light, without the step through coded lightness. */
function adjustPointwise(luminance: Plane<'luminance'>, curve: Float32Array, tone: ToneOptions): Plane<'luminance'> {
  const { width, height } = luminance;
  const data = luminance.data.slice();
  const plain = (['brightnessEv', 'blackPointL', 'whitePointL', 'midtoneL', 'contrast'] as const).every(
    (name) => tone[name] === TONE_DEFAULTS[name],
  );
  if (!plain) {
    const table = Uint16Array.from(curve, (lightness) => Math.round(luminanceOf(lightness) * ONE));
    for (let i = 0; i < data.length; i++) data[i] = table[data[i]];
  }
  return createPlane('luminance', width, height, data);
}

/**
 * What the noise filter adds to each cell: toward the local mean, the more so the less the local variance exceeds the noise's.
 * The tone curve has stretched the noise where it is steep, so its slope at the cell goes along.
 */
function noiseField(toned: Cells, curve: Float32Array, noiseL: number): Cells | undefined {
  if (noiseL === 0) return undefined;
  const slopes = slopeByLightness(curve);
  const mean = averageWindow(toned, NOISE_RADIUS);
  const square = averageWindow({ ...toned, data: toned.data.map((value) => value * value) }, NOISE_RADIUS);
  const { length } = toned.data;
  const toMean = new Float32Array(length);
  const offset = new Float32Array(length);
  for (let i = 0; i < length; i++) {
    const m = mean.data[i];
    const sigma = noiseL * slopes[Math.round(m)];
    const variance = Math.max(0, square.data[i] - m * m);
    const share = variance > 0 ? Math.min(NOISE_SHARE, (sigma * sigma) / variance) : NOISE_SHARE;
    toMean[i] = share;
    offset[i] = share * m;
  }
  // Averaging the coefficients, as the guided filter does, keeps windows from showing as blocks.
  const share = averageWindow({ ...toned, data: toMean }, NOISE_RADIUS).data;
  const added = averageWindow({ ...toned, data: offset }, NOISE_RADIUS).data;
  const data = new Float32Array(length);
  for (let i = 0; i < length; i++) data[i] = added[i] - share[i] * toned.data[i];
  return { ...toned, data };
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

/**
 * Local contrast as a line per place: wanted = gain·L* + offset, gain ≥ 1. On a coarse plane, about four coarse cells to the radius.
 * A place counts as far as its variance is more than noise and less than an edge, and as it has room above and below.
 */
function localFields(
  clean: Cells,
  tone: ToneOptions,
  { grid, size }: Geometry,
): { gain: Cells; offset: Cells; by: number } {
  const cellMm = Math.sqrt(size.x * grid.pitchMm * size.y * grid.lineSpacingMm);
  if (tone.localContrast === 0) {
    const gain = { width: 1, height: 1, data: Float32Array.of(1) };
    return { gain, offset: { width: 1, height: 1, data: Float32Array.of(0) }, by: Math.max(clean.width, clean.height) };
  }
  const by = Math.max(2, Math.round(tone.localRadiusMm / cellMm / 4));
  const radius = Math.max(1, Math.round(tone.localRadiusMm / cellMm / by));
  const coarse = coarsenCells(clean, by);
  const mean = averageWindow(coarse, radius);
  const square = averageWindow({ ...coarse, data: coarse.data.map((value) => value * value) }, radius);
  const { length } = coarse.data;
  const gain = new Float32Array(length);
  const offset = new Float32Array(length);
  const floor = 0.3 + tone.noiseL / 2;
  for (let i = 0; i < length; i++) {
    const m = mean.data[i];
    const variance = Math.max(0, square.data[i] - m * m);
    const room = Math.min(1, Math.max(0, (4 * m * (100 - m)) / 6000));
    const texture = variance / (variance + 4 * floor * floor);
    const g = tone.localContrast * texture * room * (EDGE_VARIANCE / (EDGE_VARIANCE + variance));
    gain[i] = 1 + g;
    offset[i] = -g * m;
  }
  return {
    gain: averageWindow({ ...coarse, data: gain }, radius),
    offset: averageWindow({ ...coarse, data: offset }, radius),
    by,
  };
}

/** What a blur of cells must still add, in cells, when averaging and interpolation have already blurred by half a cell. */
function blurRest(sigmaMm: number, { grid, size }: Geometry): [number, number] {
  const rest = (cellMm: number) => Math.sqrt(Math.max(0, (sigmaMm / cellMm) ** 2 - 0.25));
  return [rest(size.x * grid.pitchMm), rest(size.y * grid.lineSpacingMm)];
}

/** What sharpening adds for a difference from the blurred picture of −110 … 110 L*. */
function detailTable({ sharpenAmount, noiseL }: ToneOptions): Float32Array {
  const core = (CORING_L + 2 * noiseL) ** 2;
  return Float32Array.from({ length: 2 * DETAIL_RANGE_L * DETAIL_STEPS + 2 }, (_, i) => {
    const difference = i / DETAIL_STEPS - DETAIL_RANGE_L;
    const squared = difference * difference;
    const wanted = sharpenAmount * difference * (squared / (squared + core));
    return wanted / (1 + Math.abs(wanted) / HALO_LIMIT_L);
  });
}

function add(first: Cells, second: Cells): Cells {
  return { ...first, data: first.data.map((value, i) => value + second.data[i]) };
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
