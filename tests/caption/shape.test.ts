import { describe, expect, test } from 'vitest';
import { shapeCaption, shapeWords } from '../../src/caption/index.ts';
import { fillPath } from '../../src/caption/outline.ts';

/** Middles of the words' pieces of ink from left to right: columns with ink, in capitals' heights. */
function inkOf(text: string) {
  const outline = shapeWords(text, 'sans', 'the caption');
  const scale = 40;
  const width = Math.ceil((outline.right - outline.left) * scale) + 2;
  const height = Math.ceil((outline.bottom - outline.top) * scale) + 2;
  const { data } = fillPath(outline.path, {
    width,
    height,
    scaleX: scale,
    scaleY: scale,
    left: 1 - outline.left * scale,
    top: 1 - outline.top * scale,
  });
  return {
    outline,
    width,
    height,
    rows: Array.from({ length: height }, (_, y) => data.slice(y * width, (y + 1) * width)),
  };
}

const sameInk = (a: string, b: string) => expect(shapeWords(a, 'sans', 'x').path).toBe(shapeWords(b, 'sans', 'x').path);

describe('words as curves', () => {
  test('capitals are as high as the unit says, and stand on the baseline', () => {
    const { top, bottom, left } = shapeWords('HIT', 'sans', 'x');
    expect(top).toBeCloseTo(-1, 2);
    expect(bottom).toBeCloseTo(0, 2);
    expect(left).toBeGreaterThan(0);
  });

  test('an accent that was typed apart is the letter with its accent', () => {
    sameInk('Zoe\u0308', 'Zoë');
    expect(shapeWords('É', 'sans', 'x').top).toBeLessThan(-1.15);
  });

  test('letters of several files of a family stand in one word', () => {
    const parts = ['Łukasz', 'Ελένη', 'Мария', 'Nguyễn', 'Đặng', 'नमस्ते'];
    for (const text of parts) expect(shapeWords(text, 'sans', 'x').right).toBeGreaterThan(1);
    for (const text of parts.slice(0, 5)) expect(shapeWords(text, 'serif', 'x').right).toBeGreaterThan(1);
    expect(shapeWords('Ελένη', 'script', 'x').path).not.toBe('');
  });

  test('Arabic letters join, and differ by where they stand in the word', () => {
    // Three letters beside each other are one stroke: no column between the first and the last is without ink.
    const { rows, width } = inkOf('سسس');
    const empty = Array.from({ length: width }, (_, x) => rows.every((row) => !row[x])).slice(2, -2);
    expect(empty.some(Boolean)).toBe(false);
    expect(shapeWords('سسس', 'sans', 'x').right).not.toBeCloseTo(3 * shapeWords('س', 'sans', 'x').right, 1);
  });

  test('Hebrew runs from right to left: its last letter stands at the left', () => {
    // A final mem is closed and wide, a lamed the only letter that rises above the others.
    const { rows, width } = inkOf('לם');
    const highest = rows.findIndex((row) => row.includes(1));
    expect(rows[highest]!.indexOf(1)).toBeGreaterThan(width / 2);
  });

  test('numbers stay as they are within words from right to left, brackets turn round', () => {
    const [alone, within] = ['2026', 'שלום 2026'].map((text) => shapeWords(text, 'sans', 'x'));
    expect(within!.path.startsWith(alone!.path)).toBe(true);
    const bracket = inkOf('(ש)');
    const middle = bracket.rows[bracket.height >> 1]!;
    // The opening bracket stands at the right end, and there bulges to the right.
    expect(bracket.rows[3]!.lastIndexOf(1)).toBeLessThan(middle.lastIndexOf(1));
  });

  test.each([
    ['Mia 😀', 'letter-missing', /“😀” \(U\+1F600\).*Noto Sans/],
    ['美亜', 'letter-missing', /“美” \(U\+7F8E\)/],
    ['Mia\nJuno', 'option-invalid', /line break/],
    ['   ', 'option-invalid', /0 letters/],
    ['x'.repeat(201), 'option-invalid', /201 letters/],
  ])('%j is refused by name', (text, code, message) => {
    expect(() => shapeWords(text, 'sans', 'the caption')).toThrow(expect.objectContaining({ code }));
    expect(() => shapeWords(text, 'sans', 'the caption')).toThrow(message);
  });

  test('bare letters on a bare edge would not be seen', () => {
    expect(() => shapeCaption({ text: 'Mia', place: 'edge', ink: 'bare' })).toThrow(/bare letters/);
  });
});
