import { explainComma, readDecimal } from './decimals.ts';
import { AppError } from './errors.ts';

/** What a person wrote for options: texts by name, or true for a flag. */
export type OptionValues = Readonly<Record<string, string | boolean | undefined>>;

/** The text of an option, or undefined when it was not given. */
export function textOf(options: OptionValues, name: string): string | undefined {
  const value = options[name];
  return typeof value === 'string' ? value : undefined;
}

/**
 * A number option within its range, or undefined when it was not given.
 * @throws AppError option-invalid
 */
export function numberOf(
  options: OptionValues,
  name: string,
  { min = Number.NEGATIVE_INFINITY, max = Number.POSITIVE_INFINITY, whole = false, unit = '' } = {},
): number | undefined {
  const text = textOf(options, name);
  if (text === undefined) return undefined;
  const value = readDecimal(text);
  if (!Number.isFinite(value) || value < min || value > max || (whole && !Number.isInteger(value))) {
    const kind = whole ? 'a whole number' : 'a number';
    const field = name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
    const range =
      max < Number.POSITIVE_INFINITY
        ? ` from ${min} to ${max}`
        : min > Number.NEGATIVE_INFINITY
          ? ` of at least ${min}`
          : '';
    throw new AppError(
      'option-invalid',
      `${field}: found "${text}", needed ${kind}${range}${unit && ` ${unit}`}${explainComma(text)}`,
    );
  }
  return value;
}
