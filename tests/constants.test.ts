import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join, sep } from 'node:path';
import ts from 'typescript';
import { describe, expect, test } from 'vitest';
import { SOURCES } from '../src/sources.ts';

/** Units as comments write them, and the words for numbers that have none. */
const UNIT = new RegExp(
  `(?<![\\p{L}\\d_-])(?:${[
    'nm|µm|mm²?|cm|metres?|millimetres?|inch(?:es)?|ns|µs|ms|s|seconds?|minutes?|hours?|days?|W|mW|µJ|mJ|J|J/cm²|J/mm²|Hz|kHz',
    'mm/s|mm/s²|cd/m²|ΔL\\*|L\\*|L\\*²|ΔE|EV|°|degrees?|radians?|°C|percent|%|‰|lines per (?:mm|cm)|per mm|cycles per degree',
    'bytes?|bits?|KiB|MiB|GiB|pixels?|megapixels|characters?|codes?|dots?|cells?|modules?|patches|points?|rows?|columns?',
    'lines?|steps?|levels?|samples?|standard deviations?|tags?|tag numbers|field types|years?|samples a second|ems?',
    'shares?|ratios?|counts?|factors?|times|weights?|logarithm|log odds|exponents?|slopes?|without unit|in 1/\\d+|1/\\d+',
    'reflectances?|coverages?|strengths?|luminance|numbers of|numbers?|status(?:es)?|diameters?|radii|ind(?:ex|ices)|periods?|parts?|euros?|money|units?',
  ].join('|')})(?![\\p{L}\\d_-])`,
  'iu',
);
/** Endings of names that say the unit, as the house writes them. */
const UNIT_NAME =
  /(?:_(?:NM|UM|MM|CM|MS|US|S|L|W|EV|DEG|RAD|HZ|KHZ|BYTES?|BITS|PIXELS|PX|DOTS?|SHARE|ROWS|STEPS)|[a-z](?:Nm|Um|Mm|Mm2|Cm|Ms|Us|S|L|W|Ev|Deg|Rad|Hz|KHz|Bytes|Bits|Px|Dots|Cells|Share|Percent|PerS|PerS2|PerMm|PerM2|PerCm2))$/;

interface Constant {
  readonly file: string;
  /** `NAME`, or `NAME.field` of a record. */
  readonly name: string;
  /** What is written above it and beside it; for a field also what is written above its record. */
  readonly comment: string;
}

const files = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .map((path) => path.split(sep).join('/'))
  .filter((path) => /\.tsx?$/.test(path) && !path.endsWith('.d.ts'));
const constants = files.flatMap((file) => readConstants(file, readFileSync(join('src', file), 'utf8')));

describe('the reading of constants', () => {
  const read = (text: string) => readConstants('x.ts', text).map(({ name, comment }) => [name, faultOf(comment, name)]);

  test('sees numbers, lists and fields of records, and nothing else', () => {
    const text = `const A = 1; let B = 2; const C = [1, 2]; const D = { x: 1, y: 'a', z: { w: -2 } } as const;
      const E = 'text'; const F = other(3); const lower = 4; export const G: number = 2 ** 3; const H = A / 2;
      function inner() { const I = 5; } const J = new Map([[1, 2]]); const K = Math.sqrt(2) / 3;`;
    expect(readConstants('x.ts', text).map(({ name }) => name)).toEqual(['A', 'C', 'D.x', 'D.z.w', 'G', 'K']);
  });

  test.each([
    ['/** Width, mm. Assumed: wide enough to see. */\nconst A = 1;', undefined],
    ['const A = 1; // Pixels; assumed: small prints stay small.', undefined],
    ['/** Share, published (source: "cie15"). */\nconst A = 1;'.replaceAll('"', "'"), undefined],
    ['/** Share. Measured (tests/constants.test.ts). */\nconst A = 1;', undefined],
    ['/** Bytes. Format: a PNG chunk. */\nconst A = 1;', undefined],
    ['/** Assumed: half a second is not felt. */\nconst A_MS = 1;', undefined],
    ['/** Assumed: wide enough to see. */\nconst A = 1;', 'no unit'],
    ['/** Width, mm. */\nconst A = 1;', 'no origin'],
    ['/** Width, mm. Assumed. */\nconst A = 1;', 'no origin'],
    ['/** Width, mm. Measured. */\nconst A = 1;', 'no origin'],
    ['/** Width, mm. Measured (benchmarks/no-such.ts). */\nconst A = 1;', 'no origin'],
    ['/** Width, mm. Published (source: "nobody2000"). */\nconst A = 1;'.replaceAll('"', "'"), 'no origin'],
    ['/** Width, mm. The format is long. */\nconst A = 1;', 'no origin'],
    ['/** Width, mm. Assumed: wide enough to see. */\n\nconst A = 1;', 'no comment'],
    ['const A = 1;', 'no comment'],
  ])('%j: %s', (text, fault) => {
    expect(read(text)[0]![1]).toBe(fault);
  });

  test('lets a comment speak for the constants that follow it without a gap, and for the fields below it', () => {
    expect(read('/** Sides, mm. Assumed: small. Large. */\nconst A = 1;\nconst B = 2;\n\nconst C = 3;')).toEqual([
      ['A', undefined],
      ['B', undefined],
      ['C', 'no comment'],
    ]);
    const record = '/** Assumed: as a shop has them. */\nconst A = {\n  xMm: 1,\n  /** Count. */\n  y: 2,\n  z: 3 };';
    expect(read(record)).toEqual([
      ['A.xMm', undefined],
      ['A.y', undefined],
      ['A.z', 'no unit'],
    ]);
  });
});

test('the constants are seen', () => {
  expect(constants.length).toBeGreaterThan(500);
});

test.each(files)('%s says unit and origin of every number', (file) => {
  const faults = constants
    .filter((constant) => constant.file === file)
    .map(({ name, comment }) => ({ name, fault: faultOf(comment, name) }))
    .filter(({ fault }) => fault !== undefined);
  expect(faults).toEqual([]);
});

/** What a comment leaves unsaid of a constant's unit and origin. */
function faultOf(comment: string, name: string): string | undefined {
  if (comment === '') return 'no comment';
  if (!hasOrigin(comment)) return 'no origin';
  return UNIT_NAME.test(name) || UNIT.test(comment) ? undefined : 'no unit';
}

/** Published, with a key of the bibliography; measured, with a file; assumed, and why; exact or a format, and which. */
function hasOrigin(comment: string): boolean {
  const keys = [...comment.matchAll(/source: '(\w+)'/g)].map(([, key]) => key!);
  if (keys.length > 0 && keys.every((key) => Object.hasOwn(SOURCES, key))) return true;
  const measured = /\bmeasured\b.*?\b((?:benchmarks|tests)\/[\w/.-]+\.ts)\b/is.exec(comment);
  if (measured && existsSync(measured[1]!)) return true;
  return /\b(?:assumed|exact|by definition|format)(?:: |, | \().{8,}/is.test(comment);
}

/** All constants of a module that are numbers, lists of numbers or fields of records that are. */
function readConstants(file: string, text: string): Constant[] {
  const tree = ts.createSourceFile(file, text, ts.ScriptTarget.Latest, true);
  const found: Constant[] = [];
  let above = '';
  let end = 0;
  for (const statement of tree.statements) {
    const own = commentOf(text, statement);
    // A comment also speaks for the constants that follow it line by line.
    const follows = !/\n\s*\n/.test(text.slice(end, statement.getStart()));
    above = own !== '' || !follows ? own : above;
    end = statement.end;
    if (!ts.isVariableStatement(statement)) above = '';
    else if (statement.declarationList.flags & ts.NodeFlags.Const) {
      for (const { name, initializer } of statement.declarationList.declarations) {
        if (!/^(?:[A-Z][A-Z\d_]*|\[[A-Z][A-Z\d_, ]*\])$/.test(name.getText()) || !initializer) continue;
        const named = (path: string, comment: string) => found.push({ file, name: name.getText() + path, comment });
        collect(initializer, { text, path: '', comment: above, named });
      }
    }
  }
  return found;
}

interface Collecting {
  readonly text: string;
  readonly path: string;
  readonly comment: string;
  readonly named: (path: string, comment: string) => void;
}

/** The numbers of an initializer: itself, or the fields of records however deep; a list counts as one. */
function collect(given: ts.Expression, { text, path, comment, named }: Collecting): void {
  const node = bare(given);
  if (isNumber(node)) named(path, comment);
  else if (ts.isArrayLiteralExpression(node)) {
    const numbers = (item: ts.Expression): boolean => {
      const inner = bare(item);
      return ts.isArrayLiteralExpression(inner) ? inner.elements.some(numbers) : isNumber(inner);
    };
    if (node.elements.some(numbers)) named(path, comment);
    else for (const item of node.elements) collect(item, { text, path: `${path}[]`, comment, named });
  } else if (ts.isObjectLiteralExpression(node)) {
    // A record that names its source, its kind or its unit in a field says it for the numbers beside it.
    const said = node.properties
      .filter((field) => ts.isPropertyAssignment(field) && /^(?:source|unit)$/.test(field.name.getText()))
      .map((field) => field.getText().replace(/ satisfies \w+/, ''));
    const whole = [comment, ...said].join(' ').trim();
    for (const field of node.properties) {
      if (!ts.isPropertyAssignment(field)) continue;
      const beside = [whole, commentOf(text, field)].join(' ').trim();
      collect(field.initializer, { text, path: `${path}.${field.name.getText()}`, comment: beside, named });
    }
  }
}

function bare(node: ts.Expression): ts.Expression {
  const isWrapped = ts.isAsExpression(node) || ts.isSatisfiesExpression(node) || ts.isParenthesizedExpression(node);
  return isWrapped ? bare(node.expression) : node;
}

/** An expression of numbers alone: what is computed from another constant has that one's origin. */
function isNumber(given: ts.Expression): boolean {
  const node = bare(given);
  if (ts.isNumericLiteral(node)) return true;
  if (ts.isPrefixUnaryExpression(node)) return isNumber(node.operand);
  if (ts.isBinaryExpression(node)) return isNumber(node.left) && isNumber(node.right);
  if (ts.isPropertyAccessExpression(node)) return /^(?:Math|Number)\.[A-Z]/.test(node.getText());
  if (!ts.isCallExpression(node) || !/^Math\./.test(node.expression.getText())) return false;
  return node.arguments.every(isNumber);
}

/** What is written directly above a node, without a gap, and behind it on its line. */
function commentOf(text: string, node: ts.Node): string {
  const parts: string[] = [];
  let at = node.getStart();
  for (const { pos, end } of (ts.getLeadingCommentRanges(text, node.pos) ?? []).reverse()) {
    if (/\n\s*\n/.test(text.slice(end, at))) break;
    parts.unshift(text.slice(pos, end));
    at = pos;
  }
  const comma = /^\s*[,;]/.exec(text.slice(node.end))?.[0].length ?? 0;
  for (const { pos, end } of ts.getTrailingCommentRanges(text, node.end + comma) ?? [])
    parts.push(text.slice(pos, end));
  return parts
    .join(' ')
    .replace(/^\s*(?:\/\*\*?|\*\/?|\/\/)/gm, '')
    .replace(/\s+/g, ' ')
    .replace(/\*\/$/, '')
    .trim();
}
