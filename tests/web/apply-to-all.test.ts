import { expect, test } from 'vitest';
import { applyToAll, hasForAll } from '../../src/web/page/order/apply-to-all.ts';
import { photoSettingsOf } from '../../src/web/piece-settings.ts';
import type { PhotoSettings, PieceSettings } from '../../src/web/protocol.ts';

const WISH: PhotoSettings = {
  widthMm: 80,
  heightMm: 50,
  cornerRadiusMm: 3,
  machine: 'galvo',
  profile: 'cards',
  fit: 'cover',
  safeMarginMm: 2,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
};
const piece = (id: string, own: PieceSettings) => ({ id, own });

test('all pieces want what one wants, but for what belongs to one photo', () => {
  const from = piece('a', {
    widthMm: 40,
    heightMm: 30,
    material: 'slate',
    backdrop: 'soften',
    focus: { x: 0.2, y: 0.3 },
    zoom: 2,
    caption: { text: 'Mia' },
  });
  const pieces = [
    from,
    piece('b', { widthMm: 20, profile: 'glass', turned: true, zoom: 3 }),
    piece('c', { turnDeg: 2, caption: { text: 'Juno' } }),
  ];
  const { wish, own } = applyToAll({ wish: WISH, pieces }, from);
  const after = pieces.map(({ id, own: before }) => photoSettingsOf(wish, own.get(id) ?? before));
  for (const one of after) {
    expect(one).toMatchObject({ material: 'slate', backdrop: 'soften', machine: 'galvo' });
    expect(one.profile).toBeUndefined();
    expect([one.widthMm, one.heightMm].sort()).toEqual([30, 40]);
  }
  expect(after.map(({ zoom, focus, turnDeg, caption }) => [zoom, focus?.x, turnDeg, caption?.text])).toEqual([
    [2, 0.2, undefined, 'Mia'],
    [3, undefined, undefined, undefined],
    [undefined, undefined, 2, 'Juno'],
  ]);
  // The one that lay the other way round still does.
  expect(after[1]).toMatchObject({ widthMm: 30, heightMm: 40 });
  expect(own.has('c')).toBe(false);
});

test('what belongs to one photo alone is nothing to apply', () => {
  expect(hasForAll(piece('a', { zoom: 2, caption: { text: 'Mia' }, turned: true }))).toBe(false);
  expect(hasForAll(piece('a', { zoom: 2, screen: 'line' }))).toBe(true);
});
