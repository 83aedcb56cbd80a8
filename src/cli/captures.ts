import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import type { ChartLayout, Corners } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { parseChartLayout } from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import type { OptionValues } from './command.ts';
import { textOf } from './options.ts';

/** The layout that was given, else all that the shop keeps: the tags say which. */
export function readLayouts(
  options: OptionValues,
  { shop, cwd, warn }: { readonly shop: Shop; readonly cwd: string; readonly warn: (text: string) => void },
): readonly ChartLayout[] {
  const given = textOf(options, 'chart');
  if (given !== undefined) {
    const path = resolve(cwd, given);
    if (existsSync(path)) return [parseChartLayout(readJson(path), path)];
    const record = shop.read('charts', given);
    return [parseChartLayout(record.json, record.path)];
  }
  const layouts = shop.list('charts').flatMap(({ path }) => {
    try {
      return [parseChartLayout(readJson(path), path)];
    } catch (error) {
      // One broken file must not hide the others.
      if (!(error instanceof AppError)) throw error;
      warn(error.message);
      return [];
    }
  });
  if (layouts.length > 0) return layouts;
  throw new AppError(
    'path-missing',
    `found no ${shop.shopDir === undefined ? 'shop folder to look for charts in' : 'chart in the shop folder'}, needed --chart with the .json that was written with the chart or the strip`,
    { shop: shop.shopDir ?? null },
  );
}

/** Four points as eight numbers: x,y of the upper left, upper right, lower right and lower left corner. */
export function readCorners(text: string | undefined): Corners | undefined {
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
