import { dirname, join, resolve } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { estimateTime, type Machine, parseMachine, type TimeEstimate, type TimeParts } from '../../machine/index.ts';
import { readJson } from '../../material/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { type DotGrid, decodeDotsBytes, readBytes, sha256 } from '../../plane/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { OptionValues, Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { alignColumns, formatNumber, formatSeconds } from '../text.ts';

export const run: Run = async ([file], options, { io, shop, warn }) => {
  const path = resolve(io.cwd, file!);
  const ticket = /\.json$/i.test(path) ? readTicket(path) : undefined;
  const machineName = textOf(options, 'machine') ?? ticket?.machine.name;
  if (machineName === undefined) {
    throw new AppError('option-invalid', 'found a bitmap without --machine, needed the machine that will burn it');
  }
  const record = shop.read('machines', machineName);
  const machine = parseMachine(record.json, record.name);
  const bitmapPath = ticket ? join(dirname(path), ticket.bitmap.file) : path;
  const bytes = await readBytes(bitmapPath);
  if (ticket && sha256(bytes) !== ticket.bitmap.sha256) {
    warn(`${bitmapPath} is not the bitmap that the ticket was written for; its own dots are timed`);
  }
  const decoded = await decodeDotsBytes(bytes, bitmapPath);
  const grid = chooseGrid(options, ticket?.grid ?? decoded.grid);
  const settings = chooseSettings(options, ticket?.settings ?? machine.defaults);
  const { width, height } = decoded.dots;
  warnOfMachine(machine, { settings, widthMm: width * grid.pitchMm, heightMm: height * grid.lineSpacingMm, warn });
  const estimate = estimateTime(decoded.dots, { motion: machine.motion, settings, grid });
  const motionOrigin = machine.origins.motion.kind;
  return {
    json: { file: bitmapPath, machine: machine.name, motionOrigin, settings, grid, ...estimate },
    text: writeEstimate(estimate, { machine, settings, grid, width, height }),
  };
};

const positive = v.pipe(v.number(), v.finite(), v.gtValue(0));

/** What the clock needs of a ticket; the rest of it is none of its business. */
const ticketSchema = v.object({
  schema: v.literal('tonewright-ticket/1'),
  bitmap: v.object({ file: v.pipe(v.string(), v.regex(/^[^/\\]+$/)), sha256: v.string() }),
  machine: v.object({ name: v.string() }),
  grid: v.object({ pitchMm: positive, lineSpacingMm: positive }),
  settings: v.object({
    powerW: positive,
    speedMmPerS: positive,
    rateKHz: v.exactOptional(positive),
    pulseNs: v.exactOptional(positive),
    passes: v.pipe(v.number(), v.integer(), v.minValue(1)),
    scan: v.picklist(['one-way', 'two-way']),
  }),
});

function readTicket(path: string): v.InferOutput<typeof ticketSchema> {
  const result = v.safeParse(ticketSchema, readJson(path));
  if (result.success) return result.output;
  const [issue] = result.issues;
  const field = v.getDotPath(issue) ?? '(the whole file)';
  throw new AppError('file-invalid', `ticket ${path}, field "${field}": ${issue.message}`, { path, field });
}

function chooseGrid(options: OptionValues, known: DotGrid | undefined): DotGrid {
  const pitch = textOf(options, 'pitch');
  const spacing = textOf(options, 'spacing');
  const pitchMm = pitch === undefined ? known?.pitchMm : parseLengthMm(pitch, '--pitch');
  const lineSpacingMm = spacing === undefined ? known?.lineSpacingMm : parseLengthMm(spacing, '--spacing');
  // Square dots when only one of the two is known.
  const x = pitchMm ?? lineSpacingMm;
  const y = lineSpacingMm ?? pitchMm;
  if (x === undefined || y === undefined) {
    throw new AppError('option-invalid', 'found no resolution in the bitmap, needed --pitch and --spacing');
  }
  return { pitchMm: x, lineSpacingMm: y };
}

function chooseSettings(options: OptionValues, known: BurnSettings): BurnSettings {
  return {
    ...known,
    speedMmPerS: numberOf(options, 'speed', { min: 0.001, unit: 'mm/s' }) ?? known.speedMmPerS,
    passes: numberOf(options, 'passes', { min: 1, whole: true }) ?? known.passes,
    scan: (textOf(options, 'scan') as BurnSettings['scan'] | undefined) ?? known.scan,
  };
}

interface Burn {
  readonly settings: BurnSettings;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly warn: (text: string) => void;
}

function warnOfMachine({ name, speedMmPerS, fieldMm }: Machine, { settings, widthMm, heightMm, warn }: Burn): void {
  const { min, max } = speedMmPerS;
  if (settings.speedMmPerS < min || settings.speedMmPerS > max) {
    warn(`speed ${settings.speedMmPerS} mm/s is outside the ${min} to ${max} mm/s of ${name}`);
  }
  if (widthMm > fieldMm[0] || heightMm > fieldMm[1]) {
    warn(
      `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm is larger than the field of ${name}, ${fieldMm[0]} × ${fieldMm[1]} mm`,
    );
  }
}

const PART_LABELS: Readonly<Record<keyof TimeParts, string>> = {
  markingS: 'marking',
  bareS: 'over bare places',
  movingS: 'moving',
  turningS: 'turning',
  waitingS: 'waiting',
  overheadS: 'overhead',
};

interface Circumstances {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly width: number;
  readonly height: number;
}

function writeEstimate(estimate: TimeEstimate, { machine, settings, grid, width, height }: Circumstances): string {
  const { seconds, parts } = estimate;
  const share = (part: number) => (seconds > 0 ? `${formatNumber((100 * part) / seconds, 3)} %` : '');
  const names = Object.keys(PART_LABELS) as (keyof TimeParts)[];
  const facts = [
    ['machine', `${machine.title} (${machine.name}), motion ${machine.origins.motion.kind}`],
    [
      'dots',
      `${width} × ${height}, pitch ${formatNumber(grid.pitchMm)} mm, line spacing ${formatNumber(grid.lineSpacingMm)} mm`,
    ],
    ['scan', `${settings.scan}, ${formatNumber(settings.speedMmPerS)} mm/s`],
    ['passes', String(estimate.passes)],
    ['lines', `${estimate.scanLines} burned, ${estimate.emptyLines} empty and skipped`],
    [
      'length',
      `${formatNumber(estimate.markedLengthMm / 1000)} m marked of ${formatNumber(estimate.scannedLengthMm / 1000)} m scanned, each pass`,
    ],
    ['run-up', `${formatNumber(estimate.runUpMm, 3)} mm before and after each line`],
  ];
  return [
    `Time  ${formatSeconds(seconds)}`,
    alignColumns(
      names.map((name) => [PART_LABELS[name], formatSeconds(parts[name]), share(parts[name])]),
      '  ',
    ),
    alignColumns(facts),
    wrapText(estimate.formula, 100),
  ].join('\n\n');
}

/** Break a text between words into lines of at most so many characters. */
function wrapText(text: string, columns: number): string {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > columns) {
      lines.push(line);
      line = word;
    } else {
      line = line === '' ? word : `${line} ${word}`;
    }
  }
  return [...lines, line].join('\n');
}
