import { useEffect } from 'preact/hooks';

/**
 * The window is called as the screen's heading is, also when that changes; and the keyboard's attention follows to a
 * new screen, since what had it went with the old one.
 * @param route of the screen
 */
export function useTitle(route: string): void {
  useEffect(() => {
    const main = document.getElementById('main')!;
    const tell = () => {
      const heading = main.querySelector('h1')?.textContent?.trim();
      const title = heading === undefined || heading === '' || heading === NAME ? NAME : `${heading} – ${NAME}`;
      if (document.title !== title) document.title = title;
    };
    tell();
    const observer = new MutationObserver(tell);
    observer.observe(main, { subtree: true, childList: true, characterData: true });
    if (shown !== undefined && shown !== route && !main.contains(document.activeElement)) {
      main.focus({ preventScroll: true });
    }
    shown = route;
    return () => observer.disconnect();
  }, [route]);
}

const NAME = 'Tonewright';
/** The screen before this one; absent at first, when the browser says itself what was opened. */
let shown: string | undefined;
