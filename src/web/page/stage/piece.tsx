import type { Frame } from '../../../photo/index.ts';

export interface PhotoFacts {
  readonly width: number;
  readonly height: number;
  readonly source: string;
}

const share = (part: number, whole: number) => `${(100 * part) / whole}%`;

/** The photo as the frame crops and places it, drawn by scaling its small picture. */
export function PhotoOnPiece({ frame, photo }: { readonly frame: Frame; readonly photo: PhotoFacts }) {
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
      <img src={photo.source} alt="As cropped, before engraving" draggable={false} style={boxOf(photo, crop)} />
    </div>
  );
}

/** The whole photo's box, in shares of its crop. */
export function boxOf(photo: Pick<PhotoFacts, 'width' | 'height'>, crop: Frame['crop']) {
  return {
    width: share(photo.width, crop.width),
    height: share(photo.height, crop.height),
    left: share(-crop.x, crop.width),
    top: share(-crop.y, crop.height),
  };
}

/** Corners of the piece as CSS has them: shares of the box's width and height. */
export function radiusOf({ cornerRadiusMm, widthMm, heightMm }: Frame): string {
  return `${(100 * cornerRadiusMm) / widthMm}% / ${(100 * cornerRadiusMm) / heightMm}%`;
}
