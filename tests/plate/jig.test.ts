import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { findProgram, runProgram } from '../../benchmarks/common/outside-programs.ts';
import { AppError } from '../../src/errors.ts';
import {
  drawJig,
  findCutFaults,
  frameJig,
  type GridOptions,
  holeOfPocket,
  JIG_DEFAULTS,
  type Jig,
  layoutGrid,
  measureText,
  namePocket,
  packPlates,
  parseJig,
  refuseBeyondField,
  STROKE_SIGNS,
  sketchJig,
  strokeText,
} from '../../src/plate/index.ts';

const grid = (more: Partial<GridOptions> = {}): GridOptions => ({
  name: 'grid',
  title: 'Grid',
  columns: 2,
  rows: 3,
  pocketWidthMm: 40,
  pocketHeightMm: 30,
  gapMm: 10,
  marginMm: 2,
  rimMm: 12,
  clearanceMm: 0.2,
  kerfMm: 0,
  stop: 'top-left',
  origin: JIG_DEFAULTS.origin,
  fieldMm: [110, 140],
  machineTitle: 'machine',
  ...more,
});

const errorOf = (run: () => unknown) => {
  try {
    run();
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('nothing was thrown');
};

describe('a grid', () => {
  test('lies as worked by hand: rim, pockets and gaps', () => {
    const jig = layoutGrid(grid());
    expect([jig.widthMm, jig.heightMm]).toEqual([2 * 40 + 10 + 24, 3 * 30 + 20 + 24]);
    expect(jig.pockets.map(({ name, xMm, yMm }) => [name, xMm, yMm])).toEqual([
      ['A1', 12, 12],
      ['A2', 62, 12],
      ['B1', 12, 52],
      ['B2', 62, 52],
      ['C1', 12, 92],
      ['C2', 62, 92],
    ]);
    expect(findCutFaults(jig)).toEqual([]);
  });

  test('that is larger than the field is refused with what is missing and what would fit', () => {
    const error = errorOf(() => layoutGrid(grid({ columns: 4, fieldMm: [110, 110] })));
    expect(error.code).toBe('jig-exceeds-field');
    // 4 · 40 + 3 · 10 = 190 against 110 − 2 · 2 = 106; 3 · 30 + 2 · 10 = 110 against 106.
    expect(error.message).toMatch(/missing 84 mm in width and 4 mm in height; 2x2 fits/);
  });

  test('keeps its cuts a millimetre apart for any gap, clearance and stop', () => {
    const corner = fc.constantFrom('top-left', 'top-right', 'bottom-left', 'bottom-right' as const);
    fc.assert(
      fc.property(
        fc.double({ min: 1.6, max: 20, noNaN: true }),
        fc.double({ min: 0, max: 0.5, noNaN: true }),
        corner,
        fc.integer({ min: 1, max: 3 }),
        (gapMm, clearanceMm, stop, columns) => {
          const jig = layoutGrid(grid({ gapMm, clearanceMm, columns, stop: stop as Jig['stop'], fieldMm: [400, 400] }));
          expect(findCutFaults(jig)).toEqual([]);
          expect(parseJig(JSON.parse(JSON.stringify(jig)), 'again')).toEqual(jig);
        },
      ),
      { numRuns: 60, seed: 5 },
    );
  });

  test('so does a board around pieces of any sizes, packed anyhow', () => {
    fc.assert(
      fc.property(
        fc.array(fc.record({ w: fc.integer({ min: 8, max: 60 }), h: fc.integer({ min: 8, max: 60 }) }), {
          minLength: 1,
          maxLength: 12,
        }),
        fc.double({ min: 1.3, max: 14, noNaN: true }),
        fc.double({ min: 1.3, max: 16, noNaN: true }),
        fc.constantFrom('top-left', 'top-right', 'bottom-left', 'bottom-right' as const),
        (sizes, gapMm, rimMm, stop) => {
          const pieces = sizes.map(({ w, h }) => ({ name: 'p', widthMm: w, heightMm: h, mayTurn: true }));
          const { placed } = packPlates(pieces, { widthMm: 130, heightMm: 130, gapMm });
          const pockets = placed
            .filter(({ plate }) => plate === 0)
            .map(({ xMm, yMm, widthMm, heightMm }, at) => ({
              ...{ name: `P${at + 1}`, xMm, yMm, widthMm, heightMm },
              ...{ stop: stop as Jig['stop'], use: 'piece' as const },
            }));
          const jig = frameJig(pockets, grid({ gapMm, rimMm, stop: stop as Jig['stop'], roomMm: [130, 130] }));
          expect(findCutFaults(jig)).toEqual([]);
        },
      ),
      { numRuns: 150, seed: 7 },
    );
  });

  test('gets a pocket for the control strip below, or upright beside it, or is refused', () => {
    const strip = { lengthMm: 64, breadthMm: 12 };
    const below = layoutGrid(grid({ rows: 2, strip })).pockets.at(-1)!;
    expect([below.name, below.use, below.xMm, below.yMm, below.widthMm]).toEqual(['STRIP', 'strip', 12, 92, 64]);
    const beside = layoutGrid(grid({ columns: 1, strip, fieldMm: [80, 114] })).pockets.at(-1)!;
    expect([beside.xMm, beside.yMm, beside.widthMm, beside.heightMm]).toEqual([62, 12, 12, 64]);
    expect(errorOf(() => layoutGrid(grid({ strip, fieldMm: [100, 114] }))).message).toMatch(
      /control strip.*missing 16 mm/,
    );
  });

  test('without room for a web is refused', () => {
    expect(errorOf(() => layoutGrid(grid({ gapMm: 1 }))).message).toMatch(/needed at least 1.2 mm/);
  });

  test('names rows by letters and columns by numbers', () => {
    expect([namePocket(0, 0), namePocket(25, 9), namePocket(26, 0), namePocket(52, 1)]).toEqual([
      'A1',
      'Z10',
      'AA1',
      'BA2',
    ]);
  });
});

describe('a jig file', () => {
  const file = {
    schema: 'tonewright-jig/1',
    name: 'mixed',
    title: 'Mixed',
    widthMm: 150,
    heightMm: 100,
    pockets: [
      { name: 'CARD', xMm: 10, yMm: 10, widthMm: 85.6, heightMm: 53.98 },
      { name: 'TAG', xMm: 110, yMm: 10, widthMm: 30, heightMm: 30, stop: 'bottom-right' },
    ],
  };

  test('takes free pockets with stops of their own, and fills in what it does not say', () => {
    const jig = parseJig(file, 'mixed.json');
    expect(jig.pockets.map(({ stop, use }) => [stop, use])).toEqual([
      ['top-left', 'piece'],
      ['bottom-right', 'piece'],
    ]);
    expect([jig.clearanceMm, jig.marginMm, jig.notch]).toEqual([0.2, 0, null]);
    // The clearance lies away from the stop.
    expect(holeOfPocket(jig.pockets[0]!, jig)).toEqual({ xMm: 10, yMm: 10, widthMm: 85.8, heightMm: 54.18 });
    expect(holeOfPocket(jig.pockets[1]!, jig)).toEqual({ xMm: 109.8, yMm: 9.8, widthMm: 30.2, heightMm: 30.2 });
  });

  test('takes a grid beside free pockets', () => {
    const jig = parseJig(JSON.parse(readFileSync('shared/shop/jigs/cards-2x3.json', 'utf8')), 'cards-2x3');
    expect(jig.pockets.map(({ name }) => name)).toEqual(['A1', 'A2', 'B1', 'B2', 'C1', 'C2', 'STRIP']);
    expect(jig.pockets[3]).toMatchObject({ xMm: 109.6, yMm: 77.98 });
  });

  const wrong: readonly [string, object, RegExp][] = [
    ['no pocket at all', { pockets: [] }, /neither "pockets" nor "grid"/],
    ['another schema', { schema: 'tonewright-jig/2' }, /field "schema"/],
    ['an unknown field', { pokets: [] }, /field "pokets"/],
    ['a size that is no number', { widthMm: '150' }, /field "widthMm": found "150"/],
    [
      'two pockets of one name',
      { pockets: [file.pockets[0], { ...file.pockets[1], name: 'CARD' }] },
      /two pockets "CARD"/,
    ],
    ['overlapping pockets', { pockets: [file.pockets[0], { ...file.pockets[1], xMm: 90 }] }, /CARD and TAG overlap by/],
    [
      'reliefs that meet',
      { pockets: [file.pockets[0], { ...file.pockets[1], xMm: 98 }] },
      /CARD and TAG leave a web of 0|overlap/,
    ],
    ['a pocket over the edge', { widthMm: 139 }, /TAG comes .* mm too near to the edge/],
    ['a notch deeper than half its width', { notch: { widthMm: 10, depthMm: 6, sides: ['top'] } }, /half of the width/],
    ['a hole in a pocket', { holes: [{ xMm: 50, yMm: 30, diameterMm: 4 }] }, /CARD and hole 1 overlap/],
  ];
  test.each(wrong)('%s is refused', (_, more, says) => {
    const error = errorOf(() => parseJig({ ...file, ...more }, 'mixed.json'));
    expect(error.code).toBe('file-invalid');
    expect(error.message).toMatch(says);
  });

  test('pockets beyond the field are refused by name and by how much', () => {
    const jig = parseJig({ ...file, fieldAtMm: [0, 0], marginMm: 2 }, 'mixed.json');
    expect(() => refuseBeyondField(jig, { fieldMm: [142, 110], machine: 'm' })).not.toThrow();
    const error = errorOf(() => refuseBeyondField(jig, { fieldMm: [110, 60], machine: 'm' }));
    expect(error.code).toBe('jig-exceeds-field');
    expect(error.message).toMatch(/CARD by 5.98 mm at the bottom; TAG by 32 mm at the right/);
  });
});

/** Where lines are on a drawing that is so many mm wide, as another program draws it. */
async function render(svg: string, pageMm: number) {
  // The reader's density acts twice, on the unit and on the picture; what counts here is places, not the scale.
  const { data, info } = await sharp(Buffer.from(svg), { density: 190 })
    .flatten({ background: '#fff' })
    .raw()
    .toBuffer({ resolveWithObject: true });
  const perMm = info.width / pageMm;
  const at = (x: number, y: number) => (y * info.width + x) * info.channels;
  const line = (x: number, y: number) => data[at(x, y) + 1]! < 150;
  return {
    /** Middles of the lines that a line across the drawing at so many mm meets, mm. */
    across(yMm: number) {
      const y = Math.round(yMm * perMm);
      const hits = Array.from({ length: info.width }, (_, x) => x).filter((x) => line(x, y));
      const runs: number[][] = [];
      for (const x of hits) {
        if (runs.length > 0 && runs.at(-1)!.at(-1) === x - 1) runs.at(-1)!.push(x);
        else runs.push([x]);
      }
      return runs.map((run) => (run[0]! + run.at(-1)! + 1) / 2 / perMm);
    },
    count: () =>
      Array.from({ length: info.width * info.height }, (_, i) =>
        line(i % info.width, Math.floor(i / info.width)) ? 1 : 0,
      ).reduce((a: number, b) => a + b, 0),
  };
}

describe('the drawing, as an independent reader of SVG sees it', () => {
  test('has its size in mm', async () => {
    const jig = layoutGrid(grid());
    const { width, height } = await sharp(Buffer.from(drawJig(jig, { mark: 'ABC123' })), { density: 72 }).metadata();
    expect([width, height]).toEqual([jig.widthMm, jig.heightMm].map((mm) => Math.round((mm / 25.4) * 72)));
  });

  test.runIf(findProgram('rsvg-convert', ['--version']))('has its size in mm to a tenth, by rsvg-convert', () => {
    for (const kerfMm of [0, 0.2]) {
      const jig = layoutGrid(grid({ kerfMm }));
      const svg = Buffer.from(drawJig(jig, { mark: 'ABC123' }));
      const png = runProgram('rsvg-convert', ['--dpi-x', '254', '--dpi-y', '254'], svg);
      expect([png.readUInt32BE(16), png.readUInt32BE(20)]).toEqual(
        [jig.widthMm, jig.heightMm].map((mm) => Math.round(10 * (mm + kerfMm))),
      );
    }
  });

  test('cuts edges, notches and reliefs where they should be', async () => {
    const jig = layoutGrid(grid({ columns: 2, rows: 1 }));
    const seen = await render(drawJig(jig, { mark: 'ABC123', part: 'cut' }), jig.widthMm);
    // A quarter down the pockets no notch is met: both edges of both pockets, the right ones with their clearance.
    const near = (found: readonly number[], wanted: readonly number[]) => {
      expect(found.length).toBe(wanted.length);
      for (const [at, x] of wanted.entries()) expect(Math.abs(found[at]! - x), `${x} mm`).toBeLessThan(0.06);
    };
    near(
      seen.across(12 + 4).filter((x) => x > 1 && x < jig.widthMm - 1),
      [12, 52.2, 62, 102.2],
    );
    // In the middle: edges at the stop, notches of 6 mm at the right; the holes lie elsewhere.
    near(
      seen.across(12 + 13).filter((x) => x > 10 && x < jig.widthMm - 1),
      [12, 58.2, 62, 108.2],
    );
    // A millimetre above the pockets only the reliefs of 1.5 mm radius: √(1.5² − 1) = 1.118 on both sides of each
    // corner.
    near(
      seen.across(11).filter((x) => x > 10 && x < jig.widthMm - 4.5),
      [12, 52.2, 62, 102.2].flatMap((x) => [x - 1.118, x + 1.118]),
    );
  });

  test('draws lines half a kerf inside the waste', async () => {
    const jig = layoutGrid(grid({ columns: 1, rows: 1, kerfMm: 0.4 }));
    const seen = await render(drawJig(jig, { mark: 'ABC123', part: 'cut' }), jig.widthMm + 0.4);
    const found = seen.across(0.2 + 12 + 4).filter((x) => x > 1 && x < jig.widthMm - 1);
    for (const [at, x] of [12 + 0.2, 52.2 - 0.2].entries()) {
      expect(Math.abs(found[at]! - 0.2 - x)).toBeLessThan(0.06);
    }
  });

  test('carries text and stop lines, and the same bytes twice', async () => {
    const jig = layoutGrid(grid());
    const svg = drawJig(jig, { mark: 'ABC123' });
    expect(drawJig(layoutGrid(grid()), { mark: 'ABC123' })).toBe(svg);
    const engraved = drawJig(jig, { mark: 'ABC123', part: 'engrave' });
    expect((await render(engraved, jig.widthMm)).count()).toBeGreaterThan(3000);
    expect(svg).not.toMatch(/NaN|undefined/);
    expect(sketchJig(jig, { fieldMm: [110, 140], pieces: [], marks: [] })).not.toMatch(/NaN|undefined/);
  });

  test('is two groups with words and colours of their own, or one of them alone on the same page', () => {
    const jig = layoutGrid(grid({ kerfMm: 0.2 }));
    const whole = drawJig(jig, { mark: 'ABC123' });
    const parts = (['engrave', 'cut'] as const).map((part) => drawJig(jig, { mark: 'ABC123', part }));
    const head = (svg: string) => svg.slice(0, svg.indexOf('<g '));
    const groups = (svg: string) => svg.match(/<g id="[a-z]+"[\s\S]*?<\/g>/g) ?? [];
    expect(groups(whole).map((group) => /<g id="([a-z]+)"[\s\S]*?<title>(\w+ ?\w*)/.exec(group)!.slice(1))).toEqual([
      ['engrave', 'Engrave first'],
      ['cut', 'Then cut'],
    ]);
    expect(parts.map(groups)).toEqual(groups(whole).map((group) => [group]));
    for (const part of parts) expect(head(part)).toBe(head(whole));
    const colours = whole.match(/stroke="#[0-9a-f]{6}"/g)!;
    expect(new Set(colours).size).toBe(2);
    // No pure primary: those are signals of their own to some machines' software.
    for (const colour of colours) expect(colour).not.toMatch(/#(?:00|ff){3}"/);
  });

  test('even a board for one small piece bears its mark', async () => {
    const jig = frameJig(
      [{ name: 'P1', xMm: 0, yMm: 0, widthMm: 20, heightMm: 20, stop: 'top-left', use: 'piece' }],
      grid(),
    );
    const marked = (await render(drawJig(jig, { mark: 'ABC123', part: 'engrave' }), jig.widthMm)).count();
    const bare = (await render(drawJig(jig, { mark: '', part: 'engrave' }), jig.widthMm)).count();
    expect(marked - bare).toBeGreaterThan(100);
  });
});

describe('the letters', () => {
  test('every sign differs from every other, and lies within its height and width', () => {
    const drawn = STROKE_SIGNS.map((sign) => {
      const lines = strokeText(sign, { xMm: 0, yMm: 0, heightMm: 6 });
      for (const [x, y] of lines.flat()) {
        expect(x >= 0 && x <= 4 && y >= 0 && y <= 6, sign).toBe(true);
      }
      return JSON.stringify(lines);
    });
    expect(new Set(drawn).size).toBe(STROKE_SIGNS.length);
    for (const sign of 'ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.-×') expect(STROKE_SIGNS).toContain(sign);
  });

  test('a text is as wide as it says', () => {
    const lines = strokeText('Hallo 12', { xMm: 3, yMm: 1, heightMm: 3 });
    const right = Math.max(...lines.flat().map(([x]) => x));
    expect(right - 3).toBeCloseTo(measureText('Hallo 12', 3), 9);
    expect(measureText('', 3)).toBe(0);
  });
});
