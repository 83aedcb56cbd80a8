import { existsSync } from 'node:fs';
import { basename, join, resolve } from 'node:path';
import { type ChartLayout, locateChart, readPatches } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import {
  addToHistory,
  type Check,
  checkCapture,
  type DoseReading,
  drawFindings,
  listVerified,
  parseHistory,
  readDose,
  readProfile,
  readSpot,
  renderCheckPage,
  renderMeasuredPage,
  type SpotReading,
  sayPrediction,
  sayVerification,
  toCaptureImage,
} from '../../job/index.ts';
import { readJson } from '../../material/index.ts';
import { decodePhoto, readBytes, readPhoto, sha256, writeFilesAtomic } from '../../plane/index.ts';
import { readCorners, readLayouts } from '../captures.ts';
import type { OptionValues, Outcome, Run } from '../command.ts';
import { textOf } from '../options.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([file], options, { io, shop, warn, progress }) => {
  const path = resolve(io.cwd, file!);
  const layouts = readLayouts(options, { shop, cwd: io.cwd, warn });
  const profileName = textOf(options, 'profile');
  if (profileName === undefined) return measureChart(path, { layouts, options, warn, cwd: io.cwd });
  const profile = readProfile(profileName, shop);
  progress('reading the capture');
  const bytes = await readBytes(path);
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
  for (const text of check.warnings) warn(text);
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
async function measureChart(
  path: string,
  {
    layouts,
    options,
    warn,
    cwd,
  }: {
    readonly layouts: readonly ChartLayout[];
    readonly options: OptionValues;
    readonly warn: (text: string) => void;
    readonly cwd: string;
  },
): Promise<Outcome> {
  const image = toCaptureImage(await readPhoto(path));
  const corners = readCorners(textOf(options, 'corners'));
  const located = locateChart(image, layouts, { mirrored: options.mirrored === true, ...(corners ? { corners } : {}) });
  const { layout } = located;
  if (layout.kind !== 'dose' && layout.kind !== 'spot') {
    throw new AppError(
      'option-invalid',
      `found a ${layout.kind} chart (${layout.hash}) without --profile, needed the profile that it is compared with`,
    );
  }
  const readings = readPatches(image, located, {
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
  });
  for (const text of readings.warnings) warn(text);
  for (const { id, detail } of readings.rejected) warn(`patch ${id} was left out: ${detail}`);
  const diametersUm = readDiameters(textOf(options, 'diameters'));
  const reading =
    layout.kind === 'spot'
      ? readSpot(readings, layout)
      : readDose(readings, layout, diametersUm ? { diametersUm } : {});
  const outText = textOf(options, 'out');
  const out = outText === undefined ? undefined : resolve(cwd, outText);
  if (out !== undefined) {
    const name = basename(path);
    const found = await drawFindings({ name, image, located, readings });
    const page = renderMeasuredPage({ reading, captureName: name, found });
    await writeFilesAtomic([{ path: out, bytes: page }], { force: options.force === true });
  }
  const text = reading.schema === 'tonewright-spot/1' ? writeSpot(reading) : writeDose(reading);
  return {
    json: { ...reading, rejected: readings.rejected, page: out ?? null },
    text: out === undefined ? text : `${text}\n\nwrote  ${out}`,
  };
}

function writeSpot({ widthX, widthY, dotUm, yuleNielsenN, recommendedSpacingMm, ladders, notes }: SpotReading): string {
  const width = ({ valueUm, lowUm, highUm }: SpotReading['widthX']) =>
    `${formatNumber(valueUm, 3)} µm (95 %: ${formatNumber(lowUm, 3)} … ${formatNumber(highUm, 3)})`;
  return [
    alignColumns([
      ['mark along the scan', width(widthX)],
      ['mark across the scan', width(widthY)],
      ...(dotUm === null ? [] : [['one dot alone', `as a disc of ${formatNumber(dotUm, 3)} µm`]]),
      ['light spread', `Yule-Nielsen n ${formatNumber(yuleNielsenN, 3)}`],
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

function writeDose(dose: DoseReading): string {
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
      ['turns back', dose.turnsBackJPerCm2 === null ? 'not seen' : show(dose.turnsBackJPerCm2)],
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
        `${formatNumber(settings.powerW)} W`,
        `${formatNumber(settings.speedMmPerS)} mm/s`,
        String(settings.passes),
        `${formatNumber(doseJPerCm2, 3)} J/cm²`,
        lightness.toFixed(1),
        contrast.toFixed(1),
        mark(id),
      ]),
    ]),
  ].join('\n\n');
}

/** `A2=31,A3=38.5`: diameters of craters by cell, µm. */
function readDiameters(text: string | undefined): Readonly<Record<string, number>> | undefined {
  if (text === undefined) return undefined;
  const pairs = text.split(',').map((part) => part.trim().split('='));
  if (!pairs.every(([id, value]) => id && Number(value) > 0)) {
    throw new AppError('option-invalid', `--diameters: found "${text}", needed cells with µm such as A2=31,A3=38.5`);
  }
  return Object.fromEntries(pairs.map(([id, value]) => [id!, Number(value)]));
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
