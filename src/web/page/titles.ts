import type { Named, ShopFacts } from '../protocol.ts';

/** A name that no sentence has by chance: of several words, or with a figure. */
const isUnmistakable = ({ name }: Named) => /[-\d]/.test(name);
/** The one screen whose name is a word. */
const WORD = 'line';

/**
 * A text of the server, which calls records by the names that a command takes, with what people call them.
 * A name within another word, a file or an address stays.
 */
export function withTitles(
  text: string,
  { machines, materials, profiles, screens }: Pick<ShopFacts, 'machines' | 'materials' | 'profiles' | 'screens'>,
): string {
  const named: readonly Named[] = [...machines, ...materials, ...profiles, ...screens];
  const titles = new Map(named.map(({ name, title }) => [name, title]));
  const alone = titles.get(text);
  if (alone !== undefined) return alone;
  // Nor has one an author in small letters.
  const authors = screens.filter(({ name }) => name !== WORD);
  const sure = new Set([...named.filter(isUnmistakable), ...authors].map(({ name }) => name));
  return text.replace(/(["“]?)(?<![\w./-])([a-z0-9][a-z0-9-]*)(?![\w/-]|\.\w)(["”]?)/g, (all, open, name, close) => {
    const title = titles.get(name);
    if (title === undefined || !(sure.has(name) || (open !== '' && close !== ''))) return all;
    return open === '' || close === '' ? `${open}${title}${close}` : `“${title}”`;
  });
}
