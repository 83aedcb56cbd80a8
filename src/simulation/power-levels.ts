import * as v from 'valibot';
import { within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';

/**
 * What a virtual laser makes of a level of power in the bitmap: nothing up to a threshold, then a power of what is
 * above it, which bends towards its end where a source saturates. In proportion without a model.
 */
export interface PowerModel {
  readonly schema: 'tonewright-simulation-levels/1';
  readonly title: string;
  /** Share of the full level up to which nothing comes, 0 … 0.9. */
  readonly threshold: number;
  /** Exponent of the share above it; 1 is straight. */
  readonly exponent: number;
  /** How much it flattens towards full, 0 not at all … 5. */
  readonly saturation: number;
}

const POWER_MODEL = v.strictObject({
  schema: v.literal('tonewright-simulation-levels/1'),
  title: v.pipe(v.string(), v.nonEmpty()),
  threshold: within(0, 0.9),
  exponent: within(0.1, 10),
  saturation: within(0, 5),
});

/** A model of power by level from parsed JSON. @throws AppError file-invalid */
export function parsePowerModel(json: unknown): PowerModel {
  return parseRecord(POWER_MODEL, { json, what: 'model of power levels' });
}

/** Share of the full power at a share of the full level, both 0 … 1. */
export function powerAt(model: PowerModel | undefined, level: number): number {
  if (!model) return level;
  const { threshold, exponent, saturation } = model;
  const above = Math.max(0, (level - threshold) / (1 - threshold)) ** exponent;
  return saturation > 0 ? Math.expm1(-saturation * above) / Math.expm1(-saturation) : above;
}
