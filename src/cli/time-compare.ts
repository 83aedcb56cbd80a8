import { resolve } from 'node:path';
import { AppError } from '../errors.ts';
import { type ComparedWaysRecord, comparePhotoWays, readRequest } from '../tasks/index.ts';
import { parseLengthMm } from '../units.ts';
import type { Run } from './command.ts';
import { textOf } from './options.ts';
import { readScanSettings } from './scan-settings.ts';
import { taskContext } from './task-context.ts';
import { alignColumns, formatNumber, formatSeconds } from './text.ts';

/** `time --compare`: what a photo costs in burn time against how right it will look. */
export const compareTimes: Run = async ([file], options, commandContext) => {
  if (file === undefined)
    throw new AppError('option-invalid', 'found no photo, needed one to compare ways of burning it');
  if (/\.json$/i.test(file)) {
    throw new AppError(
      'option-invalid',
      `found ${file} with --compare, needed the photo itself: a bitmap’s screen cannot be changed any more`,
    );
  }
  if (textOf(options, 'size') === undefined) {
    throw new AppError(
      'option-invalid',
      'found --compare without --size, needed the size of the piece such as 85.6x54',
    );
  }
  const screens = splitList(textOf(options, 'screens'));
  const spacings = splitList(textOf(options, 'spacings'))?.map((text) => parseLengthMm(text, '--spacings'));
  const record = await comparePhotoWays(
    {
      path: resolve(commandContext.io.cwd, file),
      job: readRequest(options),
      ...(screens ? { screens } : {}),
      ...(spacings ? { spacingsMm: spacings } : {}),
      settings: readScanSettings(options),
    },
    taskContext(commandContext),
  );
  const { base, ways } = record;
  return {
    json: { photo: file, machine: base.machine.name, profile: base.profile.name, size: base.size, ways },
    text: writeWays(record),
  };
};

function splitList(text: string | undefined): string[] | undefined {
  const parts = text
    ?.split(',')
    .map((part) => part.trim())
    .filter((part) => part !== '');
  return parts === undefined || parts.length === 0 ? undefined : parts;
}

function writeWays({ ways, base: { machine, profile, size } }: ComparedWaysRecord): string {
  const rows = ways.map((way) => [
    way.best ? '*' : '',
    way.screen,
    formatNumber(way.lineSpacingMm),
    way.scan,
    formatSeconds(way.seconds),
    `${formatSeconds(way.interval.lowS)} … ${formatSeconds(way.interval.highS)}`,
    formatNumber(way.meanDeltaL, 2),
    formatNumber(way.worstDeltaL, 2),
    formatNumber(way.rangeL, 3),
    way.curve,
  ]);
  return [
    `${formatNumber(size.widthMm)} × ${formatNumber(size.heightMm)} mm on ${machine.title} (${machine.name}), profile ${profile.name}`,
    alignColumns([
      ['', 'screen', 'spacing mm', 'scan', 'time', '95 % interval', 'mean ΔL*', 'worst', 'range L*', 'curve'],
      ...rows,
    ]),
    '* no other way is as quick, as right and as rich in range at once. Errors are predicted, as the eye sees them from the viewing distance; a predicted\ncurve is less certain than a measured one, and another direction or spacing should be learned before a customer’s piece.',
  ].join('\n\n');
}
