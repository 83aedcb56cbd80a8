import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test, vi } from 'vitest';
import { AppError, ERRORS, type ErrorCode } from '../src/errors.ts';

const source = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .filter((file) => file.endsWith('.ts') && file !== 'errors.ts')
  .map((file) => readFileSync(join('src', file), 'utf8'))
  .join('\n');
const documentation = readFileSync('DEVELOPERS.md', 'utf8');

describe.each(Object.keys(ERRORS) as ErrorCode[])('error %s', (code) => {
  test('is thrown somewhere', () => {
    expect(source).toContain(`'${code}'`);
  });
  test('is listed in DEVELOPERS.md', () => {
    expect(documentation).toContain(`\`${code}\``);
  });
});

test('an error keeps its code, its numbers and its exit status', () => {
  const error = new AppError('image-too-small', 'found 1 × 1 pixels, needed at least 8 × 8', { width: 1 });
  expect([error.code, error.exit, error.details]).toEqual(['image-too-small', 1, { width: 1 }]);
});

test('an error of another copy of the class is known: every bundle of dist/ carries one', async () => {
  vi.resetModules();
  const copy = await import('../src/errors.ts');
  expect(copy.AppError).not.toBe(AppError);
  expect(new copy.AppError('name-unknown', 'found no material')).toBeInstanceOf(AppError);
  expect([new Error('no'), null, 'text', { code: 'name-unknown' }].some((value) => value instanceof AppError)).toBe(
    false,
  );
});
