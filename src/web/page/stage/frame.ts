import { type Frame, framePhoto, sizeTurned } from '../../../photo/index.ts';
import type { PhotoSettings, PredictionJson } from '../../protocol.ts';

// The one door to what the road of a photo does with its place.
export { sizeTurned, splitTurn } from '../../../photo/index.ts';

/** mm. Assumed: fine enough for the crop, for which the dots themselves do not matter. */
const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 } as const;

/** Degrees clockwise by which the photo stands turned on the piece: as asked, or as it was found to be upright. */
export const turnOf = (
  { turnDeg }: Pick<PhotoSettings, 'turnDeg'>,
  facts: Pick<PredictionJson, 'turnDeg'> | undefined,
): number => turnDeg ?? facts?.turnDeg ?? 0;

/** Times nearer than the photo must be to fill the piece: as asked, or as it was chosen where nobody has. */
export const zoomOf = (
  { zoom, focus }: Pick<PhotoSettings, 'zoom' | 'focus'>,
  facts: Pick<PredictionJson, 'zoom'> | undefined,
): number => zoom ?? (focus ? 1 : (facts?.zoom ?? 1));

/**
 * The crop as the road of a photo will take it, by the same function, so that dragging needs no answer from the server.
 */
export function frameOf(
  photo: { readonly width: number; readonly height: number },
  wish: PhotoSettings,
  facts: Pick<PredictionJson, 'focus' | 'turnDeg' | 'frame' | 'zoom'> | undefined,
): Frame | undefined {
  const { focus: asked, ...rest } = wish;
  const focus = asked ?? facts?.focus;
  try {
    return framePhoto(sizeTurned(photo, turnOf(wish, facts)), {
      ...rest,
      zoom: zoomOf(wish, facts),
      grid: GRID,
      // The strip that the last proof left to the caption.
      bareBelowMm: wish.caption ? (facts?.frame.bareBelowMm ?? 0) : 0,
      ...(focus ? { focus: { x: focus.x, y: focus.y } } : {}),
    });
  } catch {
    // Sizes that make no piece are told of by the proof.
    return undefined;
  }
}
