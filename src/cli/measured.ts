import type { DoseReading, FocusReading, MeasuredMm, SpotReading } from '../job/index.ts';
import type { EvennessMap } from '../machine/index.ts';
import {
  type KnownControl,
  listEvenness,
  type MeasuredRecord,
  nextAfterDose,
  nextAfterFocus,
  saySetting,
} from '../tasks/index.ts';
import type { Outcome } from './command.ts';
import { alignColumns, formatNumber, sayPath } from './text.ts';

/** What a spot, a focus or a dose chart told, and the palette that was read from it. */
export function describeMeasured(
  { reading, captures, palette, control, files, kept: inShop }: MeasuredRecord,
  folder: string,
): Outcome {
  const kept = files.find((path) => path.endsWith('.json'));
  const next =
    reading.schema === 'tonewright-focus/1'
      ? nextAfterFocus(reading)
      : reading.schema === 'tonewright-dose/1' && kept !== undefined
        ? nextAfterDose(reading, sayPath(kept, folder))
        : undefined;
  const text = writeReading(reading, control);
  return {
    json: {
      ...reading,
      rejected: captures.flatMap(({ readings }) => readings.rejected),
      page: files.find((path) => path.endsWith('.html')) ?? null,
      files,
      next: next ?? null,
      ...(inShop === undefined ? {} : { kept: inShop }),
      ...(palette ? { palette } : {}),
    },
    text: [
      text,
      ...(palette ? [writePalette(palette, control)] : []),
      ...(files.length > 0 ? [alignColumns(files.map((path) => ['wrote', path]))] : []),
      ...(inShop === undefined ? [] : [alignColumns([['kept', inShop]])]),
      ...(next === undefined ? [] : [alignColumns([['next', next]])]),
    ].join('\n\n'),
  };
}

function writeReading(reading: MeasuredRecord['reading'], control: KnownControl | undefined): string {
  switch (reading.schema) {
    case 'tonewright-spot/1':
      return writeSpot(reading);
    case 'tonewright-focus/1':
      return writeFocus(reading);
    case 'tonewright-evenness/1':
      return writeField(reading);
    case 'tonewright-dose/1':
      return writeDose(reading, control);
  }
}

function writeFocus(focus: FocusReading): string {
  const say = ({ valueMm, lowMm, highMm }: MeasuredMm) =>
    `${valueMm.toFixed(2)} mm (95 %: ${lowMm.toFixed(2)} … ${highMm.toFixed(2)})`;
  return [
    focus.notes.join('\n'),
    alignColumns([
      ['best focus', `${say(focus.best)}, above where it was set`],
      ['along the scan', say(focus.bestX)],
      ['across it', say(focus.bestY)],
      ['astigmatism', `${say(focus.astigmatism)}, the first above the second`],
      ['depth of focus', say(focus.depthOfFocus)],
      ['by the optics', focus.expected ? `${focus.expected.depthOfFocusMm.toFixed(2)} mm` : 'not known'],
    ]),
  ].join('\n\n');
}

function writePalette({ marks }: NonNullable<MeasuredRecord['palette']>, control: KnownControl | undefined): string {
  return alignColumns([
    ['MARK', 'CELL', 'L*', 'a*', 'b*', 'POWER', 'SPEED'],
    ...marks.map(({ name, cell, colour, settings }) => [
      name,
      cell ?? '',
      ...colour.map((value) => value.toFixed(1)),
      saySetting('powerW', settings.powerW, control),
      saySetting('speedMmPerS', settings.speedMmPerS, control),
    ]),
  ]);
}

function writeSpot({ widthX, widthY, dotUm, yuleNielsenN, recommendedSpacingMm, ladders, notes }: SpotReading): string {
  const width = ({ valueUm, lowUm, highUm }: SpotReading['widthX']) =>
    `${formatNumber(valueUm, 3)} µm (95 %: ${formatNumber(lowUm, 3)} … ${formatNumber(highUm, 3)})`;
  return [
    alignColumns([
      ['column of dots', `${width(widthX)} wide, along the scan`],
      ['scan line', `${width(widthY)} wide, across the scan`],
      ...(dotUm === null ? [] : [['one dot alone', `as a disc of ${formatNumber(dotUm, 3)} µm`]]),
      ['light scatter', `Yule-Nielsen n ${formatNumber(yuleNielsenN, 3)}`],
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

/** Columns and rows of places that are listed. Counts. Assumed: corners, sides and middle say what a field does. */
const FIELD_PLACES = { columns: 3, rows: 3 } as const;

function writeField(map: EvennessMap): string {
  return [
    map.notes.join('\n'),
    alignColumns([
      ['PLACE', 'DOSE', '95 %', 'WIDTH', '95 %'],
      ...listEvenness(map, FIELD_PLACES).map(({ xMm, yMm, dose, doseReach, width, widthReach }) => [
        `${formatNumber(xMm, 4)}, ${formatNumber(yMm, 4)} mm`,
        `× ${dose.toFixed(3)}`,
        `${(dose / doseReach).toFixed(3)} … ${(dose * doseReach).toFixed(3)}`,
        `× ${width.toFixed(3)}`,
        `${(width / widthReach).toFixed(3)} … ${(width * widthReach).toFixed(3)}`,
      ]),
    ]),
  ].join('\n\n');
}

function writeDose(dose: DoseReading, control: KnownControl | undefined): string {
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
      ['overburns', dose.overburnsFromJPerCm2 === null ? 'not seen' : show(dose.overburnsFromJPerCm2)],
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
        saySetting('powerW', settings.powerW, control),
        saySetting('speedMmPerS', settings.speedMmPerS, control),
        String(settings.passes),
        `${formatNumber(doseJPerCm2, 3)} J/cm²`,
        lightness.toFixed(1),
        contrast.toFixed(1),
        mark(id),
      ]),
    ]),
  ].join('\n\n');
}
