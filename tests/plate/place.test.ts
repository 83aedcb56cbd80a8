import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  aimAt,
  correctPoint,
  type Jig,
  NO_CORRECTION,
  type Origin,
  parseJig,
  placeInPocket,
  placeMarks,
  toControl,
  toControlPlace,
} from '../../src/plate/index.ts';

const FIELD = [110, 110] as const;

const jigWith = (more: object): Jig =>
  parseJig(
    {
      schema: 'tonewright-jig/1',
      name: 'two-cards',
      title: 'Two cards',
      widthMm: 120,
      heightMm: 140,
      pockets: [
        { name: 'A1', xMm: 15, yMm: 12, widthMm: 85.6, heightMm: 54 },
        { name: 'B1', xMm: 15, yMm: 76, widthMm: 85.6, heightMm: 54 },
      ],
      ...more,
    },
    'two-cards.json',
  );

describe('where a piece is burned', () => {
  // Worked by hand. The field of 110 × 110 lies at 5, 15 on the board of 120 × 140.
  const cases: readonly [origin: Origin, stop: string, x: number, y: number][] = [
    [{ at: 'stop', yAxis: 'down' }, 'top-left', 15, 76],
    [{ at: 'stop', yAxis: 'up' }, 'top-left', 15, -76],
    [{ at: 'stop', yAxis: 'up' }, 'bottom-left', 15, 64],
    [{ at: 'stop', yAxis: 'down' }, 'bottom-right', -105, -64],
    [{ at: 'field-corner', yAxis: 'down' }, 'top-left', 10, 61],
    [{ at: 'field-corner', yAxis: 'up' }, 'top-left', 10, 49],
    [{ at: 'field-centre', yAxis: 'down' }, 'top-left', -45, 6],
    [{ at: 'field-centre', yAxis: 'up' }, 'top-left', -45, -6],
  ];
  test.each(cases)('origin %o, stop %s: %d, %d', (origin, stop, x, y) => {
    const jig = jigWith({ origin, stop, pockets: jigWith({}).pockets.map((one) => ({ ...one, stop: 'top-left' })) });
    const aim = aimAt(jig, { fieldMm: FIELD, correction: NO_CORRECTION, pivot: { xMm: 0, yMm: 0 } });
    const place = placeInPocket(jig.pockets[1]!, { widthMm: 85.6, heightMm: 54 });
    expect(toControlPlace(place, aim).corner).toEqual({ xMm: x, yMm: y });
  });

  test('a smaller piece lies in the corner of its stop', () => {
    const pocket = { name: 'A', xMm: 10, yMm: 20, widthMm: 50, heightMm: 40, use: 'piece' } as const;
    const size = { widthMm: 30, heightMm: 25 };
    expect(placeInPocket({ ...pocket, stop: 'top-left' }, size)).toMatchObject({ xMm: 10, yMm: 20 });
    expect(placeInPocket({ ...pocket, stop: 'top-right' }, size)).toMatchObject({ xMm: 30, yMm: 20 });
    expect(placeInPocket({ ...pocket, stop: 'bottom-left' }, size)).toMatchObject({ xMm: 10, yMm: 35 });
    expect(placeInPocket({ ...pocket, stop: 'bottom-right' }, size)).toMatchObject({ xMm: 30, yMm: 35 });
  });

  test('the field lies where the jig says, or centred', () => {
    const jig = jigWith({ fieldAtMm: [3, 7], origin: { at: 'field-corner', yAxis: 'down' } });
    const aim = aimAt(jig, { fieldMm: FIELD, correction: NO_CORRECTION, pivot: { xMm: 0, yMm: 0 } });
    expect(toControl({ xMm: 15, yMm: 12 }, aim)).toEqual({ xMm: 12, yMm: 5 });
  });
});

describe('alignment', () => {
  test('marks lie 5 mm inside the outermost corners', () => {
    const marks = placeMarks(jigWith({}));
    expect(marks.map(({ number, pocket, xMm, yMm }) => [number, pocket, xMm, yMm])).toEqual([
      [1, 'A1', 20, 17],
      [2, 'A1', 95.6, 17],
      [3, 'B1', 95.6, 125],
      [4, 'B1', 20, 125],
    ]);
  });

  test('an offset alone is taken off', () => {
    const jig = jigWith({});
    const correction = { offsetXMm: 0.12, offsetYMm: -0.05, turnDeg: 0 };
    const aim = aimAt(jig, { fieldMm: FIELD, correction, pivot: placeMarks(jig)[0]! });
    expect(toControlPlace(jig.pockets[0]!, aim)).toEqual({
      corner: { xMm: 14.88, yMm: 12.05 },
      centre: { xMm: 57.68, yMm: 39.05 },
      angleDeg: 0,
      offIfNotTurnedMm: 0,
    });
  });

  test('a turn of 90° is worked by hand', () => {
    // The machine turns everything clockwise about 10, 10: what it is sent to 13, 10 lands on 10, 13.
    const sent = correctPoint(
      { xMm: 10, yMm: 13 },
      { correction: { offsetXMm: 0, offsetYMm: 0, turnDeg: 90 }, pivot: { xMm: 10, yMm: 10 } },
    );
    expect(sent.xMm).toBeCloseTo(13, 12);
    expect(sent.yMm).toBeCloseTo(10, 12);
  });

  test('a machine that is off by any offset and turn burns the corrected places where they should be', () => {
    const millimetres = fc.double({ min: -200, max: 200, noNaN: true });
    fc.assert(
      fc.property(
        fc.record({ xMm: millimetres, yMm: millimetres }),
        fc.record({ xMm: millimetres, yMm: millimetres }),
        fc.record({
          offsetXMm: fc.double({ min: -5, max: 5, noNaN: true }),
          offsetYMm: fc.double({ min: -5, max: 5, noNaN: true }),
          turnDeg: fc.double({ min: -10, max: 10, noNaN: true }),
        }),
        (point, centre, wrong) => {
          // The machine's own error: a turn about some other point, and a shift. What the first mark tells of it is
          // measured.
          const angle = (wrong.turnDeg * Math.PI) / 180;
          const burn = ({ xMm, yMm }: { xMm: number; yMm: number }) => ({
            xMm: Math.cos(angle) * xMm - Math.sin(angle) * yMm + wrong.offsetXMm,
            yMm: Math.sin(angle) * xMm + Math.cos(angle) * yMm + wrong.offsetYMm,
          });
          const mark = burn(centre);
          const correction = {
            offsetXMm: mark.xMm - centre.xMm,
            offsetYMm: mark.yMm - centre.yMm,
            turnDeg: wrong.turnDeg,
          };
          const landed = burn(correctPoint(point, { correction, pivot: centre }));
          expect(landed.xMm).toBeCloseTo(point.xMm, 9);
          expect(landed.yMm).toBeCloseTo(point.yMm, 9);
        },
      ),
      { numRuns: 200, seed: 1 },
    );
  });

  test('what stays off without turning the bitmap is the chord of its corners', () => {
    const jig = jigWith({});
    const correction = { offsetXMm: 0, offsetYMm: 0, turnDeg: 0.5 };
    const aim = aimAt(jig, { fieldMm: FIELD, correction, pivot: placeMarks(jig)[0]! });
    const { offIfNotTurnedMm, angleDeg } = toControlPlace({ xMm: 0, yMm: 0, widthMm: 30, heightMm: 40 }, aim);
    expect(angleDeg).toBe(-0.5);
    expect(offIfNotTurnedMm).toBeCloseTo(2 * 25 * Math.sin((0.25 * Math.PI) / 180), 6);
  });
});
