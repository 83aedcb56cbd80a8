import { existsSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import {
  drawFindings,
  fitCaptures,
  type Learned,
  measureSpan,
  parseAim,
  readCaptures,
  readMachine,
  refuseMaterial,
  renderProfilePage,
  sayReserve,
  spotDiameterUm,
  toCaptureImage,
} from '../../job/index.ts';
import { readPhoto, writeFilesAtomic } from '../../plane/index.ts';
import { readCorners, readLayouts } from '../captures.ts';
import type { Run, Surroundings } from '../command.ts';
import { measureChart } from '../measured.ts';
import { textOf } from '../options.ts';
import { readRefused } from '../refused.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async (paths, options, { io, shop, warn, progress }) => {
  const out = resolve(io.cwd, textOf(options, 'out')!);
  if (!/\.json$/i.test(out)) {
    throw new AppError('option-invalid', `--out: found "${textOf(options, 'out')}", needed a name that ends in .json`);
  }
  const pagePath = out.replace(/\.json$/i, '.html');
  // Reading and fitting take seconds: what would be refused in the end is refused now.
  const present = [out, pagePath].filter((path) => existsSync(path));
  if (present.length > 0 && options.force !== true) {
    throw new AppError('result-exists', `found ${present.join(', ')} already there, needed --force to replace`, {
      paths: present,
    });
  }
  const corners = readCorners(textOf(options, 'corners'));
  if (corners && paths.length !== 1) {
    throw new AppError(
      'option-invalid',
      `--corners: found ${paths.length} captures, needed one; corners belong to one picture`,
    );
  }
  const layouts = readLayouts(options, { shop, cwd: io.cwd, warn });
  const captures = [];
  for (const path of paths) {
    progress(`reading ${basename(path)}`);
    captures.push({ name: basename(path), image: toCaptureImage(await readPhoto(resolve(io.cwd, path))) });
  }
  progress('finding and reading the chart');
  const name = textOf(options, 'name');
  const aim = textOf(options, 'aim');
  const camera = textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known';
  const read = readCaptures(captures, {
    layouts,
    camera,
    mirrored: options.mirrored === true,
    ...(corners ? { corners } : {}),
  });
  const { kind } = read[0]!.located.layout;
  if (kind === 'spot' || kind === 'dose') {
    const { outcome, files } = await measureChart(read, { options, warn, json: out, page: pagePath });
    await writeFilesAtomic(files, { force: options.force === true });
    return outcome;
  }
  progress('fitting');
  const learned = fitCaptures(read, {
    camera,
    date: io.today(),
    ...(name === undefined ? {} : { name: checkName(name) }),
    ...(aim === undefined ? {} : { aim: parseAim(aim, shop) }),
  });
  refuseMaterial(learned.profile.material, readRefused(shop));
  for (const { text } of learned.warnings) warn(text);
  progress('writing the report');
  const pictures: string[] = [];
  for (const capture of learned.captures) pictures.push(await drawFindings(capture));
  const spot = findSpot(learned, shop);
  const page = renderProfilePage({ learned, pictures, ...(spot === undefined ? {} : { spotDiameterUm: spot }) });
  await writeFilesAtomic(
    [
      { path: out, bytes: `${JSON.stringify(learned.profile, null, 2)}\n` },
      { path: pagePath, bytes: page },
    ],
    { force: options.force === true },
  );
  return describe(learned, [out, pagePath]);
};

function describe(learned: Learned, files: string[]) {
  const { profile, report, layout, captures, recommendedSpacingMm, scatter, warnings } = learned;
  const span = measureSpan(profile);
  const { markX, markY } = report;
  return {
    json: {
      files,
      profile,
      report,
      chart: layout.hash,
      recommendedSpacingMm,
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
      warnings: warnings.map(({ text }) => text),
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
      ['spacing', `${formatNumber(recommendedSpacingMm, 3)} mm between lines recommended`],
      ['in hand', sayReserve(profile)],
      ['equal', `patches differ by ${formatNumber(report.repeatability, 2)} L* (standard deviation)`],
      ...(scatter ? [['why', scatter.reasons.join(' ')]] : []),
      ['left out', `a tone is predicted to ${formatNumber(report.leaveOneOut, 2)} L* without its readings`],
    ]),
  };
}

function checkName(name: string): string {
  if (/^[a-z0-9]+(?:[-.][a-z0-9]+)*$/.test(name)) return name;
  throw new AppError('option-invalid', `--name: found "${name}", needed lower-case letters, digits and hyphens`);
}

/** Spot of the machine that burned the chart; undefined where the shop has no record of it. */
function findSpot({ profile }: Learned, shop: Surroundings['shop']): number | undefined {
  try {
    return spotDiameterUm(readMachine(profile.machine, shop));
  } catch (error) {
    if (error instanceof AppError && error.code === 'name-unknown') return undefined;
    throw error;
  }
}
