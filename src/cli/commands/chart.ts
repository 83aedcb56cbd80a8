import { resolve } from 'node:path';
import type { ChartKind } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import type { ChartRequest } from '../../job/index.ts';
import {
  CHART_KIND_NAMES,
  type DrawnChartRecord,
  drawChart,
  overSettings,
  readSettings,
  readSettingsFile,
  sayExpectedError,
} from '../../tasks/index.ts';
import { parseLengthMm, parsePlaceMm } from '../../units.ts';
import type { OptionValues, Outcome, Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber, formatSeconds } from '../text.ts';

export const run: Run = async ([kindText], options, commandContext) => {
  const kind = CHART_KIND_NAMES.find((known) => known === kindText);
  if (!kind)
    throw new AppError('option-invalid', `found a chart "${kindText}", needed one of ${CHART_KIND_NAMES.join(', ')}`);
  const out = resolve(commandContext.io.cwd, textOf(options, 'out')!);
  const request = { chart: readRequest(kind, options, commandContext.io.cwd), out, force: options.force === true };
  return describe(await drawChart(request, taskContext(commandContext)));
};

function describe({ files, kept, layout, cost, expectedError, typed, warnings }: DrawnChartRecord): Outcome {
  const { areaCm2, seconds, programSeconds, firing } = cost;
  return {
    json: {
      files,
      kept: kept ?? null,
      layout,
      cost: { areaCm2, seconds, ...(programSeconds === undefined ? {} : { programSeconds }), firing },
      expectedError: expectedError ?? null,
      warnings,
    },
    text: alignColumns([
      ...files.map((path) => ['wrote', path]),
      ...(kept === undefined ? [] : [['kept', kept]]),
      ['chart', `${layout.kind} ${layout.hash}, ${layout.patches.length} patches, marks ${layout.direction}`],
      [
        'size',
        `${formatNumber(layout.widthMm)} × ${formatNumber(layout.heightMm)} mm, ${formatNumber(areaCm2, 3)} cm² of material`,
      ],
      [
        'grid',
        `pitch ${formatNumber(layout.grid.pitchMm)} mm, line spacing ${formatNumber(layout.grid.lineSpacingMm)} mm`,
      ],
      ['settings', typed],
      [
        'time',
        programSeconds === undefined
          ? formatSeconds(seconds)
          : `${formatSeconds(seconds)} as one bitmap, ${formatSeconds(programSeconds)} as chart.nc, each cell by itself`,
      ],
      ...(expectedError ? [['expect', sayExpectedError(expectedError)]] : []),
      ['next', 'read chart.html: it says how to burn the chart and how to take its picture'],
    ]),
  };
}

function readRequest(kind: ChartKind, options: OptionValues, folder: string): ChartRequest {
  const file = textOf(options, 'settings');
  const read = file === undefined ? undefined : readSettingsFile(resolve(folder, file));
  const given = {
    machine: textOf(options, 'machine'),
    material: textOf(options, 'material'),
    direction: textOf(options, 'direction') as ChartRequest['direction'],
    profile: textOf(options, 'profile'),
    after: textOf(options, 'after'),
    size: textOf(options, 'size'),
    pitchMm: lengthOf(options, 'pitch'),
    lineSpacingMm: lengthOf(options, 'spacing') ?? read?.lineSpacingMm,
    riseMm: lengthOf(options, 'rise'),
    screen: textOf(options, 'screen'),
    seed: numberOf(options, 'seed', { min: 0, max: 2 ** 32 - 1, whole: true }),
    steps: numberOf(options, 'steps', { min: 3, max: 100, whole: true }),
    replicates: numberOf(options, 'replicates', { min: 1, max: 12, whole: true }),
    levels: numberOf(options, 'levels', { min: 2, max: 256, whole: true }),
    settings: overSettings(read, readSettings(options)),
    vary: listOf(options, 'vary'),
    cells: textOf(options, 'cells') as ChartRequest['cells'],
    at: placeOf(options, 'at'),
    seen: textOf(options, 'seen') as ChartRequest['seen'],
    beneath: textOf(options, 'beneath') as ChartRequest['beneath'],
  };
  return {
    kind,
    ...(Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined)) as Omit<
      ChartRequest,
      'kind'
    >),
  };
}

function lengthOf(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined || text === 'auto' ? undefined : parseLengthMm(text, `--${name}`);
}

function placeOf(options: OptionValues, name: string): ChartRequest['at'] {
  const text = textOf(options, name);
  return text === undefined ? undefined : parsePlaceMm(text, `--${name}`);
}

/** Texts of an option that may be given more than once; commander hands a list over. */
function listOf(options: OptionValues, name: string): readonly string[] | undefined {
  const value: unknown = options[name];
  return Array.isArray(value) ? value.map(String) : undefined;
}
