import { useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import type { LookFactsJson, Wish } from '../../protocol.ts';
import { sayShare } from '../measure.ts';
import { Button } from '../parts/parts.tsx';
import { CaptionChoice } from '../photo/caption.tsx';
import { DotsChoice, FitChoice, MaterialChoice, PieceChoice, ToneChoice, UnitChoice } from '../photo/choices.tsx';
import type { Group } from './layout.tsx';

export type GroupId = 'piece' | 'material' | 'crop' | 'tone' | 'words' | 'dots';

/** The group of the last photo: the next one is likely to want the same. */
let last: GroupId | undefined = 'tone';

export function useGroup(first = last): readonly [GroupId | undefined, (group: GroupId | undefined) => void] {
  const [group, setGroup] = useState<GroupId | undefined>(first);
  return [
    group,
    (next) => {
      last = next;
      setGroup(next);
    },
  ];
}

export interface GroupsProps {
  readonly wish: Wish;
  readonly facts: LookFactsJson | undefined;
  readonly frame: Frame | undefined;
  readonly showClipped: boolean;
  readonly onChange: (wish: Wish) => void;
  readonly onClipped: (show: boolean) => void;
}

/** All that can be chosen for one piece, a handful at a time. */
export function groupsOf(props: GroupsProps): readonly Group<GroupId>[] {
  const { wish, facts, onChange } = props;
  return [
    {
      id: 'piece',
      label: 'Piece',
      icon: 'piece',
      body: () => (
        <>
          <PieceChoice wish={wish} onChange={onChange} />
          <UnitChoice />
        </>
      ),
    },
    {
      id: 'material',
      label: 'Material',
      icon: 'stack',
      body: () => <MaterialChoice wish={wish} onChange={onChange} />,
    },
    { id: 'crop', label: 'Crop', icon: 'crop', body: () => <CropChoice {...props} /> },
    {
      id: 'tone',
      label: 'Tone',
      icon: 'tone',
      body: () => (
        <>
          <ToneChoice wish={wish} facts={facts} onChange={onChange} />
          <ClippedChoice {...props} />
        </>
      ),
    },
    { id: 'words', label: 'Words', icon: 'words', body: () => <CaptionChoice wish={wish} onChange={onChange} /> },
    { id: 'dots', label: 'Dots', icon: 'dots', body: () => <DotsChoice wish={wish} onChange={onChange} /> },
  ];
}

function CropChoice({ wish, frame, onChange }: GroupsProps) {
  const { focus, fit } = wish;
  const isCut = frame?.fit === 'cover';
  return (
    <>
      <FitChoice fit={fit} onChange={(next) => onChange({ ...wish, fit: next })} />
      <p class="note">
        {isCut
          ? 'Drag the photo under the piece, or move it with the arrow keys.'
          : 'The photo is shown whole; what lies beside it stays bare.'}
      </p>
      {isCut && (
        <Button
          kind="quiet"
          icon="undo"
          disabled={!focus}
          onClick={() => {
            const { focus: _, ...rest } = wish;
            onChange(rest);
          }}
        >
          Follow what draws the eye
        </Button>
      )}
    </>
  );
}

function ClippedChoice({ showClipped, facts, onClipped }: GroupsProps) {
  return (
    <>
      <label class="toggle">
        <input
          type="checkbox"
          checked={showClipped}
          onChange={({ currentTarget }) => onClipped(currentTarget.checked)}
        />
        <span>Show what is cut off</span>
      </label>
      {showClipped && facts && (
        <p class="legend">
          <span class="swatch dark" /> cut off at the dark end: {sayShare(facts.clippedDark)}
          <span class="swatch light" /> at the light end: {sayShare(facts.clippedLight)}
        </p>
      )}
    </>
  );
}
