import { existsSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { Corners, NeutralReference } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { type CapturesRequest, WHITE_PAPER } from '../tasks/index.ts';
import type { OptionValues } from './command.ts';
import { textOf } from './options.ts';

/** What `learn` and `check` are told of the captures, as a request. */
export function readCaptureOptions(paths: readonly string[], options: OptionValues, cwd: string): CapturesRequest {
  const corners = readCorners(textOf(options, 'corners'));
  const chart = textOf(options, 'chart');
  const direction = textOf(options, 'direction') as 'lighter' | 'darker' | undefined;
  const reference = readReferenceOption(options, paths.length);
  return {
    captures: paths.map((path) => ({ path: resolve(cwd, path), name: basename(path) })),
    ...(chart === undefined ? {} : { chart: existsSync(resolve(cwd, chart)) ? resolve(cwd, chart) : chart }),
    camera: textOf(options, 'camera') === 'unknown' ? 'unknown' : 'known',
    mirrored: options.mirrored === true,
    ...(corners ? { corners } : {}),
    ...(direction ? { direction } : {}),
    ...(reference ? { reference } : {}),
  };
}

/** `paper`, `scanner`, or the L* of a neutral card and how well it is known; where it lies, for one capture. */
function readReferenceOption(options: OptionValues, captures: number): CapturesRequest['reference'] {
  const text = textOf(options, 'reference');
  const at = textOf(options, 'referenceAt');
  if (text === undefined || text === 'scanner') {
    if (at === undefined) return text;
    throw new AppError(
      'option-invalid',
      '--reference-at: found no field to look for, needed --reference paper or its L*',
    );
  }
  const [lightness, tolerance = 1, ...more] =
    text === 'paper' ? [WHITE_PAPER.lightness, WHITE_PAPER.tolerance] : text.split(/[±,]/).map(Number);
  if (!(lightness! >= 20 && lightness! <= 99 && tolerance > 0 && tolerance <= 10) || more.length > 0) {
    throw new AppError(
      'option-invalid',
      `--reference: found "${text}", needed paper, scanner, or the L* of a neutral card from 20 to 99 with its tolerance, such as 50 or 50,1`,
    );
  }
  const reference: NeutralReference = { lightness: lightness!, tolerance };
  if (at === undefined) return reference;
  if (captures !== 1) {
    throw new AppError(
      'option-invalid',
      `--reference-at: found ${captures} captures, needed one; it is a place in one picture`,
    );
  }
  const box = at.split(',').map(Number);
  if (box.length !== 4 || !box.every((value) => value >= 0) || !(box[2]! > 0 && box[3]! > 0)) {
    throw new AppError(
      'option-invalid',
      `--reference-at: found "${at}", needed x,y,width,height in pixels of the capture`,
    );
  }
  return { ...reference, box: { x: box[0]!, y: box[1]!, width: box[2]!, height: box[3]! } };
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

/** `A2=31,A3=38.5`: diameters of craters by cell, µm. */
export function readDiameters(text: string | undefined): Readonly<Record<string, number>> | undefined {
  if (text === undefined) return undefined;
  const pairs = text.split(',').map((part) => part.trim().split('='));
  if (!pairs.every(([id, value]) => id && Number(value) > 0)) {
    throw new AppError('option-invalid', `--diameters: found "${text}", needed cells with µm such as A2=31,A3=38.5`);
  }
  return Object.fromEntries(pairs.map(([id, value]) => [id!, Number(value)]));
}
