/** A stream of the process, or what stands for it in a test. */
export interface OutputStream {
  readonly write: (text: string) => unknown;
  readonly on: (event: 'error', listener: (error: NodeJS.ErrnoException) => void) => unknown;
}

/** What is printed goes through here, and none of it may end the work. */
export interface Output {
  readonly stdout: (text: string) => void;
  readonly stderr: (text: string) => void;
  /**
   * What could not be printed on stdout, in words; undefined while all could, or when its reader only stopped reading.
   */
  readonly failure: () => string | undefined;
}

/**
 * Prints on the two streams. A reader that closes early (such as `head`) is no fault of anybody: the work goes on
 * without it. Where stdout fails otherwise (a full disk) what was asked for is lost, so `onFailure` is called, once.
 */
export function openOutput(
  { stdout, stderr }: { readonly stdout: OutputStream; readonly stderr: OutputStream },
  onFailure: (words: string) => void,
): Output {
  let failure: string | undefined;
  const fail = (error: NodeJS.ErrnoException) => {
    if (error.code === 'EPIPE' || error.code === 'ERR_STREAM_DESTROYED' || failure !== undefined) return;
    const reason = error.code === 'ENOSPC' ? 'no space is left there' : error.message;
    failure = `could not print the result: ${reason}`;
    onFailure(failure);
  };
  stdout.on('error', fail);
  stderr.on('error', () => undefined);
  // Some streams throw at once, some tell later; after either, nothing more is tried.
  const printOn = (stream: OutputStream, tell: (error: NodeJS.ErrnoException) => void) => (text: string) => {
    try {
      stream.write(text);
    } catch (error) {
      tell(error as NodeJS.ErrnoException);
    }
  };
  return { stdout: printOn(stdout, fail), stderr: printOn(stderr, () => undefined), failure: () => failure };
}
