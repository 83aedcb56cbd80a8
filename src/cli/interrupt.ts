/**
 * What Ctrl-C (and the system's polite request to end) does while something long is at work: the first one aborts
 * `signal`, so that it ends cleanly; the second ends the process at once.
 */
export function onInterrupt(say: () => void): { readonly signal: AbortSignal; readonly dispose: () => void } {
  const controller = new AbortController();
  const stop = () => {
    dispose();
    say();
    controller.abort();
  };
  const dispose = () => {
    process.off('SIGINT', stop);
    process.off('SIGTERM', stop);
  };
  process.on('SIGINT', stop);
  process.on('SIGTERM', stop);
  return { signal: controller.signal, dispose };
}
