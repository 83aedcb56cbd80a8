/** A wish that does not say these: what says no more than the default is left out, so that the wish is as before. */
export function without<W extends object, K extends keyof W>(wish: W, ...names: readonly K[]): W {
  const rest: Partial<W> = { ...wish };
  for (const name of names) delete rest[name];
  return rest as W;
}
