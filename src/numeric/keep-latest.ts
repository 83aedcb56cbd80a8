/**
 * Values by the text that asks for them, for work that comes again: the `most` that were asked for last are kept.
 * Whoever asks shares what is kept, and must not change it.
 * @returns the value of a key, made when it is not among them.
 */
export function keepLatest<Value>(most: number): (key: string, make: () => Value) => Value {
  const kept = new Map<string, Value>();
  return (key, make) => {
    const value = kept.has(key) ? kept.get(key)! : make();
    // What was asked for last is the last to go.
    kept.delete(key);
    kept.set(key, value);
    if (kept.size > most) kept.delete(kept.keys().next().value!);
    return value;
  };
}
