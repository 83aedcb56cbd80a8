import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import {
  assignToPockets,
  boundPlates,
  distanceBetween,
  type PieceSize,
  type Pocket,
  packPlates,
} from '../../src/plate/index.ts';

const piece = (widthMm: number, heightMm: number, mayTurn = false, name = 'piece'): PieceSize => ({
  name,
  widthMm,
  heightMm,
  mayTurn,
});
const pocket = (name: string, widthMm: number, heightMm: number): Pocket => ({
  name,
  xMm: 0,
  yMm: 0,
  widthMm,
  heightMm,
  stop: 'top-left',
  use: 'piece',
});
const codeOf = (run: () => unknown) => {
  try {
    run();
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('nothing was thrown');
};

/**
 * Fewest plates by trying one plate more until each single piece has found a pocket of its own (Kuhn's augmenting
 * search).
 */
function countPlatesPlainly(pieces: readonly PieceSize[], pockets: readonly Pocket[]): number {
  for (let plates = 1; ; plates++) {
    const slots = Array.from({ length: plates }, () => pockets).flat();
    const takenBy = slots.map(() => -1);
    const fits = (at: number, slot: number) => {
      const { widthMm, heightMm, mayTurn } = pieces[at]!;
      const { widthMm: across, heightMm: down } = slots[slot]!;
      return (widthMm <= across && heightMm <= down) || (mayTurn && heightMm <= across && widthMm <= down);
    };
    const seek = (at: number, seen: Set<number>): boolean => {
      for (let slot = 0; slot < slots.length; slot++) {
        if (seen.has(slot) || !fits(at, slot)) continue;
        seen.add(slot);
        if (takenBy[slot]! < 0 || seek(takenBy[slot]!, seen)) {
          takenBy[slot] = at;
          return true;
        }
      }
      return false;
    };
    if (pieces.every((_, at) => seek(at, new Set()))) return plates;
  }
}

describe('pieces into pockets', () => {
  test('go in their sequence, plate by plate', () => {
    const pockets = [pocket('A1', 50, 30), pocket('A2', 50, 30)];
    const { assignments, plates, lowerBound } = assignToPockets([piece(50, 30), piece(50, 30), piece(50, 30)], pockets);
    expect([plates, lowerBound]).toEqual([2, 2]);
    expect(assignments.map(({ piece: at, plate, pocket: name }) => [at, plate, name])).toEqual([
      [0, 0, 'A1'],
      [1, 0, 'A2'],
      [2, 1, 'A1'],
    ]);
  });

  test('leave the large pocket to the piece that needs it', () => {
    const pockets = [pocket('L', 80, 80), pocket('S', 30, 30)];
    const { assignments, plates } = assignToPockets([piece(20, 20), piece(70, 70)], pockets);
    expect(plates).toBe(1);
    expect(assignments.map(({ piece: at, pocket: name }) => [at, name])).toEqual([
      [1, 'L'],
      [0, 'S'],
    ]);
  });

  test('turn only where they may', () => {
    const pockets = [pocket('A', 30, 50)];
    expect(assignToPockets([piece(50, 30, true)], pockets).assignments[0]!.turned).toBe(true);
    const error = codeOf(() => assignToPockets([piece(50, 30, false, 'cat')], pockets));
    expect(error.code).toBe('piece-fits-nowhere');
    expect(error.message).toMatch(/cat.*lacks 20 mm in width; turned by a quarter it would fit/);
  });

  test('say how much is missing in the pocket that comes nearest', () => {
    const error = codeOf(() =>
      assignToPockets([piece(85.6, 60, false, 'dog')], [pocket('A', 85.6, 53.98), pocket('B', 20, 20)]),
    );
    expect(error.message).toMatch(/nearest, A, lacks 6.02 mm in height/);
  });

  test('take the fewest plates that a plain search finds, no pocket twice, every piece once', () => {
    const side = fc.constantFrom(20, 30, 45, 60);
    fc.assert(
      fc.property(
        fc.array(fc.record({ w: side, h: side, turn: fc.boolean() }), { minLength: 1, maxLength: 14 }),
        fc.array(fc.record({ w: side, h: side }), { minLength: 1, maxLength: 5 }),
        (sizes, holes) => {
          const pockets = [...holes.map(({ w, h }, at) => pocket(`P${at}`, w, h)), pocket('all', 60, 60)];
          const pieces = sizes.map(({ w, h, turn }) => piece(w, h, turn));
          const { assignments, plates } = assignToPockets(pieces, pockets);
          expect(plates).toBe(countPlatesPlainly(pieces, pockets));
          expect(assignments.map((one) => one.piece).sort((a, b) => a - b)).toEqual(pieces.map((_, at) => at));
          expect(new Set(assignments.map((one) => `${one.plate} ${one.pocket}`)).size).toBe(pieces.length);
          for (const one of assignments) {
            const { widthMm, heightMm, mayTurn } = pieces[one.piece]!;
            const hole = pockets.find(({ name }) => name === one.pocket)!;
            expect(one.turned && !mayTurn).toBe(false);
            expect((one.turned ? heightMm : widthMm) <= hole.widthMm).toBe(true);
            expect((one.turned ? widthMm : heightMm) <= hole.heightMm).toBe(true);
            expect(one.plate < plates).toBe(true);
          }
        },
      ),
      { numRuns: 150, seed: 2 },
    );
  });

  test('no piece needs no plate', () => {
    expect(assignToPockets([], [pocket('A', 1, 1)])).toEqual({ assignments: [], plates: 0, lowerBound: 0 });
  });
});

describe('free packing', () => {
  const sizes = fc.array(
    fc.record({
      w: fc.double({ min: 3, max: 100, noNaN: true }),
      h: fc.double({ min: 3, max: 80, noNaN: true }),
      turn: fc.boolean(),
    }),
    { minLength: 1, maxLength: 24 },
  );

  test('never overlaps, keeps the gap and the room, and never needs fewer plates than its bound', () => {
    fc.assert(
      fc.property(sizes, fc.constantFrom(0, 0.5, 3.3), (list, gapMm) => {
        const pieces = list.map(({ w, h, turn }) => piece(w, h, turn));
        const room = { widthMm: 100, heightMm: 80, gapMm };
        const { placed, plates, lowerBound } = packPlates(pieces, room);
        expect(placed.map((one) => one.piece).sort((a, b) => a - b)).toEqual(pieces.map((_, at) => at));
        expect(plates).toBeGreaterThanOrEqual(lowerBound);
        expect(new Set(placed.map(({ plate }) => plate)).size).toBe(plates);
        for (const [at, one] of placed.entries()) {
          const { widthMm, heightMm, mayTurn } = pieces[one.piece]!;
          expect([one.widthMm, one.heightMm]).toEqual(one.turned ? [heightMm, widthMm] : [widthMm, heightMm]);
          expect(one.turned && !mayTurn).toBe(false);
          expect(one.xMm >= 0 && one.yMm >= 0).toBe(true);
          expect(one.xMm + one.widthMm).toBeLessThanOrEqual(100 + 1e-9);
          expect(one.yMm + one.heightMm).toBeLessThanOrEqual(80 + 1e-9);
          for (const other of placed.slice(at + 1)) {
            if (other.plate !== one.plate) continue;
            // Beside one another in x or in y by the gap; nearer only across a corner, never in both.
            const apart = Math.max(
              other.xMm - one.xMm - one.widthMm,
              one.xMm - other.xMm - other.widthMm,
              other.yMm - one.yMm - one.heightMm,
              one.yMm - other.yMm - other.heightMm,
            );
            expect(apart).toBeGreaterThanOrEqual(gapMm - 1e-9);
            expect(distanceBetween(one, other)).toBeGreaterThanOrEqual(gapMm - 1e-9);
          }
        }
        expect(packPlates(pieces, room)).toEqual({ placed, plates, lowerBound });
      }),
      { numRuns: 80, seed: 3 },
    );
  });

  test('its bound never asks for more plates than the pieces were cut from', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 4 }),
        fc.array(fc.double({ min: 0.1, max: 0.9, noNaN: true }), { minLength: 30, maxLength: 30 }),
        fc.integer({ min: 0, max: 12 }),
        fc.boolean(),
        (plates, shares, cuts, turn) => {
          // Whole plates of 60 × 100 µm cut again and again, so that a packing into as many exists.
          const parts: [number, number][] = Array.from({ length: plates }, () => [60, 100]);
          for (let cut = 0; cut < cuts; cut++) {
            const at = Math.floor(shares[(2 * cut) % 30]! * parts.length);
            const [w, h] = parts[at]!;
            const side = Math.max(w, h);
            const from = Math.max(1, Math.floor(side * shares[(2 * cut + 1) % 30]!));
            if (side - from < 1) continue;
            parts.splice(
              at,
              1,
              ...((w > h
                ? [
                    [from, h],
                    [w - from, h],
                  ]
                : [
                    [w, from],
                    [w, h - from],
                  ]) as [number, number][]),
            );
          }
          const ways = parts.map(([w, h]) =>
            turn
              ? (
                  [
                    [w, h, false],
                    [h, w, true],
                  ] as const
                ).filter(([a, b]) => a <= 60 && b <= 100)
              : [[w, h, false] as const],
          );
          const bound = boundPlates(ways, [60, 100]);
          expect(bound).toBeLessThanOrEqual(plates);
          if (!turn) expect(bound).toBe(plates);
        },
      ),
      { numRuns: 300, seed: 4 },
    );
  });

  test('the bound sees that pieces larger than half a plate share none, which area does not', () => {
    const half = [[51, 41, false]] as const;
    expect(boundPlates([half, half, half], [100, 80])).toBe(3);
    expect(boundPlates([[[50, 80, false]], [[50, 80, false]]], [100, 80])).toBe(1);
    expect(boundPlates([], [100, 80])).toBe(0);
  });

  test('a plate that can be filled exactly is', () => {
    const pieces = Array.from({ length: 12 }, () => piece(30, 20));
    const { plates, lowerBound } = packPlates(pieces, { widthMm: 98, heightMm: 86, gapMm: 2 });
    // Three columns of 30 with gaps of 2 are 94, four rows of 20 are 86.
    expect([plates, lowerBound]).toEqual([1, 1]);
  });

  test('on random orders it stays near its bound', () => {
    let above = 0;
    let total = 0;
    for (let order = 0; order < 20; order++) {
      const pieces = Array.from({ length: 40 }, (_, at) =>
        piece(15 + ((order * 7 + at * 13) % 45), 10 + ((order * 11 + at * 29) % 35)),
      );
      const { plates, lowerBound } = packPlates(pieces, { widthMm: 106, heightMm: 106, gapMm: 4 });
      above += plates - lowerBound;
      total += lowerBound;
    }
    expect(above / total).toBeLessThan(0.25);
  });

  test('turns a piece only where it saves a plate', () => {
    const room = { widthMm: 100, heightMm: 60, gapMm: 0 };
    expect(packPlates([piece(60, 50, true)], room).placed[0]!.turned).toBe(false);
    const { plates, placed } = packPlates([piece(60, 50, true), piece(60, 50, true)], room);
    expect([plates, placed.every(({ turned }) => turned)]).toEqual([1, true]);
  });

  test('a piece larger than a plate is refused with what is missing', () => {
    const error = codeOf(() => packPlates([piece(120, 30, false, 'sign')], { widthMm: 100, heightMm: 80, gapMm: 1 }));
    expect([error.code, /sign.*missing 20 mm in width/.test(error.message)]).toEqual(['piece-fits-nowhere', true]);
  });
});
