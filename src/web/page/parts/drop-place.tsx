import { useEffect, useRef, useState } from 'preact/hooks';
import { takeDropped } from '../dropped.ts';
import { useShop } from '../shop-context.ts';
import { Button, Icon } from './parts.tsx';

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
  const take = (list: Iterable<File> | null | undefined) => {
    const files = [...(list ?? [])];
    if (files.length > 0) onFiles(many ? files : files.slice(0, 1));
  };
  // The whole page is the place; the box says so and shows what is above it.
  const latest = useRef(take);
  latest.current = take;
  useEffect(() => takeDropped((files) => latest.current(files)), []);
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
      onDrop={() => setOver(false)}
    >
      {!small && <Icon name={many ? 'stack' : 'photo'} />}
      {!small && <p>Drop or paste {what}, or</p>}
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
          JPEG, PNG, TIFF, WebP, AVIF or HEIC, up to {shop.limits.megapixels} megapixels. Nothing leaves this computer.
        </p>
      )}
    </div>
  );
}
