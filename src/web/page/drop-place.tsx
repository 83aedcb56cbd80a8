import { useEffect, useRef, useState } from 'preact/hooks';
import { Button, Icon } from './parts.tsx';
import { useShop } from './shop-context.ts';

/** A place for files: dropping is the short way, the button the way for everyone. */
export function DropPlace({
  onFiles,
  label,
  what,
  accept = '.jpg,.jpeg,.jfif,.png,.tif,.tiff,.webp,.avif,image/*',
  many = false,
  small = false,
}: {
  readonly onFiles: (files: readonly File[]) => void;
  readonly label: string;
  readonly what: string;
  readonly accept?: string;
  readonly many?: boolean;
  readonly small?: boolean;
}) {
  const { shop } = useShop();
  const input = useRef<HTMLInputElement>(null);
  const [over, setOver] = useState(false);
  // A file that misses the place must not replace the page.
  useEffect(() => {
    const hold = (event: DragEvent) => event.preventDefault();
    addEventListener('dragover', hold);
    addEventListener('drop', hold);
    return () => {
      removeEventListener('dragover', hold);
      removeEventListener('drop', hold);
    };
  }, []);
  const take = (list: FileList | null | undefined) => {
    const files = [...(list ?? [])];
    if (files.length > 0) onFiles(many ? files : files.slice(0, 1));
  };
  return (
    // biome-ignore lint/a11y/noStaticElementInteractions: the button inside does the same
    <div
      class={`drop ${over ? 'over' : ''} ${small ? 'small' : ''}`}
      onDragEnter={() => setOver(true)}
      onDragOver={(event) => {
        event.preventDefault();
        setOver(true);
      }}
      onDragLeave={() => setOver(false)}
      onDrop={(event) => {
        event.preventDefault();
        setOver(false);
        take(event.dataTransfer?.files);
      }}
    >
      {!small && <Icon name={many ? 'stack' : 'photo'} />}
      {!small && <p>Drop {what}, or</p>}
      <Button kind={small ? 'plain' : 'main'} icon={small ? 'plus' : undefined} onClick={() => input.current?.click()}>
        {label}
      </Button>
      <input
        ref={input}
        class="unseen"
        type="file"
        tabIndex={-1}
        aria-hidden="true"
        multiple={many}
        accept={accept}
        onChange={({ currentTarget }) => {
          take(currentTarget.files);
          currentTarget.value = '';
        }}
      />
      {!small && (
        <p class="note">
          JPEG, PNG, TIFF, WebP or AVIF, up to {shop.limits.megapixels} megapixels. Nothing leaves this computer.
        </p>
      )}
    </div>
  );
}
