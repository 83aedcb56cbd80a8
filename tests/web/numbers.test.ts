import { describe, expect, test } from 'vitest';
import { numbersOf } from '../../src/web/page/numbers.ts';
import { withTitles } from '../../src/web/page/titles.ts';

const [english, german, swiss, french] = ['en-GB', 'de-DE', 'de-CH', 'fr-FR'].map(numbersOf) as [
  ReturnType<typeof numbersOf>,
  ReturnType<typeof numbersOf>,
  ReturnType<typeof numbersOf>,
  ReturnType<typeof numbersOf>,
];

describe('a number that is typed', () => {
  test.each([
    ['12.5', 12.5],
    ['12,5', 12.5],
    [' 12,5 ', 12.5],
    ['-0,5', -0.5],
    ['−3', -3],
    ['.5', 0.5],
    ['0,125', 0.125],
    ['1.234,5', 1234.5],
    ['1,234.5', 1234.5],
    ['1.234.567', 1234567],
    ['1 000', 1000],
    ['1’000', 1000],
    ['25', 25],
    ['', undefined],
    ['12,5,3.1.', undefined],
    ['abc', undefined],
    ['1e3', undefined],
  ])('%s is the same in every language', (typed, value) => {
    for (const numbers of [english, german, swiss, french]) expect(numbers.read(typed)).toBe(value);
  });
  test('with one sign before three figures is what the reader’s language makes of it', () => {
    expect([english.read('1,200'), german.read('1,200')]).toEqual([1200, 1.2]);
    expect([english.read('1.200'), german.read('1.200')]).toEqual([1.2, 1200]);
  });
});

describe('a day that is shown', () => {
  test('is written as the reader writes it, also within a sentence, and never within a name', () => {
    expect([english.sayDay('2026-11-08'), german.sayDay('2026-11-08')]).toEqual(['8 Nov 2026', '8. Nov. 2026']);
    expect(english.sayDay('soon')).toBe('soon');
    expect(english.inText('Learned on 2026-11-08, 2.5 L* off.')).toBe('Learned on 8 Nov 2026, 2.5 L* off.');
    expect(german.inText('Learned on 2026-11-08.')).toBe('Learned on 8. Nov. 2026.');
    for (const name of ['card-2026-11-08', '2026-11-08-card.png', 'chart/2026-11-08.json', '2026-11-08T10:00:00Z']) {
      expect(german.inText(name)).toBe(name);
    }
  });
});

describe('a number that is shown', () => {
  test('has the reader’s decimal sign, and no groups, so that it is read back as it was', () => {
    for (const numbers of [english, german, swiss, french]) {
      for (const value of [0, 0.005, 12.5, -3.25, 1234.5, 20000, 85.6]) {
        expect(numbers.read(numbers.say(value))).toBe(value);
      }
    }
    expect([english.say(12.5), german.say(12.5), german.say(20000.5)]).toEqual(['12.5', '12,5', '20000,5']);
  });
  test('has as many decimals as are asked for, and is never less than nothing by rounding', () => {
    expect([german.say(1.25, 1), german.say(2, 1, 'fixed'), english.say(-0.04, 1, 'fixed')]).toEqual([
      '1,3',
      '2,0',
      '0.0',
    ]);
  });
});

test('numbers in a sentence are the reader’s; names, versions, dates, places and files stay', () => {
  const said = 'Lines 0.045 mm apart, ± 1.2 L* (95 %: 0.8 … 1.6).';
  expect(german.inText(said)).toBe('Lines 0,045 mm apart, ± 1,2 L* (95 %: 0,8 … 1,6).');
  expect(english.inText(said)).toBe(said);
  for (const kept of ['version 1.2.3', 'cat-1.5.jpg', '28.11.2026', 'at 0.42,0.31', '127.0.0.1:80', 'a/1.5/b']) {
    expect(german.inText(kept)).toBe(kept);
  }
});

test('records are called by their titles wherever a name cannot be another word', () => {
  const shop = {
    machines: [{ name: 'galvo-355', title: 'The blue one' }],
    materials: [{ name: 'slate', title: 'Slate, natural' }],
    profiles: [{ name: 'anodised-black', title: 'Black cards' }],
    screens: [
      { name: 'line', title: 'Lines' },
      { name: 'stucki', title: 'Stucki 1981' },
    ],
  } as never;
  expect(withTitles('The profile "anodised-black" was learned on galvo-355; a line of slate.', shop)).toBe(
    'The profile “Black cards” was learned on The blue one; a line of slate.',
  );
  expect(withTitles('stucki, serpentine', shop)).toBe('Stucki 1981, serpentine');
  expect([withTitles('line', shop), withTitles('slate', shop)]).toEqual(['Lines', 'Slate, natural']);
  expect(withTitles('needed "slate" in shop/anodised-black.json, not my-anodised-black-2', shop)).toBe(
    'needed “Slate, natural” in shop/anodised-black.json, not my-anodised-black-2',
  );
});
