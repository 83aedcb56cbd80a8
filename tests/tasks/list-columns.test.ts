import { expect, test } from 'vitest';
import { pieceOptions } from '../../src/cli/commands/order.record.ts';
import { LIST_OPTIONS, readRequest } from '../../src/tasks/index.ts';
import { optionsOf, requestOf } from '../../src/web/server-photo-settings.ts';

test('a line of a list may give every option that the command gives a piece, and no other', () => {
  const options = pieceOptions();
  const wanted = options.map(({ flags, choices }) => [
    /^--([a-z\d-]+)/.exec(flags)![1]!,
    { takesValue: flags.includes('<'), choices },
  ]);
  const found = [...LIST_OPTIONS].map(([name, { takesValue, choices }]) => [name, { takesValue, choices }]);
  expect(Object.fromEntries(found)).toEqual(Object.fromEntries(wanted));
});

test('what the page asks for, written as options, reads back as the same request', () => {
  const wish = {
    widthMm: 85.6,
    heightMm: 53.98,
    cornerRadiusMm: 0,
    machine: 'galvo-355-f210',
    profile: 'anodised-black',
    fit: 'cover',
    focus: { x: 0.1 + 0.2, y: 1 / 3 },
    safeMarginMm: 1.25,
    screen: 'blue-noise',
    tone: 'plain',
    toneValues: { blackPointL: 3.3, brightnessEv: -0.7 },
    range: 'absolute',
    settings: { powerW: 0.1 + 0.2, rateKHz: 40, passes: 3, scan: 'two-way' },
    mirror: true,
    rotateDeg: 270,
    at: 'cards-2x3/B1',
    caption: { text: 'Mia, 2026', text2: 'x', place: 'band', heightMm: 2.5, font: 'serif', ink: 'bare' },
    artwork: { name: 'mark', widthMm: 12, at: { xMm: 0.1 + 0.2, yMm: -1 }, ink: 'solid' },
  } as const;
  expect(readRequest(optionsOf(wish))).toMatchObject(requestOf(wish, '.'));
  const { profile: _, focus: __, ...rest } = wish;
  const bare = { ...rest, material: 'slate', toneValues: {} };
  expect(readRequest(optionsOf(bare))).toMatchObject(requestOf(bare, '.'));
  expect(readRequest(optionsOf(bare))).not.toHaveProperty('focus');
});
