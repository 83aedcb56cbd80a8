import { drawText, LETTER_HEIGHT, LETTER_WIDTH } from './font.ts';
import { boxCorners } from './geometry.ts';
import type { Located } from './locate.ts';
import { placeOnCapture } from './map.ts';
import type { Readings } from './readings.ts';
import type { CaptureImage, Point } from './types.ts';

/** A picture with 8 bits a channel, interleaved R G B. */
export interface OverlayPicture {
  readonly width: number;
  readonly height: number;
  readonly rgb: Uint8Array;
}

type Colour = readonly [number, number, number];

/**
 * Colours that differ in lightness too, so that they can be told apart by everyone. Codes 0 … 255 of red, green, blue.
 * Assumed: seen on bare and on marked stock.
 */
const TAG: Colour = [0, 200, 255];
const READ: Colour = [60, 220, 60];
const REJECTED: Colour = [255, 40, 40];
const EXPECTED: Colour = [255, 190, 0];

/**
 * Longest side of the picture, pixels: larger captures are made smaller by a whole factor. Assumed: sharp on a screen,
 * quick to draw.
 */
const LONGEST_PX = 2400;

/**
 * What was recognised, drawn on the capture: tags outlined, missing ones in another colour where they were expected,
 * the read part of each patch outlined, rejected patches crossed and named. A person sees at a glance whether it is
 * right.
 * @param readings absent: patches are outlined only
 */
export function overlayFindings(capture: CaptureImage, located: Located, readings?: Readings): OverlayPicture {
  const factor = Math.max(1, Math.ceil(Math.max(capture.width, capture.height) / LONGEST_PX));
  const picture = shrink(capture, factor);
  const { layout, map, pxPerMm } = located;
  const at = (x: number, y: number): Point => {
    const [px, py] = placeOnCapture(map, x, y);
    return [px / factor, py / factor];
  };
  const stroke = Math.max(1, Math.round((pxPerMm / factor) * 0.1));
  const box = (x: number, y: number, width: number, height: number) =>
    boxCorners(x, y, width, height).map(([cx, cy]) => at(cx, cy));

  for (const { corners } of located.tags) {
    drawLoop(
      picture,
      corners.map(([x, y]): Point => [x / factor, y / factor]),
      { colour: TAG, stroke: stroke + 1 },
    );
  }
  for (const tag of layout.tags) {
    if (!located.missing.includes(tag.position)) continue;
    const { pitchMm, lineSpacingMm } = layout.grid;
    const width = tag.cellDotsX * 10 * pitchMm;
    const height = tag.cellDotsY * 10 * lineSpacingMm;
    drawLoop(picture, box(tag.xDots * pitchMm, tag.yDots * lineSpacingMm, width, height), { colour: EXPECTED, stroke });
  }
  const rejected = new Map(readings?.rejected.map((one) => [one.id, one]));
  for (const patch of layout.patches) {
    const rim = layout.borderMm;
    const inner = box(patch.xMm + rim, patch.yMm + rim, patch.widthMm - 2 * rim, patch.heightMm - 2 * rim);
    const bad = rejected.get(patch.id);
    drawLoop(picture, inner, { colour: bad ? REJECTED : READ, stroke });
    if (!bad) continue;
    drawLine(picture, inner[0]!, inner[2]!, { colour: REJECTED, stroke });
    drawLine(picture, inner[1]!, inner[3]!, { colour: REJECTED, stroke });
    const point = Math.max(1, Math.round(((pxPerMm / factor) * patch.heightMm) / 40));
    writeText(picture, `${patch.id} ${bad.reason}`, { from: inner[3]!, point, colour: REJECTED });
  }
  return picture;
}

function shrink({ width, height, rgb, bits }: CaptureImage, factor: number): OverlayPicture {
  const outWidth = Math.max(1, Math.floor(width / factor));
  const outHeight = Math.max(1, Math.floor(height / factor));
  const out = new Uint8Array(outWidth * outHeight * 3);
  const scale = (bits === 16 ? 255 / 65535 : 1) / factor ** 2;
  for (let y = 0; y < outHeight; y++) {
    for (let x = 0; x < outWidth; x++) {
      for (let channel = 0; channel < 3; channel++) {
        let sum = 0;
        for (let dy = 0; dy < factor; dy++) {
          const row = ((y * factor + dy) * width + x * factor) * 3 + channel;
          for (let dx = 0; dx < factor; dx++) sum += rgb[row + dx * 3];
        }
        out[(y * outWidth + x) * 3 + channel] = Math.round(sum * scale);
      }
    }
  }
  return { width: outWidth, height: outHeight, rgb: out };
}

interface Stroke {
  readonly colour: Colour;
  readonly stroke: number;
}

function drawLoop(picture: OverlayPicture, points: readonly Point[], stroke: Stroke): void {
  points.forEach((point, at) => {
    drawLine(picture, point, points[(at + 1) % points.length]!, stroke);
  });
}

function drawLine(picture: OverlayPicture, from: Point, to: Point, { colour, stroke }: Stroke): void {
  const steps = Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) * 2) + 1;
  if (!Number.isFinite(steps) || steps > 1e5) return;
  for (let i = 0; i <= steps; i++) {
    const x = Math.round(from[0] + ((to[0] - from[0]) * i) / steps - stroke / 2);
    const y = Math.round(from[1] + ((to[1] - from[1]) * i) / steps - stroke / 2);
    fillSquare(picture, x, y, { colour, stroke });
  }
}

function fillSquare(picture: OverlayPicture, x: number, y: number, { colour, stroke }: Stroke): void {
  for (let py = Math.max(0, y); py < Math.min(picture.height, y + stroke); py++) {
    for (let px = Math.max(0, x); px < Math.min(picture.width, x + stroke); px++) {
      picture.rgb.set(colour, (py * picture.width + px) * 3);
    }
  }
}

function writeText(
  picture: OverlayPicture,
  text: string,
  { from, point, colour }: { readonly from: Point; readonly point: number; readonly colour: Colour },
): void {
  const { width, points } = drawText(text);
  const left = Math.min(
    Math.max(0, Math.round(from[0])),
    Math.max(0, picture.width - text.length * LETTER_WIDTH * point),
  );
  const top = Math.round(from[1]) + point;
  for (let y = 0; y < LETTER_HEIGHT; y++) {
    for (let x = 0; x < width; x++) {
      if (points[y * width + x]) fillSquare(picture, left + x * point, top + y * point, { colour, stroke: point });
    }
  }
}
