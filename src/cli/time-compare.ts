import { resolve } from 'node:path';
import { AppError } from '../errors.ts';
import { type ComparedWay, compareWays, type JobSpec, resolveJob } from '../job/index.ts';
import { readPhoto } from '../plane/index.ts';
import { readRefused, readRequest } from '../tasks/index.ts';
import { parseLengthMm } from '../units.ts';
import type { Run } from './command.ts';
import { textOf } from './options.ts';
import { alignColumns, formatNumber, formatSeconds } from './text.ts';
import { readScanSettings } from './timed-bitmap.ts';

/** Screens that are compared where none are named: one of each family. */
const SCREENS = ['floyd-steinberg', 'blue-noise', 'clustered-dot', 'line'];
/**
 * Line spacings that are compared where none are named, times the job's own. Assumed: a step that is seen in the time
 * each way.
 */
const SPACINGS = [0.8, 1, 1.25, 1.6];
/** Most ways that are compared, a count. Assumed: more would keep a shop waiting. */
const MOST_WAYS = 60;

/** `time --compare`: what a photo costs in burn time against how right it will look. */
export const compareTimes: Run = async ([file], options, { io, shop, warn, progress }) => {
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
  const known = { shop, refused: readRefused(shop) };
  const request = readRequest(options);
  const base = resolveJob(request, known);
  for (const text of base.warnings) warn(text);
  const screens = splitList(textOf(options, 'screens')) ?? [...new Set([base.screen.name, ...SCREENS])];
  const spacings =
    splitList(textOf(options, 'spacings'))?.map((text) => parseLengthMm(text, '--spacings')) ??
    SPACINGS.map((times) => Number((times * base.grid.lineSpacingMm).toPrecision(3)));
  const scan = textOf(options, 'scan') as 'one-way' | 'two-way' | undefined;
  const scans = scan === undefined ? (['one-way', 'two-way'] as const) : [scan];
  if (screens.length * spacings.length > MOST_WAYS) {
    throw new AppError(
      'option-invalid',
      `found ${screens.length} screens and ${spacings.length} spacings, needed at most ${MOST_WAYS} combinations`,
    );
  }
  const specs = spacings.flatMap((lineSpacingMm) =>
    screens.map((screen) => {
      const spec = resolveJob({ ...request, screen, lineSpacingMm, pitchMm: base.grid.pitchMm }, known);
      return { ...spec, settings: { ...spec.settings, ...readScanSettings(options) } } satisfies JobSpec;
    }),
  );
  const ways = await compareWays(await readPhoto(resolve(io.cwd, file)), { specs, scans, progress });
  return {
    json: { photo: file, machine: base.machine.name, profile: base.profile.name, size: base.size, ways },
    text: writeWays(ways, base),
  };
};

function splitList(text: string | undefined): string[] | undefined {
  const parts = text
    ?.split(',')
    .map((part) => part.trim())
    .filter((part) => part !== '');
  return parts === undefined || parts.length === 0 ? undefined : parts;
}

function writeWays(ways: readonly ComparedWay[], { machine, profile, size }: JobSpec): string {
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
