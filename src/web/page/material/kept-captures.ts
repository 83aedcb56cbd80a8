import { useEffect, useState } from 'preact/hooks';
import type { CaptureCard } from '../../protocol.ts';

const KEY = 'tonewright-captures';

/**
 * The pictures that wait to be read, which the shop's folder has already: this window knows them again after the screen
 * was left or loaded anew.
 */
export function useKeptCaptures() {
  const [captures, setCaptures] = useState<readonly CaptureCard[]>(recall);
  useEffect(() => sessionStorage.setItem(KEY, JSON.stringify(captures)), [captures]);
  return {
    captures,
    add: (card: CaptureCard) => setCaptures((before) => [...before, card]),
    leaveOut: (id: string) => setCaptures((before) => before.filter((one) => one.id !== id)),
  };
}

/** What was read waits no longer. */
export const forgetCaptures = () => sessionStorage.removeItem(KEY);

function recall(): readonly CaptureCard[] {
  try {
    const found: unknown = JSON.parse(sessionStorage.getItem(KEY) ?? '[]');
    return Array.isArray(found) ? (found as readonly CaptureCard[]) : [];
  } catch {
    return [];
  }
}
