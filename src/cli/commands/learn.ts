import { resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  type LearnedRecord,
  listKnown,
  nextAfterTone,
  readChart,
  sayHeadroom,
  sayLevelRoad,
  saySpacing,
} from '../../tasks/index.ts';
import { readCaptureOptions, readDiameters, readFieldGrid } from '../captures.ts';
import type { Outcome, Run } from '../command.ts';
import { describeMeasured } from '../measured.ts';
import { textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber, sayPath } from '../text.ts';
import { version } from '../version.ts';

export const run: Run = async (paths, options, commandContext) => {
  const { io, warn } = commandContext;
  const out = resolve(io.cwd, textOf(options, 'out')!);
  if (!/\.json$/i.test(out)) {
    throw new AppError('option-invalid', `--out: found "${textOf(options, 'out')}", needed a name that ends in .json`);
  }
  const name = textOf(options, 'name');
  const title = textOf(options, 'title');
  const aim = textOf(options, 'aim');
  const profile = textOf(options, 'profile');
  const diametersUm = readDiameters(textOf(options, 'diameters'));
  const grid = readFieldGrid(options);
  const record = await readChart(
    {
      ...readCaptureOptions(paths, options, io.cwd),
      purpose: 'learn',
      ...(name === undefined ? {} : { name }),
      ...(title === undefined ? {} : { title }),
      ...(aim === undefined ? {} : { aim }),
      ...(profile === undefined ? {} : { profile }),
      ...(diametersUm ? { diametersUm } : {}),
      ...(grid ? { grid } : {}),
      files: { profile: out, measured: out, page: out.replace(/\.json$/i, '.html') },
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  for (const { text } of record.notices) warn(text);
  if (record.kind === 'checked') throw new RangeError('a chart that is learned from is not checked');
  return record.kind === 'learned' ? describe(record, io.cwd) : describeMeasured(record, io.cwd);
};

function describe({ learned, span, captures, notices, files }: LearnedRecord, folder: string): Outcome {
  const { profile, report, layout, recommendedSpacingMm, gainByMoreDoseL, scatter } = learned;
  const { markX, markY } = report;
  return {
    json: {
      files,
      profile,
      madeWith: { version, node: process.version },
      report,
      chart: layout.hash,
      recommendedSpacingMm,
      gainByMoreDoseL,
      scatter: scatter ?? null,
      span,
      captures: captures.map(({ name, located, readings }) => ({
        name,
        tags: located.tags.length,
        pxPerMm: located.pxPerMm,
        patches: readings.readings.length,
        rejected: readings.rejected,
        unevenness: readings.unevenness,
        disagreement: readings.disagreement,
        camera: {
          kind: readings.camera.kind,
          gamma: readings.camera.gamma,
          contrast: readings.camera.contrast,
          errorLightness: readings.camera.errorLightness,
        },
      })),
      warnings: notices.map(({ text }) => text),
    },
    text: alignColumns([
      ...files.map((path) => ['wrote', path]),
      [
        'chart',
        `${layout.hash}, ${report.rows.length} tones from ${captures.length === 1 ? 'one capture' : `${captures.length} captures`}`,
      ],
      [
        'range',
        `L* ${formatNumber(profile.bare[0], 3)} bare to ${formatNumber(profile.full[0], 3)} solid: ${profile.direction}`,
      ],
      [
        'mark',
        `${formatNumber(markX.value, 3)} × ${formatNumber(markY.value, 3)} µm (95 %: ${formatNumber(markX.low, 3)} … ${formatNumber(markX.high, 3)} × ${formatNumber(markY.low, 3)} … ${formatNumber(markY.high, 3)})`,
      ],
      [
        'tones',
        `${span.tones} can be told apart, in steps of three times the scatter of equal patches, from ${formatNumber(100 * span.from, 3)} to ${formatNumber(100 * span.to, 3)} % of dots`,
      ],
      ...listKnown(profile).map(({ name, value }) => [name, value]),
      ['spacing', `between lines: ${saySpacing(learned)}`],
      ...(profile.levels ? [['levels', sayLevelRoad(profile)!]] : []),
      ['headroom', sayHeadroom(profile)],
      ['equal', `patches differ by ${formatNumber(report.repeatability, 2)} L* (standard deviation)`],
      ...(scatter ? [['why', scatter.reasons.join(' ')]] : []),
      ['next', nextAfterTone(sayPath(files.find((path) => path.endsWith('.json')) ?? profile.name, folder))],
      ['left out', `a tone is predicted to ${formatNumber(report.leaveOneOut, 2)} L* without its readings`],
    ]),
  };
}
