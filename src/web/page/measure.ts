import { numbers } from './numbers.ts';

/** Lengths are millimetres everywhere inside; what is shown and typed follows the person's choice. */
export type Unit = 'mm' | 'in';

/** mm in one inch. Exact: by definition. */
const MM_PER_INCH = 25.4;

export function toUnit(mm: number, unit: Unit): number {
  return unit === 'mm' ? round(mm, 2) : round(mm / MM_PER_INCH, 3);
}

export function fromUnit(value: number, unit: Unit): number {
  return unit === 'mm' ? value : round(value * MM_PER_INCH, 3);
}

export function saySize(widthMm: number, heightMm: number, unit: Unit): string {
  return `${sayLength(widthMm, unit)} × ${sayLength(heightMm, unit)} ${unit}`;
}

/** One side, with its unit. */
export const saySide = (mm: number, unit: Unit) => `${sayLength(mm, unit)} ${unit}`;

/** Of what is round. */
export const sayDiameter = (mm: number, unit: Unit) => `⌀ ${sayLength(mm, unit)} ${unit}`;

const sayLength = (mm: number, unit: Unit) => numbers.say(toUnit(mm, unit), 3);

export function sayDuration(seconds: number): string {
  const whole = Math.round(seconds);
  if (whole < 60) return `${Math.max(1, whole)} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}

export function sayShare(share: number): string {
  const percent = 100 * share;
  if (percent > 0 && percent < 0.1) return `under ${numbers.say(0.1)} %`;
  return `${numbers.say(percent, percent < 10 ? 1 : 0)} %`;
}

export function round(value: number, decimals: number): number {
  const times = 10 ** decimals;
  return Math.round(value * times) / times;
}
