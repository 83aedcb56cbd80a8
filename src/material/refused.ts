import type { RefusedMaterial } from './types.ts';

/**
 * The refused material that a text names, if any: "PVC", "white vinyl sheet", "faux-leather patch". A name or alias
 * matches when its words stand in the text together and in order; case, hyphens, punctuation, accents and a plural s do
 * not matter. A word inside another one does not match: "abs" is not in "absolute".
 */
export function findRefused(text: string, refused: readonly RefusedMaterial[]): RefusedMaterial | undefined {
  const words = splitWords(text);
  return refused.find(({ name, title, aliases }) =>
    [name, title, ...aliases].some((alias) => containsRun(words, splitWords(alias))),
  );
}

function splitWords(text: string): string[] {
  const plain = text.normalize('NFKD').replace(/\p{M}/gu, '').toLowerCase();
  return plain
    .split(/[^a-z0-9]+/)
    .filter((word) => word !== '')
    .map((word) => (word.length > 3 && word.endsWith('s') && !word.endsWith('ss') ? word.slice(0, -1) : word));
}

function containsRun(words: readonly string[], run: readonly string[]): boolean {
  if (run.length === 0) return false;
  return words.some((_, start) => run.every((word, i) => words[start + i] === word));
}
