import { sayLine } from '../notice-lines.ts';
import { knowNotice, type Notice, RESTABLE } from '../notices.ts';
import type { NoticeJson } from './protocol.ts';

/** A notice as the page is told of it. */
export function viewNotice(one: Notice): NoticeJson {
  const { code, text, data } = one;
  return { code, line: sayLine(one), text, data, rest: RESTABLE[code] ? knowNotice(one) : null };
}
