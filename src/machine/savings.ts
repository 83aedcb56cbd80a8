import { tabulate } from '../numeric/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import { countFiring, type DotGrid, type Dots } from '../plane/index.ts';
import { findExtents, type ScanExtents } from './extents.ts';
import { estimateTimeOfExtents, type TurnedLines } from './time.ts';
import type { Machine } from './types.ts';

export interface SavingsOptions {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  /** Of a piece that a rotary turns; flat when absent. */
  readonly turn?: TurnedLines | undefined;
  /** Line spacing that the mark supports, mm; wider ones would leave bare lines. */
  readonly supportedLineSpacingMm: number;
}

/** A change that makes the job shorter, and what it asks for in turn. */
export interface Saving {
  readonly kind: 'direction' | 'spacing' | 'speed' | 'margins' | 'turn';
  /** What to do, in words. */
  readonly change: string;
  readonly seconds: number;
  readonly savedS: number;
  /** What to mind. */
  readonly mind: string;
}

/** Less than this share of the time is not worth a change. Assumed: smaller than the estimate's own error. */
const LEAST_SHARE = 0.01;
/**
 * Speeds that are tried between the present one and the fastest, a count. Assumed: finer than settings are told apart.
 */
const SPEED_STEPS = 12;

/** What would make a job shorter, each change by itself, the largest saving first. */
export function suggestSavings(dots: Dots, options: SavingsOptions): readonly Saving[] {
  const { machine, settings, grid, supportedLineSpacingMm, turn: rotary } = options;
  const extents = findExtents(dots);
  const time = (of: ScanExtents, change: { settings?: BurnSettings; grid?: DotGrid } = {}) => {
    const timed = { motion: machine.motion, settings, grid, ...change };
    // Lines that lie further apart are further turns.
    const wider = timed.grid.lineSpacingMm / grid.lineSpacingMm;
    const turn = rotary && { degreesPerLine: rotary.degreesPerLine * wider };
    return estimateTimeOfExtents(of, { ...timed, turn }).seconds;
  };
  const now = time(extents);
  const tried: Omit<Saving, 'savedS'>[] = [];

  const scan = settings.scan === 'one-way' ? 'two-way' : 'one-way';
  tried.push({
    kind: 'direction',
    change: `scan ${scan}`,
    seconds: time(extents, { settings: { ...settings, scan } }),
    mind:
      scan === 'two-way'
        ? 'lines there and back must meet: burn a line of dots both ways first, and learn the material two-way'
        : 'learn the material one-way',
  });

  if (grid.lineSpacingMm < 0.99 * supportedLineSpacingMm) {
    const wider = { ...grid, lineSpacingMm: supportedLineSpacingMm };
    tried.push({
      kind: 'spacing',
      change: `line spacing ${round(supportedLineSpacingMm)} instead of ${round(grid.lineSpacingMm)} mm`,
      seconds: time(respace(extents, grid.lineSpacingMm / supportedLineSpacingMm), { grid: wider }),
      mind: 'the mark is wide enough for it; prepare the photo again, and learn the material at this spacing',
    });
  }

  const fastest = findFastest(machine, settings);
  const faster = Array.from({ length: SPEED_STEPS }, (_, i) => fastest ** ((i + 1) / SPEED_STEPS))
    .map((times) => scaleSpeed(settings, times))
    .map((changed) => ({ changed, seconds: time(extents, { settings: changed }) }))
    .reduce((a, b) => (b.seconds < a.seconds ? b : a));
  tried.push({
    kind: 'speed',
    change: `${round(faster.changed.speedMmPerS)} mm/s with ${round(faster.changed.powerW)} W${faster.changed.rateKHz === undefined ? '' : ` and ${round(faster.changed.rateKHz)} kHz`}`,
    seconds: faster.seconds,
    mind: 'the same dose in less time does not mark quite the same: learn the material at these settings',
  });

  const cropped = crop(extents);
  tried.push({
    kind: 'margins',
    change: `crop the bare margins: the bitmap to ${round(cropped.width * grid.pitchMm)} × ${round(cropped.height * grid.lineSpacingMm)} mm`,
    seconds: time(cropped),
    mind: 'move the bitmap’s origin by what was cropped',
  });

  const turned = turn(dots, grid);
  const [fieldWidth, fieldHeight] = machine.fieldMm;
  // What a rotary turns lies along the lines.
  if (!rotary && dots.height * grid.lineSpacingMm <= fieldWidth && dots.width * grid.pitchMm <= fieldHeight) {
    tried.push({
      kind: 'turn',
      change: 'turn the picture and the piece by a quarter',
      seconds: time(turned.extents, { grid: turned.grid }),
      mind: 'prepare the turned photo again: dots are not as wide as they are high',
    });
  }
  return tried
    .map((saving) => ({ ...saving, savedS: now - saving.seconds }))
    .filter(({ savedS }) => savedS > LEAST_SHARE * now)
    .sort((a, b) => b.savedS - a.savedS);
}

/** How many times as fast the machine can go at the same dose: power and pulse rate must rise along with the speed. */
function findFastest({ powerW, speedMmPerS, rateKHz }: Machine, settings: BurnSettings): number {
  const limits = [powerW.max / settings.powerW, speedMmPerS.max / settings.speedMmPerS];
  if (rateKHz && settings.rateKHz !== undefined) limits.push(rateKHz.max / settings.rateKHz);
  return Math.max(1, Math.min(...limits));
}

function scaleSpeed(settings: BurnSettings, times: number): BurnSettings {
  const { powerW, speedMmPerS, rateKHz } = settings;
  return {
    ...settings,
    powerW: powerW * times,
    speedMmPerS: speedMmPerS * times,
    ...(rateKHz === undefined ? {} : { rateKHz: rateKHz * times }),
  };
}

/** The extents of the same picture at `ratio` times as many lines: each new line is the old one at its place. */
export function respace(extents: ScanExtents, ratio: number): ScanExtents {
  const height = Math.max(1, Math.round(extents.height * ratio));
  const lineAt = new Int32Array(extents.height).fill(-1);
  extents.rows.forEach((row, at) => {
    lineAt[row] = at;
  });
  const kept: { row: number; at: number }[] = [];
  for (let row = 0; row < height; row++) {
    const at = lineAt[Math.min(extents.height - 1, Math.floor((row + 0.5) / ratio))]!;
    if (at >= 0) kept.push({ row, at });
  }
  return {
    width: extents.width,
    height,
    rows: Int32Array.from(kept, ({ row }) => row),
    first: Int32Array.from(kept, ({ at }) => extents.first[at]!),
    last: Int32Array.from(kept, ({ at }) => extents.last[at]!),
    firedDots: Math.round(extents.firedDots * ratio),
    runs: Math.max(kept.length, Math.round(extents.runs * ratio)),
  };
}

/** The extents within the smallest rectangle that holds all dots. */
function crop(extents: ScanExtents): ScanExtents {
  const { rows, first, last } = extents;
  if (rows.length === 0) return extents;
  const left = first.reduce((a, b) => Math.min(a, b));
  const right = last.reduce((a, b) => Math.max(a, b));
  return {
    ...extents,
    width: right + 1 - left,
    height: rows.at(-1)! + 1 - rows[0]!,
    rows: rows.map((row) => row - rows[0]!),
    first: first.map((dot) => dot - left),
    last: last.map((dot) => dot - left),
  };
}

/** The extents of the picture turned by a quarter, at the present line spacing. */
function turn(
  dots: Dots,
  { pitchMm, lineSpacingMm }: DotGrid,
): { readonly extents: ScanExtents; readonly grid: DotGrid } {
  const { data, width, height } = dots;
  const first = new Int32Array(width).fill(-1);
  const last = new Int32Array(width);
  let runs = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0, at = y * width; x < width; x++, at++) {
      if (data[at] === 0) continue;
      if (y === 0 || data[at - width] === 0) runs++;
      if (first[x]! < 0) first[x] = y;
      last[x] = y;
    }
  }
  const rows = tabulate(new Int32Array(width), (x) => x).filter((x) => first[x]! >= 0);
  const columns: ScanExtents = {
    width: height,
    height: width,
    rows,
    first: rows.map((x) => first[x]!),
    last: rows.map((x) => last[x]!),
    firedDots: countFiring(dots),
    runs,
  };
  // A dot of the turned picture's lines is as long as a line was high; its lines keep the spacing.
  const grid = { pitchMm: lineSpacingMm, lineSpacingMm };
  return { extents: pitchMm === lineSpacingMm ? columns : respace(columns, pitchMm / lineSpacingMm), grid };
}

const round = (value: number) => Number(value.toPrecision(3));
