import { AppError } from '../errors.ts';
import { refuseBeyond } from '../job/index.ts';
import {
  estimateInterval,
  estimateTime,
  findExtents,
  type Machine,
  parseMachine,
  type Saving,
  suggestSavings,
  type TimeEstimate,
  type TimeInterval,
  tracePath,
} from '../machine/index.ts';
import { type BurnSettings, describeOptics } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { chooseGrid, readTimedBitmap } from './timed-bitmap.ts';
import { formatNumber } from './words.ts';

/** How a bitmap is scanned; absent: as its ticket has it, else as the machine starts. */
export type ScanSettings = Partial<Pick<BurnSettings, 'speedMmPerS' | 'passes' | 'scan'>>;

export interface TimeBitmapRequest {
  /** A bitmap, or the ticket of one. */
  readonly path: string;
  /** Absent: the ticket's. */
  readonly machine?: string;
  readonly settings?: ScanSettings;
  /** Absent: as the ticket or the file says. */
  readonly pitchMm?: number;
  readonly lineSpacingMm?: number;
}

export interface TimedRecord {
  readonly file: string;
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly dots: readonly [width: number, height: number];
  readonly estimate: TimeEstimate;
  readonly interval: TimeInterval;
  readonly savings: readonly Saving[];
}

/**
 * How long a machine takes over a bitmap, in which interval that lies, and what would save time.
 * @throws AppError those of `readTimedBitmap`; option-invalid without a machine, a resolution, or for settings that the
 * machine does not reach; name-unknown
 */
export async function timeBitmap(
  { path, machine: asked, settings: given, pitchMm, lineSpacingMm }: TimeBitmapRequest,
  { shop, warn }: Pick<TaskContext, 'shop' | 'warn'>,
): Promise<TimedRecord> {
  const timed = await readTimedBitmap(path, warn);
  const { dots, ticket } = timed;
  const name = asked ?? ticket?.machine.name;
  if (name === undefined) {
    throw new AppError('option-invalid', 'found a bitmap and no machine, needed the machine that will burn it', {
      options: ['machine'],
    });
  }
  const record = shop.read('machines', name);
  const machine = parseMachine(record.json, record.name);
  const grid = chooseGrid(timed.grid, { pitchMm, lineSpacingMm, what: 'its pitch and line spacing' });
  const settings = { ...(ticket?.settings ?? machine.defaults), ...given };
  const { width, height } = dots;
  refuseBeyond(settings, { machine, of: ticket ? 'time: settings of the ticket and the options' : 'time' });
  warnOfField(machine, { widthMm: width * grid.pitchMm, heightMm: height * grid.lineSpacingMm, warn });
  const { motion } = machine;
  const turn = ticket?.around && turnOf(ticket.around, { grid, planned: ticket.grid });
  const estimate = estimateTime(dots, { motion, settings, grid, turn });
  const scanPath = tracePath(findExtents(dots), { scan: settings.scan, bare: motion.bare });
  const interval = estimateInterval(scanPath, { motion, settings, grid, turn, uncertainty: machine.motionUncertainty });
  const supportedLineSpacingMm =
    ticket?.optics?.recommendedLineSpacingMm ??
    describeOptics(machine, { ...machine.defaults, ...settings, ...grid }).recommendedLineSpacingMm;
  const savings = suggestSavings(dots, { machine, settings, grid, supportedLineSpacingMm, turn });
  return { file: timed.bitmapPath, machine, settings, grid, dots: [width, height], estimate, interval, savings };
}

/** Lines that lie further apart than planned are further turns. */
const turnOf = (
  { degreesPerLine }: { readonly degreesPerLine: number },
  { grid, planned }: { readonly grid: DotGrid; readonly planned: DotGrid },
) => ({ degreesPerLine: (degreesPerLine * grid.lineSpacingMm) / planned.lineSpacingMm });

function warnOfField(
  { name, fieldMm }: Machine,
  {
    widthMm,
    heightMm,
    warn,
  }: { readonly widthMm: number; readonly heightMm: number; readonly warn: (text: string) => void },
): void {
  if (widthMm <= fieldMm[0] && heightMm <= fieldMm[1]) return;
  warn(
    `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm is larger than the field of ${name}, ${fieldMm[0]} × ${fieldMm[1]} mm`,
  );
}
