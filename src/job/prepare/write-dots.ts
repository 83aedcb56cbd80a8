import { type PlannedProgram, type ProgramFacts, planProgram } from '../../machine/index.ts';
import type { Notice } from '../../notices.ts';
import type { Frame } from '../../photo/index.ts';
import { DOT_FORMATS, type Dots, encodeDots, isProgramFormat, type ProgramFormat, sha256 } from '../../plane/index.ts';
import type { JobSpec } from '../request/types.ts';
import { mergeCautions } from './cautions.ts';
import { lyingSize } from './ticket.ts';
import type { JobFile } from './types.ts';

export interface WriteDotsOptions {
  readonly spec: Pick<JobSpec, 'format' | 'grid' | 'machine' | 'material' | 'settings' | 'orientation' | 'around'>;
  /** Of the file, and of the job. */
  readonly name: string;
  readonly title: string;
  readonly frame: Frame;
  /** Place of the dots from the upper left corner of the piece, mm; there when absent. */
  readonly xMm?: number;
  readonly yMm?: number;
}

/** A file of dots, and what a ticket says of it. */
export interface WrittenDots {
  readonly file: JobFile;
  readonly notices: readonly Notice[];
  /** Looks through the whole file. */
  readonly describe: () => { readonly bitmapSha256: string; readonly program?: ProgramFacts };
}

/** Dots as a picture, or as a program for the machine's controller. */
export function writeDots(dots: Dots, options: WriteDotsOptions): WrittenDots {
  const { spec, name } = options;
  const { format, grid } = spec;
  if (isProgramFormat(format)) return streamPlan(name, { planned: planDots(dots, options), format });
  const bytes = encodeDots(dots, grid, { format });
  return { file: { name, bytes }, notices: [], describe: () => ({ bitmapSha256: sha256(bytes) }) };
}

function planDots(dots: Dots, { spec, name, title, frame, xMm = 0, yMm = 0 }: WriteDotsOptions): PlannedProgram {
  const { grid, machine, material, settings, around } = spec;
  const [widthMm, heightMm] = lyingSize(frame, spec.orientation);
  const [fieldWidth, fieldHeight] = machine.fieldMm;
  return planProgram(machine, {
    title: name,
    blocks: [{ remark: title, dots, grid, settings, xMm, yMm }],
    piece: {
      widthMm,
      heightMm,
      xMm: (fieldWidth - widthMm) / 2,
      yMm: (fieldHeight - heightMm) / 2,
      ...(around ? { turnMm: around.turnMm } : {}),
    },
    cautions: mergeCautions([...machine.cautions, ...material.cautions]).map(({ text }) => text),
  });
}

/** The file of a plan, which is never whole in memory. */
export function streamPlan(
  name: string,
  { planned, format }: { readonly planned: PlannedProgram; readonly format: ProgramFormat },
): WrittenDots {
  const { program, notices, facts } = planned;
  const { write } = DOT_FORMATS[format];
  return {
    file: { name, bytes: { chunks: () => write(program) } },
    notices,
    describe() {
      const counts = { bytes: 0, blocks: 0 };
      const bitmapSha256 = sha256({ chunks: () => write(program, counts) });
      return { bitmapSha256, program: { ...counts, ...facts } };
    },
  };
}
