import { expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import {
  assignToPockets,
  distanceBetween,
  drawJig,
  findCutFaults,
  holeOfPocket,
  type Jig,
  layoutGrid,
  type Pocket,
  parseJig,
  placeInPocket,
  sketchJig,
  stopOfPocket,
} from '../../src/plate/index.ts';

const pocket = (more: Partial<Pocket> = {}): Pocket => ({
  ...{ name: 'A1', xMm: 10, yMm: 10, widthMm: 90, heightMm: 90, stop: 'top-left', use: 'piece', round: true },
  ...more,
});
const json = (pockets: readonly object[], more: object = {}) => ({
  ...{ schema: 'tonewright-jig/1', name: 'coasters', title: 'Coasters', widthMm: 220, heightMm: 120 },
  ...{ pockets, ...more },
});
const two = (xMm: number, round = true) => [
  { name: 'A1', xMm: 10, yMm: 10, widthMm: 90, heightMm: 90, round },
  { name: 'A2', xMm, yMm: 10, widthMm: 90, heightMm: 90, round },
];

test.each(['top-left', 'top-right', 'bottom-left', 'bottom-right'] as const)(
  'a round piece that is pushed to %s touches the hole there and lies where its pocket is',
  (stop) => {
    const clearanceMm = 0.4;
    const hole = holeOfPocket(pocket({ stop }), { clearanceMm });
    const middle = (box: { xMm: number; yMm: number; widthMm: number; heightMm: number }) =>
      [box.xMm + box.widthMm / 2, box.yMm + box.heightMm / 2] as const;
    for (const diameterMm of [90, 80, 12.5]) {
      const piece = placeInPocket(pocket({ stop }), { widthMm: diameterMm, heightMm: diameterMm });
      const [[px, py], [hx, hy]] = [middle(piece), middle(hole)];
      // From the hole's middle to the piece's by exactly the room that is left, half-way between both edges.
      expect(Math.hypot(px - hx, py - hy)).toBeCloseTo((90 + clearanceMm - diameterMm) / 2, 5);
      expect(Math.abs(px - hx)).toBeCloseTo(Math.abs(py - hy), 5);
      if (diameterMm < 90) {
        expect(px < hx).toBe(stop.endsWith('left'));
        expect(py < hy).toBe(stop.startsWith('top'));
      }
    }
    expect(placeInPocket(pocket({ stop }), { widthMm: 90, heightMm: 90 })).toMatchObject({ xMm: 10, yMm: 10 });
    const { xMm, yMm } = stopOfPocket(pocket({ stop }));
    expect(Math.hypot(xMm - 55, yMm - 55)).toBeCloseTo(45, 5);
  },
);

test('circles are nearer or further than their squares', () => {
  const box = (xMm: number, yMm: number, widthMm: number) => ({ xMm, yMm, widthMm, heightMm: widthMm });
  const round = { round: true } as const;
  expect(distanceBetween({ ...box(0, 0, 10), ...round }, { ...box(20, 0, 10), ...round })).toBe(10);
  expect(distanceBetween({ ...box(0, 0, 10), ...round }, { ...box(9, 9, 10), ...round })).toBeCloseTo(2.728, 3);
  expect(distanceBetween(box(0, 0, 10), box(9, 9, 10))).toBe(-1);
  expect(distanceBetween({ ...box(0, 0, 10), ...round }, box(9, 9, 10))).toBeCloseTo(Math.hypot(4, 4) - 5, 6);
  expect(distanceBetween(box(9, 9, 10), { ...box(0, 0, 10), ...round })).toBeCloseTo(Math.hypot(4, 4) - 5, 6);
  expect(distanceBetween({ ...box(0, 0, 10), ...round }, box(4, 4, 2))).toBe(-6);
});

test('round pockets may lie in each other’s corners, square ones may not', () => {
  const lain = (round: boolean) => [
    { name: 'A1', xMm: 10, yMm: 10, widthMm: 50, heightMm: 50, round },
    { name: 'A2', xMm: 54, yMm: 40, widthMm: 50, heightMm: 50, round },
  ];
  const plain = { reliefDiameterMm: 0, clearanceMm: 0 };
  expect(findCutFaults(parseJig(json(lain(true), plain), 'round'))).toEqual([]);
  expect(() => parseJig(json(lain(false), plain), 'square')).toThrow(/overlap/);
  expect(() => parseJig(json(two(100.5), plain), 'near')).toThrow(/web of 0.5 mm/);
});

test('jigs without round pockets are read as ever, to the same bytes', () => {
  const { pockets } = parseJig(json(two(110, false)), 'square');
  expect(Object.keys(pockets[0]!)).toEqual(['name', 'xMm', 'yMm', 'widthMm', 'heightMm', 'stop', 'use']);
  expect(parseJig(json(two(110)), 'round').pockets[1]).toMatchObject({ round: true });
  const grid = { columns: 2, rows: 1, xMm: 10, yMm: 10, pocketMm: [90, 90], gapMm: 10, round: true };
  expect(parseJig(json([], { grid }), 'grid').pockets.every(({ round }) => round)).toBe(true);
});

test.each([
  [{ widthMm: 90, heightMm: 80, round: true }, /one diameter/],
  [{ widthMm: 90, heightMm: 90, round: true, use: 'strip' }, /strip/],
  [{ widthMm: 90, heightMm: 90, round: 'yes' }, /round/],
])('a round pocket that is none is refused: %o', (wrong, words) => {
  const first = { name: 'A1', xMm: 10, yMm: 10, widthMm: 20, heightMm: 20 };
  expect(() => parseJig(json([first, { name: 'A2', xMm: 60, yMm: 10, ...wrong }]), 'oval')).toThrow(words);
});

const grid = (more: object = {}): Jig =>
  layoutGrid({
    ...{ columns: 2, rows: 1, pocketWidthMm: 90, pocketHeightMm: 90, isRound: true, fieldMm: [400, 400] },
    ...{ name: 'coasters', title: 'Coasters', machineTitle: 'it', gapMm: 10, marginMm: 2, rimMm: 12 },
    ...{ clearanceMm: 0.2, kerfMm: 0.1, stop: 'top-left', origin: { at: 'stop', yAxis: 'down' } },
    ...more,
  } as Parameters<typeof layoutGrid>[0]);

test('a round pocket is cut as a circle, half a kerf inside its edge, and drawn as one', () => {
  const jig = grid();
  const cut = drawJig(jig, { mark: 'x', part: 'cut' });
  const path = /id="A1" d="([^"]+)"/.exec(cut)![1]!;
  expect(path).toContain('A45.05 45.05 0 0 1');
  expect(path).not.toContain(`A${jig.reliefDiameterMm / 2}`);
  expect(path.endsWith('Z')).toBe(true);
  // Every end of an arc of that circle lies on it.
  const hole = holeOfPocket(jig.pockets[0]!, jig);
  const ends = [...path.matchAll(/A45\.05 45\.05 0 0 1 ?([\d.-]+) ([\d.-]+)/g)];
  expect(ends.length).toBeGreaterThanOrEqual(4);
  for (const [, x, y] of ends) {
    const far = Math.hypot(Number(x) - hole.xMm - hole.widthMm / 2, Number(y) - hole.yMm - hole.heightMm / 2);
    expect(far).toBeCloseTo(45.05, 3);
  }
  expect(sketchJig(jig, { fieldMm: [400, 400], pieces: [], marks: [] })).toContain('rx="45.1"');
  const piece = { label: 'cat', ...placeInPocket(jig.pockets[0]!, { widthMm: 80, heightMm: 80 }) };
  expect(sketchJig(jig, { fieldMm: [400, 400], pieces: [piece], marks: [] })).toContain('rx="40"');
  expect(grid({ isRound: false }).pockets.some(({ round }) => round)).toBe(false);
});

test('only round pieces go into round pockets, and into square ones as well', () => {
  const piece = (isRound: boolean, widthMm = 90) => ({
    name: 'cat',
    widthMm,
    heightMm: widthMm,
    mayTurn: true,
    isRound,
  });
  const pockets = [pocket(), pocket({ name: 'B1' })];
  expect(assignToPockets([piece(true), piece(true, 80)], pockets).plates).toBe(1);
  expect(() => assignToPockets([piece(false)], pockets)).toThrow(AppError);
  expect(() => assignToPockets([piece(false)], pockets)).toThrow(/is round/);
  expect(() => assignToPockets([piece(true, 95)], pockets)).toThrow(/5 mm in width/);
  const { round: _, ...square } = pocket({ name: 'S1' });
  const mixed = assignToPockets([piece(false), piece(true)], [pocket(), square]);
  expect(mixed.assignments.map(({ pocket: name }) => name).sort()).toEqual(['A1', 'S1']);
  expect(mixed.assignments.find(({ piece: at }) => at === 0)!.pocket).toBe('S1');
  expect(mixed.plates).toBe(1);
});
