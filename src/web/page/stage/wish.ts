import type { PhotoSettings } from '../../protocol.ts';
import { without } from '../photo/without.ts';

/** Groups of controls beside the stage. */
export type GroupId = 'piece' | 'material' | 'crop' | 'tone' | 'words' | 'dots';

/** The group in which each field of a wish is changed. */
const GROUP_OF: Readonly<Record<keyof PhotoSettings, GroupId>> = {
  widthMm: 'piece',
  heightMm: 'piece',
  cornerRadiusMm: 'piece',
  safeMarginMm: 'piece',
  around: 'piece',
  round: 'piece',
  machine: 'material',
  profile: 'material',
  material: 'material',
  seen: 'material',
  beneath: 'material',
  fit: 'crop',
  focus: 'crop',
  zoom: 'crop',
  turnDeg: 'crop',
  subject: 'crop',
  backdrop: 'crop',
  outline: 'crop',
  vignetteMm: 'crop',
  tone: 'tone',
  toneValues: 'tone',
  caption: 'words',
  artwork: 'words',
  screen: 'dots',
  levels: 'dots',
  range: 'dots',
  settings: 'dots',
  mirror: 'dots',
  rotateDeg: 'dots',
  format: 'dots',
  at: 'dots',
};

/** Groups in which two wishes differ, each once. */
export function groupsBetween(a: PhotoSettings, b: PhotoSettings): readonly GroupId[] {
  const keys = Object.keys(GROUP_OF) as (keyof PhotoSettings)[];
  const changed = keys.filter((key) => JSON.stringify(a[key]) !== JSON.stringify(b[key]));
  return [...new Set(changed.map((key) => GROUP_OF[key]))];
}

/** What a photo or a piece of an order may want of its crop. */
export type CropSettings = Pick<PhotoSettings, 'fit' | 'focus' | 'zoom' | 'turnDeg' | 'subject'>;

/** A wish with another crop; what needs not be said is left out, so that it is the same wish as before. */
export function withCrop<W extends CropSettings>(
  wish: W,
  { focus, zoom }: { readonly focus: { readonly x: number; readonly y: number }; readonly zoom: number },
): W {
  return { ...withZoom(wish, zoom), focus };
}

export const withZoom = <W extends CropSettings>(wish: W, zoom: number): W =>
  zoom > 1 ? { ...wish, zoom } : without(wish, 'zoom');

/** Between half a turn back and half a turn on, in tenths of a degree. */
export const tidyDeg = (deg: number) => Math.round((deg - 360 * Math.round(deg / 360)) * 10) / 10;
