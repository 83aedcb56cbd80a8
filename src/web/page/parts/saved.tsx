import { useSavedState } from '../unsaved.ts';
import { Icon } from './parts.tsx';

/** Whether what was changed is in the shop folder. */
export function Saved() {
  const saved = useSavedState();
  return (
    <p class={`saved is-${saved.state}`} role="status">
      {saved.state === 'saved' && (
        <>
          <Icon name="check" />
          Saved
        </>
      )}
      {saved.state === 'saving' && 'Saving'}
      {saved.state === 'waiting' && (
        <>
          <Icon name="warn" />
          Not saved yet: {saved.reason}
        </>
      )}
    </p>
  );
}
