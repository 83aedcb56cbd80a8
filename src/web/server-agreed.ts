import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { sha256 } from '../tasks/index.ts';
import type { Agreement, PhotoSettings } from './protocol.ts';
import { optionsOf, parseWith } from './server-photo-settings.ts';

/** A customer's yes: when, and which version it is to. */
export interface Yes {
  readonly at: string;
  /** `versionOf` what was shown. */
  readonly of: string;
}

export const KEPT_YES = v.optional(v.nullable(v.object({ at: v.string(), of: v.string() })), null);

/** A version that can no longer be asked for: its profile says something else now. It is the version of nothing. */
const OUTDATED = '';

/** Tells what is wished of a piece from everything else that could be wished. */
export const versionOf = (wish: PhotoSettings): string => sha256(JSON.stringify(optionsOf(wish))).slice(0, 16);

/**
 * @param shown what the customer has looked at
 * @throws AppError option-invalid when that is no longer what is wished
 */
export function sayYes(shown: PhotoSettings, wish: PhotoSettings): Yes {
  const of = versionOf(wish);
  if (versionOf(shown) !== of) {
    throw new AppError('option-invalid', 'found another version than was shown, needed the newest: look at it again');
  }
  return { at: new Date().toISOString(), of };
}

export const outdateYes = (yes: Yes | null): Yes | null => yes && { ...yes, of: OUTDATED };

export const viewYes = (yes: Yes | null, wish: PhotoSettings): Agreement | null =>
  yes && { at: yes.at, holds: yes.of === versionOf(wish) };

const DAY = v.pipe(v.string(), v.isoDate());
export const KEPT_DAY = v.optional(v.nullable(DAY), null);

/** The day on which a piece will be ready; null for none. @throws AppError option-invalid */
export const parseReady = (json: unknown): string | null =>
  parseWith(v.strictObject({ day: v.nullable(DAY) }), json).day;
