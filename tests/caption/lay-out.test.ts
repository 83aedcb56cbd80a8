import { describe, expect, test } from 'vitest';
import { layOutCaption, shapeWords } from '../../src/caption/index.ts';

const card = { widthMm: 80, heightMm: 50, cornerRadiusMm: 0, safeMarginMm: 0 };
const words = (...texts: string[]) => texts.map((text) => shapeWords(text, 'sans', 'x'));

describe('a caption on a piece', () => {
  test('stands in the middle, its second line smaller and below', () => {
    const { lines, isShrunk } = layOutCaption(words('Mia & Juno', '2026'), { place: 'below' }, card);
    expect(isShrunk).toBe(false);
    expect(lines.map(({ heightMm }) => heightMm)).toEqual([3, expect.closeTo(2.1, 6)]);
    for (const { xMm, heightMm, outline } of lines) {
      expect(xMm + (heightMm * (outline.left + outline.right)) / 2).toBeCloseTo(40, 6);
    }
    expect(lines[1]!.yMm).toBeGreaterThan(lines[0]!.yMm + 2.1);
    expect(lines[1]!.yMm).toBeLessThan(50);
  });

  test('is read on a large piece as on a card', () => {
    const heightOn = (side: number) =>
      layOutCaption(words('Mia'), { place: 'below' }, { ...card, widthMm: side, heightMm: side }).lines[0]!.heightMm;
    expect([8, 40, 60, 100].map(heightOn)).toEqual([1, 3, 3, 5].map((mm) => expect.closeTo(mm, 6)));
  });

  test('becomes smaller where there is no room, and says so; a height that was given stands or is refused', () => {
    const narrow = { ...card, widthMm: 24 };
    const { lines, isShrunk } = layOutCaption(words('Mia & Juno, 2026'), { place: 'below' }, narrow);
    expect(isShrunk).toBe(true);
    const { outline, heightMm } = lines[0]!;
    expect((outline.right - outline.left) * heightMm).toBeLessThan(24);
    expect(() => layOutCaption(words('Mia & Juno, 2026'), { place: 'below', heightMm: 3 }, narrow)).toThrow(
      expect.objectContaining({
        code: 'caption-too-large',
        details: expect.objectContaining({ fitsMm: expect.any(Number) }),
      }),
    );
    const { fitsMm } = (() => {
      try {
        return layOutCaption(words('Mia & Juno, 2026'), { place: 'below', heightMm: 3 }, narrow) as never;
      } catch (error) {
        return (error as { details: { fitsMm: number } }).details;
      }
    })();
    expect(layOutCaption(words('Mia & Juno, 2026'), { place: 'below', heightMm: fitsMm }, narrow).isShrunk).toBe(false);
  });

  test('lies inside a round piece and its margin with all of its ink', () => {
    const round = { widthMm: 40, heightMm: 40, cornerRadiusMm: 20, safeMarginMm: 1 };
    const { lines } = layOutCaption(words('Mia & Juno, 2026', 'for ever'), { place: 'below' }, round);
    for (const { outline, heightMm, xMm, yMm } of lines) {
      for (const x of [outline.left, outline.right]) {
        for (const y of [outline.top, outline.bottom]) {
          expect(Math.hypot(xMm + x * heightMm - 20, yMm + y * heightMm - 20)).toBeLessThan(19);
        }
      }
    }
  });

  test('on the bare edge takes the middle of what the picture leaves, or is refused', () => {
    const { lines, topMm } = layOutCaption(words('Mia'), { place: 'edge' }, { ...card, pictureBottomMm: 42 });
    expect(topMm).toBe(42);
    expect(lines[0]!.yMm).toBeGreaterThan(43);
    expect(lines[0]!.yMm).toBeLessThan(50);
    expect(() => layOutCaption(words('Mia'), { place: 'edge' }, { ...card, pictureBottomMm: 50 })).toThrow(
      expect.objectContaining({ code: 'caption-too-large' }),
    );
  });
});
