import { type Frame, framePhoto } from '../../../photo/index.ts';
import type { Wish } from '../../protocol.ts';

/** mm. Assumed: fine enough for the crop, for which the dots themselves do not matter. */
const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 } as const;

/** The crop as the road of a photo will take it, by the same function, so that dragging needs no answer from the server. */
export function frameOf(
  photo: { readonly width: number; readonly height: number },
  wish: Wish,
  focus: { readonly x: number; readonly y: number } | undefined,
  /** Strip that the last proof left to the caption, mm. */
  bareBelowMm = 0,
): Frame | undefined {
  const { focus: _focus, ...rest } = wish;
  try {
    return framePhoto(photo, {
      ...rest,
      grid: GRID,
      bareBelowMm: wish.caption ? bareBelowMm : 0,
      ...(focus ? { focus: { x: focus.x, y: focus.y } } : {}),
    });
  } catch {
    // Sizes that make no piece are told of by the proof.
    return undefined;
  }
}
