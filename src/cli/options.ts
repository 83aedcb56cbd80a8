import { textOf } from '../options.ts';
import { parseLengthMm } from '../units.ts';
import type { OptionValues } from './command.ts';

export { numberOf, textOf } from '../options.ts';

/** A length as a field of a request, or nothing where the option was not given. @throws AppError option-invalid */
export function lengthOf<T extends object>(options: OptionValues, name: string, give: (mm: number) => T): Partial<T> {
  const text = textOf(options, name);
  return text === undefined ? {} : give(parseLengthMm(text, `--${name}`));
}
