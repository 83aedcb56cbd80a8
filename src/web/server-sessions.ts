import { createHmac, randomBytes, timingSafeEqual } from 'node:crypto';

/**
 * How long a browser that was let in stays so without coming back, and the age from which its cookie is renewed when it
 * does, s. Assumed: a month outlasts a shop's holidays, and a browser that nobody uses any more is out after it.
 */
export const SESSION_S = 30 * 24 * 3600;
const RENEW_AFTER_S = 24 * 3600;
/** How far a cookie may be from the future, s. Assumed: clocks are set back by an hour or two, not by more. */
const CLOCK_S = 3 * 3600;

/** Random bytes of keys and tokens, a count. Assumed: 192 bits cannot be guessed. */
const SECRET_BYTES = 24;

/** 48 hexadecimal digits. */
export const drawSecret = (): string => randomBytes(SECRET_BYTES).toString('hex');

export const isSecret = (text: unknown): text is string => typeof text === 'string' && /^[0-9a-f]{48}$/.test(text);

/** What a browser that was let in shows. */
export interface Sessions {
  readonly issue: () => string;
  readonly check: (shown: string) => 'fresh' | 'old' | 'refused';
}

/**
 * Sessions that outlive the server: a cookie says when it was given and carries that under the shop's key, so nothing
 * is kept of it here, and a new key ends all of them.
 * @param key secret of the shop folder
 * @param now ms since 1970
 */
export function createSessions(key: string, now: () => number = Date.now): Sessions {
  const seconds = () => Math.floor(now() / 1000);
  const sign = (since: number) => createHmac('sha256', key).update(`session ${since}`).digest('hex');
  return {
    issue() {
      const since = seconds();
      return `${since}.${sign(since)}`;
    },
    check(shown) {
      const [, digits, mark] = /^(\d{1,12})\.([0-9a-f]{64})$/.exec(shown) ?? [];
      if (digits === undefined || mark === undefined || !sameText(mark, sign(Number(digits)))) return 'refused';
      const age = seconds() - Number(digits);
      if (age > SESSION_S || age < -CLOCK_S) return 'refused';
      return age > RENEW_AFTER_S ? 'old' : 'fresh';
    },
  };
}

/** Takes as long for any two texts of one length. */
export function sameText(a: string, b: string): boolean {
  const [left, right] = [Buffer.from(a), Buffer.from(b)];
  return left.length === right.length && timingSafeEqual(left, right);
}
