import { sigmoid } from './layers.ts';
import { type Network, runNetwork } from './network.ts';
import type { Picture } from './picture.ts';
import type { Box, Point, Square } from './place.ts';

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
  picture: Picture,
  { model, square, least }: { readonly model: FaceModel; readonly square: Square; readonly least: number },
): readonly Face[] {
  const { network, anchors } = model;
  const { width: side } = network.input;
  const input = picture.cutSquare({ square, side, scale: 1 / MIDDLE, offset: -1 });
  const outputs = [...runNetwork(network, input).values()];
  const places = outputs.find(({ channels }) => channels === 16)!.data;
  const scores = outputs.find(({ channels }) => channels === 1)!.data;
  // Scores are told by what the sigmoid is taken of.
  const bound = Math.log(least / (1 - least));
  const found: Face[] = [];
  let at = 0;
  for (const [cells, boxes] of anchors) {
    for (let cell = 0; cell < cells * cells; cell++) {
      for (let box = 0; box < boxes; box++, at++) {
        if (!(scores[at]! >= bound)) continue;
        const centre = { x: ((cell % cells) + 0.5) / cells, y: (Math.floor(cell / cells) + 0.5) / cells };
        const score = sigmoid(scores[at]!);
        found.push(readFace(places.subarray(16 * at, 16 * at + 16), { centre, side, score }));
      }
    }
  }
  const inPicture = found.map((face) =>
    mapFace(face, ({ x, y }) => ({
      x: (square.x + x * square.side) / picture.width,
      y: (square.y + y * square.side) / picture.height,
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
