import type { AppError, ErrorCode } from '../errors.ts';

/**
 * A message in the words of whoever types options. Below the faces it names what it is about by the field alone, `size:
 * found …`, and in `details.options` what would mend it; where the command has options of those names, they are said.
 * @param flags options of the command as its record has them, such as `--size <WxH>`
 */
export function wordError(
  { message, details }: Pick<AppError, 'message' | 'details'>,
  flags: readonly string[],
): string {
  const names = new Set(flags.map((flag) => /--([a-z][a-z0-9-]*)/.exec(flag)?.[1]));
  const subject = /^([a-z][a-z-]*): /.exec(message)?.[1];
  const said = subject !== undefined && names.has(subject) ? `--${message}` : message;
  const asked = Array.isArray(details.options) ? details.options.filter((name) => names.has(name)) : [];
  return asked.length === 0 ? said : `${said} (${asked.map((name) => `--${name}`).join(', ')})`;
}

/** What to do, where the command line has a way of its own. */
const HINTS: Partial<Record<ErrorCode, string>> = {
  'option-invalid': 'Run the command with --help to see what the option takes.',
  'result-exists': 'Choose another output folder, or replace the result with --force.',
  'job-changed': 'Bring back what has changed, or make it as things stand now with --force.',
  'queue-unreachable': 'Start the queue’s server, or leave --queue out: none is needed.',
  'nothing-fires': 'Leave --pitch and --spacing to the program, or check the profile.',
};

export const hintFor = ({ code, hint }: Pick<AppError, 'code' | 'hint'>): string => HINTS[code] ?? hint;
