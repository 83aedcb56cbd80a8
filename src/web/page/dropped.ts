/** Files that are dropped anywhere on the page, or pasted: they go to the place for files that is on the screen. */

type Take = (files: readonly File[]) => void;

const places: Take[] = [];
let waiting: readonly File[] = [];

/** A place for files is on the screen. @returns how to say that it no longer is */
export function takeDropped(take: Take): () => void {
  places.push(take);
  return () => {
    places.splice(places.indexOf(take), 1);
  };
}

/** Files that came where no place was, for the first screen. */
export function collectWaiting(): readonly File[] {
  const files = waiting;
  waiting = [];
  return files;
}

function give(files: readonly File[]): void {
  const place = places.at(-1);
  if (place) place(files);
  else if (location.hash.startsWith('#/photo/')) {
    // Another photo beside the one that is open: the way in opens it.
    waiting = files;
    location.assign('#/');
  }
}

// A file that misses the place must not replace the page.
addEventListener('dragover', (event) => event.preventDefault());
addEventListener('drop', (event) => {
  event.preventDefault();
  const files = [...(event.dataTransfer?.files ?? [])];
  if (files.length > 0) give(files);
});
addEventListener('paste', (event) => {
  const files = [...(event.clipboardData?.files ?? [])];
  if (files.length === 0) return;
  event.preventDefault();
  give(files);
});
