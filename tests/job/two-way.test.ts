import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { type ChartLayout, drawChart, layoutChart, type Patch, type Reading } from '../../src/chart/index.ts';
import { explainTwoWay, readTwoWay, type TwoWayOffset, type WhyUntold } from '../../src/job/calibrate/two-way.ts';
import { prepareJob, resolveJob } from '../../src/job/index.ts';
import { listBackLines, moveBackLines, rememberOffset } from '../../src/machine/index.ts';
import { openShop } from '../../src/material/index.ts';
import { decodeDotsBytes, readPhoto } from '../../src/plane/index.ts';
import { engrave, luminanceOf, type MaterialModel, meanReflectance } from '../../src/simulation/index.ts';
import { PLAIN } from '../simulation/models.ts';
import { REFUSED, SHOP } from './shop.ts';

const GRID = PLAIN.reference;
const OPTIONS = { machine: 'any', direction: 'lighter', settings: PLAIN.settings, grid: GRID } as const;
const LAYOUT = layoutChart('spot', { ...OPTIONS, settings: { ...PLAIN.settings, scan: 'two-way' } });
/** One period and spare ends, dots; and dots from patch to patch, which bare gaps keep apart. */
const [SIDE, STEP] = [48, 56];
/** One patch for each move: the rest of the chart burns for nothing here. */
const PATCHES = Array.from({ length: 16 }, (_, shift): Patch => {
  const patch = LAYOUT.patches.find(({ pattern }) => pattern.kind === 'vernier' && pattern.shift === shift)!;
  return { ...patch, xDots: shift * STEP, widthDots: SIDE, heightDots: SIDE };
});

const refuseScreen = () => {
  throw new Error('no patch here is screened');
};

/** Burns the vernier there and back on the virtual engraver and reads its true reflectances. */
function burn(model: MaterialModel, { before = 0, noise = 0, perDot = 12, without = -1 } = {}) {
  const solid: Patch = { ...PATCHES[0]!, id: 'before', pattern: { kind: 'solid' }, yDots: 0, heightDots: before };
  const layout: ChartLayout = {
    ...LAYOUT,
    tags: [],
    labels: [],
    widthDots: PATCHES.length * STEP,
    heightDots: SIDE + before + 1,
    // A bare line after those before: the spot passes over it, and turns at the next.
    patches: [solid, ...PATCHES.map((patch) => ({ ...patch, yDots: before + 1 }))],
  };
  const dots = drawChart(layout, refuseScreen);
  const settings = { ...model.settings, scan: 'two-way' } as const;
  const piece = engrave(dots, { grid: GRID, model, seed: 3, settings, oversample: perDot });
  const mm = GRID.pitchMm;
  const readings = PATCHES.map((patch, at): Reading => {
    const rect = { xMm: (patch.xDots + 16) * mm, yMm: (before + 16) * mm, widthMm: 16 * mm, heightMm: 16 * mm };
    const mean = luminanceOf(meanReflectance(piece, rect)) + noise * Math.sin(5.1 * at);
    return { ...patch, mean, colour: [0, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 };
  });
  return readTwoWay(
    readings.filter((_, shift) => shift !== without),
    layout,
  );
}

/** Reads the whole chart's vernier from two tones a move. */
function readTones(tones: readonly (readonly [number, number])[]): TwoWayOffset | undefined;
function readTones(tones: readonly (readonly [number, number])[], read: typeof explainTwoWay): WhyUntold | undefined;
function readTones(
  tones: readonly (readonly [number, number])[],
  read: typeof explainTwoWay | typeof readTwoWay = readTwoWay,
) {
  const seen = new Map<number, number>();
  const back = listBackLines(drawChart(LAYOUT, refuseScreen));
  const readings = LAYOUT.patches.flatMap((patch): Reading[] => {
    const { pattern } = patch;
    if (pattern.kind !== 'vernier') return [];
    const moved = back[patch.yDots] === 1 ? (16 - pattern.shift) % 16 : pattern.shift;
    const at = seen.get(moved) ?? 0;
    seen.set(moved, at + 1);
    return [{ ...patch, mean: tones[moved]![at]!, colour: [0, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 }];
  });
  return read(readings, LAYOUT);
}

const withOffset = (returnOffsetUm: number, law: Partial<MaterialModel['law']> = {}): MaterialModel => ({
  ...PLAIN,
  beam: { ...PLAIN.beam, returnOffsetUm },
  law: { ...PLAIN.law, ...law },
});
const GRADUAL = { kind: 'gradual', halfDoseJPerCm2: 15 } as const;
/** A tenth of a dot. */
const TENTH_UM = GRID.pitchMm * 100;

describe('lines burned there and back', () => {
  test.each([
    [0, {}],
    [4, {}],
    [-13, GRADUAL],
    [35, GRADUAL],
    [-110, GRADUAL],
    [290, GRADUAL],
  ])('lie %d µm apart, told to a tenth of a dot', (offsetUm, law) => {
    const found = burn(withOffset(offsetUm, law))!;
    expect(Math.abs(found.offsetUm - offsetUm)).toBeLessThan(TENTH_UM);
    expect(found.delayUs).toBeCloseTo(-offsetUm / 2, -1);
  });

  // The tone of a mark that begins as sharply as no real one holds harmonics that so few moves do not tell apart.
  test.each([35, -110, 290])('lie %d µm apart at a sharp threshold, told with an interval that says so', (offsetUm) => {
    const found = burn(withOffset(offsetUm))!;
    expect(Math.abs(found.offsetUm - offsetUm)).toBeLessThan(2 * TENTH_UM);
    expect(found.highUm - found.lowUm).toBeGreaterThan(Math.abs(found.offsetUm - offsetUm));
  });

  test.each([4, 5])('are told the same after %d lines and a bare one', (before) => {
    const found = burn(withOffset(20, GRADUAL), { before })!;
    expect(Math.abs(found.offsetUm - 20)).toBeLessThan(TENTH_UM);
  });

  test('are told with an interval that grows with the scatter, or not at all', () => {
    const model = withOffset(10);
    const [clean, rough] = [burn(model)!, burn(model, { noise: 0.001 })!];
    expect(rough.highUm - rough.lowUm).toBeGreaterThan(clean.highUm - clean.lowUm);
    expect(rough.lowUm).toBeLessThan(10);
    expect(rough.highUm).toBeGreaterThan(10);
    expect(burn(model, { noise: 0.5 })).toBeUndefined();
  });

  test.each([0, 5, 15])('are not told where the move by %d dots was not read', (without) => {
    expect(burn(withOffset(10))).toBeDefined();
    expect(burn(withOffset(10), { without })).toBeUndefined();
  });

  // Something beside the offset shaped the tones of this scan of a law that saturates, by 1.85 dots: its harmonics
  // disagree, and too few of them are told for a normal distribution to say by how much. It was told 0.61 dots off.
  test('are not told where the harmonics disagree', () => {
    const tones: readonly (readonly [number, number])[] = [
      [0.894, 0.8929],
      [0.8936, 0.8918],
      [0.8925, 0.8923],
      [0.8935, 0.8935],
      [0.8942, 0.893],
      [0.8919, 0.8935],
      [0.8926, 0.8926],
      [0.8936, 0.8912],
      [0.8916, 0.8934],
      [0.8925, 0.8934],
      [0.8944, 0.8925],
      [0.895, 0.8939],
      [0.897, 0.8969],
      [0.9002, 0.8997],
      [0.9018, 0.9002],
      [0.8972, 0.8976],
    ];
    expect(readTones(tones)).toBeUndefined();
    expect(readTones(tones, explainTwoWay)).toBe('disagreeing');
    // The same scatter about a tone that is symmetric is told, and rightly.
    const about = (move: number) => 0.02 * Math.exp(-(((((move - 14.15 + 24) % 16) - 8) / 1.6) ** 2));
    const even = tones.map(([first, second], move) => {
      const half = (first - second) / 2;
      return [0.893 + about(move) + half, 0.893 + about(move) - half] as const;
    });
    const found = readTones(even)!;
    const dots = found.offsetUm / 1000 / GRID.pitchMm;
    expect(Math.abs(dots - 1.85)).toBeLessThan((found.highUm - found.lowUm) / 2000 / GRID.pitchMm);
  });

  test('are told to a third of a dot, or not at all', () => {
    const found = [0, 0.0004, 0.0008, 0.0012, 0.0016, 0.002, 0.003, 0.02].map((noise) =>
      burn(withOffset(35, GRADUAL), { noise }),
    );
    const halves = found.flatMap((one) => (one ? [(one.highUm - one.lowUm) / 2 / (10 * TENTH_UM)] : []));
    expect(Math.max(...halves)).toBeLessThanOrEqual(0.35);
    expect(halves.length).toBeGreaterThan(1);
    expect(halves.length).toBeLessThan(found.length);
  });
});

test('a vernier that tells nothing says whether to draw it anew, to scan it again or to burn other stock', () => {
  const isMove = ({ pattern }: Pick<Patch, 'pattern'>, shift: number) =>
    pattern.kind === 'vernier' && pattern.shift === shift;
  const readingOf = (patch: Patch): Reading => ({
    ...patch,
    mean: 0.5,
    colour: [0, 0, 0],
    spread: 0,
    pixels: 100,
    rejectedShare: 0,
  });
  const readings = LAYOUT.patches.map(readingOf);
  expect(explainTwoWay(readings, LAYOUT)).toBe('hidden');
  const unread = readings.filter((one) => !isMove(one, 5));
  expect(explainTwoWay(unread, LAYOUT)).toBe('unread');
  // As charts were drawn before every move was on them.
  const old = { ...LAYOUT, patches: LAYOUT.patches.filter((one) => !isMove(one, 5)) };
  expect(explainTwoWay(old.patches.map(readingOf), old)).toBe('drawn-without');
  const without = LAYOUT.patches.filter(({ pattern }) => pattern.kind !== 'vernier');
  expect(explainTwoWay([], { ...LAYOUT, patches: without })).toBeUndefined();
});

test('a chart burned one way has no vernier, and its layout is as ever', () => {
  const patches = layoutChart('spot', { ...OPTIONS, settings: { ...PLAIN.settings, scan: 'one-way' } }).patches;
  expect(patches.filter(({ pattern }) => pattern.kind === 'vernier')).toEqual([]);
  expect(LAYOUT.patches.filter(({ pattern }) => pattern.kind === 'vernier').length).toBe(32);
});

test.each([0.02, 0.03, 0.05, 0.1])('a vernier at %d mm is read once a replicate at each move', (mm) => {
  const settings = { ...PLAIN.settings, scan: 'two-way' } as const;
  const grid = { pitchMm: mm, lineSpacingMm: mm };
  const size = { widthMm: Math.max(64, 2400 * mm), heightMm: Math.max(46, 1700 * mm) };
  const layout = layoutChart('spot', { ...OPTIONS, settings, grid, ...size });
  const dots = drawChart(layout, refuseScreen);
  for (const bare of ['skipped', 'all-scanned'] as const) {
    const back = listBackLines(dots, bare);
    const counts = new Map<number, number>();
    for (const { pattern, yDots } of layout.patches) {
      if (pattern.kind !== 'vernier') continue;
      const moved = (back[yDots] === 1 ? 16 - pattern.shift : pattern.shift) % 16;
      counts.set(moved, (counts.get(moved) ?? 0) + 1);
    }
    expect([bare, ...counts.values()]).toEqual([bare, ...Array(16).fill(2)]);
  }
});

describe('a job of lines there and back', () => {
  const CARD = { size: '20x12', profile: 'anodised-black', pitchMm: 0.1, lineSpacingMm: 0.1, subject: 'none' } as const;
  const { machine, settings } = resolveJob(CARD, { shop: SHOP, refused: REFUSED });
  const folder = mkdtempSync(join(tmpdir(), 'two-way-'));
  afterAll(() => rmSync(folder, { recursive: true }));

  /** Made with or without what the shop has measured at some speed. */
  async function make(
    scan: 'one-way' | 'two-way',
    measured?: { speedMmPerS?: number; offsetUm: number; reachUm?: number },
  ) {
    const shopDir = mkdtempSync(join(folder, 'shop-'));
    if (measured) {
      const { speedMmPerS = settings.speedMmPerS, offsetUm, reachUm = 2 } = measured;
      const interval = { lowUm: offsetUm - reachUm, highUm: offsetUm + reachUm };
      const record = rememberOffset(undefined, {
        machine: machine.name,
        reading: { chart: 'any', date: '2026-01-01', speedMmPerS, offsetUm, ...interval },
      });
      mkdirSync(join(shopDir, 'two-way'));
      writeFileSync(join(shopDir, 'two-way', `${machine.name}.json`), JSON.stringify(record));
    }
    const shop = openShop({ shopDir, builtIn: ['shared/shop', 'shared'] });
    const spec = resolveJob({ ...CARD, settings: { scan } }, { shop, refused: REFUSED });
    const { files, ticket } = await prepareJob(() => readPhoto('images/photos/cat.png'), {
      spec,
      name: 'cat',
      photoFile: 'cat.png',
      version: '0',
      only: 'everything',
    });
    const bytesOf = (name: string) => Buffer.from(files.find((file) => file.name === name)!.bytes as Uint8Array);
    const { dots } = await decodeDotsBytes(bytesOf('cat.png'), 'cat.png');
    return { dots, ticket: ticket!, page: bytesOf('cat.ticket.html').toString() };
  }

  test('takes whole dots back in the bitmap, and says what to type in and what is saved', async () => {
    const [plain, moved] = [await make('two-way'), await make('two-way', { offsetUm: 216 })];
    expect(moved.dots.data).toEqual(moveBackLines(plain.dots, { byDots: -2 }).data);
    expect(moved.dots.data).not.toEqual(plain.dots.data);
    expect(moved.ticket.twoWay).toMatchObject({ movedDots: -2, by: 'this-speed', dates: ['2026-01-01'] });
    expect(moved.ticket.twoWay!.leftUm).toBeCloseTo(16, 6);
    const oneWay = await make('one-way', { offsetUm: 216 });
    expect(moved.ticket.twoWay!.savedS).toBeCloseTo(oneWay.ticket.time.seconds - moved.ticket.time.seconds, 1);
    expect(moved.page).toContain('add -0.016 mm to it');
    expect(oneWay.dots.data).toEqual(plain.dots.data);
    expect(oneWay.ticket).not.toHaveProperty('twoWay');
    expect(plain.ticket).not.toHaveProperty('twoWay');
  });

  test.each([
    [{ offsetUm: 216, reachUm: 60 }, 'known to ± 60 µm only'],
    [{ offsetUm: 216, speedMmPerS: 1 }, 'were measured at 1 mm/s, and not at'],
  ])('takes nothing back where the measurement does not carry it: %j', async (measured, said) => {
    const [plain, other] = [await make('two-way'), await make('two-way', measured)];
    expect(other.dots.data).toEqual(plain.dots.data);
    expect(other.ticket).not.toHaveProperty('twoWay');
    expect(other.ticket.warnings.join(' ')).toContain(said);
  });
});
