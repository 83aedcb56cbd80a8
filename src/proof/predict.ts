import { lightnessOfReflectance } from '../colour/index.ts';
import { tabulate } from '../numeric/index.ts';
import { computeEyeBlurMm } from '../optics/index.ts';
import { createPlane, type DoseSampling, type DotGrid, type Dots, type DotTable, type Plane } from '../plane/index.ts';
import { createAverager } from './average.ts';
import { blurCells, type Cells } from './blur.ts';
import { drawMarks, openStrength } from './strength.ts';

export interface PredictOptions {
  readonly table: DotTable;
  /** Size of the result, at most that of the dots; one value a dot when absent. */
  readonly width?: number;
  readonly height?: number;
}

/**
 * Reflectance that the dots will show, averaged to a smaller size: the tone of a field does not depend on that size.
 * @throws RangeError when the result is larger than the dots.
 */
export function predictReflectance(dots: Dots, options: PredictOptions): Plane<'reflectance'> {
  const { table, width = dots.width, height = dots.height } = options;
  const averager = createAverager({ from: dots, to: { width, height } });
  const { addRow, close } = openStrength(dots, table);
  for (let y = 0; y < dots.height; y++) averager.add(addRow);
  close();
  const { pitchMm, lineSpacingMm } = table.grid;
  return showStrength(
    { width, height, data: averager.means },
    { table, cellXMm: (dots.width * pitchMm) / width, cellYMm: (dots.height * lineSpacingMm) / height },
  );
}

/**
 * Reflectance of the marks themselves, at so many points of each dot's cell as `dose` has: for an eye so near that it
 * sees their shape. Its mean over cells is what `predictReflectance` gives for them.
 */
export function predictMarks(
  dots: Dots,
  { table, dose }: { readonly table: DotTable; readonly dose: DoseSampling },
): Plane<'reflectance'> {
  const { pitchMm, lineSpacingMm } = table.grid;
  const cells = { cellXMm: pitchMm / dose.samplesX, cellYMm: lineSpacingMm / dose.samplesY };
  return showStrength(drawMarks(dots, dose), { table, ...cells });
}

/**
 * Assumed: how far light spreads in a material before it comes out again, as the standard deviation of a Gaussian. It
 * is at least so many dots, and at least half of the eye's blur from the usual distance. n is learned from patches that
 * are one mean strength each, whatever their dots: screens whose cells are not wider than three times this mix as well
 * as those patches, to 0.1 L*. Wider cells are predicted as partly unmixed, up to 1 L* too light at cells of 20 dots.
 */
const SPREAD_DOTS = 4;

/** Standard deviation of the scatter of light that `showStrength` takes, mm. */
export function computeLightScatterMm({ pitchMm, lineSpacingMm }: DotGrid): number {
  return Math.max(computeEyeBlurMm() / 2, SPREAD_DOTS * Math.max(pitchMm, lineSpacingMm));
}

export interface ShowOptions {
  readonly table: Pick<DotTable, 'grid' | 'bareLuminance' | 'fullLuminance' | 'yuleNielsenN'>;
  /** Size of a cell on the work, mm. */
  readonly cellXMm: number;
  readonly cellYMm: number;
}

/**
 * Reflectance of cells of known mean strength, mixed by Yule and Nielsen (source: 'yuleNielsen1951'). With light that
 * spreads, n > 1, a cell shows ρ · ρ̄^(n − 1): ρ is the cell's own mix of the roots R^(1/n), where the light comes out,
 * and ρ̄ is the mix of all cells through which it came in. The mean of a field is then ρ̄^n, which is Yule and
 * Nielsen's, for cells of any size, and marks keep their edges. At n = 2, light that spreads completely, this is a thin
 * mark on a white base.
 */
export function showStrength(cells: Cells, { table, cellXMm, cellYMm }: ShowOptions): Plane<'reflectance'> {
  const { width, height, data } = cells;
  const out = createPlane('reflectance', width, height);
  if (table.yuleNielsenN === 1) {
    mapStrengths(data, out.data, createMixer(table));
    return out;
  }
  const scatterMm = computeLightScatterMm(table.grid);
  const scattered = blurCells(cells, { sigmaX: scatterMm / cellXMm, sigmaY: scatterMm / cellYMm });
  const { yuleNielsenN: n } = table;
  const root = createRoot(table);
  mapStrengths(scattered, out.data, (strength) => root(strength) ** (n - 1));
  for (let i = 0; i < data.length; i++) out.data[i] *= root(Math.min(1, Math.max(0, data[i])));
  return out;
}

/**
 * Steps of strength between which mixing is straight. Exact: with 2¹⁴ the error is below a 32-bit float's own rounding.
 */
const MIX_STEPS = 1 << 14;

/** Powers are slow, so a picture's worth of strengths goes through a table of them. */
function mapStrengths(strengths: Float32Array, out: Float32Array, mix: (strength: number) => number): void {
  const table = tabulate(new Float64Array(MIX_STEPS + 2), (step) => mix(step / MIX_STEPS));
  for (let i = 0; i < strengths.length; i++) {
    const at = Math.min(1, Math.max(0, strengths[i])) * MIX_STEPS;
    const step = at | 0;
    out[i] = table[step] + (at - step) * (table[step + 1] - table[step]);
  }
}

export interface MeanLightnessOptions {
  readonly table: DotTable;
  /** The part to average, in dots; everything when absent. */
  readonly rect?: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
}

/** CIE L* of a field of dots as a reading of it would show: mean strength, mixed, as lightness. */
export function predictLightness(dots: Dots, options: MeanLightnessOptions): number {
  const { table, rect = { x: 0, y: 0, width: dots.width, height: dots.height } } = options;
  const { addRow, close } = openStrength(dots, table);
  const before = new Float32Array(dots.width);
  for (let y = 0; y < rect.y; y++) addRow(before);
  const columns = new Float32Array(dots.width);
  for (let y = 0; y < rect.height; y++) addRow(columns);
  close();
  let sum = 0;
  for (let x = rect.x; x < rect.x + rect.width; x++) sum += columns[x];
  return lightnessOfReflectance(createMixer(table)(sum / (rect.width * rect.height)));
}

/** Reflectance of mean strength a: R^(1/n) = a·Rfull^(1/n) + (1−a)·Rbare^(1/n). source: 'yuleNielsen1951'. */
function createMixer(table: ShowOptions['table']): (strength: number) => number {
  const { yuleNielsenN: n } = table;
  const root = createRoot(table);
  return n === 1 ? root : (strength) => root(strength) ** n;
}

/** R^(1/n) of a strength. */
function createRoot({ bareLuminance, fullLuminance, yuleNielsenN: n }: ShowOptions['table']) {
  const [bare, full] = n === 1 ? [bareLuminance, fullLuminance] : [bareLuminance ** (1 / n), fullLuminance ** (1 / n)];
  return (strength: number) => Math.max(0, bare + strength * (full - bare));
}
