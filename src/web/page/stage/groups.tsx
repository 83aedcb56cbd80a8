import { useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import type { PhotoSettings, PredictionJson } from '../../protocol.ts';
import { sayShare } from '../measure.ts';
import { Button, Slider } from '../parts/parts.tsx';
import { HandChoice } from '../photo/by-hand.tsx';
import { CaptionChoice } from '../photo/caption.tsx';
import { DotsChoice, FitChoice, MaterialChoice, PieceChoice, ToneChoice, UnitChoice } from '../photo/choices.tsx';
import { CutOutChoice } from '../photo/cut-out.tsx';
import { PaintButton, PaintChoice } from '../photo/paint.tsx';
import { without } from '../photo/without.ts';
import { LEAN_STEP_DEG, MOST_LEAN_DEG } from './crop.tsx';
import { splitTurn, turnOf, zoomOf } from './frame.ts';
import type { Group } from './layout.tsx';
import type { Mask } from './use-mask.ts';
import { type CropSettings, type GroupId, tidyDeg, withCrop, withZoom } from './wish.ts';

/** The group of the last photo: the next one is likely to want the same. */
let last: GroupId | undefined = 'tone';

export function useGroup(): readonly [GroupId | undefined, (group: GroupId | undefined) => void] {
  const [group, setGroup] = useState(last);
  return [
    group,
    (next) => {
      last = next;
      setGroup(next);
    },
  ];
}

export interface GroupsProps {
  readonly wish: PhotoSettings;
  readonly facts: PredictionJson | undefined;
  readonly frame: Frame | undefined;
  readonly showClipped: boolean;
  readonly onChange: (wish: PhotoSettings) => void;
  readonly onClipped: (show: boolean) => void;
  readonly mask: Mask;
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
    {
      id: 'crop',
      label: 'Crop',
      icon: 'crop',
      body: () =>
        props.mask.isOn ? (
          <PaintChoice {...props} />
        ) : (
          <>
            <CropChoice {...props} />
            <CutOutChoice wish={wish} onChange={onChange} />
          </>
        ),
    },
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
    {
      id: 'dots',
      label: 'Dots',
      icon: 'dots',
      body: () => (
        <>
          <DotsChoice wish={wish} onChange={onChange} />
          <HandChoice wish={wish} onChange={onChange} />
        </>
      ),
    },
  ];
}

/** Zoom that the slider reaches, a factor. Assumed: few photos have pixels for more; wheel and keys go on. */
const MOST_SLID_ZOOM = 5;

/** Turned by a quarter the photo's place goes with it: what was in the middle stays there. */
function quarterTurned<W extends CropSettings>(wish: W, turnDeg: number, ways: 1 | -1): W {
  const { focus } = wish;
  const moved = focus && (ways === 1 ? { x: 1 - focus.y, y: focus.x } : { x: focus.y, y: 1 - focus.x });
  return { ...wish, turnDeg: tidyDeg(turnDeg + 90 * ways), ...(moved ? { focus: moved } : {}) };
}

/** How the photo lies on the piece: by hand in the stage, and here what a hand cannot do there. */
function CropChoice<W extends CropSettings>({
  wish,
  facts,
  frame,
  mask,
  onChange,
}: Pick<GroupsProps, 'facts' | 'frame' | 'mask'> & { readonly wish: W; readonly onChange: (wish: W) => void }) {
  const { focus, fit, subject = 'auto' } = wish;
  const zoom = zoomOf(wish, facts);
  const alone = facts?.alone;
  const isCut = frame?.fit === 'cover';
  const turnDeg = turnOf(wish, facts);
  const { restDeg } = splitTurn(turnDeg);
  const mostLeanDeg = Math.max(MOST_LEAN_DEG, Math.abs(restDeg));
  return (
    <>
      <FitChoice fit={fit} onChange={(next) => onChange({ ...wish, fit: next })} />
      <p class="note">
        {isCut
          ? 'Drag the photo under the piece; the wheel or two fingers zoom.'
          : 'The photo is shown whole; what lies beside it stays bare.'}
      </p>
      {alone && (
        <Button icon="crop" onClick={() => onChange(withCrop({ ...wish, fit: 'cover' }, alone))}>
          Leave the bars out
        </Button>
      )}
      <div class="sliders">
        {isCut && (
          <Slider
            label="Zoom"
            help="How many times nearer than it must be to fill the piece."
            unit="×"
            value={zoom}
            min={1}
            max={Math.max(MOST_SLID_ZOOM, zoom)}
            step={0.05}
            changed={wish.zoom !== undefined}
            onInput={(next) => onChange(withZoom(wish, next))}
            onReset={() => onChange(withZoom(wish, 1))}
          />
        )}
        <Slider
          label="Straighten"
          help="Degrees clockwise; the corners that would be empty are cut off."
          unit="°"
          value={restDeg}
          min={-mostLeanDeg}
          max={mostLeanDeg}
          step={LEAN_STEP_DEG}
          changed={restDeg !== 0}
          onInput={(next) => onChange({ ...wish, turnDeg: tidyDeg(turnDeg - restDeg + next) })}
          onReset={() => onChange({ ...wish, turnDeg: tidyDeg(turnDeg - restDeg) })}
        />
      </div>
      <div class="row">
        <Button onClick={() => onChange(quarterTurned(wish, turnDeg, -1))}>Turn left</Button>
        <Button onClick={() => onChange(quarterTurned(wish, turnDeg, 1))}>Turn right</Button>
      </div>
      <label class="toggle">
        <input
          type="checkbox"
          checked={subject === 'auto'}
          onChange={({ currentTarget }) => {
            onChange(currentTarget.checked ? without(wish, 'subject') : { ...wish, subject: 'none' });
          }}
        />
        <span>Look for faces and pets</span>
      </label>
      <PaintButton mask={mask} />
      {isCut && (
        <Button
          kind="quiet"
          icon="undo"
          disabled={!focus && wish.zoom === undefined}
          onClick={() => onChange(without(wish, 'focus', 'zoom'))}
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
