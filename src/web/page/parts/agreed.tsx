import type { Agreement } from '../../protocol.ts';
import { numbers } from '../numbers.ts';
import { Icon } from './parts.tsx';

/** What the customer has said of a piece, in a sentence. */
export const sayAgreed = ({ at, holds }: Agreement): string =>
  holds ? `Agreed on ${numbers.sayMoment(at)}` : `No longer what was agreed on ${numbers.sayMoment(at)}`;

/** The same in a word beside its name; nothing before anybody has said a yes. */
export function AgreedMark({ agreed }: { readonly agreed: Agreement | null }) {
  if (!agreed) return null;
  return (
    <span class={`agreed-mark ${agreed.holds ? '' : 'is-over'}`} title={sayAgreed(agreed)}>
      <Icon name={agreed.holds ? 'check' : 'warn'} />
      <span>{agreed.holds ? 'Agreed' : 'Changed since agreed'}</span>
    </span>
  );
}
