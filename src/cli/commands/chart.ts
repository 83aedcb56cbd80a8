import { join, resolve } from 'node:path';
import type { ChartKind } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { type ChartRequest, makeChart, parseRehearsalErrors, resolveChart, sayExpectedError } from '../../job/index.ts';
import { readJson } from '../../material/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { findPackageRoot, writeFilesAtomic } from '../../plane/index.ts';
import { keepLayout } from '../../tasks/index.ts';
import { parseLengthMm } from '../../units.ts';
import type { OptionValues, Run } from '../command.ts';
import { numberOf, textOf } from '../options.ts';
import { readRefused } from '../refused.ts';
import { alignColumns, formatNumber, formatSeconds } from '../text.ts';

const KINDS: readonly ChartKind[] = ['spot', 'dose', 'tone', 'verify', 'check'];

export const run: Run = async ([kindText], options, { io, shop, warn, progress }) => {
  const kind = KINDS.find((known) => known === kindText);
  if (!kind) throw new AppError('option-invalid', `found a chart "${kindText}", needed one of ${KINDS.join(', ')}`);
  const rehearsedPath = join(findPackageRoot() ?? '.', 'shared', 'rehearsal-errors.json');
  const spec = resolveChart(readRequest(kind, options), {
    shop,
    refused: readRefused(shop),
    rehearsed: parseRehearsalErrors(readJson(rehearsedPath), rehearsedPath),
  });
  for (const text of spec.warnings) warn(text);
  progress('drawing the chart');
  const { layout, cost, files } = await makeChart(spec);
  const out = resolve(io.cwd, textOf(options, 'out')!);
  const paths = files.map(({ name, bytes }) => ({ path: join(out, name), bytes }));
  progress('writing');
  await writeFilesAtomic(paths, { force: options.force === true });
  const kept = await keepLayout(layout, { shop, warn });
  const { areaCm2, seconds, firing } = cost;
  return {
    json: {
      files: paths.map(({ path }) => path),
      kept: kept ?? null,
      layout,
      cost: { areaCm2, seconds, firing },
      expectedError: spec.expectedError ?? null,
      warnings: spec.warnings,
    },
    text: alignColumns([
      ...paths.map(({ path }) => ['wrote', path]),
      ...(kept === undefined ? [] : [['kept', kept]]),
      ['chart', `${kind} ${layout.hash}, ${layout.patches.length} patches, marks ${layout.direction}`],
      [
        'size',
        `${formatNumber(layout.widthMm)} × ${formatNumber(layout.heightMm)} mm, ${formatNumber(areaCm2, 3)} cm² of material`,
      ],
      [
        'grid',
        `pitch ${formatNumber(layout.grid.pitchMm)} mm, line spacing ${formatNumber(layout.grid.lineSpacingMm)} mm`,
      ],
      ['time', formatSeconds(seconds)],
      ...(spec.expectedError ? [['expect', sayExpectedError(spec.expectedError)]] : []),
      ['next', 'read chart.html: it says how to burn the chart and how to take its picture'],
    ]),
  };
};

function readRequest(kind: ChartKind, options: OptionValues): ChartRequest {
  const given = {
    machine: textOf(options, 'machine'),
    material: textOf(options, 'material'),
    direction: textOf(options, 'direction') as ChartRequest['direction'],
    profile: textOf(options, 'profile'),
    after: textOf(options, 'after'),
    size: textOf(options, 'size'),
    pitchMm: lengthOf(options, 'pitch'),
    lineSpacingMm: lengthOf(options, 'spacing'),
    screen: textOf(options, 'screen'),
    seed: numberOf(options, 'seed', { min: 0, max: 2 ** 32 - 1, whole: true }),
    steps: numberOf(options, 'steps', { min: 3, max: 100, whole: true }),
    replicates: numberOf(options, 'replicates', { min: 1, max: 12, whole: true }),
    settings: readSettings(options),
    vary: listOf(options, 'vary'),
  };
  return {
    kind,
    ...(Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined)) as Omit<
      ChartRequest,
      'kind'
    >),
  };
}

function readSettings(options: OptionValues): Partial<BurnSettings> | undefined {
  const least = 0.001;
  const given = {
    powerW: numberOf(options, 'power', { min: least, unit: 'W' }),
    speedMmPerS: numberOf(options, 'speed', { min: least, unit: 'mm/s' }),
    rateKHz: numberOf(options, 'rate', { min: least, unit: 'kHz' }),
    pulseNs: numberOf(options, 'pulse', { min: least, unit: 'ns' }),
    passes: numberOf(options, 'passes', { min: 1, whole: true }),
    scan: textOf(options, 'scan') as BurnSettings['scan'] | undefined,
  };
  const entries = Object.entries(given).filter(([, value]) => value !== undefined);
  return entries.length === 0 ? undefined : (Object.fromEntries(entries) as Partial<BurnSettings>);
}

function lengthOf(options: OptionValues, name: string): number | undefined {
  const text = textOf(options, name);
  return text === undefined || text === 'auto' ? undefined : parseLengthMm(text, `--${name}`);
}

/** Texts of an option that may be given more than once; commander hands a list over. */
function listOf(options: OptionValues, name: string): readonly string[] | undefined {
  const value: unknown = options[name];
  return Array.isArray(value) ? value.map(String) : undefined;
}
