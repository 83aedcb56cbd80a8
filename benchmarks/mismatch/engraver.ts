// A second virtual engraver, on purpose unlike the project's own: other shape of the spot, other laws of the dose,
// other memory of heat, other noise, other optics. Nothing in the project was tuned on it; benchmarks ask whether what
// is promised holds on it, too. Written without any of the project's physics.
import type { DotGrid, Dots } from '../../src/plane/index.ts';
import type { Surface } from '../../src/simulation/index.ts';

/** How the strength of the mark follows from the dose over its half dose; at 1 the strength is one half. */
export type StrengthLaw =
  /** Normal distribution over the logarithm of the dose. */
  | { readonly kind: 'lognormal'; readonly width: number }
  /** A straight line in the dose from 1 − width to 1 + width. */
  | { readonly kind: 'ramp'; readonly width: number }
  /** 1 − 2^−dose. */
  | { readonly kind: 'saturating' }
  /** tanh, slow to start and slow to end. */
  | { readonly kind: 'tanh'; readonly order: number };

export interface OtherMaterial {
  readonly grid: DotGrid;
  readonly bareL: number;
  readonly fullL: number;
  /** 1/e² diameters of the standing spot, µm. */
  readonly spotXUm: number;
  readonly spotYUm: number;
  /** Super-Gaussian exponent: exp(−2·(r²)^exponent); 1 is a Gaussian, 3 nearly a flat top. */
  readonly exponent: number;
  /** Share of the pitch over which a dot is smeared. */
  readonly smear: number;
  /** Peak dose of a lone dot over the half dose. */
  readonly drive: number;
  readonly law: StrengthLaw;
  /** Share of the strength lost at the solid's mean dose. */
  readonly fading: number;
  /** Added share of a dot's energy for each of the three lines above and the three dots before, all firing. */
  readonly heatLines: number;
  readonly heatDots: number;
  /** Standard deviation of ln(energy) of a dot, of where it lands, µm, along and across, and of a line's, µm. */
  readonly energySd: number;
  readonly jitterUm: number;
  readonly wobbleUm: number;
  /** Log-normal grain: of the half dose and of the reflectance, and its length, µm. */
  readonly grainDose: number;
  readonly grainLight: number;
  readonly grainUm: number;
  /** Yule-Nielsen n with which the strength averaged over `opticsUm` becomes reflectance. */
  readonly n: number;
  readonly opticsUm: number;
}

export function createOtherRandom(seed: number): () => number {
  let a = (seed ^ 0x9e3779b9) >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = a;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

const normalOf = (random: () => number) => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());

export function strengthOfLaw(ratio: number, law: StrengthLaw): number {
  if (ratio <= 0) return 0;
  if (law.kind === 'saturating') return 1 - 2 ** -ratio;
  if (law.kind === 'ramp') return Math.min(1, Math.max(0, (ratio - 1) / (2 * law.width) + 0.5));
  if (law.kind === 'tanh') return Math.tanh(Math.atanh(0.5) * ratio ** law.order);
  // A logistic stands in for the normal distribution: 1.702 makes them differ by less than 0.01.
  return 1 / (1 + ratio ** (-1.702 / law.width));
}

const yOfL = (l: number) => (l > 8 ? ((l + 16) / 116) ** 3 : l / 903.3);

interface Stamp {
  readonly values: Float32Array;
  readonly width: number;
  readonly height: number;
}

/**
 * A dot on the sample grid with its centre at a place within a sample; 1 at the centre of the standing spot without
 * smear.
 */
function stampAt(material: OtherMaterial, perDot: number, fx: number, fy: number): Stamp {
  const { grid, spotXUm, spotYUm, exponent, smear } = material;
  const stepX = (1000 * grid.pitchMm) / perDot;
  const stepY = (1000 * grid.lineSpacingMm) / perDot;
  const lit = (1000 * grid.pitchMm * smear) / 2;
  const reachX = Math.ceil((1.15 * spotXUm + lit) / stepX);
  const reachY = Math.ceil((1.15 * spotYUm) / stepY);
  const width = 2 * reachX + 1;
  const height = 2 * reachY + 1;
  const values = new Float32Array(width * height);
  const pieces = smear > 0 ? 9 : 1;
  for (let j = 0; j < height; j++) {
    for (let i = 0; i < width; i++) {
      const y = (j - reachY + 0.5 - fy) * stepY;
      let sum = 0;
      for (let p = 0; p < pieces; p++) {
        const x = (i - reachX + 0.5 - fx) * stepX - ((p + 0.5) / pieces - 0.5) * 2 * lit;
        sum += Math.exp(-2 * (((2 * x) / spotXUm) ** 2 + ((2 * y) / spotYUm) ** 2) ** exponent);
      }
      values[j * width + i] = sum / pieces;
    }
  }
  return { values, width, height };
}

const PLACES = 8;

/** How the beam differs from dot to dot over a machine's field: factors of energy and of the spot's diameters. */
export type OtherField = (xMm: number, yMm: number) => { readonly dose: number; readonly width: number };

interface Scanning {
  readonly field?: OtherField | undefined;
  /** Each second line that fires lands so far to the right, µm. */
  readonly returnOffsetUm?: number | undefined;
}

/** Whether a line fires at a place, dots from its first dot's: between two dots each counts by how near it lies. */
function firesAt(line: Uint8Array | undefined, x: number): number {
  if (!line) return 0;
  const left = Math.floor(x);
  const share = x - left;
  return (line[left]! > 0 ? 1 - share : 0) + (share > 0 && line[left + 1]! > 0 ? share : 0);
}

/** Doses in units of the half dose on `perDot` × `perDot` samples a dot. */
function deposit(
  dots: Dots,
  material: OtherMaterial,
  perDot: number,
  random: () => number,
  { field, returnOffsetUm = 0 }: Scanning,
) {
  const { grid, drive, heatLines, heatDots, energySd, jitterUm, wobbleUm } = material;
  const width = dots.width * perDot;
  const height = dots.height * perDot;
  const dose = new Float32Array(width * height);
  const peak = stampAt(material, perDot, 0.5, 0.5).values.reduce((most, value) => Math.max(most, value), 0);
  const made = new Map<number, Stamp[]>();
  const stampsOf = (width: number): readonly Stamp[] => {
    const step = Math.round(100 * width);
    const known = made.get(step);
    if (known) return known;
    const wide = { ...material, spotXUm: (material.spotXUm * step) / 100, spotYUm: (material.spotYUm * step) / 100 };
    const stamps = Array.from({ length: PLACES ** 2 }, (_, at) =>
      stampAt(wide, perDot, ((at % PLACES) + 0.5) / PLACES, (Math.floor(at / PLACES) + 0.5) / PLACES),
    );
    made.set(step, stamps);
    return stamps;
  };
  const jitterX = (jitterUm / 1000 / grid.pitchMm) * perDot;
  const jitterY = (jitterUm / 1000 / grid.lineSpacingMm) * perDot;
  const wobble = (wobbleUm / 1000 / grid.lineSpacingMm) * perDot;
  const lineOf = (y: number) => (y < 0 ? undefined : dots.data.subarray(y * dots.width, (y + 1) * dots.width));
  const asideDots = returnOffsetUm / 1000 / grid.pitchMm;
  /** How far each line's dots land to the right of where they are drawn, dots. */
  const asides = new Float64Array(dots.height);
  let burned = 0;
  for (let y = 0; y < dots.height; y++) {
    const line = wobble * normalOf(random);
    const own = lineOf(y)!;
    const isEmpty = own.every((dot) => dot === 0);
    if (!isEmpty && burned++ % 2 === 1) asides[y] = asideDots;
    const shift = asides[y]! * perDot;
    // A line is warm where its neighbours' dots have landed, not where they are drawn.
    const above = [1, 2, 3].map((by) => ({ line: lineOf(y - by), to: asides[y]! - (asides[y - by] ?? 0) }));
    for (let x = 0; x < dots.width; x++) {
      if (!own[x]) continue;
      const warm =
        heatLines * above.reduce((sum, { line, to }) => sum + firesAt(line, x + to), 0) +
        heatDots * (firesAt(own, x - 1) + firesAt(own, x - 2) + firesAt(own, x - 3));
      const here = field?.((x + 0.5) * grid.pitchMm, (y + 0.5) * grid.lineSpacingMm) ?? { dose: 1, width: 1 };
      const stamps = stampsOf(here.width);
      const strongest = (drive / peak) * (1 + warm) * Math.exp(energySd * normalOf(random));
      const energy = (strongest * here.dose) / here.width ** 2;
      const cx = (x + 0.5) * perDot + shift + jitterX * normalOf(random);
      const cy = (y + 0.5) * perDot + jitterY * normalOf(random) + line;
      const wx = Math.floor(cx);
      const wy = Math.floor(cy);
      const stamp = stamps[Math.floor((cy - wy) * PLACES) * PLACES + Math.floor((cx - wx) * PLACES)]!;
      const left = wx - ((stamp.width - 1) >> 1);
      const top = wy - ((stamp.height - 1) >> 1);
      const from = Math.max(0, -left);
      const to = Math.min(stamp.width, width - left);
      for (let j = Math.max(0, -top); j < Math.min(stamp.height, height - top); j++) {
        const at = (top + j) * width + left;
        const own = j * stamp.width;
        for (let i = from; i < to; i++) dose[at + i] = dose[at + i]! + energy * stamp.values[own + i]!;
      }
    }
  }
  return { dose, width, height };
}

/**
 * Log-normal field of standard deviation 1 in the logarithm, correlated over about `lengthDots`, bilinear on a lattice.
 */
function createField(random: () => number, columns: number, rows: number, lengthDots: number) {
  const step = Math.max(1, lengthDots);
  const w = Math.ceil(columns / step) + 2;
  const h = Math.ceil(rows / step) + 2;
  const values = Float32Array.from({ length: w * h }, () => normalOf(random) * 1.5);
  return (x: number, y: number) => {
    const u = x / step;
    const v = y / step;
    const i = Math.floor(u);
    const j = Math.floor(v);
    const a = values[j * w + i]! + (u - i) * (values[j * w + i + 1]! - values[j * w + i]!);
    const b = values[(j + 1) * w + i]! + (u - i) * (values[(j + 1) * w + i + 1]! - values[(j + 1) * w + i]!);
    return a + (v - j) * (b - a);
  };
}

/** Three running means in both directions: nearly a Gaussian. */
function blur(data: Float32Array, width: number, height: number, radiusX: number, radiusY: number): void {
  const line = new Float32Array(Math.max(width, height));
  const pass = (start: number, stride: number, length: number, radius: number) => {
    for (let i = 0; i < length; i++) line[i] = data[start + i * stride]!;
    let sum = 0;
    for (let i = -radius; i <= radius; i++) sum += line[Math.min(length - 1, Math.max(0, i))]!;
    for (let i = 0; i < length; i++) {
      data[start + i * stride] = sum / (2 * radius + 1);
      sum += line[Math.min(length - 1, i + radius + 1)]! - line[Math.max(0, i - radius)]!;
    }
  };
  for (let round = 0; round < 3; round++) {
    if (radiusX > 0) for (let y = 0; y < height; y++) pass(y * width, 1, width, radiusX);
    if (radiusY > 0) for (let x = 0; x < width; x++) pass(x, width, height, radiusY);
  }
}

/** Mean dose of a solid fill over the half dose, without heat. */
function solidDose(material: OtherMaterial, perDot: number): number {
  const { values } = stampAt(material, perDot, 0.5, 0.5);
  const peak = values.reduce((most, value) => Math.max(most, value), 0);
  return ((material.drive / peak) * values.reduce((sum, value) => sum + value, 0)) / perDot ** 2;
}

export function burnOther(
  dots: Dots,
  {
    material,
    seed,
    perDot,
    marginMm = 0,
    field,
    returnOffsetUm,
  }: { material: OtherMaterial; seed: number; perDot?: number; marginMm?: number } & Scanning,
): Surface {
  const { grid, law, fading, bareL, fullL, grainDose, grainLight, grainUm, n, opticsUm } = material;
  const fine =
    perDot ??
    Math.min(8, Math.max(3, Math.ceil((8 * Math.max(grid.pitchMm, grid.lineSpacingMm) * 1000) / material.spotYUm)));
  const mx = Math.ceil(marginMm / grid.pitchMm);
  const my = Math.ceil(marginMm / grid.lineSpacingMm);
  const padded = {
    ...dots,
    width: dots.width + 2 * mx,
    height: dots.height + 2 * my,
    data: new Uint8Array((dots.width + 2 * mx) * (dots.height + 2 * my)),
  };
  for (let y = 0; y < dots.height; y++) {
    padded.data.set(dots.data.subarray(y * dots.width, (y + 1) * dots.width), (y + my) * padded.width + mx);
  }
  const random = createOtherRandom(seed);
  const { dose, width, height } = deposit(padded as Dots, material, fine, random, { field, returnOffsetUm });
  // Grain is coarser than dots: one value a dot.
  const grainOf = (deviation: number) => {
    const field = createField(random, padded.width, padded.height, grainUm / 1000 / grid.pitchMm);
    return Float32Array.from({ length: deviation > 0 ? padded.width * padded.height : 0 }, (_, i) =>
      Math.exp(deviation * field((i % padded.width) + 0.5, Math.floor(i / padded.width) + 0.5)),
    );
  };
  const answer = grainOf(grainDose);
  const shade = grainOf(grainLight);
  const solid = solidDose(material, fine);
  const table = Float32Array.from({ length: 8001 }, (_, i) => {
    const ratio = i / 400;
    return strengthOfLaw(ratio, law) * (1 - fading) ** ((ratio / solid) ** 2);
  });
  const strength = dose;
  for (let y = 0; y < height; y++) {
    const dotRow = Math.floor(y / fine) * padded.width;
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      const own = dose[at]!;
      if (own <= 0) continue;
      const ratio = grainDose > 0 ? own * answer[dotRow + ((x / fine) | 0)]! : own;
      strength[at] = table[Math.min(8000, Math.round(ratio * 400))]!;
    }
  }
  if (n > 1) {
    // Three means of radius r have the variance r·(r + 1).
    const radius = (um: number, stepUm: number) => Math.round(-0.5 + Math.sqrt(0.25 + (um / stepUm) ** 2));
    blur(
      strength,
      width,
      height,
      radius(opticsUm, (1000 * grid.pitchMm) / fine),
      radius(opticsUm, (1000 * grid.lineSpacingMm) / fine),
    );
  }
  const bare = yOfL(bareL) ** (1 / n);
  // The law may not reach 1 in a solid; the full colour is that of strength 1.
  const full = yOfL(fullL) ** (1 / n);
  const columns = Math.max(1, Math.round((padded.width * grid.pitchMm * 600) / 25.4));
  const rows = Math.max(1, Math.round((padded.height * grid.lineSpacingMm * 600) / 25.4));
  const rgb = new Float32Array(columns * rows * 3);
  const weights = new Float32Array(columns * rows);
  const sums = new Float32Array(columns * rows);
  const lightOf = Float32Array.from({ length: 4097 }, (_, i) => (bare + ((full - bare) * i) / 4096) ** n);
  // A sample is split between the two pixels that it may lie in, in each direction.
  const split = (samples: number, pixels: number) => {
    const first = Uint32Array.from({ length: samples }, (_, i) => Math.floor((i * pixels) / samples));
    const share = Float32Array.from(first, (pixel, i) => Math.min(1, ((pixel + 1) * samples) / pixels - i));
    return { first, share };
  };
  const across = split(height, rows);
  const along = split(width, columns);
  const line = new Float32Array(columns + 1);
  const lineWeights = new Float32Array(columns + 1);
  for (let x = 0; x < width; x++) {
    const pixel = along.first[x]!;
    lineWeights[pixel] = lineWeights[pixel]! + along.share[x]!;
    lineWeights[pixel + 1] = lineWeights[pixel + 1]! + 1 - along.share[x]!;
  }
  const add = (row: number, share: number) => {
    if (share <= 0 || row >= rows) return;
    for (let i = 0; i < columns; i++) {
      const at = row * columns + i;
      sums[at] = sums[at]! + share * line[i]!;
      weights[at] = weights[at]! + share * lineWeights[i]!;
    }
  };
  for (let y = 0; y < height; y++) {
    line.fill(0);
    const dotRow = Math.floor(y / fine) * padded.width;
    for (let x = 0; x < width; x++) {
      let light = lightOf[Math.round(4096 * strength[y * width + x]!)]!;
      if (grainLight > 0) light *= shade[dotRow + ((x / fine) | 0)]!;
      const pixel = along.first[x]!;
      const share = along.share[x]! * light;
      line[pixel] = line[pixel]! + share;
      line[pixel + 1] = line[pixel + 1]! + light - share;
    }
    add(across.first[y]!, across.share[y]!);
    add(across.first[y]! + 1, 1 - across.share[y]!);
  }
  for (let i = 0; i < sums.length; i++) {
    const light = sums[i]! / weights[i]!;
    rgb[3 * i] = light;
    rgb[3 * i + 1] = light;
    rgb[3 * i + 2] = light;
  }
  const widthMm = padded.width * grid.pitchMm;
  const heightMm = padded.height * grid.lineSpacingMm;
  return {
    width: columns,
    height: rows,
    pixelWidthMm: widthMm / columns,
    pixelHeightMm: heightMm / rows,
    leftMm: -mx * grid.pitchMm,
    topMm: -my * grid.lineSpacingMm,
    widthMm,
    heightMm,
    cornerRadiusMm: 0,
    rgb,
  };
}

/** Width of a lone dot where half of its own greatest change of luminance is seen, without light that spreads, µm. */
export function loneMark(material: OtherMaterial): { xUm: number; yUm: number } {
  const perDot = 64;
  const { values, width, height } = stampAt(material, perDot, 0.5, 0.5);
  const solid = solidDose(material, 16);
  const peak = values.reduce((most, value) => Math.max(most, value), 0);
  const [bare, full] = [material.bareL, material.fullL].map((lightness) => yOfL(lightness) ** (1 / material.n)) as [
    number,
    number,
  ];
  const at = (value: number) => {
    const ratio = (material.drive * value) / peak;
    const strength = strengthOfLaw(ratio, material.law) * (1 - material.fading) ** ((ratio / solid) ** 2);
    return Math.abs((bare + (full - bare) * strength) ** material.n - bare ** material.n);
  };
  const row = Array.from({ length: width }, (_, i) => at(values[((height - 1) >> 1) * width + i]!));
  const column = Array.from({ length: height }, (_, j) => at(values[j * width + ((width - 1) >> 1)]!));
  const most = Math.max(...row, ...column);
  const stepX = (1000 * material.grid.pitchMm) / perDot;
  const stepY = (1000 * material.grid.lineSpacingMm) / perDot;
  const count = (list: number[], limit: number) => list.filter((value) => value > limit).length;
  return {
    xUm: stepX * count(row, most / 2),
    yUm: stepY * count(column, most / 2),
  };
}

/**
 * A material by chance, within what shops meet: threshold-like and gradual, lighter and darker, square and oblong dots.
 */
export function drawMaterial(seed: number): OtherMaterial {
  const random = createOtherRandom(seed * 7919 + 17);
  const between = (low: number, high: number) => low + (high - low) * random();
  const pick = <T>(list: readonly T[]): T => list[Math.floor(random() * list.length)]!;
  const pitchMm = pick([0.04, 0.05, 0.06, 0.08, 0.1]);
  const lineSpacingMm = random() < 0.7 ? pitchMm : Number((pitchMm * pick([0.8, 1.25])).toFixed(3));
  const kind = pick(['lognormal', 'lognormal', 'ramp', 'saturating', 'tanh'] as const);
  const law: StrengthLaw =
    kind === 'lognormal'
      ? { kind, width: between(0.08, 0.5) }
      : kind === 'ramp'
        ? { kind, width: between(0.1, 0.6) }
        : kind === 'tanh'
          ? { kind, order: between(1, 2.5) }
          : { kind };
  const gradual = kind === 'saturating' || kind === 'tanh';
  const lighter = random() < 0.5;
  const dark = between(12, 35);
  const light = between(dark + 30, Math.min(92, dark + 65));
  return {
    grid: { pitchMm, lineSpacingMm },
    bareL: lighter ? dark : light,
    fullL: lighter ? light : dark,
    spotXUm: 1000 * pitchMm * between(1.4, 2.3),
    spotYUm: 1000 * lineSpacingMm * between(1.4, 2.3),
    exponent: between(0.9, 1.8),
    smear: random() < 0.5 ? 0 : between(0.4, 1),
    drive: gradual ? between(0.7, 2) : between(1.3, 3.5),
    law,
    fading: gradual && random() < 0.4 ? between(0, 0.15) : 0,
    heatLines: between(0, 0.03),
    heatDots: between(0, 0.03),
    energySd: between(0.01, 0.06),
    jitterUm: 1000 * pitchMm * between(0.01, 0.06),
    wobbleUm: 1000 * lineSpacingMm * between(0, 0.05),
    grainDose: between(0, 0.06),
    grainLight: between(0, 0.03),
    grainUm: between(60, 400),
    n: random() < 0.4 ? 1 : between(1.1, 2),
    opticsUm: between(40, 150),
  };
}
