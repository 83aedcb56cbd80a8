import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { QUANTITIES } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import { findCutFaults } from './cut-outs.ts';
import { namePocket } from './frame-jig.ts';
import { JIG_DEFAULTS, type Jig, orderJig, type Pocket, roundMm } from './types.ts';

const { sizeMm, placeMm, marginMm } = QUANTITIES;
const text = v.pipe(v.string(), v.nonEmpty());
const corner = v.picklist(['top-left', 'top-right', 'bottom-left', 'bottom-right']);
const counting = v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100));

const pocket = v.strictObject({
  name: v.pipe(text, v.maxLength(12)),
  xMm: placeMm,
  yMm: placeMm,
  widthMm: sizeMm,
  heightMm: sizeMm,
  stop: v.exactOptional(corner),
  use: v.exactOptional(v.picklist(['piece', 'strip'])),
  round: v.exactOptional(v.boolean()),
});

const grid = v.strictObject({
  columns: counting,
  rows: counting,
  xMm: placeMm,
  yMm: placeMm,
  pocketMm: v.strictTuple([sizeMm, sizeMm]),
  gapMm: v.union([marginMm, v.strictTuple([marginMm, marginMm])]),
  stop: v.exactOptional(corner),
  round: v.exactOptional(v.boolean()),
});

const schema = v.strictObject({
  schema: v.literal('tonewright-jig/1'),
  name: v.pipe(v.string(), v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'lower-case letters, digits and single hyphens')),
  title: text,
  note: v.exactOptional(v.string()),
  machine: v.exactOptional(text),
  widthMm: sizeMm,
  heightMm: sizeMm,
  stop: v.exactOptional(corner, JIG_DEFAULTS.stop),
  fieldAtMm: v.exactOptional(v.strictTuple([placeMm, placeMm])),
  origin: v.exactOptional(
    v.strictObject({
      at: v.picklist(['stop', 'field-corner', 'field-centre']),
      yAxis: v.picklist(['down', 'up']),
    }),
    JIG_DEFAULTS.origin,
  ),
  marginMm: v.exactOptional(marginMm, 0),
  clearanceMm: v.exactOptional(marginMm, JIG_DEFAULTS.clearanceMm),
  kerfMm: v.exactOptional(marginMm, JIG_DEFAULTS.kerfMm),
  reliefDiameterMm: v.exactOptional(marginMm, JIG_DEFAULTS.reliefDiameterMm),
  notch: v.exactOptional(
    v.nullable(
      v.pipe(
        v.strictObject({
          widthMm: sizeMm,
          depthMm: sizeMm,
          sides: v.pipe(v.array(v.picklist(['top', 'right', 'bottom', 'left'])), v.nonEmpty()),
        }),
        v.check(({ widthMm, depthMm }) => depthMm <= widthMm / 2, 'a depth of at most half of the width'),
      ),
    ),
    null,
  ),
  holes: v.exactOptional(v.array(v.strictObject({ xMm: placeMm, yMm: placeMm, diameterMm: sizeMm })), []),
  pockets: v.exactOptional(v.array(pocket), []),
  grid: v.exactOptional(grid),
});

/**
 * A jig from parsed JSON: free `pockets`, a `grid` of equal ones, or both. `name` is what messages call the file.
 * @throws AppError file-invalid, naming the first wrong field; or what of it cannot be cut
 */
export function parseJig(json: unknown, name: string): Jig {
  const record = parseRecord(schema, { json, what: `jig ${name}` });
  const { grid: cells, note: _note, pockets: free, ...rest } = record;
  const own: Pocket[] = free.map(({ round, ...one }) => ({
    ...{ stop: rest.stop, use: 'piece', ...one },
    ...(round ? { round } : {}),
  }));
  const pockets = [...(cells ? expandGrid(cells, rest.stop) : []), ...own];
  if (pockets.length === 0) {
    throw new AppError('file-invalid', `jig ${name}: found neither "pockets" nor "grid", needed at least one pocket`);
  }
  if (pockets.every(({ use }) => use === 'strip')) {
    throw new AppError('file-invalid', `jig ${name}: found pockets for strips alone, needed at least one for a piece`);
  }
  const names = pockets.map((one) => one.name);
  const twice = names.find((one, at) => names.indexOf(one) !== at);
  if (twice !== undefined) {
    throw new AppError('file-invalid', `jig ${name}: found two pockets "${twice}", needed a name of its own for each`);
  }
  const oval = pockets.find((one) => one.round && (one.widthMm !== one.heightMm || one.use === 'strip'));
  if (oval) {
    throw new AppError(
      'file-invalid',
      `jig ${name}: found a round pocket ${oval.name} of ${oval.widthMm} × ${oval.heightMm} mm${oval.use === 'strip' ? ' for the strip' : ''}, needed one diameter for both and a piece`,
    );
  }
  const jig = orderJig({ ...rest, pockets });
  const faults = findCutFaults(jig);
  if (faults.length > 0) {
    const more = faults.length > 1 ? ` (and ${faults.length - 1} more)` : '';
    throw new AppError(
      'file-invalid',
      `jig ${name}: found that ${faults[0]}, needed a web of at least 1 mm beside every cut-out with its reliefs and notches${more}`,
      { faults },
    );
  }
  return jig;
}

function expandGrid(cells: v.InferOutput<typeof grid>, stop: Jig['stop']): Pocket[] {
  const [width, height] = cells.pocketMm;
  const [gapX, gapY] = typeof cells.gapMm === 'number' ? [cells.gapMm, cells.gapMm] : cells.gapMm;
  return Array.from({ length: cells.columns * cells.rows }, (_, at) => {
    const [row, column] = [Math.floor(at / cells.columns), at % cells.columns];
    return {
      name: namePocket(row, column),
      xMm: roundMm(cells.xMm + column * (width + gapX)),
      yMm: roundMm(cells.yMm + row * (height + gapY)),
      widthMm: width,
      heightMm: height,
      stop: cells.stop ?? stop,
      use: 'piece',
      ...(cells.round ? { round: true } : {}),
    };
  });
}
