import * as v from 'valibot';
import { CHART_KIND_NAMES, type ChartLayout, layoutHash, TAG_PLACES, tagIdOf } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { BENEATH } from '../../material/index.ts';
import { GRID_FIELDS, QUANTITIES, SETTINGS_FIELDS, wholeWithin, within } from '../../quantities.ts';
import { parseRecord, refuseFaults } from '../../schema.ts';

const { sizeMm, placeMm, marginMm } = QUANTITIES;
const whole = wholeWithin(0, 1e9);
const tagPlace = wholeWithin(0, TAG_PLACES - 1);

const screen = v.looseObject({
  name: v.string(),
  options: v.record(v.string(), v.union([v.string(), within(-1e9, 1e9)])),
});

/**
 * What must be there before the hash can be taken. The hash, over every field that a reader uses, does the rest: a
 * layout that was changed by hand no longer has the one that its piece carries.
 */
const LAYOUT = v.looseObject({
  schema: v.literal('tonewright-chart/1'),
  kind: v.picklist(CHART_KIND_NAMES),
  hash: v.pipe(v.string(), v.regex(/^[0-9a-f]{10}$/)),
  machine: v.string(),
  material: v.string(),
  direction: v.picklist(['lighter', 'darker']),
  settings: v.looseObject(SETTINGS_FIELDS),
  screen,
  grid: v.looseObject(GRID_FIELDS),
  widthMm: sizeMm,
  heightMm: sizeMm,
  borderMm: marginMm,
  gapMm: marginMm,
  tags: v.pipe(v.array(v.looseObject({ id: whole, position: tagPlace, xDots: whole, yDots: whole })), v.minLength(2)),
  labels: v.array(v.looseObject({ text: v.string() })),
  patches: v.pipe(
    v.array(
      v.looseObject({
        id: v.string(),
        role: v.string(),
        pattern: v.looseObject({ kind: v.string() }),
        coverage: within(0, 1),
        group: v.string(),
        xMm: placeMm,
        yMm: placeMm,
        widthMm: sizeMm,
        heightMm: sizeMm,
      }),
    ),
    v.minLength(1),
  ),
  field: v.exactOptional(v.strictObject({ xMm: placeMm, yMm: placeMm, widthMm: sizeMm, heightMm: sizeMm })),
  inField: v.exactOptional(
    v.strictObject({ xMm: placeMm, yMm: placeMm, widthMm: sizeMm, heightMm: sizeMm, profile: v.string() }),
  ),
  levels: v.exactOptional(v.looseObject({ count: wholeWithin(3, 256), screen })),
  ramp: v.exactOptional(v.strictObject({ riseMm: marginMm })),
  seen: v.exactOptional(v.literal('through')),
  beneath: v.exactOptional(v.picklist(BENEATH)),
});

/**
 * No place, count or setting of a chart is as large, whatever its unit. A number without unit. Assumed: keeps sums of
 * what a file says finite.
 */
const LARGEST = 1e9;

/** The first number, of fields that the schema does not name too, that is beyond all reason. */
function findBeyond(value: unknown, field = ''): { readonly field: string; readonly found: string } | undefined {
  if (typeof value === 'number') return Math.abs(value) <= LARGEST ? undefined : { field, found: String(value) };
  if (value === null || typeof value !== 'object') return undefined;
  for (const [key, one] of Object.entries(value)) {
    const found = findBeyond(one, field === '' ? key : `${field}.${key}`);
    if (found) return found;
  }
  return undefined;
}

/**
 * Layout of a chart from parsed JSON.
 * @param where what is being read, for messages: a path or a name.
 * @throws AppError file-invalid when a field is missing or the layout is no longer the one that its hash names.
 */
export function parseChartLayout(json: unknown, where: string): ChartLayout {
  const what = `chart layout ${where}`;
  const layout = parseRecord(LAYOUT, { json, what }) as unknown as ChartLayout;
  const beyond = findBeyond(layout);
  if (beyond) refuseFaults([{ ...beyond, needed: `a number from ${-LARGEST} to ${LARGEST}` }], what);
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
