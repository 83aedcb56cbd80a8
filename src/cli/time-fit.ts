import { resolve } from 'node:path';
import { AppError } from '../errors.ts';
import type { Design, FittedParameter, Machine, MotionFit } from '../machine/index.ts';
import { type FittedMachineRecord, fitMachine } from '../tasks/index.ts';
import type { Run } from './command.ts';
import { textOf } from './options.ts';
import { taskContext } from './task-context.ts';
import { alignColumns, formatNumber, formatSeconds, wrapText } from './text.ts';

/** `time --stopwatch`: the machine's unknown times from stopwatch readings, into the machine's file. */
export const fitTimes: Run = async (args, options, commandContext) => {
  if (args.length > 0) {
    throw new AppError('option-invalid', `found ${args.join(', ')} beside --stopwatch, needed the readings alone`);
  }
  const machine = textOf(options, 'machine');
  if (machine === undefined) {
    throw new AppError('option-invalid', 'found --stopwatch without --machine, needed the machine that was timed');
  }
  const record = await fitMachine(
    {
      machine,
      readings: resolve(commandContext.io.cwd, textOf(options, 'stopwatch')!),
      dry: options.dry === true,
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  const { fit, fitted, design, rows, file } = record;
  return {
    json: {
      machine: record.machine.name,
      file: file ?? null,
      motion: fitted.motion,
      parameters: fit.parameters,
      bare: fit.bare,
      uncertainty: fit.uncertainty,
      readings: fit.readings.map((reading, i) => ({ line: rows[i]!.line, file: rows[i]!.file, ...reading })),
      intervalShare: design.halfShare,
      intervalFloorShare: design.floorShare,
      suggested: design.next.map((next) => ({ ...next, reading: undefined, file: rows[next.reading]!.file })),
    },
    text: writeFit(record),
  };
};

function writeFit({ fit, machine, rows, design, file }: FittedMachineRecord): string {
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
    file === undefined ? 'Nothing was written (--dry).' : `wrote ${file}`,
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

function sayDesign({ halfShare, floorShare, next }: Design, rows: FittedMachineRecord['rows']): string {
  const percent = (share: number) => `±${formatNumber(100 * share, 2)} %`;
  const now = `Jobs like these are now known to ${percent(halfShare)}.`;
  if (next.length === 0) return `${now} More readings like these would narrow that by little.`;
  const lines = next.map(
    ({ reading, speedMmPerS, scan, passes, seconds, halfShare: after }) =>
      `  ${rows[reading]!.file} at ${formatNumber(speedMmPerS)} mm/s, ${scan}${passes > 1 ? `, ${passes} passes` : ''} (about ${formatSeconds(seconds)}): ${percent(after)}`,
  );
  return `${now} These further readings would help most, one after the other (never below ${percent(floorShare)}):\n${lines.join('\n')}`;
}
