import { basename, resolve } from 'node:path';
import { type CheckRecord, nextAfterTone, PALETTE_LIMITS, readChart } from '../../tasks/index.ts';
import { readCaptureOptions, readDiameters } from '../captures.ts';
import type { OptionValues, Run } from '../command.ts';
import { describeMeasured } from '../measured.ts';
import { numberOf, textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([file], options, commandContext) => {
  const { io, warn } = commandContext;
  const path = resolve(io.cwd, file!);
  const profile = textOf(options, 'profile');
  const out = textOf(options, 'out');
  const adjust = options.adjust;
  const palettePath = textOf(options, 'palette');
  const diametersUm = readDiameters(textOf(options, 'diameters'));
  const context = taskContext(commandContext);
  const record = await readChart(
    {
      ...readCaptureOptions([file!], options, io.cwd),
      purpose: 'check',
      ...(profile === undefined ? {} : { profile }),
      ...(diametersUm ? { diametersUm } : {}),
      ...(palettePath === undefined ? {} : { palette: readPalette(basename(palettePath, '.json'), options) }),
      ...(adjust === undefined ? {} : { adjust: 'must' as const }),
      files: {
        ...(typeof adjust === 'string' ? { adjusted: resolve(io.cwd, adjust) } : {}),
        ...(out === undefined ? {} : { page: resolve(io.cwd, out) }),
        ...(palettePath === undefined ? {} : { palette: resolve(io.cwd, palettePath) }),
      },
      force: options.force === true,
    },
    context,
  );
  for (const { text } of record.notices) warn(text);
  if (record.kind === 'learned') throw new RangeError('a chart that is checked is not learned from');
  if (record.kind === 'measured') return describeMeasured(record, io.cwd);
  const { located, readings, warnings: _warnings, ...facts } = record.check;
  return {
    json: {
      ...facts,
      warnings: record.notices.map(({ text }) => text),
      rejected: readings.rejected,
      date: context.clock.today(),
      capture: path,
      pxPerMm: located.pxPerMm,
      tags: located.tags.length,
      screens: record.check.verification ? record.verified : null,
      history: record.historyPath ?? null,
      page: record.files.find((file) => file.endsWith('.html')) ?? null,
      adjustment: record.adjustment ? adjustmentJson(record, record.adjustment) : null,
    },
    text: writeCheck(record, typeof adjust === 'string' ? adjust : undefined),
  };
};

function adjustmentJson({ files }: CheckRecord, adjustment: NonNullable<CheckRecord['adjustment']>) {
  const { profile, adjusted, before, after, halfBefore, halfAfter, sentences } = adjustment;
  const file = files.find((path) => path.endsWith('.json')) ?? null;
  return { profile: profile.name, file, ...adjusted, before, after, halfBefore, halfAfter, sentences };
}

function readPalette(name: string, options: OptionValues) {
  const cells = textOf(options, 'cells')?.split(',');
  const count = numberOf(options, 'count', { min: 1, max: PALETTE_LIMITS.marks, whole: true });
  return { name, ...(cells ? { cells } : {}), ...(count ? { count } : {}) };
}

function writeCheck(
  { check, history, historyPath, files, ofPrint, adjustment }: CheckRecord,
  adjustedFile: string | undefined,
): string {
  const { patches, sentences, unit, chart, profile } = check;
  const rows = patches.map(({ ids, role, coverage, expected, lightness, delta }) => [
    ids.length > 3 ? `${ids.slice(0, 2).join(' ')} … ${ids.length}` : ids.join(' '),
    role === 'tone' ? `${formatNumber(100 * coverage, 3)} %` : role,
    expected.toFixed(1),
    lightness.toFixed(1),
    `${delta < 0 ? '' : '+'}${delta.toFixed(2)}`,
    (Math.abs(delta) / unit).toFixed(1),
  ]);
  return [
    ...(ofPrint.length > 0 ? [ofPrint.join('\n')] : []),
    sentences.join('\n'),
    ...(adjustment ? [adjustment.sentences.join('\n')] : []),
    alignColumns([['PATCH', 'COVERAGE', 'EXPECTED', 'READ', 'ΔL*', 'UNITS'], ...rows]),
    alignColumns([
      ['profile', profile],
      ['chart', `${chart.kind} ${chart.hash}`],
      ...(historyPath === undefined ? [] : [['history', `${historyPath} (${history?.entries.length} kept)`]]),
      ...files.map((path) => ['wrote', path]),
      ...(adjustment ? [['next', nextAfterTone(adjustedFile ?? adjustment.profile.name)]] : []),
    ]),
  ].join('\n\n');
}
