import type { DriftEntry, DriftHistory } from '../request/history.ts';
import type { Check } from './check.ts';
import type { Verification } from './verification.ts';

export interface EntryFacts {
  /** ISO date. */
  readonly date: string;
  /** SHA-256 of the capture's file. */
  readonly captureSha256: string;
}

/** The history with one more check; the same capture read again replaces its entry. */
export function addToHistory(
  history: DriftHistory | undefined,
  { check, date, captureSha256 }: EntryFacts & { readonly check: Check },
): DriftHistory {
  const capture = captureSha256.slice(0, 16);
  const entry: DriftEntry = {
    date,
    chart: check.chart.hash,
    capture,
    meanDelta: round3(check.meanDelta),
    worstDelta: round3(check.worstDelta),
    bareDelta: round3(check.bareDelta),
    solidDelta: round3(check.solidDelta),
    midShift: round3(check.midShift),
    basis: check.basis,
    unit: round3(check.unit),
    verdict: check.verdict,
    cause: check.cause,
    ...(check.verification ? { verification: keepVerification(check.verification) } : {}),
  };
  const others = (history?.entries ?? []).filter((one) => one.capture !== capture);
  const entries = [...others, entry].sort((a, b) => (a.date < b.date ? -1 : a.date > b.date ? 1 : 0));
  return { schema: 'tonewright-history/1', profile: check.profile, entries };
}

function keepVerification(verification: Verification): NonNullable<DriftEntry['verification']> {
  const { screen, curve, levels, count, result, meanDelta, worstDelta } = verification;
  const { worstTenth, bestNineTenths, bias, shape, scatter } = verification;
  return {
    screen,
    curve,
    ...(levels === undefined ? {} : { levels }),
    count,
    meanDelta: round3(meanDelta),
    worstDelta: round3(worstDelta),
    worstTenth: round3(worstTenth),
    bestNineTenths: round3(bestNineTenths),
    bias: round3(bias),
    shape: round3(shape),
    scatter: round3(scatter),
    result,
  };
}

const round3 = (value: number) => Math.round(value * 1000) / 1000;
