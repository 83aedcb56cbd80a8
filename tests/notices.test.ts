import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { sayLine } from '../src/notice-lines.ts';
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

/** Whatever is asked of it: a word, a number, a list. */
const anything: unknown = new Proxy(() => undefined, {
  get: (_of, name) => (name === Symbol.toPrimitive ? () => 2 : anything),
});

describe('a notice on one line', () => {
  const codes = Object.keys(NOTICES) as NoticeCode[];
  const lineOf = (code: NoticeCode) => sayLine({ code, data: anything as Record<string, unknown> });
  test.each(codes)('%s is short and plain: a sentence without figures of the bench', (code) => {
    const line = lineOf(code);
    expect(line.length).toBeLessThanOrEqual(100);
    expect(line).toMatch(/^[A-Z\d].*\.$/s);
    expect(line).not.toMatch(/L\*|µm|J\/cm|coverage|95 %|--|`/);
  });
  test('is nobody else’s', () => {
    const lines = codes.filter((code) => !code.startsWith('patch')).map(lineOf);
    expect(new Set(lines).size).toBeGreaterThanOrEqual(lines.length - 2);
  });
  test('says what it is about where that differs', () => {
    expect(sayLine(notice('job-differs', { profile: 'p', field: 'lens', difference: '' }))).toContain('another lens');
    expect(sayLine(notice('subject-cut', { cut: 2, faces: 3, isFirstCut: false, photoLost: 0.1 }))).toContain(
      '2 faces',
    );
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
