import { existsSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { AppError } from '../errors.ts';
import { parseTimeReadings, type TimeReading } from '../job/index.ts';
import { formatJson } from '../json.ts';
import {
  type Design,
  describeFitted,
  FEWEST_READINGS,
  type FittedParameter,
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
import type { BurnSettings } from '../optics/index.ts';
import { readInput, writeFilesAtomic } from '../plane/index.ts';
import type { Run, Surroundings } from './command.ts';
import { textOf } from './options.ts';
import { alignColumns, formatNumber, formatSeconds, wrapText } from './text.ts';
import { chooseGrid, readTimedBitmap, type TimedBitmap } from './timed-bitmap.ts';

/** `time --stopwatch`: the machine's unknown times from stopwatch readings, into the machine's file. */
export const fitTimes: Run = async (args, options, surroundings) => {
  const { io, shop, warn } = surroundings;
  if (args.length > 0) {
    throw new AppError('option-invalid', `found ${args.join(', ')} beside --stopwatch, needed the readings alone`);
  }
  const asked = textOf(options, 'machine');
  if (asked === undefined) {
    throw new AppError('option-invalid', 'found --stopwatch without --machine, needed the machine that was timed');
  }
  const record = shop.read('machines', asked);
  const machine = parseMachine(record.json, record.name);
  const out = options.dry === true ? undefined : choosePlace({ asked, path: record.path, machine, shop });
  if (out !== undefined && existsSync(out) && options.force !== true) {
    throw new AppError(
      'result-exists',
      `found ${out} already there, needed --force to replace its motion, or --dry to look at the fit first`,
      { paths: [out] },
    );
  }
  const csv = resolve(io.cwd, textOf(options, 'stopwatch')!);
  const rows = parseTimeReadings(
    new TextDecoder().decode(await readInput(csv, { kind: 'text', needed: 'a CSV of readings' })),
    csv,
  );
  const readings = await loadReadings(rows, { csv, machine, surroundings });
  const factors = machine.motionUncertainty?.kind === 'assumed' ? machine.motionUncertainty.factors : undefined;
  const fit = fitMotion(readings, { motion: machine.motion, factors });
  const unfit = findUnfit(fit);
  if (unfit && (out !== undefined || unfit.reason === 'scatter')) refuseUnfit(unfit, { fit, csv, rows });
  if (!fit.converged) warn('the fit has not settled; look at the readings for a mistake that all of them share');
  const design = suggestReadings(readings, { ...fit, speedMmPerS: machine.speedMmPerS });
  const fitted = describeFitted(machine, { fit, date: io.today() });
  if (out !== undefined) {
    await writeFilesAtomic([{ path: out, bytes: formatJson(fitted, 'machine') }], {
      force: options.force === true,
      isOwnRecord: true,
    });
  }
  return {
    json: {
      machine: machine.name,
      file: out ?? null,
      motion: fitted.motion,
      parameters: fit.parameters,
      bare: fit.bare,
      uncertainty: fit.uncertainty,
      readings: fit.readings.map((reading, i) => ({ line: rows[i]!.line, file: rows[i]!.file, ...reading })),
      intervalShare: design.halfShare,
      intervalFloorShare: design.floorShare,
      suggested: design.next.map((next) => ({ ...next, reading: undefined, file: rows[next.reading]!.file })),
    },
    text: writeFit(fit, { machine, rows, design, out }),
  };
};

/** So many readings, a count, are told of in words. Assumed: more are not read; the record has them all. */
const TOLD_READINGS = 3;

/** @throws AppError readings-too-few, readings-contradict naming the lines: such a fit must not get into a machine's file. */
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
  readonly shop: Surroundings['shop'];
}): string {
  if (/[\\/]|\.json$/i.test(asked)) return path;
  if (shop.shopDir === undefined) {
    throw new AppError(
      'path-missing',
      'found no shop folder, needed one to keep the fitted machine in (--shop, or a folder "shop"), or --dry to look at the fit alone',
    );
  }
  return join(shop.shopDir, 'machines', `${machine.name}.json`);
}

async function loadReadings(
  rows: readonly TimeReading[],
  {
    csv,
    machine,
    surroundings,
  }: { readonly csv: string; readonly machine: Machine; readonly surroundings: Surroundings },
): Promise<Reading[]> {
  const { warn, progress } = surroundings;
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
      seconds: row.seconds,
      stepS: row.stepS,
    });
  }
  return readings;
}

interface FitFacts {
  readonly machine: Machine;
  readonly rows: readonly TimeReading[];
  readonly design: Design;
  readonly out: string | undefined;
}

function writeFit(fit: MotionFit, { machine, rows, design, out }: FitFacts): string {
  const { readings, leftOut, misfitShare, readingErrorS } = fit.uncertainty;
  const used = `${readings} ${readings === 1 ? 'reading' : 'readings'}${leftOut > 0 ? `, ${leftOut} left out` : ''}`;
  const wrong = fit.readings.flatMap((reading, i) => (reading.leftOut ? [{ reading, row: rows[i]! }] : []));
  return [
    `Motion of ${machine.title} (${machine.name}), fitted to ${used}`,
    alignColumns(
      [['', 'before', 'fitted', '95 % interval', 'told by the readings'], ...fit.parameters.map(describeParameter)],
      '  ',
    ),
    sayBare(fit, machine),
    `Readings\n${alignColumns(
      [
        ['line', 'file', 'reading', 'fitted', 'off by', ''],
        ...fit.readings.map(({ seconds, fittedS, residualS, leftOut: out }, i) => [
          String(rows[i]!.line),
          rows[i]!.file,
          formatSeconds(seconds),
          formatSeconds(fittedS),
          `${residualS > 0 ? '+' : '−'}${formatNumber(Math.abs(residualS), 2)} s`,
          out ? 'LOOKS WRONG, left out' : '',
        ]),
      ],
      '  ',
    )}`,
    ...wrong.map(({ reading, row }) =>
      wrapText(
        `Line ${row.line}: ${row.file} took ${formatSeconds(reading.seconds)}, but the other readings foretell ${formatSeconds(reading.fittedS)}. ${reading.hint === undefined ? 'Look at it again: the wrong file, speed or direction, or a pause?' : `It would fit: ${reading.hint}.`}`,
        100,
      ),
    ),
    `One stopwatch reading scatters by ${formatNumber(readingErrorS, 2)} s, whole jobs about the formula by ${formatNumber(100 * misfitShare, 2)} %.`,
    ...sayUndetermined(fit, design),
    sayDesign(design, rows),
    out === undefined ? 'Nothing was written (--dry).' : `wrote ${out}`,
  ].join('\n\n');
}

function describeParameter({ label, unit, before, value, low, high, determined }: FittedParameter): string[] {
  const show = (number: number) => (Number.isFinite(number) ? String(Number(number.toPrecision(3))) : '∞');
  return [
    label,
    `${show(before)} ${unit}`,
    `${show(value)} ${unit}`,
    `${show(low)} … ${show(high)}`,
    { well: 'well', roughly: 'roughly', no: 'NOT DETERMINED' }[determined],
  ];
}

/** What kind of job would tell a number that these readings do not. */
const TELLING: Readonly<Record<string, string>> = {
  jumpSPerMm: 'a wide picture, one-way',
  travelSPerMm: 'a wide picture, one-way',
  rampS2PerMm: 'one picture at the lowest and at the highest speed',
  riseS: 'one picture at the lowest and at the highest speed, in both directions',
  settlingS: 'one wide picture in both directions',
  waitS: 'pictures with few and with many lines',
  overtravelMm: 'one picture at a low and at a high speed',
  overheadS: 'a picture with few lines, once and in several passes',
  dotS: 'a dark and a light picture of one size',
  gapS: 'a coarse and a fine screen of one picture',
  skipSPerMm: 'a dark and a light picture of one size',
};

/**
 * Where jobs are known better than this, what is not determined weighs little in them. A share. Assumed: a twentieth is
 * what shops plan by.
 */
const WELL_KNOWN_SHARE = 0.05;

function sayUndetermined({ parameters }: MotionFit, { halfShare }: Design): string[] {
  const open = parameters.filter(({ determined }) => determined === 'no');
  if (open.length === 0) return [];
  const lines = open.map(({ name, label }) => `  ${label}: time ${TELLING[name]}`);
  return [
    `Not determined${halfShare < WELL_KNOWN_SHARE ? ', and of little weight in jobs like these' : ''}; what would tell:\n${lines.join('\n')}`,
  ];
}

function sayBare({ bare: { handling, decided } }: MotionFit, { motion }: Machine): string {
  const words = {
    skipped: 'bare ends of lines and empty lines are skipped',
    'line-ends-scanned': 'lines with dots are scanned over the whole width of the bitmap, empty lines are skipped',
    'all-scanned': 'every line is scanned over the whole width of the bitmap',
    'dot-by-dot': 'each dot is burned by itself, and bare dots are crossed quickly, within lines as well',
  }[handling];
  if (decided) return `Bare places: ${words}; the readings say so.`;
  return handling !== (motion.bare ?? 'skipped')
    ? `Bare places: most likely ${words}; the readings leave some doubt.`
    : `Bare places: ${words}, as the file has it; these readings do not tell (time a picture with bare margins and empty lines).`;
}

function sayDesign({ halfShare, floorShare, next }: Design, rows: readonly TimeReading[]): string {
  const percent = (share: number) => `±${formatNumber(100 * share, 2)} %`;
  const now = `Jobs like these are now known to ${percent(halfShare)}.`;
  if (next.length === 0) return `${now} More readings like these would narrow that by little.`;
  const lines = next.map(
    ({ reading, speedMmPerS, scan, passes, seconds, halfShare: after }) =>
      `  ${rows[reading]!.file} at ${formatNumber(speedMmPerS)} mm/s, ${scan}${passes > 1 ? `, ${passes} passes` : ''} (about ${formatSeconds(seconds)}): ${percent(after)}`,
  );
  return `${now} These further readings would help most, one after the other (never below ${percent(floorShare)}):\n${lines.join('\n')}`;
}
