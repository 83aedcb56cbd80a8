import type { ProfileFacts, Reading } from '../../protocol.ts';
import { numbers } from '../numbers.ts';

/** What tells one profile from another beside its title: when, by what kind of capture, how well. */
export function sayProvenance({ origin, from, date, captures, bandL }: ProfileFacts): string {
  if (from === 'built-in') return 'example, computed';
  const parts = [origin === 'measured' ? numbers.sayDay(date) : `${origin}, ${numbers.sayDay(date)}`];
  if (captures) parts.push(sayCaptures(captures));
  if (bandL !== null) parts.push(sayBand(bandL));
  return parts.join(' · ');
}

/** A profile in a list of choices: no two lines alike. */
export function nameChoice(profile: ProfileFacts): string {
  return profile.from === 'built-in' ? profile.title : `${profile.title} (${sayProvenance(profile)})`;
}

function sayCaptures({ count, camera }: { readonly count: number; readonly camera: 'known' | 'unknown' }): string {
  const one = camera === 'known' ? 'scan' : 'photo';
  return count === 1 ? `one ${one}` : `${count} ${one}s`;
}

const sayBand = (half: number) => `± ${numbers.say(half, 1, 'fixed')} L*`;

/** The same of what was read, before it is a profile. */
export function sayReadingProvenance(reading: Reading): string {
  const { date, ask, chart, isVirtual } = reading;
  const captures = sayCaptures({ count: ask.captures.length, camera: ask.camera });
  const parts = [numbers.sayDay(date), isVirtual ? `virtual, ${captures}` : captures];
  if (reading.kind === 'learned' && reading.band.length > 0) {
    const halves = reading.band.map(({ low, high }) => (high - low) / 2);
    parts.push(sayBand(halves.reduce((sum, half) => sum + half, 0) / halves.length));
  }
  return [...parts, `chart ${chart.slice(0, 6)}`].join(' · ');
}

/** When a strip should tell whether a profile still holds. */
export const sayCheck = (due: string) =>
  due <= new Date().toISOString().slice(0, 10) ? 'check it with a strip now' : `check it by ${numbers.sayDay(due)}`;
