import type { Wish } from '../protocol.ts';

/** What differs between two wishes, done to a third one. */
export function mergeWish(wish: Wish, { from, to }: { readonly from: Wish; readonly to: Wish }): Wish {
  return {
    ...(mergeRecord(wish, from, to) as unknown as Wish),
    toneValues: mergeRecord(wish.toneValues, from.toneValues, to.toneValues),
  };
}

function mergeRecord<T extends object>(base: T, from: T, to: T): T {
  const out = { ...base } as Record<string, unknown>;
  const [before, after] = [from, to] as [Record<string, unknown>, Record<string, unknown>];
  for (const key of new Set([...Object.keys(before), ...Object.keys(after)])) {
    if (JSON.stringify(before[key]) === JSON.stringify(after[key])) continue;
    if (after[key] === undefined) delete out[key];
    else out[key] = after[key];
  }
  return out as T;
}
