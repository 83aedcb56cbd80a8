import { existsSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { Corners } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import type { CapturesRequest, GridRequest } from '../tasks/index.ts';
import { parseLengthOrZeroMm } from '../units.ts';
import type { OptionValues } from './command.ts';
import { textOf } from './options.ts';

/** What `learn` and `check` are told of the captures, as a request. */
export function readCaptureOptions(paths: readonly string[], options: OptionValues, cwd: string): CapturesRequest {
  const corners = readCorners(textOf(options, 'corners'));
  const chart = textOf(options, 'chart');
  const direction = textOf(options, 'direction') as 'lighter' | 'darker' | undefined;
  return {
    captures: paths.map((path) => ({ path: resolve(cwd, path), name: basename(path) })),
    ...(chart === undefined ? {} : { chart: existsSync(resolve(cwd, chart)) ? resolve(cwd, chart) : chart }),
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
    mirrored: options.mirrored === true,
    ...(corners ? { corners } : {}),
    ...(direction ? { direction } : {}),
    ...readReferenceOptions(options),
  };
}

/** `paper`, `scanner`, or the L* of a neutral card and how well it is known; and where it lies. */
function readReferenceOptions(options: OptionValues): Pick<CapturesRequest, 'reference' | 'referenceAt'> {
  const text = textOf(options, 'reference');
  const at = textOf(options, 'referenceAt');
  return {
    ...(text === undefined ? {} : { reference: parseReference(text) }),
    ...(at === undefined ? {} : { referenceAt: parseBox(at) }),
  };
}

function parseReference(text: string): NonNullable<CapturesRequest['reference']> {
  if (text === 'paper' || text === 'scanner') return text;
  const [lightness, tolerance, ...more] = text.split(/[±,]/).map(Number);
  if (!Number.isFinite(lightness) || more.length > 0) {
    throw new AppError(
      'option-invalid',
      `--reference: found "${text}", needed paper, scanner, or the L* of a neutral card from 20 to 99 with its tolerance, such as 50 or 50,1`,
    );
  }
  return { lightness: lightness!, tolerance };
}

function parseBox(text: string): NonNullable<CapturesRequest['referenceAt']> {
  const [x, y, width, height, ...more] = text.split(',').map(Number);
  if (height === undefined || more.length > 0) {
    throw new AppError(
      'option-invalid',
      `--reference-at: found "${text}", needed x,y,width,height in pixels of the capture`,
    );
  }
  return { x: x!, y: y!, width: width!, height };
}

/** Four points as eight numbers: x,y of the upper left, upper right, lower right and lower left corner. */
function readCorners(text: string | undefined): Corners | undefined {
  if (text === undefined) return undefined;
  const numbers = text.split(/[\s,;]+/).map((part) => (part === '' ? Number.NaN : Number(part)));
  if (numbers.length !== 8 || !numbers.every(Number.isFinite)) {
    throw new AppError(
      'option-invalid',
      `--corners: found "${text}", needed eight numbers x,y,x,y,x,y,x,y in pixels, from the upper left corner clockwise`,
    );
  }
  const [x0, y0, x1, y1, x2, y2, x3, y3] = numbers as [number, number, number, number, number, number, number, number];
  return [
    [x0, y0],
    [x1, y1],
    [x2, y2],
    [x3, y3],
  ];
}

/** Gap between two cells, mm, where none is said. Assumed: what most grids have. */
const USUAL_GAP_MM = 1;

/** The grid that another software burned into an empty field. */
export function readFieldGrid(options: OptionValues): GridRequest | undefined {
  const [columns, rows, gap] = ['columns', 'rows', 'cellGap'].map((name) => textOf(options, name));
  if (columns === undefined && rows === undefined && gap === undefined) return undefined;
  if (columns === undefined || rows === undefined) {
    throw new AppError(
      'option-invalid',
      `found ${columns === undefined ? 'no columns' : 'no rows'}, needed both of the grid that was burned, such as --columns power=10%:60%:6 --rows speed=500:2000:4`,
    );
  }
  return { columns, rows, gapMm: gap === undefined ? USUAL_GAP_MM : parseLengthOrZeroMm(gap, '--cell-gap') };
}

/** `A2=31,A3=38.5`: diameters of craters by cell, µm. */
export function readDiameters(text: string | undefined): Readonly<Record<string, number>> | undefined {
  if (text === undefined) return undefined;
  const pairs = text.split(',').map((part) => part.trim().split('='));
  if (!pairs.every(([id, value]) => id && Number(value) > 0)) {
    throw new AppError('option-invalid', `--diameters: found "${text}", needed cells with µm such as A2=31,A3=38.5`);
  }
  return Object.fromEntries(pairs.map(([id, value]) => [id!, Number(value)]));
}
