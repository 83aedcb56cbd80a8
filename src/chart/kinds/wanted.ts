import { AppError } from '../../errors.ts';
import type { Patch, PatchPattern, PatchRole } from '../types.ts';

/** A patch before it has a place. */
export interface WantedPatch
  extends Pick<Patch, 'role' | 'pattern' | 'coverage' | 'group' | 'aimLightness' | 'settings'> {
  /** May be left out when there is no room; earlier ones are placed first. */
  readonly spare?: boolean;
  /** Place in the table of a dose chart. */
  readonly row?: number;
  readonly column?: number;
}

/** Coverage, a share. Exact: no dot fires, and below, every dot. */
export const BARE: WantedPatch = { role: 'bare', pattern: { kind: 'bare' }, coverage: 0, group: 'bare' };

/** Coverage, a share. Exact: every dot fires. */
export const SOLID: WantedPatch = { role: 'solid', pattern: { kind: 'solid' }, coverage: 1, group: 'solid' };

export const repeat = <T>(count: number, item: T): T[] => Array.from({ length: count }, () => item);

/** @throws AppError option-invalid */
export function stepOf(coverage: number, aimLightness?: number): WantedPatch {
  if (!(coverage >= 0 && coverage <= 1)) {
    throw new AppError('option-invalid', `chart: found coverage ${coverage}, needed 0 … 1`);
  }
  const step: WantedPatch = { role: 'step', pattern: { kind: 'screened' }, coverage, group: `step-${coverage}` };
  return aimLightness === undefined ? step : { ...step, aimLightness };
}

export function patternOf(role: PatchRole, pattern: PatchPattern, coverage: number, group: string): WantedPatch {
  return { role, pattern, coverage, group };
}

/** @throws AppError option-invalid */
export function requireWhole(value: number, what: string, min: number, max: number): number {
  if (Number.isInteger(value) && value >= min && value <= max) return value;
  throw new AppError('option-invalid', `${what}: found ${value}, needed a whole number ${min} … ${max}`);
}
