import { basename } from 'node:path';
import { AppError, ERRORS, type ErrorCode } from '../errors.ts';
import { explainWriteError } from '../tasks/index.ts';
import type { ErrorJson } from './protocol.ts';

/** What to do on the page, where the table's hint speaks of the command line. */
const PAGE_HINTS: Partial<Record<ErrorCode, string>> = {
  'name-unknown': 'It may have been removed meanwhile. Choose another one.',
  'path-missing': 'It may have been removed meanwhile. Go back and choose again.',
  'path-unwritable': 'Make room in the shop folder, or give yourself the right to write there.',
  'result-exists': 'Choose another name.',
  'file-invalid': 'Mend the named field, or make the file again.',
  'image-library-missing': 'Install Tonewright again with its optional parts, on this very computer.',
  'order-interrupted': 'Make the order again: it goes on where it stopped.',
  'request-refused': 'Open Tonewright on this computer, and use the address that it shows.',
  'program-impossible':
    'Choose a picture under “File for the machine”, or describe in the machine’s record how its controller reads programs.',
  'chart-not-found': 'Take the whole chart, sharp and large in the frame, or mark its four corners on the picture.',
  'chart-wrong': 'Choose the chart that this capture shows.',
  'chart-mirrored': 'Tick “seen from behind” if the chart was burned from the back of the piece.',
};

/** How an error travels between threads: its class does not. */
export interface PlainError {
  readonly code: ErrorCode;
  readonly message: string;
  readonly details: Readonly<Record<string, unknown>>;
}

export function toPlain({ code, message, details }: AppError): PlainError {
  return { code, message, details: JSON.parse(JSON.stringify(details)) as Record<string, unknown> };
}

export function fromPlain({ code, message, details }: PlainError): AppError {
  return new AppError(code, message, details);
}

/** What the system says of a disk, whatever was asked of it. */
const DISK_CODES: ReadonlySet<string | undefined> = new Set(['ENOSPC', 'EDQUOT', 'EROFS']);

/** A file of the shop that somebody took away by hand, and a full disk, are no bugs. */
function explainSystemError(error: unknown): unknown {
  if (!(error instanceof Error)) return error;
  const { code, path, dest } = error as NodeJS.ErrnoException & { readonly dest?: string };
  if (path === undefined) return error;
  if (DISK_CODES.has(code)) return explainWriteError(error, dest ?? path);
  if (code !== 'ENOENT') return error;
  return new AppError('path-missing', `found no ${basename(path)} in the shop folder any more, needed it there`);
}

/** What to do on the page about a problem. */
export const hintOf = (code: ErrorCode): string => PAGE_HINTS[code] ?? ERRORS[code].hint;

/** The body and the status with which the page is told of an error. Anything unforeseen is called what it is: a bug. */
export function describeError(thrown: unknown): { readonly status: number; readonly body: ErrorJson } {
  const error = explainSystemError(thrown);
  if (error instanceof AppError) {
    const { code, message } = error;
    return { status: ERRORS[code].http, body: { error: { code, message, hint: hintOf(code) } } };
  }
  const message = error instanceof Error ? error.message : String(error);
  return {
    status: 500,
    body: {
      error: {
        code: 'bug',
        message: `This is a bug in Tonewright, not in your input: ${message}`,
        hint: 'Please report the line above. Your photos and jobs are kept; reload the page to go on.',
      },
    },
  };
}
