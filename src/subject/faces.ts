import { tabulate } from '../numeric/index.ts';
import type { ColourImage } from '../plane/index.ts';
import { sigmoid } from './layers.ts';
import { type Network, runNetwork } from './network.ts';

/** A place of a picture, as shares of its width and height. */
export interface Point {
  readonly x: number;
  readonly y: number;
}

export interface Box extends Point {
  readonly width: number;
  readonly height: number;
}

/** A face: left and right are those of the picture. All places are shares of the picture's width and height. */
export interface Face {
  /** From the brows to the chin, as the model draws it. */
  readonly box: Box;
  readonly eyes: readonly [left: Point, right: Point];
  readonly nose: Point;
  readonly mouth: Point;
  readonly ears: readonly [left: Point, right: Point];
  /** How sure the model is, 0 … 1. */
  readonly score: number;
}

/** A square of a picture, pixels. */
export interface Square {
  readonly x: number;
  readonly y: number;
  readonly side: number;
}

/** How a face model's numbers are read: `anchors` is how many boxes each cell of each of its grids has. */
interface FaceModel {
  readonly network: Network;
  readonly anchors: readonly (readonly [cells: number, boxes: number])[];
}

/**
 * The model for faces near the camera, at most 2 m off: counts of cells along a side and of boxes a cell. Format:
 * `bazarevskyEtAl2019`.
 */
const NEAR_ANCHORS = [
  [16, 2],
  [8, 6],
] as const;
/** The same for faces at most 5 m off, counts. Format: `mediapipe2019`. */
const FAR_ANCHORS = [[48, 1]] as const;
/**
 * Two boxes that share more than this of the smaller one are one face. A share. Assumed: faces seldom hide each other
 * so far.
 */
const SAME_FACE = 0.3;
/**
 * Pixels that are averaged for one, in each direction, at most. A count. Assumed: nine keep a small picture from
 * sparkling.
 */
const MOST_POINTS = 3;
/** Code that goes in as 0; 0 goes in as −1 and 255 as 1. Exact: half of 8 bits. */
const MIDDLE = 127.5;

export function nearFaces(network: Network): FaceModel {
  return { network, anchors: NEAR_ANCHORS };
}

export function farFaces(network: Network): FaceModel {
  return { network, anchors: FAR_ANCHORS };
}

/**
 * Faces in a square of a picture that score at least `least`, the surest first, each once.
 * The square may reach beyond the picture, where there is black.
 */
export function detectFaces(
  image: ColourImage,
  { model, square, least }: { readonly model: FaceModel; readonly square: Square; readonly least: number },
): readonly Face[] {
  const { network, anchors } = model;
  const { width: side } = network.input;
  const input = cutSquare(image, { square, side, of: (code) => (code - MIDDLE) / MIDDLE, beyond: -1 });
  const outputs = [...runNetwork(network, input).values()];
  const places = outputs.find(({ channels }) => channels === 16)!.data;
  const scores = outputs.find(({ channels }) => channels === 1)!.data;
  const found: Face[] = [];
  let at = 0;
  for (const [cells, boxes] of anchors) {
    for (let cell = 0; cell < cells * cells; cell++) {
      const centre = { x: ((cell % cells) + 0.5) / cells, y: (Math.floor(cell / cells) + 0.5) / cells };
      for (let box = 0; box < boxes; box++, at++) {
        const score = sigmoid(scores[at]!);
        if (score >= least) found.push(readFace(places.subarray(16 * at, 16 * at + 16), { centre, side, score }));
      }
    }
  }
  const inPicture = found.map((face) =>
    mapFace(face, ({ x, y }) => ({
      x: (square.x + x * square.side) / image.width,
      y: (square.y + y * square.side) / image.height,
    })),
  );
  return keepSeparate(inPicture);
}

/** Each face once, the surest box of it. */
export function keepSeparate(faces: readonly Face[]): readonly Face[] {
  const kept: Face[] = [];
  for (const face of [...faces].sort((a, b) => b.score - a.score)) {
    if (kept.every((other) => shareOfSmaller(face.box, other.box) <= SAME_FACE)) kept.push(face);
  }
  return kept;
}

/** Box: offsets of the centre and the sides, then six places, in pixels of what the model sees. */
function readFace(
  numbers: Float32Array,
  { centre, side, score }: { readonly centre: Point; readonly side: number; readonly score: number },
): Face {
  const point = (at: number): Point => ({
    x: centre.x + numbers[at]! / side,
    y: centre.y + numbers[at + 1]! / side,
  });
  const middle = point(0);
  const [width, height] = [numbers[2]! / side, numbers[3]! / side];
  return {
    box: { x: middle.x - width / 2, y: middle.y - height / 2, width, height },
    eyes: [point(4), point(6)],
    nose: point(8),
    mouth: point(10),
    ears: [point(12), point(14)],
    score,
  };
}

/** The face as another picture has it, of which each place is known; boxes stay upright. */
export function mapFace(face: Face, to: (point: Point) => Point): Face {
  const { box } = face;
  const a = to(box);
  const b = to({ x: box.x + box.width, y: box.y + box.height });
  return {
    box: { x: Math.min(a.x, b.x), y: Math.min(a.y, b.y), width: Math.abs(b.x - a.x), height: Math.abs(b.y - a.y) },
    eyes: [to(face.eyes[0]), to(face.eyes[1])],
    nose: to(face.nose),
    mouth: to(face.mouth),
    ears: [to(face.ears[0]), to(face.ears[1])],
    score: face.score,
  };
}

export function shareOfSmaller(a: Box, b: Box): number {
  const width = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
  const height = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
  if (width <= 0 || height <= 0) return 0;
  return (width * height) / Math.min(a.width * a.height, b.width * b.height);
}

export interface CutOptions {
  readonly square: Square;
  /** Pixels of the result, on each side. */
  readonly side: number;
  /** What the model takes for a code of 0 … 255. */
  readonly of: (code: number) => number;
  /** What it takes beyond the picture. */
  readonly beyond: number;
}

/**
 * A square of a picture at another size, three numbers a pixel: means of a few of its pixels where it gets smaller,
 * else straight between pixel centres.
 */
export function cutSquare({ width, height, rgb }: ColourImage, { square, side, of, beyond }: CutOptions): Float32Array {
  const table = tabulate(new Float32Array(256), (code) => of(code));
  const out = new Float32Array(3 * side * side);
  const step = square.side / side;
  const points = Math.min(MOST_POINTS, Math.max(1, Math.round(step)));
  const weight = 1 / points ** 2;
  const placesFrom = (from: number) =>
    tabulate(new Float32Array(side * points), (at) => from + ((at + 0.5) / points) * step - 0.5);
  const [columns, rows] = [placesFrom(square.x), placesFrom(square.y)];
  const isSmooth = points === 1;
  const nearest = Int32Array.from(columns, (px) => (px < -0.5 || px > width - 0.5 ? -1 : 3 * Math.round(px)));
  const outside = beyond * weight;
  const shares = Float64Array.from(table, (value) => value * weight);
  for (let row = 0; row < rows.length; row++) {
    const py = rows[row]!;
    const line = py < -0.5 || py > height - 0.5 ? -1 : 3 * width * Math.round(py);
    let at = 3 * side * Math.floor(row / points);
    for (let column = 0; column < columns.length; at += 3) {
      for (let point = 0; point < points; point++, column++) {
        const place = nearest[column]!;
        if (line < 0 || place < 0) {
          for (let c = 0; c < 3; c++) out[at + c]! += outside;
        } else if (isSmooth) {
          const px = columns[column]!;
          readBetween(out, at, { px: Math.min(Math.max(0, px), width - 1), py: Math.min(Math.max(0, py), height - 1) });
        } else {
          for (let c = 0; c < 3; c++) out[at + c]! += shares[rgb[line + place + c]!]!;
        }
      }
    }
  }
  return out;

  function readBetween(to: Float32Array, at: number, { px, py }: { readonly px: number; readonly py: number }): void {
    const left = Math.floor(px);
    const top = Math.floor(py);
    const [fx, fy] = [px - left, py - top];
    const upper = 3 * (top * width + left);
    const lower = top < height - 1 ? upper + 3 * width : upper;
    const right = left < width - 1 ? 3 : 0;
    for (let c = 0; c < 3; c++) {
      const high = table[rgb[upper + c]!]! * (1 - fx) + table[rgb[upper + right + c]!]! * fx;
      const low = table[rgb[lower + c]!]! * (1 - fx) + table[rgb[lower + right + c]!]! * fx;
      to[at + c] = high * (1 - fy) + low * fy;
    }
  }
}
