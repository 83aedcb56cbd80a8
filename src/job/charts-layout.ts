import * as v from 'valibot';
import { type ChartLayout, layoutHash, tagIdOf } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { parseRecord } from '../schema.ts';

const number = v.pipe(v.number(), v.finite());
const positive = v.pipe(v.number(), v.finite(), v.gtValue(0));

/**
 * What must be there before the hash can be taken. The hash, over every field that a reader uses, does the rest: a layout
 * that was changed by hand no longer has the one that its piece carries.
 */
const LAYOUT = v.looseObject({
  schema: v.literal('tonewright-chart/1'),
  kind: v.picklist(['spot', 'dose', 'tone', 'verify', 'check']),
  hash: v.pipe(v.string(), v.regex(/^[0-9a-f]{10}$/)),
  machine: v.string(),
  material: v.string(),
  direction: v.picklist(['lighter', 'darker']),
  settings: v.looseObject({ powerW: positive, speedMmPerS: positive, passes: positive }),
  screen: v.looseObject({ name: v.string(), options: v.record(v.string(), v.union([v.string(), v.number()])) }),
  grid: v.looseObject({ pitchMm: positive, lineSpacingMm: positive }),
  widthMm: positive,
  heightMm: positive,
  borderMm: positive,
  gapMm: positive,
  tags: v.pipe(v.array(v.looseObject({ id: number, position: number, xDots: number, yDots: number })), v.minLength(2)),
  labels: v.array(v.looseObject({ text: v.string() })),
  patches: v.pipe(
    v.array(
      v.looseObject({
        id: v.string(),
        role: v.string(),
        pattern: v.looseObject({ kind: v.string() }),
        coverage: number,
        group: v.string(),
        xMm: number,
        yMm: number,
        widthMm: positive,
        heightMm: positive,
      }),
    ),
    v.minLength(1),
  ),
});

/**
 * Layout of a chart from parsed JSON.
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid when a field is missing or the layout is no longer the one that its hash names.
 */
export function parseChartLayout(json: unknown, where: string): ChartLayout {
  const layout = parseRecord(LAYOUT, { json, what: `chart layout ${where}` }) as unknown as ChartLayout;
  const hash = layoutHash(layout);
  const changed = layout.tags.some((tag) => tag.id !== tagIdOf(layout.hash, tag.position));
  if (hash !== layout.hash || changed) {
    throw new AppError(
      'file-invalid',
      `chart layout ${where}, field "hash": found ${layout.hash} on a layout that has ${hash}, needed the file as it was written with the chart`,
      { where, field: 'hash', found: layout.hash, needed: hash },
    );
  }
  return layout;
}
