import { resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import type { Saving, TimeInterval, TimeParts } from '../../machine/index.ts';
import { type TimedRecord, timeBitmap } from '../../tasks/index.ts';
import type { OptionValues, Run } from '../command.ts';
import { lengthOf, textOf } from '../options.ts';
import { readScanSettings } from '../scan-settings.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber, formatSeconds, wrapText } from '../text.ts';
import { compareTimes } from '../time-compare.ts';
import { fitTimes } from '../time-fit.ts';

export const run: Run = async (args, options, commandContext) => {
  const [file] = args;
  refuseStrays(options);
  if (textOf(options, 'stopwatch') !== undefined) return fitTimes(args, options, commandContext);
  if (options.compare === true) return compareTimes(args, options, commandContext);
  if (file === undefined) {
    throw new AppError('option-invalid', 'found no file, needed a bitmap or a ticket (or --stopwatch with readings)');
  }
  const machine = textOf(options, 'machine');
  const record = await timeBitmap(
    {
      path: resolve(commandContext.io.cwd, file),
      ...(machine === undefined ? {} : { machine }),
      settings: readScanSettings(options),
      ...lengthOf(options, 'pitch', (pitchMm) => ({ pitchMm })),
      ...lengthOf(options, 'spacing', (lineSpacingMm) => ({ lineSpacingMm })),
    },
    taskContext(commandContext),
  );
  const { settings, grid, estimate, interval, savings } = record;
  const { name, origins } = record.machine;
  const motionOrigin = origins.motion.kind;
  return {
    json: { file: record.file, machine: name, motionOrigin, settings, grid, ...estimate, interval, savings },
    text: writeEstimate(record),
  };
};

const SCAN_OPTIONS = ['speed', 'passes', 'scan', 'pitch', 'spacing'];
/** What each of the three uses of the command reads, beside the machine. */
const READS: Readonly<Record<'file' | 'stopwatch' | 'compare', readonly string[]>> = {
  file: SCAN_OPTIONS,
  stopwatch: ['stopwatch', 'dry'],
  compare: [
    'compare',
    'size',
    'profile',
    'material',
    'screens',
    'spacings',
    'fit',
    'tone',
    'viewedFrom',
    ...SCAN_OPTIONS,
  ],
};

/** An option that would be passed over in silence is a misunderstanding. @throws AppError option-invalid */
function refuseStrays(options: OptionValues): void {
  const use = options.stopwatch !== undefined ? 'stopwatch' : options.compare === true ? 'compare' : 'file';
  const reads = [...READS[use], 'machine', 'force', 'json', 'shop'];
  const stray = Object.keys(options).find((name) => options[name] !== undefined && !reads.includes(name));
  if (stray === undefined) return;
  const flag = `--${stray.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;
  const needed = {
    file: `--compare or --stopwatch along with it`,
    stopwatch: `what differs from job to job in a column of the readings`,
    compare: 'only what prepare takes, and --screens and --spacings',
  }[use];
  throw new AppError(
    'option-invalid',
    `found ${flag}${use === 'file' ? ' with a bitmap or ticket' : ` beside --${use}`}, needed ${needed}`,
  );
}

const PART_LABELS: Readonly<Record<keyof TimeParts, string>> = {
  markingS: 'marking',
  bareS: 'over bare places',
  movingS: 'moving',
  turningS: 'turning',
  waitingS: 'waiting',
  overheadS: 'overhead',
};

function writeEstimate(record: TimedRecord): string {
  const { machine, settings, grid, dots, estimate, interval, savings } = record;
  const [width, height] = dots;
  const { seconds, parts, passes } = estimate;
  const share = (part: number) => (seconds > 0 ? `${formatNumber((100 * part) / seconds, 3)} %` : '');
  const names = (Object.keys(PART_LABELS) as (keyof TimeParts)[]).filter((name) => name !== 'bareS' || parts.bareS > 0);
  const facts = [
    ['machine', `${machine.title} (${machine.name}), motion ${machine.origins.motion.kind}`],
    [
      'dots',
      `${width} × ${height}, pitch ${formatNumber(grid.pitchMm)} mm, line spacing ${formatNumber(grid.lineSpacingMm)} mm`,
    ],
    ['scan', `${settings.scan}, ${formatNumber(settings.speedMmPerS)} mm/s`],
    ['passes', passes === 1 ? '1' : `${passes}, ${formatSeconds((seconds - parts.overheadS) / passes)} each`],
    ['lines', `${estimate.scanLines} burned, ${estimate.emptyLines} empty and skipped`],
    [
      'length',
      `${formatNumber(estimate.markedLengthMm / 1000)} m marked of ${formatNumber(estimate.scannedLengthMm / 1000)} m scanned, each pass`,
    ],
    ['run-up', `${formatNumber(estimate.runUpMm, 3)} mm before and after each line`],
  ];
  return [
    `Time  ${formatSeconds(seconds)}, ${sayInterval(interval)}`,
    alignColumns(
      names.map((name) => [PART_LABELS[name], formatSeconds(parts[name]), share(parts[name])]),
      '  ',
    ),
    alignColumns(facts),
    ...(savings.length > 0 ? [writeSavings(savings, seconds)] : []),
    wrapText(estimate.formula, 100),
  ].join('\n\n');
}

function sayInterval({ lowS, highS, basis }: TimeInterval): string {
  const rests =
    basis === 'fitted' ? 'fitted to stopwatch readings' : 'assumed: take stopwatch readings, then time --stopwatch';
  return `95 % between ${formatSeconds(lowS)} and ${formatSeconds(highS)} (${rests})`;
}

function writeSavings(savings: readonly Saving[], seconds: number): string {
  const lines = savings.map(
    ({ change, savedS, mind }) =>
      `  ${formatSeconds(savedS)} (${formatNumber((100 * savedS) / seconds, 2)} %)  ${change}\n      ${mind}`,
  );
  return `What would save time, each by itself\n${lines.join('\n')}`;
}
