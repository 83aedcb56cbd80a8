import type { Photo } from '../plane/index.ts';
import type { PhotoPart } from './choose-crop.ts';

/** Bars of one colour at the edges of a photo, and the picture that they leave. Shares of its width and height. */
export interface Bars {
  readonly picture: PhotoPart;
  /** 0 where there is none. */
  readonly above: number;
  readonly below: number;
  readonly left: number;
  readonly right: number;
}

type Pixels = Pick<Photo, 'width' | 'height' | 'channels' | 'bits' | 'rgb'>;
type Side = 'above' | 'below' | 'left' | 'right';

/**
 * What a bar is. Counts, codes of 8 bits and shares. Assumed, by screenshots: their bars may hold a clock and signs,
 * which leave most of a line; at a picture's edge most of a line changes at once, and compression smears it over a few
 * lines.
 */
const BAR = {
  samples: 128,
  withinCodes: 8,
  ofLine: 0.6,
  beyond: 0.35,
  smearLines: 8,
  least: 0.015,
  most: 0.45,
} as const;
/**
 * What a bar is that has none opposite: a line of status, drawn and not seen. Codes of 8 bits and shares. Assumed: no
 * camera gives a strip of sky of one code that ends at once along the width of the photo and has signs on it.
 */
const LONE = { withinCodes: 1, most: 0.12, signsFrom: 0.02, signsTo: 0.4 } as const;

/**
 * Bars around a picture, such as screenshots and films of another shape have, and the paper around a scan. A plain
 * background is none: it ends at a subject little by little, and not along a whole line.
 */
export function findBars(photo: Pixels): Bars | undefined {
  const whole: PhotoPart = { x: 0, y: 0, width: 1, height: 1 };
  const [above, below] = measurePair(photo, ['above', 'below'], whole);
  const between = { ...whole, y: above, height: 1 - above - below };
  const [left, right] = measurePair(photo, ['left', 'right'], between);
  if (above + below + left + right === 0) return undefined;
  return { picture: { ...between, x: left, width: 1 - left - right }, above, below, left, right };
}

/** Two bars that face each other, or a lone line of status. */
function measurePair(
  photo: Pixels,
  [first, last]: readonly [Side, Side],
  within: PhotoPart,
): readonly [number, number] {
  const [a, b] = [measureBar(photo, first, within), measureBar(photo, last, within)];
  if (a && b) return [a.share, b.share];
  const lone = ({ share, isDrawn }: Bar) => (isDrawn && share <= LONE.most ? share : 0);
  return first === 'above' ? [a ? lone(a) : 0, b ? lone(b) : 0] : [0, 0];
}

interface Bar {
  readonly share: number;
  /** One code but for its signs. */
  readonly isDrawn: boolean;
}

/** What of the photo a bar takes at one side, of the lines within a part of it; undefined where there is none. */
function measureBar({ width, height, channels, bits, rgb }: Pixels, side: Side, within: PhotoPart): Bar | undefined {
  const isRow = side === 'above' || side === 'below';
  const isLast = side === 'below' || side === 'right';
  const lines = isRow ? height : width;
  const [from, length] = isRow ? [within.x * width, within.width * width] : [within.y * height, within.height * height];
  const unit = bits === 16 ? 257 : 1;
  const firstOf = (line: number, sample: number) => {
    const deep = isLast ? lines - 1 - line : line;
    const aside = Math.floor(from + ((sample + 0.5) * length) / BAR.samples);
    return channels * (isRow ? deep * width + aside : aside * width + deep);
  };
  const colour = Array.from({ length: channels }, (_, channel) => {
    const codes = Array.from({ length: BAR.samples }, (_, sample) => rgb[firstOf(0, sample) + channel]!);
    return codes.sort((a, b) => a - b)[BAR.samples >> 1]!;
  });
  const shareOf = (line: number, codes: number) => {
    let alike = 0;
    for (let sample = 0; sample < BAR.samples; sample++) {
      const first = firstOf(line, sample);
      if (colour.every((code, channel) => Math.abs(rgb[first + channel]! - code) <= codes * unit)) alike++;
    }
    return alike / BAR.samples;
  };
  const most = Math.floor(BAR.most * lines);
  let count = 0;
  let isOneCode = true;
  let hasSigns = false;
  for (; count <= most && shareOf(count, BAR.withinCodes) >= BAR.ofLine; count++) {
    const same = shareOf(count, LONE.withinCodes);
    if (same < BAR.ofLine) isOneCode = false;
    if (1 - same >= LONE.signsFrom && 1 - same <= LONE.signsTo) hasSigns = true;
  }
  if (count > most || count < Math.max(2, BAR.least * lines)) return undefined;
  if (shareOf(Math.min(lines - 1, count + BAR.smearLines), BAR.withinCodes) > BAR.beyond) return undefined;
  return { share: count / lines, isDrawn: isOneCode && hasSigns };
}
