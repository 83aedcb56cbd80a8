import { AppError as AnyAppError } from '../errors.ts';

/** What a person can mend: the message says what was found and what was needed. */
export interface AppError extends Error {
  /** A row of the table of errors in DEVELOPERS.md. */
  readonly code: string;
  /** The numbers and names behind the words. */
  readonly details: Readonly<Record<string, unknown>>;
  /** What to do, in one sentence. */
  readonly hint: string;
}

/** Whether an error is one that a person can mend; what is none is a fault of this program or of its caller. */
export function isAppError(error: unknown): error is AppError {
  return error instanceof AnyAppError;
}
