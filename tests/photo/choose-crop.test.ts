import { describe, expect, test } from 'vitest';
import { chooseCrop, type FaceToKeep } from '../../src/photo/index.ts';

const face = (x: number, y: number, size: number, look = 0): FaceToKeep => ({
  box: { x, y, width: size, height: size },
  eyesY: y + 0.35 * size,
  look,
});
const boxOf = (faces: readonly FaceToKeep[]) => faces[0]!.box;
const choose = (faces: readonly FaceToKeep[], crop: { width: number; height: number }, box = boxOf(faces)) =>
  chooseCrop({ faces, box }, { crop });
const startOf = ({ focus }: ReturnType<typeof choose>, crop: { width: number; height: number }) => ({
  x: focus.x - crop.width / 2,
  y: focus.y - crop.height / 2,
});

describe('one face', () => {
  test('has its eyes at the upper third where there is room', () => {
    const crop = { width: 1, height: 0.5 };
    const { y } = startOf(choose([face(0.4, 0.5, 0.15)], crop), crop);
    expect((0.5 + 0.35 * 0.15 - y) / crop.height).toBeCloseTo(1 / 3, 1);
  });

  test('keeps hair and chin even where the eyes must leave the third', () => {
    const crop = { width: 1, height: 0.42 };
    const tall = face(0.3, 0.3, 0.25);
    const { y } = startOf(choose([tall], crop), crop);
    expect(y).toBeLessThanOrEqual(0.3 - 0.5 * 0.25 + 1e-9);
    expect(y + crop.height).toBeGreaterThanOrEqual(0.55 + 0.12 * 0.25);
  });

  test('has air before its gaze', () => {
    const crop = { width: 0.4, height: 1 };
    const middle = (look: number) => choose([face(0.45, 0.3, 0.1, look)], crop).focus.x;
    expect(middle(0)).toBeCloseTo(0.5, 6);
    expect(middle(1)).toBeGreaterThan(0.5);
    expect(middle(-1)).toBeLessThan(0.5);
  });

  test('never puts the crop beyond the photo', () => {
    for (const [x, y] of [
      [0, 0],
      [0.9, 0.9],
    ] as const) {
      const crop = { width: 0.5, height: 0.5 };
      const start = startOf(choose([face(x, y, 0.1)], crop), crop);
      for (const value of [start.x, start.y]) {
        expect(value).toBeGreaterThanOrEqual(0);
        expect(value).toBeLessThanOrEqual(0.5);
      }
    }
  });

  test('that is larger than the crop keeps its middle, and is said to be cut', () => {
    const crop = { width: 1, height: 0.3 };
    const choice = choose([face(0.25, 0.3, 0.5)], crop);
    expect([choice.facesCut, choice.isFirstCut]).toEqual([1, true]);
    expect(choice.focus.y).toBeGreaterThan(0.3);
    expect(choice.focus.y).toBeLessThan(0.8);
  });
});

describe('several faces', () => {
  const crop = { width: 0.5, height: 1 };

  test('are all inside where they fit together', () => {
    const faces = [face(0.5, 0.3, 0.12), face(0.7, 0.3, 0.1), face(0.4, 0.4, 0.1)];
    expect(choose(faces, crop).facesCut).toBe(0);
  });

  test('that do not fit: the first wins, then what fits beside it, and the others are counted', () => {
    const faces = [face(0.05, 0.3, 0.2), face(0.8, 0.3, 0.15), face(0.3, 0.4, 0.12)];
    const choice = choose(faces, crop);
    expect([choice.facesCut, choice.isFirstCut]).toEqual([1, false]);
    expect(startOf(choice, crop).x).toBeLessThanOrEqual(0.05);
  });

  test('all of the body is kept where it fits, but never for a face', () => {
    const body = { x: 0.3, y: 0.2, width: 0.4, height: 0.8 };
    const choice = choose([face(0.32, 0.25, 0.1)], crop, body);
    const { x } = startOf(choice, crop);
    expect(x).toBeLessThanOrEqual(0.3);
    expect(x + 0.5).toBeGreaterThanOrEqual(0.7);
  });
});

test('without a face the crop takes the part that holds most of the subject', () => {
  const weights = { width: 4, height: 1, data: Float32Array.of(0.1, 0.2, 1, 1) };
  const choice = chooseCrop(
    { faces: [], box: { x: 0, y: 0, width: 1, height: 1 }, weights },
    { crop: { width: 0.5, height: 1 } },
  );
  expect(choice.focus.x).toBeCloseTo(0.75, 6);
  expect(choice.subjectLost).toBeCloseTo(0.3 / 2.3, 5);
});

test('a shape without a face that is too high for the crop keeps its upper part, with air where there is some', () => {
  const box = { x: 0.2, y: 0.1, width: 0.5, height: 0.9 };
  const crop = { width: 1, height: 0.4 };
  const fromTop = chooseCrop({ faces: [], box, fromTop: true }, { crop });
  expect(fromTop.focus.y - crop.height / 2).toBeCloseTo(0.08, 5);
  // One that fits keeps its middle all the same.
  const low = { ...box, y: 0.5, height: 0.3 };
  expect(chooseCrop({ faces: [], box: low, fromTop: true }, { crop }).focus.y).toBeCloseTo(0.65, 5);
});
