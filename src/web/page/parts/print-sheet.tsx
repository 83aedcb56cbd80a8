import { useRef, useState } from 'preact/hooks';
import { Button } from './parts.tsx';

/** Prints a sheet from a frame that is not seen, so that what comes out is the sheet alone. */
export function PrintSheet({
  address,
  label = 'Print the ticket',
  title = 'Ticket',
}: {
  readonly address: string;
  readonly label?: string;
  readonly title?: string;
}) {
  const frame = useRef<HTMLIFrameElement>(null);
  const [asked, setAsked] = useState(0);
  return (
    <>
      <Button icon="print" onClick={() => setAsked(asked + 1)}>
        {label}
      </Button>
      {asked > 0 && (
        <iframe
          key={asked}
          ref={frame}
          class="print-frame"
          title={title}
          tabIndex={-1}
          aria-hidden="true"
          src={address}
          onLoad={() => frame.current?.contentWindow?.print()}
        />
      )}
    </>
  );
}
