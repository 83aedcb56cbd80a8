import { basename } from 'node:path';
import { AppError } from '../errors.ts';
import {
  type DoseReading,
  drawFindings,
  measureCaptures,
  type ReadCapture,
  renderMeasuredPage,
  type SpotReading,
} from '../job/index.ts';
import type { OptionValues, Outcome, Surroundings } from './command.ts';
import { textOf } from './options.ts';
import { alignColumns, formatNumber } from './text.ts';

/** Files of what a chart told: the page, and the reading for machines beside it. */
export interface MeasuredFile {
  readonly path: string;
  readonly bytes: string;
}

/** A spot or a dose chart: what it told, as an outcome, and the files that the paths ask for. */
export async function measureChart(
  captures: readonly ReadCapture[],
  {
    options,
    warn,
    page,
    json,
  }: {
    readonly options: OptionValues;
    readonly warn: Surroundings['warn'];
    readonly page?: string;
    readonly json?: string;
  },
): Promise<{ readonly outcome: Outcome; readonly files: readonly MeasuredFile[] }> {
  const diametersUm = readDiameters(textOf(options, 'diameters'));
  const { reading, warnings } = measureCaptures(captures, diametersUm ? { diametersUm } : {});
  const rejected = captures.flatMap(({ readings }) => readings.rejected);
  for (const { text } of warnings) warn(text);
  for (const { id, detail } of rejected) warn(`patch ${id} was left out: ${detail}`);
  const files: MeasuredFile[] = [];
  if (json !== undefined) files.push({ path: json, bytes: `${JSON.stringify(reading, null, 2)}\n` });
  if (page !== undefined) {
    const first = captures[0]!;
    const found = await drawFindings(first);
    files.push({ path: page, bytes: renderMeasuredPage({ reading, captureName: basename(first.name), found }) });
  }
  const text = reading.schema === 'tonewright-spot/1' ? writeSpot(reading) : writeDose(reading);
  const wrote = alignColumns(files.map(({ path }) => ['wrote', path]));
  return {
    outcome: {
      json: { ...reading, rejected, page: page ?? null, files: files.map(({ path }) => path) },
      text: files.length > 0 ? `${text}\n\n${wrote}` : text,
    },
    files,
  };
}

function writeSpot({ widthX, widthY, dotUm, yuleNielsenN, recommendedSpacingMm, ladders, notes }: SpotReading): string {
  const width = ({ valueUm, lowUm, highUm }: SpotReading['widthX']) =>
    `${formatNumber(valueUm, 3)} µm (95 %: ${formatNumber(lowUm, 3)} … ${formatNumber(highUm, 3)})`;
  return [
    alignColumns([
      ['column of dots', `${width(widthX)} wide, along the scan`],
      ['scan line', `${width(widthY)} wide, across the scan`],
      ...(dotUm === null ? [] : [['one dot alone', `as a disc of ${formatNumber(dotUm, 3)} µm`]]),
      ['light spread', `Yule-Nielsen n ${formatNumber(yuleNielsenN, 3)}`],
      ['line spacing', `${formatNumber(recommendedSpacingMm, 3)} mm recommended`],
    ]),
    alignColumns([
      ['LADDER', 'LINES ALONG', 'PERIOD', 'MARKED', 'EXPECTED'],
      ...ladders.map(({ ids, along, periodUm, share, expected }) => [
        ids.join(' '),
        along,
        `${formatNumber(periodUm, 4)} µm`,
        `${(100 * share).toFixed(1)} %`,
        `${(100 * expected).toFixed(1)} %`,
      ]),
    ]),
    ...notes,
  ].join('\n\n');
}

function writeDose(dose: DoseReading): string {
  const show = (value: number | null) => (value === null ? 'not bracketed' : `${formatNumber(value, 3)} J/cm²`);
  const { points, recommended, strongest, threshold } = dose;
  const mark = (id: string) => (id === recommended.id ? 'start here' : id === strongest.id ? 'strongest' : '');
  return [
    dose.notes.join('\n'),
    alignColumns([
      ['bare', `L* ${dose.bareLightness.toFixed(1)}, marks ${dose.direction}`],
      [
        'usable',
        `${show(dose.usableFromJPerCm2)} (a tenth) to ${show(dose.usableToJPerCm2)} (nine tenths of the strongest)`,
      ],
      ['enough', `${show(dose.enoughJPerCm2)}: beyond it more dose adds less than 3 %`],
      ['turns back', dose.turnsBackJPerCm2 === null ? 'not seen' : show(dose.turnsBackJPerCm2)],
      ['scatter', `${dose.scatter.toFixed(1)} ΔL* of cells around one curve over dose`],
      ...(threshold
        ? [
            [
              'threshold',
              `peak fluence ${formatNumber(threshold.thresholdJPerCm2, 3)} J/cm², spot ${formatNumber(threshold.spotDiameterUm, 3)} µm by Liu’s line`,
            ],
          ]
        : []),
    ]),
    alignColumns([
      ['CELL', 'POWER', 'SPEED', 'PASSES', 'DOSE', 'L*', 'FROM BARE', ''],
      ...points.map(({ id, settings, doseJPerCm2, lightness, contrast }) => [
        id,
        `${formatNumber(settings.powerW)} W`,
        `${formatNumber(settings.speedMmPerS)} mm/s`,
        String(settings.passes),
        `${formatNumber(doseJPerCm2, 3)} J/cm²`,
        lightness.toFixed(1),
        contrast.toFixed(1),
        mark(id),
      ]),
    ]),
  ].join('\n\n');
}

/** `A2=31,A3=38.5`: diameters of craters by cell, µm. */
function readDiameters(text: string | undefined): Readonly<Record<string, number>> | undefined {
  if (text === undefined) return undefined;
  const pairs = text.split(',').map((part) => part.trim().split('='));
  if (!pairs.every(([id, value]) => id && Number(value) > 0)) {
    throw new AppError('option-invalid', `--diameters: found "${text}", needed cells with µm such as A2=31,A3=38.5`);
  }
  return Object.fromEntries(pairs.map(([id, value]) => [id!, Number(value)]));
}
