import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { NOTICES, type NoticeCode, notice, withoutCodes, withoutRepeats } from '../src/notices.ts';

const source = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .filter((file) => file.endsWith('.ts') && file !== 'notices.ts')
  .map((file) => readFileSync(join('src', file), 'utf8'))
  .join('\n');

describe.each(Object.keys(NOTICES) as NoticeCode[])('notice %s', (code) => {
  test('is given somewhere', () => {
    expect(source).toContain(`notice('${code}'`);
  });
  test('speaks to people of both faces: no option of the command line', () => {
    expect(NOTICES[code].say.toString()).not.toMatch(/--[a-z]|`[a-z]+ --?/);
  });
});

test('a notice carries its code, who speaks, its words and its numbers', () => {
  expect(notice('range-small', { range: 9.04 })).toEqual({
    code: 'range-small',
    about: 'fit',
    text: 'Bare and solid differ by only 9.0 L*: photographs will look flat.',
    data: { range: 9.04 },
  });
});

test('notices are dropped by code, and those that say the same are said once, where they stood first', () => {
  const list = [notice('fit-unsettled'), notice('camera-flash'), notice('fit-unsettled')];
  expect(withoutCodes(list, 'camera-flash').map(({ code }) => code)).toEqual(['fit-unsettled', 'fit-unsettled']);
  expect(withoutRepeats(list).map(({ code }) => code)).toEqual(['fit-unsettled', 'camera-flash']);
});
