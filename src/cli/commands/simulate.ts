import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import { AppError } from '../../errors.ts';
import type { BurnSettings } from '../../optics/index.ts';
import {
  type BurnRequest,
  CAMERA_NAMES,
  captureFile,
  type EngravedRecord,
  engraveBitmap,
  type FaultsRecord,
  listFaults,
  listSimulation,
  readDiameters,
  readModel,
  simulateFaults,
} from '../../tasks/index.ts';
import { parsePlaceMm } from '../../units.ts';
import type { CommandContext, Io, OptionValues, Outcome, Run } from '../command.ts';
import { lengthOf, numberOf, textOf } from '../options.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([action, file], options, commandContext) => {
  if (action === 'engrave' && file !== undefined) return engrave(file, options, commandContext);
  if (action === 'capture' && file !== undefined) return capture(file, options, commandContext);
  if (action === 'list' && file === undefined) return list();
  if (action === 'faults' && file === undefined) return plantFaults(options, commandContext);
  throw new AppError(
    'option-invalid',
    `found "simulate ${[action, file].filter(Boolean).join(' ')}", needed "simulate engrave BITMAP", "simulate capture SURFACE", "simulate faults" or "simulate list"`,
  );
};

function list(): Outcome {
  const { materials, cameras, fields, levels } = listSimulation();
  return {
    json: { materials, cameras, fields, levels },
    text: [
      alignColumns([
        ['MATERIAL', 'TITLE', 'MARKS'],
        ...materials.map(({ name, title, direction }) => [name, title, direction]),
      ]),
      alignColumns([['CAMERA', 'TITLE'], ...cameras.map(({ name, title }) => [name, title])]),
      alignColumns([['FIELD', 'TITLE'], ...fields.map(({ name, title }) => [name, title])]),
      alignColumns([['LEVELS', 'TITLE'], ...levels.map(({ name, title }) => [name, title])]),
    ].join('\n\n'),
  };
}

async function engrave(file: string, options: OptionValues, commandContext: CommandContext): Promise<Outcome> {
  const { cwd } = commandContext.io;
  const record = await engraveBitmap(
    {
      ...readBurn(file, options, commandContext.io),
      out: resolve(cwd, requireText(options, 'out', 'the .npy or .png file to write')),
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  const { files, width, height, surface, facts } = record;
  return {
    json: { files, width, height, ...surface, ...facts },
    text: writeEngraved(record),
  };
}

function writeEngraved({ files, width, height, surface, facts }: EngravedRecord): string {
  const { widthMm, heightMm } = surface;
  return alignColumns([
    ...files.map((path) => ['wrote', path]),
    ['piece', `${formatNumber(widthMm)} × ${formatNumber(heightMm)} mm, ${width} × ${height} pixels`],
    ['burned', `${facts.material}, ${describeSettings(facts.settings)}, seed ${facts.seed}`],
    ...(facts.settingsOf
      ? [
          [
            'as in',
            `${facts.settingsOf.file}: ${describeSettings(facts.settingsOf.settings)} on ${facts.settingsOf.machine}, whose start settings stand for the material model’s`,
          ],
        ]
      : []),
    ...(facts.around ? [['around', sayTurn(facts.around)]] : []),
    ...(facts.levels ? [['power per dot', facts.levels]] : []),
    ...(facts.field ? [['field', `${facts.field.title}; middle at ${facts.field.xMm}, ${facts.field.yMm} mm`]] : []),
    ...(facts.faults.length > 0 ? [['faults', facts.faults.join(', ')]] : []),
  ]);
}

function sayTurn({
  diametersMm: [upper, lower],
  coveredDeg,
  gapMm,
  view,
}: NonNullable<EngravedRecord['facts']['around']>) {
  const shown = view === 'unrolled' ? 'its skin laid flat' : `seen from its ${view}`;
  const girth =
    upper === lower ? `Ø ${formatNumber(upper)} mm` : `Ø ${formatNumber(upper)} to ${formatNumber(lower)} mm`;
  const seam = gapMm >= 0 ? `${formatNumber(gapMm, 3)} mm left` : `${formatNumber(-gapMm, 3)} mm over one another`;
  return `${girth}, ${formatNumber(coveredDeg, 5)} degrees burned, ${seam} half-way; ${shown}`;
}

async function capture(file: string, options: OptionValues, commandContext: CommandContext): Promise<Outcome> {
  const { cwd } = commandContext.io;
  const rotationDeg = numberOf(options, 'rotate', { min: -360, max: 360, unit: 'degrees' });
  const paperL = numberOf(options, 'paper', { min: 80, max: 100, unit: 'L*' });
  const quality = numberOf(options, 'quality', { min: 1, max: 100, whole: true });
  const out = resolve(cwd, requireText(options, 'out', 'the .png or .jpg file to write'));
  const record = await captureFile(
    {
      ...readBurn(file, options, commandContext.io),
      camera: requireText(options, 'camera', `one of ${CAMERA_NAMES.join(', ')}`),
      ...(rotationDeg === undefined ? {} : { rotationDeg }),
      ...(paperL === undefined ? {} : { paperL }),
      ...lengthOf(options, 'pixel', (pixelMm) => ({ pixelMm })),
      ...(quality === undefined ? {} : { quality }),
      out,
      force: options.force === true,
    },
    taskContext(commandContext),
  );
  const { camera, seed, width, height, geometry } = record;
  return {
    json: { file: out, camera: camera.name, seed, width, height, geometry },
    text: alignColumns([
      ['wrote', out],
      ['camera', `${camera.title}, seed ${seed}`],
      ['picture', `${width} × ${height} pixels`],
    ]),
  };
}

async function plantFaults(options: OptionValues, { io, progress }: CommandContext): Promise<Outcome> {
  const model = readModel(readModelOption(textOf(options, 'materialModel') ?? 'anodised-black', io.cwd));
  const seed = readSeed(options) ?? 1;
  const record = await simulateFaults(model, { seed, progress, only: listFaults({ faults: readFaults(options) }) });
  return {
    json: { material: model.name, seed, faults: record.faults },
    text: writeFaults(record),
  };
}

export function writeFaults({ model, chart, strip, faults }: FaultsRecord): string {
  return [
    `${model.title}, chart ${chart}, strip ${strip}`,
    ...faults.map(({ fault, planted, said, code }) =>
      alignColumns([
        [fault.toUpperCase(), planted],
        ['', `${code === null ? '' : `refused (${code}): `}${said}`],
      ]),
    ),
  ].join('\n\n');
}

/** What both uses take of the bitmap and its burning. */
function readBurn(file: string, options: OptionValues, { cwd }: Io): BurnRequest {
  const dpi = numberOf(options, 'dpi', { min: 100, max: 2400, unit: 'dots per inch' });
  const seed = readSeed(options);
  const chart = textOf(options, 'chart');
  const model = textOf(options, 'materialModel');
  const field = textOf(options, 'field');
  const levels = textOf(options, 'levels');
  const at = textOf(options, 'at');
  const seen = textOf(options, 'seen');
  const around = textOf(options, 'around');
  const view = textOf(options, 'view');
  return {
    path: resolve(cwd, file),
    ...(model === undefined ? {} : { model: readModelOption(model, cwd) }),
    ...lengthOf(options, 'pitch', (pitchMm) => ({ pitchMm })),
    ...lengthOf(options, 'spacing', (lineSpacingMm) => ({ lineSpacingMm })),
    ...(dpi === undefined ? {} : { dpi }),
    ...(seed === undefined ? {} : { seed }),
    ...(chart === undefined ? {} : { chart: existsSync(resolve(cwd, chart)) ? resolve(cwd, chart) : chart }),
    settings: readSettings(options),
    ...lengthOf(options, 'margin', (marginMm) => ({ marginMm })),
    ...(field === undefined ? {} : { field: readModelOption(field, cwd) }),
    ...(levels === undefined ? {} : { levels: readModelOption(levels, cwd) }),
    ...(at === undefined ? {} : { at: parsePlaceMm(at, 'at') }),
    ...heightOf(options, 'focus', (focusMm) => ({ focusMm })),
    ...heightOf(options, 'astigmatism', (astigmatismMm) => ({ astigmatismMm })),
    ...(seen === undefined ? {} : { seen: seen as NonNullable<BurnRequest['seen']> }),
    ...lengthOf(options, 'round', (roundDiameterMm) => ({ roundDiameterMm })),
    ...(around === undefined ? {} : { aroundDiametersMm: readDiameters(around) }),
    ...(view === undefined ? {} : { view: view as NonNullable<BurnRequest['view']> }),
    faults: readFaults(options),
  };
}

/** Farthest that a virtual beam is out of focus, mm. Assumed: beyond it nothing is marked. */
const MOST_OFF_MM = 100;

function heightOf<T extends object>(options: OptionValues, name: string, make: (mm: number) => T): T | object {
  const value = numberOf(options, name, { min: -MOST_OFF_MM, max: MOST_OFF_MM, unit: 'mm' });
  return value === undefined ? {} : make(value);
}

/**
 * Smallest power (W) and speed (mm/s) that an option takes. Assumed: they must be above 0, and no machine goes lower.
 */
const LEAST = 0.001;

function readSettings(options: OptionValues): NonNullable<BurnRequest['settings']> {
  const given = {
    powerW: numberOf(options, 'power', { min: LEAST, unit: 'W' }),
    speedMmPerS: numberOf(options, 'speed', { min: LEAST, unit: 'mm/s' }),
    passes: numberOf(options, 'passes', { min: 1, max: 100, whole: true }),
    scan: textOf(options, 'scan'),
  };
  return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined));
}

const readModelOption = (text: string, cwd: string) => (/[\\/]|\.json$/i.test(text) ? resolve(cwd, text) : text);

function readSeed(options: OptionValues): number | undefined {
  return numberOf(options, 'seed', { min: 0, max: 2 ** 32 - 1, whole: true });
}

function readFaults(options: OptionValues): readonly string[] {
  return (textOf(options, 'faults') ?? '')
    .split(',')
    .map((word) => word.trim())
    .filter((word) => word !== '');
}

function requireText(options: OptionValues, name: string, needed: string): string {
  const text = textOf(options, name);
  if (text !== undefined) return text;
  const flag = name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
  throw new AppError('option-invalid', `found no --${flag}, needed ${needed}`);
}

function describeSettings({ powerW, speedMmPerS, passes, scan }: BurnSettings): string {
  return `${formatNumber(powerW)} W, ${formatNumber(speedMmPerS)} mm/s, ${passes} ${passes === 1 ? 'pass' : 'passes'}, ${scan}`;
}
