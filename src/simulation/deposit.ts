import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid, Dots } from '../plane/index.ts';
import { createChance, hash32 } from './chance.ts';
import { beamAt, type PlacedField } from './field.ts';
import type { MaterialModel } from './material-model.ts';
import { type PowerModel, powerAt } from './power-levels.ts';
import { startFastSum, startPlainSum } from './row-sum.ts';
import { dotEnergyJ, pulsesOfDot, type SpotKernel, SUB_POSITIONS, spotKernel } from './spot.ts';

export interface DepositOptions {
  readonly grid: DotGrid;
  readonly model: MaterialModel;
  readonly seed: number;
  readonly settings: BurnSettings;
  /** How far the piece leaves focus from its middle line towards its upper and lower edge, mm per mm. */
  readonly tilt: number;
  /** How the beam differs over the machine's field; the same everywhere when absent. */
  readonly field?: PlacedField;
  /** What the laser makes of levels of power; in proportion when absent. */
  readonly levels?: PowerModel;
  /** Height of the best focus above the middle of the piece, mm. */
  readonly focusMm?: number;
  /** How far the beam focuses higher along the scan than across it, mm. */
  readonly astigmatismMm?: number;
  /** Samples per dot. */
  readonly perDot: { readonly x: number; readonly y: number };
  /** Bare dots to the left and to the right. */
  readonly marginX: number;
  /** Where each row of the dots is burned; row by row when absent. */
  readonly lines?: readonly PlacedLine[];
}

/** A row of dots that is burned at a place of its own: on a piece that turns, once or again a turn later. */
export interface PlacedLine {
  /** Its upper edge, line spacings from the first sample's upper edge; places must rise. */
  readonly place: number;
  /** Row of the dots as they are burned: chance and direction go by it. */
  readonly line: number;
}

export interface Deposit {
  /**
   * Overwrites `dose` with the sum of dose^power, J/cm², on a row of samples counted from the first dot's upper edge;
   * rows must rise.
   */
  readRow(dose: Float32Array, sampleRow: number): void;
}

/** The dots of a scan line that one spot has burned: dose^power without its factor across the scan. */
interface BurnedLine {
  readonly profile: Float32Array;
  /** First and last sample that hold anything. */
  readonly from: number;
  readonly to: number;
  /** Height of its middle, samples. */
  readonly middle: number;
  readonly kernel: SpotKernel;
}

/** J/cm² in 1 J/mm². By definition: 1 cm² is 100 mm². */
const CM2_PER_MM2 = 100;

/**
 * The dose of all dots, read from top to bottom. The deposit is a product of a profile along the scan and one across
 * it, so a dot is added to its line once, and a line to the rows that it reaches: ten times less work than adding each
 * dot to an area.
 */
export function depositLines(dots: Dots, options: DepositOptions): Deposit {
  const { grid, model, seed, settings, perDot, marginX, field } = options;
  const { beam, heat, law } = model;
  const power = 1 / law.accumulation;
  const sampleXMm = grid.pitchMm / perDot.x;
  const sampleYMm = grid.lineSpacingMm / perDot.y;
  const energyJ = dotEnergyJ(beam, settings, grid);
  const pulsesMm = pulsesOfDot(beam, settings, grid);
  // µs · mm/s is a thousandth of a µm; a line there is late to the right, a line back to the left.
  const returnOffsetUm = beam.returnOffsetUm - (2 * (beam.returnDelayUs ?? 0) * settings.speedMmPerS) / 1000;
  const placeOf = (row: number) => options.lines?.[row]?.place ?? row;
  const returns = listReturns(dots, settings.scan, options.lines);
  const powers = Array.from({ length: dots.levels }, (_, at) => powerAt(options.levels, at / (dots.levels - 1)));
  const samples = (dots.width + 2 * marginX) * perDot.x;
  /** Heat that the lines before have left at each dot, and that this one leaves. */
  const carried = new Float32Array(dots.width);
  const left = new Float64Array(dots.width);
  const kernels = new Map<string, { readonly along: SpotKernel; readonly across: SpotKernel }>();
  const { focusMm = 0, astigmatismMm = 0 } = options;

  /** How much wider a scan line's spots are on a tilted piece, w = w0·√(1 + (z/zR)²). */
  const growthOf = (line: number) => {
    const offMm = options.tilt * (line + 0.5 - dots.height / 2) * grid.lineSpacingMm;
    const growthAt = (mm: number) => Math.hypot(1, mm / beam.rayleighLengthMm);
    return { x: growthAt(offMm - focusMm - astigmatismMm / 2), y: growthAt(offMm - focusMm + astigmatismMm / 2) };
  };
  const kernelsOf = (growth: { readonly x: number; readonly y: number }, width = 1) => {
    const [growthX, growthY] = [growth.x, growth.y].map((one) => Math.round(200 * one * width) / 200) as [
      number,
      number,
    ];
    const key = `${growthX} ${growthY}`;
    const known = kernels.get(key);
    if (known) return known;
    const made = {
      along: spotKernel({
        radiusMm: (growthX * beam.spotDiameterXUm) / 2000,
        sampleMm: sampleXMm,
        pulsesMm,
        power,
      }),
      across: spotKernel({
        radiusMm: (growthY * beam.spotDiameterYUm) / 2000,
        sampleMm: sampleYMm,
        pulsesMm: [0],
        power,
      }),
    };
    kernels.set(key, made);
    return made;
  };
  const ends = [growthOf(0), growthOf(dots.height - 1)];
  const width = widestIn(options, dots);
  const farthest = Math.max(...ends.map((growth) => kernelsOf(growth, width).across.reach));
  const wobbleReach = Math.ceil((4.5 * beam.lineWobbleUm) / (sampleYMm * 1000));

  const burnLine = (line: number): readonly BurnedLine[] => {
    const growth = growthOf(line);
    const even = field ? undefined : kernelsOf(growth);
    const yMm = (line + 0.5) * grid.lineSpacingMm;
    const chance = createChance(hash32(seed, 3, options.lines?.[line]?.line ?? line));
    const middle = (placeOf(line) + 0.5) * perDot.y + (chance.normal() * beam.lineWobbleUm) / (sampleYMm * 1000);
    const lineEnergy = energyJ * CM2_PER_MM2 * Math.max(0, 1 + beam.lineEnergySd * chance.normal());
    const back = returns[line] === 1;
    const offset = back ? returnOffsetUm / (sampleXMm * 1000) : 0;
    const warmed = back ? moveDots(carried, -offset / perDot.x) : carried;
    const jitter = beam.jitterUm / (sampleXMm * 1000);
    const keepAlong = Math.exp((-grid.pitchMm * 1000) / heat.lengthAlongUm);
    const keepAcross = Math.exp((-grid.lineSpacingMm * 1000) / heat.lengthAcrossUm);
    const burned: { profile: Float32Array; from: number; to: number; middle: number; kernel: SpotKernel }[] = [];
    let part: (typeof burned)[number] | undefined;
    let warmth = 0;
    for (let step = 0; step < dots.width; step++) {
      const i = back ? dots.width - 1 - step : step;
      const level = powers[dots.data[line * dots.width + i]]!;
      if (level > 0) {
        const here = field && beamAt(field.model, field.xMm + (i + 0.5) * grid.pitchMm, field.yMm + yMm);
        const { along, across } = even ?? kernelsOf(growth, here!.width);
        if (part?.kernel !== across) {
          part = burned.find(({ kernel }) => kernel === across);
          if (!part) {
            part = { profile: takeBuffer(), from: samples, to: 0, middle, kernel: across };
            burned.push(part);
          }
        }
        const { profile } = part;
        const size = 2 * along.reach + 1;
        const raise = 1 + heat.gainAlong * warmth + heat.gainAcross * warmed[i];
        const usual = lineEnergy * level * raise * Math.max(0, 1 + beam.dotEnergySd * chance.normal());
        const energy = here ? usual * here.dose : usual;
        const x = (marginX + i + 0.5) * perDot.x + offset + jitter * chance.normal();
        const amount = power === 1 ? energy * settings.passes : energy ** power * settings.passes;
        const whole = Math.floor(x);
        const row = Math.floor((x - whole) * SUB_POSITIONS) * size;
        const start = whole - along.reach;
        const first = Math.max(0, -start);
        const end = Math.min(size, samples - start);
        for (let k = first; k < end; k++) {
          profile[start + k] = profile[start + k] + amount * along.values[row + k];
        }
        part.from = Math.min(part.from, start + first);
        part.to = Math.max(part.to, start + end);
      }
      left[i] = (1 - keepAcross) * level;
      warmth = warmth * keepAlong + (1 - keepAlong) * level;
    }
    // Heat lies where dots have landed, not where they are drawn.
    const landed = back ? moveDots(left, offset / perDot.x) : left;
    for (let i = 0; i < dots.width; i++) carried[i] = carried[i] * keepAcross + landed[i];
    return burned;
  };

  // A field's line has a buffer for each width of its spots, so that the kernels' fixed number of them is not enough.
  // Lines are near a row from so far above it to so far below; two more for rounding.
  const near = (Math.ceil((2 * farthest + 4 * wobbleReach + 2) / perDot.y) + 2) * countStacked(options.lines);
  const rows = (field ? undefined : startFastSum(samples, near)) ?? startPlainSum(samples, near);
  const spare = [...rows.spare];
  const ring: BurnedLine[] = [];
  function takeBuffer(): Float32Array {
    const known = spare.pop();
    known?.fill(0);
    return known ?? new Float32Array(samples);
  }
  let next = 0;
  return {
    readRow(dose, sampleRow) {
      const until = sampleRow + farthest + wobbleReach + 1;
      const dropPassed = () => {
        while (ring.length > 0 && ring[0]!.middle + farthest + 2 * wobbleReach + 1 < sampleRow) {
          spare.push(ring.shift()!.profile);
        }
      };
      dropPassed();
      while (next < dots.height && (placeOf(next) + 0.5) * perDot.y <= until) {
        ring.push(...burnLine(next));
        next++;
        dropPassed();
      }
      rows.clear();
      for (const { profile, from, to, middle, kernel } of ring) {
        const whole = Math.floor(middle);
        const k = sampleRow - whole + kernel.reach;
        if (k < 0 || k > 2 * kernel.reach) continue;
        const sub = Math.floor((middle - whole) * SUB_POSITIONS);
        const weight = kernel.values[sub * (2 * kernel.reach + 1) + k];
        if (to > from) rows.add(profile, weight, from, to);
      }
      dose.set(rows.sum);
    },
  };
}

/** Values moved to the right by dots, which need not be whole: the two nearest share a place. The same for none. */
function moveDots(values: Float32Array | Float64Array, byDots: number): Float32Array | Float64Array {
  if (byDots === 0) return values;
  const moved = new Float64Array(values.length);
  const first = Math.floor(-byDots);
  const share = -byDots - first;
  for (let i = 0; i < values.length; i++) {
    const at = i + first;
    moved[i] = (1 - share) * (values[at] ?? 0) + share * (values[at + 1] ?? 0);
  }
  return moved;
}

/** Lines that run back: the spot turns round after each line with a dot, and passes over those without. */
function listReturns(
  { data, width, height }: Dots,
  scan: 'one-way' | 'two-way',
  lines: readonly PlacedLine[] | undefined,
): Uint8Array {
  const back = new Uint8Array(height);
  if (scan === 'one-way') return back;
  // Rows that lie there again, a turn later, run as the line does that they are.
  const sequence = Array.from({ length: height }, (_, row) => row).sort(
    (a, b) => (lines?.[a]?.line ?? a) - (lines?.[b]?.line ?? b),
  );
  let burned = -1;
  let before = -1;
  for (const row of sequence) {
    if (data.subarray(row * width, (row + 1) * width).every((dot) => dot === 0)) continue;
    const line = lines?.[row]?.line ?? row;
    if (line !== before) burned++;
    before = line;
    back[row] = burned % 2;
  }
  return back;
}

/** Most lines that lie within one line spacing. */
function countStacked(lines: readonly PlacedLine[] = []): number {
  let most = 1;
  for (let first = 0, at = 0; at < lines.length; at++) {
    while (lines[at]!.place - lines[first]!.place >= 1) first++;
    most = Math.max(most, at - first + 1);
  }
  return most;
}

/** By how much the widest spot of a field is wider, over the dots of a bitmap; beams change smoothly over it. */
function widestIn({ field, grid }: DepositOptions, { width, height }: Dots): number {
  if (!field) return 1;
  let widest = 0;
  for (const x of SIDES) {
    for (const y of SIDES) {
      const at = { xMm: field.xMm + x * width * grid.pitchMm, yMm: field.yMm + y * height * grid.lineSpacingMm };
      widest = Math.max(widest, beamAt(field.model, at.xMm, at.yMm).width);
    }
  }
  return widest;
}

/** Shares of a side at which a field is looked at. Exact: a field's spot is widest at an end of it, by its formula. */
const SIDES: readonly number[] = [0, 1];
