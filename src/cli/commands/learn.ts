import { existsSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { CaptureImage, ChartLayout, Corners } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import {
  drawFindings,
  type Learned,
  learnProfile,
  parseChartLayout,
  readMachine,
  refuseMaterial,
  renderProfilePage,
  spotDiameterUm,
} from '../../job/index.ts';
import { readJson } from '../../material/index.ts';
import { type Photo, readPhoto, writeFilesAtomic } from '../../plane/index.ts';
import type { Run, Surroundings } from '../command.ts';
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
  const corners = readCorners(textOf(options, 'corners'), paths.length);
  const layouts = readLayouts(textOf(options, 'chart'), { io, shop });
  const captures = [];
  for (const path of paths) {
    progress(`reading ${basename(path)}`);
    captures.push({ name: basename(path), image: captureOf(await readPhoto(resolve(io.cwd, path))) });
  }
  progress('finding and reading the chart, fitting');
  const name = textOf(options, 'name');
  const learned = learnProfile(captures, {
    layouts,
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
    mirrored: options.mirrored === true,
    date: io.today(),
    ...(corners ? { corners } : {}),
    ...(name === undefined ? {} : { name: checkName(name) }),
  });
  refuseMaterial(learned.profile.material, readRefused(shop));
  for (const text of learned.warnings) warn(text);
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

function describe({ profile, report, layout, captures, recommendedSpacingMm, warnings }: Learned, files: string[]) {
  const { markX, markY } = report;
  return {
    json: {
      files,
      profile,
      report,
      chart: layout.hash,
      recommendedSpacingMm,
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
      warnings,
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
      ['spacing', `${formatNumber(recommendedSpacingMm, 3)} mm between lines recommended`],
      ['equal', `patches differ by ${formatNumber(report.repeatability, 2)} L* (standard deviation)`],
      ['left out', `a tone is predicted to ${formatNumber(report.leaveOneOut, 2)} L* without its readings`],
    ]),
  };
}

/** The picture as the reader takes it: three channels. */
function captureOf({ width, height, bits, channels, rgb }: Photo): CaptureImage {
  if (channels === 3) return { width, height, bits, rgb };
  const out = bits === 16 ? new Uint16Array(3 * width * height) : new Uint8Array(3 * width * height);
  for (let i = 0; i < width * height; i++) out.fill(rgb[i], 3 * i, 3 * i + 3);
  return { width, height, bits, rgb: out };
}

/** The layout that was named, or every one that the shop keeps. */
function readLayouts(
  chart: string | undefined,
  { io, shop }: Pick<Surroundings, 'io' | 'shop'>,
): readonly ChartLayout[] {
  if (chart !== undefined) {
    const path = resolve(io.cwd, chart);
    return [parseChartLayout(readJson(path), path)];
  }
  const layouts = shop.list('charts').map(({ path }) => parseChartLayout(readJson(path), path));
  if (layouts.length > 0) return layouts;
  throw new AppError(
    'path-missing',
    'found no chart in the shop folder, needed --chart with the chart.json that was written with the chart',
    { shop: shop.shopDir ?? null },
  );
}

/** `--corners "x,y x,y x,y x,y"` in pixels. */
function readCorners(text: string | undefined, captures: number): Corners | undefined {
  if (text === undefined) return undefined;
  const points = text
    .trim()
    .split(/\s+/)
    .map((pair) => pair.split(',').map((part) => (part === '' ? Number.NaN : Number(part))));
  if (points.length !== 4 || !points.every((point) => point.length === 2 && point.every(Number.isFinite))) {
    throw new AppError('option-invalid', `--corners: found "${text}", needed four points "x,y x,y x,y x,y" in pixels`);
  }
  if (captures !== 1) {
    throw new AppError(
      'option-invalid',
      `--corners: found ${captures} captures, needed one; corners belong to one picture`,
    );
  }
  return points as unknown as Corners;
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
