import { power, tabulate } from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { FitPattern } from './fit-response.ts';

/**
 * Places of the numbers in a fitted vector, indices: ln of the mark's widths, of Hill's exponent and of the drive;
 * shares; L* of bare and full; ln of the light's reach. By definition: the order of the vector.
 */
export const AT = {
  markX: 0,
  markY: 1,
  steepness: 2,
  drive: 3,
  fading: 4,
  spread: 5,
  bare: 6,
  full: 7,
  reach: 8,
  heatX: 9,
  heatY: 10,
  flatness: 11,
  shoulder: 12,
  smear: 13,
} as const;
/** Numbers that only turn strengths into L*. By definition: indices of the vector. */
export const MIXING: readonly number[] = [AT.spread, AT.bare, AT.full, AT.reach];
/** Pieces of the smear, and steps of the table of strengths. Counts. Assumed: finer ones change no width. */
const SMEAR_PIECES = 5;
const STRENGTH_STEPS = 1500;
/** Share of a dot's dose, in the line through its middle, that is left out. Assumed: far below what a reading tells. */
const NOTHING = 1e-7;

/** A pattern's dots with the heat that reaches each. */
export interface Prepared {
  readonly width: number;
  readonly height: number;
  readonly samplesX: number;
  readonly samplesY: number;
  readonly fires: Float64Array;
  readonly along: Float64Array;
  readonly across: Float64Array;
}

/** A solid: every dot has all the heat. */
export const SOLID: Prepared = {
  ...{ width: 1, height: 1, samplesX: 12, samplesY: 12 },
  fires: /* @__PURE__ */ Float64Array.of(1),
  along: /* @__PURE__ */ Float64Array.of(1),
  across: /* @__PURE__ */ Float64Array.of(1),
};

/** A pattern to be deposited again and again. */
export function preparePattern({ dots: { width, height, levels, data } }: Pick<FitPattern, 'dots'>): Prepared {
  const fires = tabulate(new Float64Array(width * height), (i) => data[i] / (levels - 1));
  const samples = (period: number) => Math.max(4, Math.min(12, Math.round(48 / period)));
  const [along, across] = [new Float64Array(width * height), new Float64Array(width * height)];
  return { width, height, samplesX: samples(width), samplesY: samples(height), fires, along, across };
}

/**
 * Fills in the heat that reaches each dot of an endless pattern where it fades to 1/e over so many dots: 1 where all
 * dots before it have fired. Lines run either way; the mean of both is what an area shows.
 */
export function warmPattern({ width, height, fires, along, across }: Prepared, dots: number): void {
  const keep = Math.exp(-1 / dots);
  along.fill(0);
  across.fill(0);
  for (let y = 0; y < height; y++) {
    const line = { fires, from: y * width, count: width, keep };
    addWarmth(along, { ...line, step: 1, share: 0.5 });
    addWarmth(along, { ...line, from: (y + 1) * width - 1, step: -1, share: 0.5 });
  }
  for (let x = 0; x < width; x++) addWarmth(across, { fires, from: x, count: height, keep, step: width, share: 1 });
}

interface WarmLine {
  readonly fires: Float64Array;
  readonly from: number;
  readonly step: number;
  readonly count: number;
  /** What is left of the heat at the next dot. */
  readonly keep: number;
  readonly share: number;
}

/** Once round tells what is left of the period before it, and of all before that. */
function addWarmth(warmth: Float64Array, { fires, from, step, count, keep, share }: WarmLine): void {
  let warm = 0;
  for (let i = 0; i < count; i++) warm = warm * keep + (1 - keep) * fires[from + i * step];
  warm /= 1 - power(keep, count);
  for (let i = 0; i < count; i++) {
    const at = from + i * step;
    warmth[at] += share * warm;
    warm = warm * keep + (1 - keep) * fires[at];
  }
}

/** Dose of a dot over the half dose, and how strength follows from it. */
export interface DoseShape {
  readonly diameterXCells: number;
  readonly diameterYCells: number;
  readonly drive: number;
  readonly flatness: number;
  readonly smearCells: number;
  readonly heatX: number;
  readonly heatY: number;
  readonly strengthOf: (ratio: number) => number;
  /** Kernels of periods that were asked for already, by axis, cells and samples. */
  readonly folded: Map<string, FoldedKernel>;
}

export function describeDose(parameters: readonly number[], grid: DotGrid): DoseShape {
  const drive = Math.exp(parameters[AT.drive]);
  const law = createLaw(Math.exp(parameters[AT.steepness]), parameters[AT.shoulder]);
  const flatness = parameters[AT.flatness];
  const fading = parameters[AT.fading];
  const markX = Math.exp(parameters[AT.markX]) / 1000 / grid.pitchMm;
  const markY = Math.exp(parameters[AT.markY]) / 1000 / grid.lineSpacingMm;
  // Half of a lone dot's greatest strength, without fading and smear: u at the contour gives the dose diameter, u =
  // 2·(mark/d)².
  const half = law(drive) / 2;
  let [inside, outside] = [0, 60];
  for (let step = 0; step < 50; step++) {
    const u = (inside + outside) / 2;
    if (law(drive * Math.exp(-u) * (1 + flatness * u)) > half) inside = u;
    else outside = u;
  }
  const ratio = Math.sqrt(inside / 2);
  const diameterXCells = markX / ratio;
  const diameterYCells = markY / ratio;
  const [heatX, heatY] = [parameters[AT.heatX], parameters[AT.heatY]];
  const solid = (drive * Math.PI * diameterXCells * diameterYCells * (1 + flatness)) / 8;
  const lnKeep = Math.log(1 - fading) / (solid * solid);
  const faded = (dose: number) => law(dose) * Math.exp(lnKeep * dose * dose);
  return {
    diameterXCells,
    diameterYCells,
    drive,
    flatness,
    smearCells: parameters[AT.smear],
    heatX,
    heatY,
    strengthOf: tabulateLaw(fading > 0 ? faded : law, Math.max(2 * drive, 1.6 * solid * (1 + heatX + heatY))),
    folded: new Map(),
  };
}

/** 1 − (1 + (2ᵗ − 1)·Dᵐ)^(−1/t): one half at D = 1 whatever m and t. */
function createLaw(steepness: number, shoulder: number): (dose: number) => number {
  if (Math.abs(shoulder) < 1e-3) return (dose) => (dose > 0 ? 1 - power(2, -power(dose, steepness)) : 0);
  const factor = power(2, shoulder) - 1;
  return (dose) => {
    if (!(dose > 0)) return 0;
    const base = 1 + factor * power(dose, steepness);
    return base > 0 ? 1 - power(base, -1 / shoulder) : 1;
  };
}

/**
 * The same by table, denser towards no dose, up to a dose beyond which few places lie: powers are what the fit's time
 * goes into.
 */
function tabulateLaw(law: (dose: number) => number, upTo: number): (dose: number) => number {
  const scale = STRENGTH_STEPS / Math.sqrt(upTo);
  const table = new Float64Array(STRENGTH_STEPS + 2);
  for (let i = 0; i < table.length; i++) table[i] = law((i / scale) * (i / scale));
  return (dose) => {
    const position = Math.sqrt(dose) * scale;
    if (position >= STRENGTH_STEPS) return law(dose);
    const i = position | 0;
    return table[i] + (position - i) * (table[i + 1] - table[i]);
  };
}

/** Mean raw strength of a periodic pattern. The dose is a sum of products of one factor a direction. */
export function meanStrength(dose: DoseShape, pattern: Prepared): number {
  const { width, height, samplesX, samplesY, fires, along, across } = pattern;
  const { flatness, heatX, heatY, drive, strengthOf } = dose;
  const fold = (axis: 'x' | 'y', cells: number, samples: number) => {
    const key = `${axis} ${cells} ${samples}`;
    const [diameterCells, smearCells] =
      axis === 'x' ? [dose.diameterXCells, dose.smearCells] : [dose.diameterYCells, 0];
    const kernels = dose.folded.get(key) ?? foldKernel({ cells, samples }, diameterCells, smearCells);
    dose.folded.set(key, kernels);
    return kernels;
  };
  const { gauss: gx, ring: vx, first, count } = fold('x', width, samplesX);
  const { gauss: gy, ring: vy } = fold('y', height, samplesY);
  const fineX = width * samplesX;
  const fineY = height * samplesY;
  const plain = new Float64Array(height * fineX);
  const ringed = new Float64Array(height * fineX);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      if (fires[at] === 0) continue;
      const energy = drive * fires[at] * (1 + heatX * along[at] + heatY * across[at]);
      const own = y * fineX;
      let from = first;
      let to = (x * samplesX + first) % fineX;
      for (let k = 0; k < count; k++) {
        plain[own + to] += energy * gx[from];
        ringed[own + to] += energy * vx[from];
        if (++from === fineX) from = 0;
        if (++to === fineX) to = 0;
      }
    }
  }
  const row = new Float64Array(fineX);
  let sum = 0;
  for (let j = 0; j < fineY; j++) {
    row.fill(0);
    for (let y = 0; y < height; y++) {
      const from = (j + fineY - y * samplesY) % fineY;
      const weight = gy[from] + flatness * vy[from];
      if (weight < NOTHING) continue;
      const ring = flatness * gy[from];
      const at = y * fineX;
      for (let i = 0; i < fineX; i++) row[i] += weight * plain[at + i] + ring * ringed[at + i];
    }
    for (let i = 0; i < fineX; i++) sum += strengthOf(row[i]);
  }
  return sum / (fineX * fineY);
}

/** Middles of equal pieces of a smear, cells. */
export function placePieces(smearCells: number): readonly number[] {
  return Array.from({ length: SMEAR_PIECES }, (_, i) => ((i + 0.5) / SMEAR_PIECES - 0.5) * smearCells);
}

/** What a dot in cell 0 leaves at the samples of a period, and the run of them beyond which it leaves nothing. */
interface FoldedKernel {
  readonly gauss: Float64Array;
  readonly ring: Float64Array;
  readonly first: number;
  readonly count: number;
}

/**
 * exp(−u) and u·exp(−u) of a dot in cell 0, smeared, folded into a period of cells, at the midpoints of the samples.
 */
function foldKernel(
  { cells, samples }: { readonly cells: number; readonly samples: number },
  diameterCells: number,
  smearCells: number,
): FoldedKernel {
  const fine = cells * samples;
  const gauss = new Float64Array(fine);
  const ring = new Float64Array(fine);
  const pieces = smearCells > 0 ? placePieces(smearCells) : [0];
  const reach = Math.ceil((1.6 * diameterCells + smearCells / 2) * samples);
  for (let i = -reach; i <= reach + samples; i++) {
    const at = ((i % fine) + fine) % fine;
    for (const piece of pieces) {
      const distance = (i + 0.5) / samples - 0.5 - piece;
      const u = (8 * distance * distance) / (diameterCells * diameterCells);
      const value = Math.exp(-u) / pieces.length;
      gauss[at] += value;
      ring[at] += u * value;
    }
  }
  const count = Math.min(fine, 2 * reach + samples + 1);
  return { gauss, ring, first: count === fine ? 0 : ((-reach % fine) + fine) % fine, count };
}
