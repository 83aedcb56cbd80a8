import { createHash } from 'node:crypto';
import type { ChartLayout, TagPosition } from './types.ts';

/**
 * Tag ids carry the place and a piece of the layout's hash: corner tags 2 bits of place and 7 of hash (ids 0 … 511),
 * spare tags 5 bits of hash each (ids 512 … 543 and 544 … 575). Four corners hold 28 bits, all six tags 38. Format:
 * this project's own charts.
 */
const HASH_BITS: readonly number[] = [7, 7, 7, 7, 5, 5];
const FIRST_ID: readonly number[] = [0, 128, 256, 384, 512, 544];
/** Places of a layout that a tag can have: four corners and two spare ones. A count. By definition: those above. */
export const TAG_PLACES = HASH_BITS.length;
/** Hexadecimal digits of a hash: 38 bits, the upper two of 40 are 0. A count. Format: this project's own layouts. */
const HASH_DIGITS = 10;

type Unhashed = Omit<ChartLayout, 'hash' | 'labels'>;

/**
 * Hash of a layout: the first 38 bits of SHA-256 over its JSON with sorted keys, without labels and tag ids, as ten
 * hexadecimal digits. Two layouts that differ in anything that matters to a reader differ in their hash.
 */
export function layoutHash(layout: Unhashed): string {
  const { hash: _hash, labels: _labels, tags, ...rest } = layout as ChartLayout;
  const text = writeSorted({ ...rest, tags: tags.map(({ id: _id, ...tag }) => tag) });
  const bytes = createHash('sha256').update(text).digest();
  const value = bytes.readUIntBE(0, 5) % 2 ** 38;
  return value.toString(16).padStart(HASH_DIGITS, '0');
}

/** JSON with object keys in alphabetical order, so that a layout read back from a file has the same hash. */
function writeSorted(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(writeSorted).join(',')}]`;
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  const entries = Object.entries(value).filter(([, field]) => field !== undefined);
  entries.sort(([a], [b]) => (a < b ? -1 : 1));
  return `{${entries.map(([key, field]) => `${JSON.stringify(key)}:${writeSorted(field)}`).join(',')}}`;
}

/** Id of the tag at a place of the layout with this hash. */
export function tagIdOf(hash: string, position: TagPosition): number {
  let value = Number.parseInt(hash, 16);
  for (let at = 0; at < position; at++) value = Math.floor(value / 2 ** HASH_BITS[at]!);
  return FIRST_ID[position]! + (value % 2 ** HASH_BITS[position]!);
}

/** Place that an id stands for; undefined for the eleven ids that no chart uses. */
export function identifyTag(id: number): TagPosition | undefined {
  const position = FIRST_ID.findLastIndex((first) => id >= first);
  return position >= 0 && id - FIRST_ID[position]! < 2 ** HASH_BITS[position]! ? (position as TagPosition) : undefined;
}
