import { AppError } from '../../errors.ts';
import { type ProgramBlock, planProgram } from '../../machine/index.ts';
import { PROGRAM_FORMAT } from '../../plane/index.ts';
import { mergeCautions } from '../prepare/cautions.ts';
import type { JobFile } from '../prepare/types.ts';
import { streamPlan } from '../prepare/write-dots.ts';
import type { DoseParts } from './dose-table.ts';
import type { ChartSpec } from './types.ts';

/** The chart as one program, and what to know of it; or why there is none for a machine that reads programs. */
export interface ChartProgram {
  readonly files: readonly JobFile[];
  readonly notes: readonly string[];
}

/**
 * One program of ISO 6983 that burns a whole chart in the middle of the field, each cell with its own power and feed;
 * none for a machine that is not known to read programs.
 */
export function planChartProgram(
  { machine, material, powerPerDot }: ChartSpec,
  { layout, rest, cells }: DoseParts,
): ChartProgram {
  if (!machine.program) return { files: [], notes: [] };
  const { kind, hash, widthMm, heightMm, grid } = layout;
  const settings = powerPerDot ? { ...layout.settings, powerW: powerPerDot.ownW } : layout.settings;
  const [fieldWidth, fieldHeight] = machine.fieldMm;
  const own: ProgramBlock = { remark: 'Chart', dots: rest, grid, settings, xMm: 0, yMm: 0 };
  const blocks = [own, ...cells.map(({ id, ...cell }) => ({ ...cell, remark: `Cell ${id}` }))];
  try {
    const planned = planProgram(machine, {
      title: `${kind} chart ${hash}`,
      blocks,
      piece: { widthMm, heightMm, xMm: (fieldWidth - widthMm) / 2, yMm: (fieldHeight - heightMm) / 2 },
      cautions: mergeCautions([...machine.cautions, ...(material?.cautions ?? [])]).map(({ text }) => text),
    });
    const { file, notices } = streamPlan('chart.nc', { planned, format: PROGRAM_FORMAT });
    return { files: [file], notes: notices.map(({ text }) => text) };
  } catch (error) {
    // The picture serves, and the page says why there is no program beside it.
    if (!(error instanceof AppError) || error.code !== 'program-impossible') throw error;
    return { files: [], notes: [`No program is written. ${error.message}`] };
  }
}
