/**
 * A record with every number rounded to so many significant digits; all else of it as it is, in the same sequence.
 * @param digits 1 … 21
 */
export function roundNumbers<T>(value: T, digits: number): T {
  if (typeof value === 'number') return (Number.isFinite(value) ? Number(value.toPrecision(digits)) : value) as T;
  if (Array.isArray(value)) return value.map((one) => roundNumbers(one, digits)) as T;
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, roundNumbers(one, digits)])) as T;
}
