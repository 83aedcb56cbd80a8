import * as v from 'valibot';
import type { Shop } from '../../material/index.ts';
import { wholeWithin, within } from '../../quantities.ts';
import { parseRecord } from '../../schema.ts';

const deltaL = within(-1000, 1000, 'ΔL*');

const HISTORY = v.strictObject({
  schema: v.literal('tonewright-history/1'),
  profile: v.string(),
  entries: v.array(
    v.strictObject({
      date: v.pipe(v.string(), v.isoDate()),
      chart: v.string(),
      capture: v.string(),
      meanDelta: deltaL,
      worstDelta: deltaL,
      bareDelta: deltaL,
      solidDelta: deltaL,
      midShift: deltaL,
      basis: v.picklist(['absolute', 'relative']),
      unit: deltaL,
      verdict: v.picklist(['holds', 'drifting', 'learn-again']),
      cause: v.picklist(['none', 'dot-size', 'power', 'batch', 'capture', 'exposure', 'unclear']),
      verification: v.exactOptional(
        v.strictObject({
          screen: v.string(),
          curve: v.picklist(['measured', 'predicted']),
          levels: v.exactOptional(wholeWithin(3, 256)),
          count: wholeWithin(0, 1e6),
          meanDelta: deltaL,
          worstDelta: deltaL,
          worstTenth: deltaL,
          bestNineTenths: deltaL,
          bias: deltaL,
          shape: deltaL,
          scatter: deltaL,
          result: v.picklist(['pass', 'warn', 'fail']),
        }),
      ),
    }),
  ),
});

/** All checks of a profile, oldest first. Plain JSON. */
export type DriftHistory = Readonly<v.InferOutput<typeof HISTORY>>;
export type DriftEntry = DriftHistory['entries'][number];

/** @throws AppError file-invalid naming the field */
export function parseHistory(json: unknown, where: string): DriftHistory {
  return parseRecord(HISTORY, { json, what: `history ${where}` });
}

/** The latest verifications of one road of a profile: of its own screen, and of each other one. */
export interface VerifiedScreens {
  readonly own: VerifiedScreen | undefined;
  readonly others: readonly VerifiedScreen[];
  /** A prediction for another screen failed: the profile is for its own screen only. */
  readonly ownOnly: boolean;
}

export interface VerifiedScreen extends NonNullable<DriftEntry['verification']> {
  readonly date: string;
}

/** @param road of dots that fire or not, when absent, or of those that have levels of power */
export function listVerified(history: DriftHistory | undefined, road: 'dots' | 'levels' = 'dots'): VerifiedScreens {
  const latest = new Map<string, VerifiedScreen>();
  for (const { date, verification } of history?.entries ?? []) {
    if (!verification || (verification.levels === undefined) !== (road === 'dots')) continue;
    const { curve, screen, levels = 2 } = verification;
    latest.set(`${curve} ${screen} ${levels}`, { ...verification, date });
  }
  const all = [...latest.values()];
  const others = all.filter(({ curve }) => curve === 'predicted');
  return {
    own: all.find(({ curve }) => curve === 'measured'),
    others,
    ownOnly: others.some(({ result }) => result === 'fail'),
  };
}

/** History of a profile in a shop; undefined when there is none yet. @throws AppError file-invalid, path-unreadable */
export function readHistory(name: string, shop: Shop): DriftHistory | undefined {
  const found = shop.list('history').find((record) => record.name === name);
  if (!found) return undefined;
  const { json, path } = shop.read('history', name);
  return parseHistory(json, path);
}
