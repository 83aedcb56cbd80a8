import { readFileSync } from 'node:fs';
import {
  estimateInterval,
  estimateTime,
  estimateTimeOfPath,
  findExtents,
  fitMotion,
  type Machine,
  type MotionFit,
  parseMachine,
  type Reading,
  type TimeInterval,
  tracePath,
} from '../../src/machine/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';
import { type Engraver, type EngraverJob, engraveForSeconds, normal } from './engraver.ts';

/** The machine whose file the fit starts from; the engraver's own numbers are others. */
export function startingMachine(kind: Engraver['kind']): Machine {
  const name = kind === 'galvo' ? 'galvo-355-f210' : 'gantry-10600';
  return parseMachine(JSON.parse(readFileSync(`shared/machines/${name}.json`, 'utf8')), name);
}

export interface TimedJob {
  readonly dots: Dots;
  readonly job: EngraverJob;
}

/** A picture with ragged sides: a rectangle, one within bare margins, or an ellipse within them. */
export function drawPicture(
  shape: 'full' | 'margins' | 'ellipse',
  { widthMm, heightMm, pitchMm, lineSpacingMm }: Record<'widthMm' | 'heightMm' | 'pitchMm' | 'lineSpacingMm', number>,
  chance: () => number,
): Dots {
  const dots = createDots(Math.round(widthMm / pitchMm), Math.round(heightMm / lineSpacingMm));
  const { width, height } = dots;
  const top = shape === 'full' ? 0 : Math.round(0.1 * height);
  const side = shape === 'full' ? 0 : 0.12 * width;
  for (let y = top; y < height - top; y++) {
    const across = (y + 0.5 - height / 2) / (height / 2 - top);
    const half = (width / 2 - side) * (shape === 'ellipse' ? Math.sqrt(1 - across ** 2) : 1);
    const from = Math.max(0, Math.round(width / 2 - half + 4 * chance()));
    const to = Math.min(width, Math.round(width / 2 + half - 4 * chance()));
    if (to > from) dots.data.fill(1, y * width + from, y * width + to);
  }
  return dots;
}

/** Grid and speeds in which the kind of machine works; speed in the middle of its range, mm/s. */
const USUAL = {
  galvo: { spacingMm: 0.04, speedMmPerS: 1000, sizeMm: 30 },
  gantry: { spacingMm: 0.1, speedMmPerS: 200, sizeMm: 60 },
} as const;

/**
 * The readings that the README asks for: a wide picture with margins and a small one, both directions, three speeds.
 */
export function planReadings(kind: Engraver['kind'], chance: () => number): TimedJob[] {
  const { spacingMm, speedMmPerS, sizeMm } = USUAL[kind];
  const grid = { pitchMm: spacingMm, lineSpacingMm: spacingMm };
  const wide = drawPicture('margins', { widthMm: 2.5 * sizeMm, heightMm: sizeMm, ...grid }, chance);
  const small = drawPicture('ellipse', { widthMm: 0.7 * sizeMm, heightMm: 0.6 * sizeMm, ...grid }, chance);
  const plan: [dots: Dots, times: number, scan: EngraverJob['scan'], passes: number][] = [
    [wide, 1, 'one-way', 1],
    [wide, 1, 'two-way', 1],
    [wide, 2, 'one-way', 1],
    [wide, 2, 'two-way', 2],
    [wide, 0.5, 'two-way', 1],
    [small, 1, 'one-way', 2],
    [small, 2, 'two-way', 3],
    [small, 0.5, 'one-way', 1],
    [small, 1, 'two-way', 1],
  ];
  return plan.map(([dots, times, scan, passes]) => ({
    dots,
    job: { ...grid, speedMmPerS: times * speedMmPerS, scan, passes },
  }));
}

/** A job as a shop has them, at least a minute long on most machines. */
export function drawJob(kind: Engraver['kind'], chance: () => number): TimedJob {
  const { spacingMm, speedMmPerS, sizeMm } = USUAL[kind];
  const grid = { pitchMm: spacingMm, lineSpacingMm: spacingMm * (0.6 + 0.6 * chance()) };
  const shape = (['full', 'margins', 'ellipse'] as const)[Math.floor(3 * chance())]!;
  const size = { widthMm: sizeMm * (0.8 + 2 * chance()), heightMm: sizeMm * (0.8 + chance()) };
  const dots = drawPicture(shape, { ...size, ...grid }, chance);
  const scan = chance() < 0.5 ? 'one-way' : 'two-way';
  return {
    dots,
    job: { ...grid, speedMmPerS: Math.round(speedMmPerS * 0.5 * 4 ** chance()), scan, passes: chance() < 0.7 ? 1 : 2 },
  };
}

export interface Stopwatch {
  readonly chance: () => number;
  /** Standard deviation of the hand, s. */
  readonly handS: number;
}

/** What a person writes down: seconds with one decimal. */
export function takeReading(engraver: Engraver, { dots, job }: TimedJob, { chance, handS }: Stopwatch): Reading {
  const seconds = engraveForSeconds(engraver, { dots, job, chance }) + handS * normal(chance);
  return {
    extents: findExtents(dots),
    grid: job,
    settings: { powerW: 1, ...job },
    seconds: Math.max(0.1, Number(seconds.toFixed(1))),
    stepS: 0.1,
  };
}

export interface Foretold {
  readonly seconds: number;
  readonly interval: TimeInterval;
}

/** What a fit says of a job that it has not seen. */
export function predictTime({ motion, uncertainty }: MotionFit, { dots, job }: TimedJob): Foretold {
  const path = tracePath(findExtents(dots), { scan: job.scan, bare: motion.bare });
  const options = { motion, settings: { powerW: 1, ...job }, grid: job };
  return {
    seconds: estimateTimeOfPath(path, options).seconds,
    interval: estimateInterval(path, {
      ...options,
      uncertainty: { kind: 'fitted', date: '2026-01-01', ...uncertainty },
    }),
  };
}

/** A whole trial: an engraver is timed, its machine is fitted, and jobs that the fit has not seen are burned. */
export function tryFit(engraver: Engraver, { chance, handS, jobs }: Stopwatch & { readonly jobs: number }) {
  const readings = planReadings(engraver.kind, chance).map((job) => takeReading(engraver, job, { chance, handS }));
  const { motion } = startingMachine(engraver.kind);
  const fit = fitMotion(readings, { motion });
  const unseen = Array.from({ length: jobs }, () => {
    const job = drawJob(engraver.kind, chance);
    const truthS = engraveForSeconds(engraver, { ...job, chance });
    const assumed = estimateTime(job.dots, { motion, settings: { powerW: 1, ...job.job }, grid: job.job });
    return { ...predictTime(fit, job), job: job.job, truthS, assumedS: assumed.seconds };
  });
  return { fit, readings, unseen };
}
