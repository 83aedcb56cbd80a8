import { existsSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import type { ChartLayout } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import {
  addToHistory,
  type Check,
  checkCapture,
  choosePalette,
  drawFindings,
  listVerified,
  measureCaptures,
  parseHistory,
  type ReadCapture,
  readCaptures,
  readProfile,
  renderCheckPage,
  sayPrediction,
  sayVerification,
  toCaptureImage,
} from '../../job/index.ts';
import { PALETTE_LIMITS, type Palette, readJson } from '../../material/index.ts';
import { decodePhoto, readPhoto, readPhotoFile, sha256, writeFilesAtomic } from '../../plane/index.ts';
import { readCorners, readLayouts } from '../captures.ts';
import type { OptionValues, Outcome, Run } from '../command.ts';
import { measureChart } from '../measured.ts';
import { numberOf, textOf } from '../options.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([file], options, { io, shop, warn, progress }) => {
  const path = resolve(io.cwd, file!);
  const layouts = readLayouts(options, { shop, cwd: io.cwd, warn });
  const profileName = textOf(options, 'profile');
  if (profileName === undefined) return measureFile(path, { layouts, options, warn, cwd: io.cwd, date: io.today() });
  const profile = readProfile(profileName, shop);
  progress('reading the capture');
  const bytes = await readPhotoFile(path);
  const photo = await decodePhoto(bytes, path);
  const corners = readCorners(textOf(options, 'corners'));
  const image = toCaptureImage(photo);
  const check = checkCapture(image, {
    layouts,
    profile,
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
    mirrored: options.mirrored === true,
    ...(corners ? { corners } : {}),
  });
  for (const { text } of check.warnings) warn(text);
  for (const { id, detail } of check.readings.rejected) warn(`patch ${id} was left out: ${detail}`);

  const date = io.today();
  const historyPath = shop.shopDir === undefined ? undefined : join(shop.shopDir, 'history', `${profile.name}.json`);
  const known = historyPath !== undefined && existsSync(historyPath) ? readJson(historyPath) : undefined;
  const before = known === undefined ? undefined : parseHistory(known, historyPath!);
  const history =
    historyPath === undefined ? undefined : addToHistory(before, { check, date, captureSha256: sha256(bytes) });
  const outText = textOf(options, 'out');
  const out = outText === undefined ? undefined : resolve(io.cwd, outText);
  if (out !== undefined) {
    progress('drawing the page');
    const found = await drawFindings({ name: basename(path), image, located: check.located, readings: check.readings });
    const page = renderCheckPage({
      check,
      profile,
      date,
      captureName: basename(path),
      found,
      ...(history ? { history } : {}),
    });
    await writeFilesAtomic([{ path: out, bytes: page }], { force: options.force === true });
  }
  if (historyPath !== undefined) {
    await writeFilesAtomic([{ path: historyPath, bytes: `${JSON.stringify(history, null, 2)}\n` }], { force: true });
  }
  const { located, readings, ...facts } = check;
  const verified = listVerified(history);
  return {
    json: {
      ...facts,
      rejected: readings.rejected,
      date,
      capture: path,
      pxPerMm: located.pxPerMm,
      tags: located.tags.length,
      screens: check.verification ? verified : null,
      history: historyPath ?? null,
      page: out ?? null,
    },
    text: writeCheck(check, {
      historyPath,
      entries: history?.entries.length,
      out,
      ofPrint: check.verification
        ? [...sayVerification(check.verification, profile), ...sayPrediction(verified, profile)]
        : [],
    }),
  };
};

/** A dose or a spot chart is measured without a profile. */
async function measureFile(
  path: string,
  {
    layouts,
    options,
    warn,
    cwd,
    date,
  }: {
    readonly layouts: readonly ChartLayout[];
    readonly options: OptionValues;
    readonly warn: (text: string) => void;
    readonly cwd: string;
    readonly date: string;
  },
): Promise<Outcome> {
  const image = toCaptureImage(await readPhoto(path));
  const corners = readCorners(textOf(options, 'corners'));
  const captures = readCaptures([{ name: basename(path), image }], {
    layouts,
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
    mirrored: options.mirrored === true,
    ...(corners ? { corners } : {}),
  });
  const { layout } = captures[0]!.located;
  if (layout.kind !== 'dose' && layout.kind !== 'spot') {
    throw new AppError(
      'option-invalid',
      `found a ${layout.kind} chart (${layout.hash}) without --profile, needed the profile that it is compared with`,
    );
  }
  const out = textOf(options, 'out');
  const { outcome, files } = await measureChart(captures, {
    options,
    warn,
    ...(out === undefined ? {} : { page: resolve(cwd, out) }),
  });
  const paletteText = textOf(options, 'palette');
  if (paletteText === undefined) {
    await writeFilesAtomic(files, { force: options.force === true });
    return outcome;
  }
  const palettePath = resolve(cwd, paletteText);
  const palette = readPalette(captures, { options, date, name: basename(palettePath, '.json') });
  const palettes = [{ path: palettePath, bytes: `${JSON.stringify(palette, null, 2)}\n` }];
  await writeFilesAtomic([...files, ...palettes], { force: options.force === true });
  return {
    json: { ...(outcome.json as object), palette },
    text: [
      outcome.text,
      alignColumns([
        ['MARK', 'CELL', 'L*', 'a*', 'b*', 'POWER', 'SPEED'],
        ...palette.marks.map(({ name, cell, colour, settings }) => [
          name,
          cell ?? '',
          ...colour.map((value) => value.toFixed(1)),
          `${formatNumber(settings.powerW, 3)} W`,
          `${formatNumber(settings.speedMmPerS, 4)} mm/s`,
        ]),
      ]),
      alignColumns([['wrote', palettePath]]),
    ].join('\n\n'),
  };
}

/** The palette of a dose chart: the cells asked for, or the most distinct. */
function readPalette(
  captures: readonly ReadCapture[],
  { options, date, name }: { readonly options: OptionValues; readonly date: string; readonly name: string },
): Palette {
  const { reading } = measureCaptures(captures);
  const { layout } = captures[0]!.located;
  if (reading.schema !== 'tonewright-dose/1') {
    throw new AppError('option-invalid', `--palette: found a ${layout.kind} chart, needed a dose chart`);
  }
  const cells = textOf(options, 'cells')?.split(',');
  const count = numberOf(options, 'count', { min: 1, max: PALETTE_LIMITS.marks, whole: true });
  if (!/^[a-z0-9]+(?:[-.][a-z0-9]+)*$/.test(name)) {
    throw new AppError(
      'option-invalid',
      `--palette: found the name "${name}", needed lower-case letters, digits and hyphens before .json`,
    );
  }
  return choosePalette(reading, layout, { name, date, ...(cells ? { cells } : {}), ...(count ? { count } : {}) });
}

interface Kept {
  readonly historyPath: string | undefined;
  readonly entries: number | undefined;
  readonly out: string | undefined;
  /** What a verification chart says of the print. */
  readonly ofPrint: readonly string[];
}

function writeCheck(check: Check, { historyPath, entries, out, ofPrint }: Kept): string {
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
    alignColumns([['PATCH', 'COVERAGE', 'EXPECTED', 'READ', 'ΔL*', 'UNITS'], ...rows]),
    alignColumns([
      ['profile', profile],
      ['chart', `${chart.kind} ${chart.hash}`],
      ...(historyPath === undefined ? [] : [['history', `${historyPath} (${entries} kept)`]]),
      ...(out === undefined ? [] : [['wrote', out]]),
    ]),
  ].join('\n\n');
}
