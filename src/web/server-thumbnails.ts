import { basename } from 'node:path';
import { MAX_PIXELS } from './server-previews.ts';
import type { Work } from './server-work.ts';

/** Thumbnails that are kept, a count. Assumed: all that lists show; each is some 20 kB. */
const MOST = 400;

export interface Thumbnails {
  /** @param path of a picture that never changes under its name */
  readonly of: (path: string) => Promise<Uint8Array>;
}

/** Small pictures for lists, made once as long as the server runs. */
export function createThumbnails(work: Work): Thumbnails {
  const made = new Map<string, Promise<Uint8Array>>();
  return {
    of(path) {
      const known = made.get(path);
      if (known) return known;
      const begun = work.run('photos', 'makeThumbnail', { path, name: basename(path), maxPixels: MAX_PIXELS });
      made.set(path, begun);
      begun.catch(() => made.delete(path));
      for (const old of [...made.keys()].slice(0, -MOST)) made.delete(old);
      return begun;
    },
  };
}
