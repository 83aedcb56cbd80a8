import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { describeShop, openShopFolder } from '../../src/tasks/index.ts';

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-due-'));
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const CHECK = {
  chart: 'a1b2c3',
  capture: '0123456789abcdef',
  meanDelta: 0.4,
  worstDelta: 0.9,
  bareDelta: 0,
  solidDelta: 0.2,
  midShift: 0.1,
  basis: 'absolute',
  unit: 1,
  verdict: 'holds',
  cause: 'none',
};

function dueOf(profile: object, history?: object | string): string | undefined {
  const shopDir = mkdtempSync(join(cwd, 'shop-'));
  for (const kind of ['profiles', 'history']) mkdirSync(join(shopDir, kind));
  const known = JSON.parse(readFileSync('shared/shop/profiles/anodised-black.json', 'utf8'));
  const made = { ...known, name: 'mine', date: '2026-03-01', origin: 'measured', ...profile };
  writeFileSync(join(shopDir, 'profiles', 'mine.json'), JSON.stringify(made));
  if (history) {
    const text = typeof history === 'string' ? history : JSON.stringify(history);
    writeFileSync(join(shopDir, 'history', 'mine.json'), text);
  }
  const { profiles } = describeShop(openShopFolder({ shopDir }));
  return profiles.find(({ profile: { name } }) => name === 'mine')!.checkDue;
}

describe('the next check of a profile', () => {
  test('is due a month after it was learned, or after its last check', () => {
    expect(dueOf({})).toBe('2026-03-31');
    const entries = ['2026-03-20', '2026-05-02', '2026-04-01'].map((date) => ({ ...CHECK, date }));
    expect(dueOf({}, { schema: 'tonewright-history/1', profile: 'mine', entries })).toBe('2026-06-01');
  });

  test('is not asked for where no piece was burned', () => {
    expect(dueOf({ origin: 'simulated' })).toBeUndefined();
    const { profiles } = describeShop(openShopFolder({}));
    expect(profiles.length).toBeGreaterThan(0);
    expect(profiles.every(({ checkDue }) => checkDue === undefined)).toBe(true);
  });

  test('a history that cannot be read hides no profile', () => {
    expect(dueOf({}, 'not JSON')).toBe('2026-03-31');
  });
});
