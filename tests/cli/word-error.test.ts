import { readdirSync, readFileSync } from 'node:fs';
import { join, sep } from 'node:path';
import ts from 'typescript';
import { describe, expect, test } from 'vitest';
import { hintFor, wordError } from '../../src/cli/word-error.ts';
import { AppError, ERRORS } from '../../src/errors.ts';

describe('an error on the command line', () => {
  const flags = ['--size <WxH>', '--pitch <mm>', '--lines-per-cm <n>'];

  test.each([
    ['size: found "x", needed two', {}, '--size: found "x", needed two'],
    ['lines-per-cm: found "x"', {}, '--lines-per-cm: found "x"'],
    ['aim: found "x"', {}, 'aim: found "x"'],
    ['photo.jpg: found no dots', { options: ['pitch'] }, 'photo.jpg: found no dots (--pitch)'],
    ['found no grid', { options: ['pitch', 'spacing'] }, 'found no grid (--pitch)'],
    ['found no grid', { options: ['spacing'] }, 'found no grid'],
  ])('%s %j', (message, details, said) => {
    expect(wordError(new AppError('option-invalid', message, details), flags)).toBe(said);
  });

  test('has hints of its own where options mend it', () => {
    expect(hintFor(new AppError('result-exists', 'x'))).toContain('--force');
    expect(hintFor(new AppError('image-broken', 'x'))).toBe(ERRORS['image-broken'].hint);
  });
});

/** Words that a person reads, as the source has them: strings and templates, without comments. */
function listTexts(file: string): readonly string[] {
  const source = ts.createSourceFile(file, readFileSync(join('src', file), 'utf8'), ts.ScriptTarget.Latest, true);
  const found: string[] = [];
  const visit = (node: ts.Node): void => {
    if (ts.isStringLiteralLike(node) || ts.isTemplateHead(node) || ts.isTemplateMiddleOrTemplateTail(node)) {
      found.push(node.text);
    }
    ts.forEachChild(node, visit);
  };
  visit(source);
  return found;
}

/** Variables of styles, and options of other programs. */
const OTHERS = /var\(--[a-z]+\)|(?:style="|[{;] )--[a-z]+:|npm install --include/g;
/** What names the command line's options all the same, with the reason. */
const OWN: Readonly<Record<string, string>> = {
  'job/chart/page.ts': 'a printed sheet names the command that reads a capture, as code',
  'job/calibrate/next-step.ts': 'the next command, on a sheet and in the terminal, as code',
  'job/plate/page.ts': 'a printed sheet names the command that reads a strip, as code',
  'job/plate/jig-page.ts': 'a printed sheet names the options that take what was measured, as code',
  'batch/queue.ts': 'only the command line runs orders through a queue; its warning names the worker to start',
  'plane/memory.ts': 'options of the engine',
};

test.each(
  readdirSync('src', { recursive: true, encoding: 'utf8' })
    .map((path) => path.split(sep).join('/'))
    .filter((path) => path.endsWith('.ts') && !/^(?:cli|web\/page)\//.test(path) && !Object.hasOwn(OWN, path)),
)('%s names no option of the command line', (file) => {
  const texts = listTexts(file).map((text) => text.replace(OTHERS, ''));
  expect(texts.filter((text) => /(?:^|[\s(“"'])--[a-z]/.test(text))).toEqual([]);
});
