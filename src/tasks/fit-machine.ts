import { existsSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { AppError } from '../errors.ts';
import { parseTimeReadings, type TimeReading } from '../job/index.ts';
import { formatJson } from '../json.ts';
import {
  type Design,
  describeFitted,
  FEWEST_READINGS,
  findExtents,
  findUnfit,
  fitMotion,
  type Machine,
  type MotionFit,
  parseMachine,
  type Reading,
  type ScanExtents,
  suggestReadings,
  type Unfit,
} from '../machine/index.ts';
import type { Shop } from '../material/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import { readInput, writeFilesAtomic } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { decodeText } from './decode-text.ts';
import { chooseGrid, readTimedBitmap, type TimedBitmap } from './timed-bitmap.ts';
import { formatSeconds } from './words.ts';

export interface FitMachineRequest {
  /** A machine of the shop, or the path of its file. */
  readonly machine: string;
  /** Path of a CSV of stopwatch readings; the jobs lie beside it. */
  readonly readings: string;
  /** Looks at the fit and writes nothing. */
  readonly dry?: boolean;
  /** Replaces a machine's file that is there. */
  readonly force?: boolean;
}

export interface FittedMachineRecord {
  readonly machine: Machine;
  /** The machine with its fitted motion. */
  readonly fitted: Machine;
  readonly fit: MotionFit;
  /** What further readings would tell most. */
  readonly design: Design;
  /** Lines of the CSV, in the sequence of the fit's readings. */
  readonly rows: readonly TimeReading[];
  /** The file that was written; absent when nothing was. */
  readonly file?: string;
}

/**
 * The machine's unknown times from stopwatch readings, into the machine's file: the shop's own, made when the machine
 * is a built-in one, or the file that was named.
 * @throws AppError result-exists; path-missing without a shop folder; file-invalid for readings that are none;
 * readings-too-few, readings-contradict naming the lines: such a fit must not get into a machine's file
 */
export async function fitMachine(request: FitMachineRequest, context: TaskContext): Promise<FittedMachineRecord> {
  const { shop, clock, warn } = context;
  const { force = false } = request;
  const record = shop.read('machines', request.machine);
  const machine = parseMachine(record.json, record.name);
  const file =
    request.dry === true ? undefined : choosePlace({ asked: request.machine, path: record.path, machine, shop });
  if (file !== undefined && existsSync(file) && !force) {
    throw new AppError(
      'result-exists',
      `found ${file} already there, needed leave to replace its motion, or a look at the fit alone`,
      {
        paths: [file],
        options: ['force', 'dry'],
      },
    );
  }
  const csv = request.readings;
  const { text, notes } = decodeText(await readInput(csv, { kind: 'text', needed: 'a CSV of readings' }), csv);
  for (const note of notes) warn(note.text);
  const rows = parseTimeReadings(text, csv);
  const readings = await loadReadings(rows, { csv, machine, context });
  const factors = machine.motionUncertainty?.kind === 'assumed' ? machine.motionUncertainty.factors : undefined;
  const fit = fitMotion(readings, { motion: machine.motion, factors });
  const unfit = findUnfit(fit);
  if (unfit && (file !== undefined || unfit.reason === 'scatter')) refuseUnfit(unfit, { fit, csv, rows });
  if (!fit.converged) warn('the fit has not settled; look at the readings for a mistake that all of them share');
  const design = suggestReadings(readings, { ...fit, speedMmPerS: machine.speedMmPerS });
  const fitted = describeFitted(machine, { fit, date: clock.today() });
  if (file !== undefined) {
    await writeFilesAtomic([{ path: file, bytes: formatJson(fitted, 'machine') }], { force, isOwnRecord: true });
  }
  return { machine, fitted, fit, design, rows, ...(file === undefined ? {} : { file }) };
}

/** So many readings, a count, are told of in words. Assumed: more are not read; the record has them all. */
const TOLD_READINGS = 3;

/**
 * @throws AppError readings-too-few, readings-contradict naming the lines: such a fit must not get into a machine's
 * file.
 */
function refuseUnfit(
  { reason, readings }: Unfit,
  { fit, csv, rows }: { readonly fit: MotionFit; readonly csv: string; readonly rows: readonly TimeReading[] },
): never {
  const lines = readings.map((i) => rows[i]!.line);
  if (reason === 'few') {
    throw new AppError(
      'readings-too-few',
      `${csv}: found ${lines.length} usable ${lines.length === 1 ? 'reading' : 'readings'}, needed at least ${FEWEST_READINGS} to call a machine measured`,
      { lines },
    );
  }
  const told = readings.slice(0, TOLD_READINGS).map((i) => {
    const { seconds, fittedS } = fit.readings[i]!;
    const best = reason === 'scatter' ? 'at best' : 'by the others';
    return `line ${rows[i]!.line} (${rows[i]!.file}): ${formatSeconds(seconds)}, ${best} ${formatSeconds(fittedS)}`;
  });
  const more = readings.length > TOLD_READINGS ? `; and ${readings.length - TOLD_READINGS} more` : '';
  throw new AppError(
    'readings-contradict',
    reason === 'scatter'
      ? `${csv}: found readings that no motion explains, ${told.join('; ')}${more}; needed what a stopwatch shows of these very jobs on this machine. If all of them are right, the machine moves by a rule that is not known here, and its times cannot be foretold`
      : `${csv}: found ${told.join('; ')}, and no slip explains it; needed readings that agree. Time that job again: if it takes as long again, the machine moves by a rule that is not known here; else correct the line or take it out`,
    { lines },
  );
}

/** The shop's own file of the machine, made when it is a built-in one; or the file that was named. */
function choosePlace({
  asked,
  path,
  machine,
  shop,
}: {
  readonly asked: string;
  readonly path: string;
  readonly machine: Machine;
  readonly shop: Shop;
}): string {
  if (/[\\/]|\.json$/i.test(asked)) return path;
  if (shop.shopDir === undefined) {
    throw new AppError(
      'path-missing',
      'found no shop folder, needed one to keep the fitted machine in, or a look at the fit alone',
      { options: ['shop', 'dry'] },
    );
  }
  return join(shop.shopDir, 'machines', `${machine.name}.json`);
}

async function loadReadings(
  rows: readonly TimeReading[],
  { csv, machine, context }: { readonly csv: string; readonly machine: Machine; readonly context: TaskContext },
): Promise<Reading[]> {
  const { warn, progress } = context;
  const known = new Map<string, { readonly timed: Omit<TimedBitmap, 'dots'>; readonly extents: ScanExtents }>();
  const readings: Reading[] = [];
  for (const [i, row] of rows.entries()) {
    progress('reading the bitmaps', i / rows.length);
    const path = resolve(dirname(csv), row.file);
    let found = known.get(path);
    if (!found) {
      const { dots, ...timed } = await readTimedBitmap(path, warn);
      // A bitmap is needed for its ends of lines alone: a table of many large ones must not fill the memory.
      found = { timed, extents: findExtents(dots) };
      known.set(path, found);
    }
    const { timed, extents } = found;
    if (extents.rows.length === 0) {
      throw new AppError(
        'file-invalid',
        `${csv}: line ${row.line}: ${row.file} has no dot that fires, needed a burned job`,
      );
    }
    const { ticket } = timed;
    if (ticket && ticket.machine.name !== machine.name) {
      warn(
        `line ${row.line}: the ticket ${row.file} is of ${ticket.machine.name}; it is taken as burned on ${machine.name}`,
      );
    }
    const change: Partial<BurnSettings> = {
      ...(row.speedMmPerS === undefined ? {} : { speedMmPerS: row.speedMmPerS }),
      ...(row.passes === undefined ? {} : { passes: row.passes }),
      ...(row.scan === undefined ? {} : { scan: row.scan }),
    };
    const what = `the columns pitch and spacing in line ${row.line} of ${csv}`;
    readings.push({
      extents,
      grid: chooseGrid(timed.grid, { pitchMm: row.pitchMm, lineSpacingMm: row.lineSpacingMm, what }),
      settings: { ...(ticket?.settings ?? machine.defaults), ...change },
      ...(ticket?.around ? { turn: ticket.around } : {}),
      seconds: row.seconds,
      stepS: row.stepS,
    });
  }
  return readings;
}
