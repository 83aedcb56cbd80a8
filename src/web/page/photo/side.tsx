import type { PhotoSettings, ProfileFacts } from '../../protocol.ts';
import { Segments } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

type Side = Pick<PhotoSettings, 'seen' | 'beneath'>;

export interface SideProps {
  readonly material: string | undefined;
  readonly profile?: ProfileFacts | undefined;
  readonly side: Side & Pick<PhotoSettings, 'mirror'>;
  readonly onChange: (side: Side) => void;
}

/** From which side clear stock is looked at, and over what; nothing for stock that nobody looks through. */
export function SideChoice({ material, profile, side, onChange }: SideProps) {
  const { shop } = useShop();
  const sides = shop.materials.find(({ name }) => name === material)?.sides;
  if (!sides) return null;
  const usual = profile ? (profile.seen ?? 'face') : sides.usual;
  const seen = side.seen ?? (side.mirror ? 'through' : usual);
  const grounds = [...new Set([...(profile?.beneath ? [profile.beneath] : []), ...sides.beneath])];
  const beneath = side.beneath ?? profile?.beneath ?? sides.beneath[0];
  const kept = { ...(side.seen ? { seen: side.seen } : {}), ...(side.beneath ? { beneath: side.beneath } : {}) };
  return (
    <>
      <Segments
        label="Looked at"
        value={seen}
        choices={[
          { value: 'face', label: 'Burned face' },
          { value: 'through', label: 'Through it' },
        ]}
        onChange={(next) => onChange({ ...kept, seen: next })}
      />
      {grounds.length > 1 && beneath && (
        <Segments
          label="What lies behind it"
          value={beneath}
          choices={[
            { value: 'dark', label: 'Dark' },
            { value: 'light', label: 'White' },
          ]}
          onChange={(next) => onChange({ ...kept, beneath: next })}
        />
      )}
      {seen === 'through' && <p class="note">Burned from behind: the bitmap is mirrored for it.</p>}
    </>
  );
}
