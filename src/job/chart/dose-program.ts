import type { CellSettings } from '../../chart/index.ts';
import { type Machine, motionRecord } from '../../machine/index.ts';
import type { Dots } from '../../plane/index.ts';
import type { SourceKey } from '../../sources.ts';
import { roundTo } from '../page/html.ts';
import type { DoseParts } from './dose-table.ts';

/**
 * How the words of the standard are used, from memory and as the controllers of the trade read them: G00 and G01 move,
 * G21 means millimetres (the standard leaves the choice of units to the controller), G90 absolute places, G94 feed per
 * minute, F feed, S the power, M03 beam on, M05 off, M02 end; remarks stand in parentheses.
 */
const PROGRAM: { readonly source: SourceKey; readonly fullPower: number } = {
  source: 'iso6983',
  /** S word of the machine's largest power; assumed, and written at the head of the program. */
  fullPower: 1000,
};

/**
 * One ISO 6983 program that burns a dose chart on a machine of axes, each cell with its own speed and power. y points
 * up, as the machine has it; the chart keeps its upper edge up. Every line starts and ends with a run at full speed and
 * no power, so that the dose is even.
 */
export function writeDoseProgram({ layout, rest, cells, machine }: DoseParts & { readonly machine: Machine }): string {
  const fastest = Math.max(layout.settings.speedMmPerS, ...cells.map(({ settings }) => settings.speedMmPerS));
  const runUpMm = runUp(fastest, machine);
  const remarks = [
    `TONEWRIGHT ${layout.kind.toUpperCase()} CHART ${layout.hash.toUpperCase()}`,
    `${layout.widthMm} X ${layout.heightMm} MM, LOWER LEFT CORNER AT X${roundTo(runUpMm, 3)} Y0`,
    `RUN-UP ${roundTo(runUpMm, 3)} MM LEFT AND RIGHT OF THE CHART MUST BE FREE`,
    `S${PROGRAM.fullPower} IS ${machine.powerW.max} W, FULL POWER OF ${machine.name.toUpperCase()}: CHECK YOUR CONTROLLER`,
    'MILLIMETRES, FEED IN MM PER MINUTE',
  ];
  const lines = ['%', ...remarks.map((text) => `(${text})`), 'G21 G90 G94', 'M05 S0'];
  const context = { lines, runUpMm, machine, heightMm: layout.heightMm };
  const own: CellSettings = { ...layout.settings, lineSpacingMm: layout.grid.lineSpacingMm };
  burn(context, { id: 'REST', dots: rest, settings: own, pitchMm: layout.grid.pitchMm, xMm: 0, yMm: 0 });
  for (const { id, dots, settings, grid, xMm, yMm } of cells) {
    burn(context, { id, dots, settings, pitchMm: grid.pitchMm, xMm, yMm });
  }
  lines.push('M05 S0', 'G00 X0 Y0', 'M02', '%');
  return `${lines.join('\n')}\n`;
}

function runUp(speedMmPerS: number, { motion }: Machine): number {
  return motionRecord(motion).computeRunUp(motion, speedMmPerS).runUpMm;
}

interface Program {
  readonly lines: string[];
  /** Where x = 0 of the chart lies on the machine. */
  readonly runUpMm: number;
  readonly machine: Machine;
  readonly heightMm: number;
}

interface Block {
  readonly id: string;
  readonly dots: Dots;
  readonly settings: CellSettings;
  readonly pitchMm: number;
  readonly xMm: number;
  readonly yMm: number;
}

function burn({ lines, runUpMm, machine, heightMm }: Program, block: Block): void {
  const { id, dots, settings, pitchMm, xMm, yMm } = block;
  const { speedMmPerS, powerW, passes, lineSpacingMm, scan } = settings;
  const ownRunUp = runUp(speedMmPerS, machine);
  const power = Math.round((PROGRAM.fullPower * powerW) / machine.powerW.max);
  const xOf = (dot: number) => `X${roundTo(runUpMm + xMm + dot * pitchMm, 4)}`;
  lines.push(`(${id}: ${powerW} W, ${speedMmPerS} MM/S, ${passes} PASSES, LINE SPACING ${lineSpacingMm} MM)`);
  lines.push(`F${roundTo(speedMmPerS * 60, 2)}`);
  for (let pass = 0; pass < passes; pass++) {
    let backwards = false;
    for (let y = 0; y < dots.height; y++) {
      const runs = findRuns(dots, y);
      if (runs.length === 0) continue;
      const place = `Y${roundTo(heightMm - yMm - (y + 0.5) * lineSpacingMm, 4)}`;
      const ahead = backwards ? -1 : 1;
      const ordered = backwards ? runs.map(([from, to]) => [to, from] as const).reverse() : runs;
      const before = ordered[0]![0] - (ahead * ownRunUp) / pitchMm;
      const after = ordered.at(-1)![1] + (ahead * ownRunUp) / pitchMm;
      lines.push(`G00 ${xOf(before)} ${place}`, 'M03 S0');
      for (const [from, to] of ordered) lines.push(`G01 ${xOf(from)} S0`, `G01 ${xOf(to)} S${power}`);
      lines.push(`G01 ${xOf(after)} S0`, 'M05');
      backwards = scan === 'two-way' && !backwards;
    }
  }
}

/** Runs of firing dots on a line, from the first dot to the one after the last. */
function findRuns({ width, data }: Dots, y: number): (readonly [from: number, to: number])[] {
  const runs: (readonly [number, number])[] = [];
  const row = y * width;
  let start = -1;
  for (let x = 0; x <= width; x++) {
    const fires = x < width && data[row + x] > 0;
    if (fires && start < 0) start = x;
    if (!fires && start >= 0) {
      runs.push([start, x]);
      start = -1;
    }
  }
  return runs;
}
