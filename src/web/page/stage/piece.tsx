import type { ComponentChildren } from 'preact';
import type { Frame } from '../../../photo/index.ts';
import { sizeTurned } from './frame.ts';
import type { SurfaceKind } from './surface.ts';
import { SurfaceLayer } from './surface-layer.tsx';

export interface PhotoFacts {
  readonly width: number;
  readonly height: number;
  readonly source: string;
  /** Degrees clockwise by which it stands turned. */
  readonly turnDeg: number;
}

/** The proof, and over it the surface of its material. */
export function PieceFace({
  picture,
  surface,
  alt = '',
}: {
  readonly picture: string | undefined;
  readonly surface: SurfaceKind | undefined;
  readonly alt?: string;
}) {
  if (!picture) return null;
  return (
    <>
      <img class="seen" src={picture} alt={alt} draggable={false} />
      {surface && <SurfaceLayer picture={picture} kind={surface} />}
    </>
  );
}

const share = (part: number, whole: number) => `${(100 * part) / whole}%`;

/** The photo as the frame crops and places it, drawn by scaling its small picture. */
export function PhotoOnPiece({
  frame,
  photo,
  children,
}: {
  readonly frame: Frame;
  readonly photo: PhotoFacts;
  /** What lies over it. */
  readonly children?: ComponentChildren;
}) {
  const { crop, place, width, height } = frame;
  return (
    <div
      class="placed"
      style={{
        left: share(place.x, width),
        top: share(place.y, height),
        width: share(place.width, width),
        height: share(place.height, height),
      }}
    >
      <img src={photo.source} alt="As cropped, before engraving" draggable={false} style={placeOf(photo, crop)} />
      {children}
    </div>
  );
}

/** The whole photo, turned about the middle that it shares with the part that is kept; places in shares of its crop. */
export function placeOf(photo: Omit<PhotoFacts, 'source'>, crop: Frame['crop']) {
  const kept = sizeTurned(photo, photo.turnDeg);
  return {
    width: share(photo.width, crop.width),
    height: share(photo.height, crop.height),
    left: share((kept.width - photo.width) / 2 - crop.x, crop.width),
    top: share((kept.height - photo.height) / 2 - crop.y, crop.height),
    transform: photo.turnDeg === 0 ? 'none' : `rotate(${photo.turnDeg}deg)`,
  };
}

/** Corners of the piece as CSS has them: shares of the box's width and height. */
export function radiusOf({ cornerRadiusMm, widthMm, heightMm }: Frame): string {
  return `${(100 * cornerRadiusMm) / widthMm}% / ${(100 * cornerRadiusMm) / heightMm}%`;
}
