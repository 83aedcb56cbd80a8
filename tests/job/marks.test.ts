import { describe, expect, test } from 'vitest';
import { layoutChart, type Reading } from '../../src/chart/index.ts';
import {
  type Lab,
  labOfOpponent,
  opponentOfLab,
  opponentOfRgb,
  reflectanceOfLightness,
} from '../../src/colour/index.ts';
import { choosePalette, type MarksRequest, prepareMarks, readDose, resolveMarks } from '../../src/job/index.ts';
import { decodeDotsBytes, readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

describe('the linear opponent space', () => {
  test('has white at 116, 0, 0, and gives back the L*a*b* of a colour', () => {
    const [yy, cx, cz] = opponentOfRgb([1, 1, 1]);
    expect(yy).toBeCloseTo(116, 6);
    expect(cx).toBeCloseTo(0, 1);
    expect(cz).toBeCloseTo(0, 1);
    const colours: readonly Lab[] = [
      [50, 20, -30],
      [24, 1, 2],
      [5, 0, 0],
      [90, -5, 60],
    ];
    for (const lab of colours) {
      labOfOpponent(opponentOfLab(lab)).forEach((value, i) => {
        expect(value).toBeCloseTo(lab[i]!, 6);
      });
    }
  });
});

describe('a palette from a dose chart', () => {
  const layout = layoutChart('dose', {
    machine: 'galvo-1064-f160',
    direction: 'darker',
    settings: { powerW: 5, speedMmPerS: 100, rateKHz: 50, passes: 1, scan: 'one-way' },
    grid: { pitchMm: 0.1, lineSpacingMm: 0.1 },
    columns: { setting: 'powerW', values: [1, 2, 4, 8] },
    rows: { setting: 'speedMmPerS', values: [50, 100, 200] },
  });
  const bare: Lab = [80, 0, 0];
  /** Cells by power: straw, blue, then two that look the same; by speed nothing changes but a hair. */
  const COLOURS: Readonly<Record<number, Lab>> = { 1: [70, 3, 30], 2: [50, 2, -25], 4: [25, 0, 0], 8: [25, 0, 0.5] };
  const readings = layout.patches.map((patch): Reading => {
    const colour = patch.settings ? COLOURS[patch.settings.powerW]! : bare;
    const mean = reflectanceOfLightness(colour[0]) / reflectanceOfLightness(bare[0]);
    return { ...patch, mean, colour, spread: 0, pixels: 100, rejectedShare: 0 };
  });
  const reading = readDose({ readings, bare, direction: 'darker' }, layout);
  const named = { name: 'steel', date: '2026-11-25' };
  const idOf = (powerW: number, speedMmPerS: number) =>
    layout.patches.find(({ settings }) => settings?.powerW === powerW && settings.speedMmPerS === speedMmPerS)!.id;

  test('takes the clearly distinct cells, of equals the fastest, in order of dose', () => {
    const { marks, bare: of, grid, origin } = choosePalette(reading, layout, named);
    expect(marks.map(({ settings }) => [settings.powerW, settings.speedMmPerS])).toEqual([
      [1, 200],
      [2, 200],
      [4, 200],
    ]);
    expect(marks.map(({ colour }) => colour)).toEqual([COLOURS[1], COLOURS[2], COLOURS[4]]);
    expect([of, grid, origin]).toEqual([bare, layout.grid, 'measured']);
  });

  test('takes the cells that are named', () => {
    const cells = [idOf(4, 50), idOf(1, 100).toLowerCase()];
    expect(choosePalette(reading, layout, { ...named, cells }).marks.map(({ cell }) => cell)).toEqual([
      idOf(1, 100),
      idOf(4, 50),
    ]);
  });

  test('is refused for cells that are not there, and where too few differ', () => {
    expect(() => choosePalette(reading, layout, { ...named, cells: ['Z9'] })).toThrow(/no readable cell "Z9"/);
    expect(() => choosePalette(reading, layout, { ...named, count: 5 })).toThrow(/found 3 cells .* needed 5/);
  });
});

describe('a job of several marks', () => {
  const prepare = (request: Partial<MarksRequest> = {}, photo = 'images/photos/raccoon.jpg') => {
    const asked = { size: '12x9', palette: 'stainless-oxides', ...request };
    const spec = resolveMarks(asked, { shop: SHOP, refused: REFUSED });
    const facts = { name: 'raccoon', photoFile: 'raccoon.jpg', version: '0', only: 'everything' } as const;
    return prepareMarks(() => readPhoto(photo), { ...facts, spec });
  };

  test('gives each dot at most one mark, names every burn in order, and sums their time', async () => {
    const { files, ticket } = await prepare();
    expect(files.map(({ name }) => name)).toEqual([
      'raccoon.1-straw.png',
      'raccoon.2-blue.png',
      'raccoon.3-russet.png',
      'raccoon.4-dark.png',
      'raccoon.proof.png',
      'raccoon.ticket.json',
      'raccoon.ticket.html',
    ]);
    const bitmaps = await Promise.all(
      files.slice(0, 4).map(({ bytes, name }) => decodeDotsBytes(Buffer.from(bytes as Uint8Array), name)),
    );
    const fired = new Uint8Array(bitmaps[0]!.dots.data.length);
    for (const { dots } of bitmaps) for (let i = 0; i < fired.length; i++) fired[i] += dots.data[i]!;
    expect(Math.max(...fired)).toBe(1);
    expect(fired.filter((count) => count === 0).length / fired.length).toBeCloseTo(ticket.bare, 9);
    expect(ticket.burns.map(({ order, firing }) => [order, firing > 0.01])).toEqual(
      [1, 2, 3, 4].map((at) => [at, true]),
    );
    expect(ticket.seconds).toBeCloseTo(
      ticket.burns.reduce((sum, { time }) => sum + time.seconds, 0),
      9,
    );
    const doses = ticket.burns.map(({ doseJPerCm2 }) => doseJPerCm2);
    expect(doses).toEqual([...doses].sort((a, b) => a - b));
    expect(ticket.prediction.meanDeltaE).toBeLessThan(1);
    const page = String(files.at(-1)!.bytes);
    for (const { file } of ticket.burns) expect(page).toContain(file);
    expect(ticket.warnings[0]).toMatch(/NOT MEASURED/);
  });

  test('gives the same bytes for the same photo and palette', async () => {
    const [first, second] = [await prepare(), await prepare()];
    first.files.forEach(({ bytes }, i) => {
      expect(Buffer.from(bytes as Uint8Array).equals(Buffer.from(second.files[i]!.bytes as Uint8Array))).toBe(true);
    });
  });

  test('separates by colour where the palette has colours, else by lightness, or as asked', async () => {
    const by = async (request: Partial<MarksRequest>) => (await prepare(request)).ticket.by;
    expect(await by({})).toBe('colour');
    expect(await by({ palette: 'slate-greys', size: '40x30' })).toBe('lightness');
    expect(await by({ by: 'lightness' })).toBe('lightness');
  });

  test('leaves the margin bare', async () => {
    const { ticket } = await prepare({ safeMarginMm: 2 });
    expect(ticket.bare).toBeGreaterThan(1 - (8 * 5) / (12 * 9));
  });

  test('is refused for settings that the machine cannot give', () => {
    const read: typeof SHOP.read = (kind, name) => {
      const found = SHOP.read(kind, name);
      if (kind !== 'palettes') return found;
      const palette = structuredClone(found.json) as { marks: { settings: { powerW: number } }[] };
      palette.marks[1]!.settings.powerW = 500;
      return { ...found, json: palette };
    };
    expect(() =>
      resolveMarks({ size: '12x9', palette: 'stainless-oxides' }, { shop: { ...SHOP, read }, refused: REFUSED }),
    ).toThrow(/mark blue: found a power of 500 W, needed 1 to 20 W/);
  });
});
