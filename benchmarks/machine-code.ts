// Programs for a controller: what a card of 11.5 million dots costs in size, time and memory beside its picture, and
// whether a general parser of such programs, of milling machines, finds every dot again, and a stepped machine the
// clock's time.
import { createRequire } from 'node:module';
import { performance } from 'node:perf_hooks';
import { estimateTime, type ProgramBlock, parseMachine, planProgram } from '../src/machine/index.ts';
import { readJson } from '../src/material/index.ts';
import { createPlane, DOT_FORMATS, type Dots, encodeDots, ONE } from '../src/plane/index.ts';
import { applyScreen } from '../src/screens/index.ts';
import { burnDots, followProgram, type Stretch, splitRuns } from './common/follow-program.ts';
import { simulateMove } from './common/stepped-machine.ts';

const require = createRequire(import.meta.url);
const machine = parseMachine(readJson('shared/machines/gantry-450.json'), 'gantry-450');
const motion = machine.motion as Extract<typeof machine.motion, { kind: 'gantry' }>;
const SETTINGS = { powerW: 5, speedMmPerS: 100, passes: 1, scan: 'two-way' } as const;

/** A ramp from bare to solid through the default screen's family: every tone, so many short runs. */
function drawRamp(width: number, height: number, pitchMm: number): Pick<ProgramBlock, 'dots' | 'grid'> {
  const coverage = createPlane('coverage', width, height);
  for (let at = 0; at < width * height; at++) coverage.data[at] = Math.round((ONE * (at % width)) / (width - 1));
  const grid = { pitchMm, lineSpacingMm: pitchMm };
  return { dots: applyScreen(coverage, { name: 'ostromoukhov', grid }), grid };
}

function plan({ dots, grid }: Pick<ProgramBlock, 'dots' | 'grid'>) {
  return planProgram(machine, {
    title: 'ramp',
    blocks: [{ remark: 'ramp', dots, grid, settings: SETTINGS, xMm: 0, yMm: 0 }],
    piece: { widthMm: dots.width * grid.pitchMm, heightMm: dots.height * grid.lineSpacingMm, xMm: 100, yMm: 100 },
    cautions: [],
  }).program;
}

const mib = () => Math.round(process.memoryUsage().rss / 2 ** 20);

function measureCard(): void {
  const card = drawRamp(4280, 2700, 0.02);
  let start = performance.now();
  const png = encodeDots(card.dots, card.grid, { format: 'png' }).length;
  const pngMs = performance.now() - start;
  const before = mib();
  let peak = before;
  const counts = { bytes: 0, blocks: 0 };
  start = performance.now();
  for (const _ of DOT_FORMATS.gcode.write(plan(card), counts)) peak = Math.max(peak, mib());
  const ms = performance.now() - start;
  console.log(`11.6 million dots: picture ${(png / 1e6).toFixed(2)} MB in ${pngMs.toFixed(0)} ms;`);
  console.log(
    `  program ${(counts.bytes / 1e6).toFixed(1)} MB, ${(counts.blocks / 1e6).toFixed(2)} million blocks in ${(ms / 1000).toFixed(1)} s; memory ${before} → ${peak} MiB while it is written`,
  );
}

function followByParser(text: string, dots: Dots, pitchMm: number): Dots {
  const Toolpath = require('gcode-toolpath') as new (options: object) => { loadFromStringSync(text: string): void };
  const { parseLine } = require('gcode-parser') as { parseLine(line: string): { words: [string, number][] } };
  const stretches: Stretch[] = [];
  let power = 0;
  type At = { x: number; y: number };
  const path = new Toolpath({
    addLine: ({ motion: way, spindle }: { motion: string; spindle: string }, from: At, to: At) => {
      const isRapid = way === 'G0';
      const fires = spindle === 'M3' ? power : 0;
      stretches.push({ from: [from.x, from.y], to: [to.x, to.y], isRapid, feedMmPerS: 0, power: fires });
    },
  });
  for (const line of text.split('\n')) {
    for (const [letter, value] of parseLine(line).words) if (letter === 'S') power = value;
    path.loadFromStringSync(`${line}\n`);
  }
  const { width, height, levels } = dots;
  const first = [pitchMm / 2, (height - 0.5) * pitchMm] as const;
  return burnDots(stretches, { width, height, levels, full: 500 }, { first, step: [pitchMm, -pitchMm] });
}

/** Every move stepped through time, and what the machine waits at each turn. */
function stepThrough(text: string): number {
  const { stretches, beforePause } = followProgram(text);
  const { accelerationMmPerS2, travelSpeedMmPerS, turnDelayMs } = motion;
  const step = (distanceMm: number, speedMmPerS: number) =>
    distanceMm < 1e-9 ? 0 : simulateMove({ distanceMm, speedMmPerS, accelerationMmPerS2, stepS: 1e-4 });
  let seconds = 0;
  for (const run of splitRuns(stretches.slice(beforePause + 1))) {
    const [dx, dy] = [0, 1].map((k) => Math.abs(run.at(-1)!.to[k]! - run[0]!.from[k]!));
    const isRapid = run[0]!.isRapid;
    seconds += isRapid
      ? Math.max(step(dx!, travelSpeedMmPerS), step(dy!, travelSpeedMmPerS))
      : step(dx!, run[0]!.feedMmPerS) + turnDelayMs / 1000;
  }
  return seconds;
}

function checkPiece(): void {
  const piece = drawRamp(400, 200, 0.075);
  const text = Buffer.concat([...DOT_FORMATS.gcode.write(plan(piece))]).toString('latin1');
  const found = followByParser(text, piece.dots, 0.075);
  const off = piece.dots.data.reduce((sum, dot, at) => sum + (dot === found.data[at] ? 0 : 1), 0);
  const { seconds, parts } = estimateTime(piece.dots, { motion, settings: SETTINGS, grid: piece.grid });
  const clock = seconds - parts.overheadS;
  const stepped = stepThrough(text);
  console.log(`400 × 200 dots by a general parser: ${off} of ${piece.dots.data.length} dots differ`);
  console.log(
    `  stepped through time ${stepped.toFixed(2)} s, clock ${clock.toFixed(2)} s (${((stepped / clock - 1) * 100).toFixed(3)} %)`,
  );
  if (off > 0 || Math.abs(stepped / clock - 1) > 0.005) process.exitCode = 1;
}

measureCard();
checkPiece();
