import type { PhotoSettings } from '../protocol.ts';

/** What differs between two wishes, done to a third one. */
export function mergeSettings(
  wish: PhotoSettings,
  { from, to }: { readonly from: PhotoSettings; readonly to: PhotoSettings },
): PhotoSettings {
  return {
    ...(mergeRecord(wish, from, to) as unknown as PhotoSettings),
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
