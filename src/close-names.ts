/** So many names are offered for one that nothing has. A count; assumed: more are no help. */
const MOST_OFFERED = 3;

/**
 * Names that somebody may have meant who wrote another one: those that hold it or are held by it, then those a slip or
 * two away.
 */
export function findCloseNames(asked: string, names: readonly string[]): readonly string[] {
  const wanted = asked.trim().toLowerCase();
  return names
    .map((name) => {
      const edits = countEdits(name, wanted);
      return { name, edits, distance: name.includes(wanted) || wanted.includes(name) ? 0 : edits };
    })
    .filter(({ distance, name }) => distance <= Math.max(2, name.length / 3))
    .sort((a, b) => a.distance - b.distance || a.edits - b.edits)
    .slice(0, MOST_OFFERED)
    .map(({ name }) => name);
}

/** Levenshtein's distance: insertions, deletions and replacements that turn one word into the other. */
function countEdits(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) {
      next.push(Math.min(row[j] + 1, next[j - 1] + 1, row[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1)));
    }
    row = next;
  }
  return row[b.length];
}
