import { tabulate } from '../numeric/index.ts';
import type { ColourImage } from '../plane/index.ts';
import { detectFaces, type Face, keepSeparate, mapFace, shareOfSmaller } from './faces.ts';
import type { SubjectModels } from './models.ts';
import { runNetwork } from './network.ts';
import { openPicture, type Picture } from './picture.ts';
import type { Box, Point, Square } from './place.ts';
import { findSalience } from './salience.ts';
import { agreeOf, describeShare, type Share, sampleShare } from './share.ts';
import { type QuarterTurn, turnPoint, turnShare } from './turn.ts';

/** Whom or what a photo is of. All places are shares of the photo as it stands upright. */
export interface Subject {
  /** What it was found by: faces, the shape that the model of people sees, or standing out from the rest. */
  readonly by: 'faces' | 'shape' | 'contrast';
  /** Whether most of its pixels are decided, so that its backdrop can go. */
  readonly isSure: boolean;
  /** The most important first. */
  readonly faces: readonly Face[];
  /** All of the subject that is seen, faces and bodies. */
  readonly box: Box;
  readonly share: Share;
}

export interface FoundSubject {
  /** How far the photo must be turned clockwise to stand upright, degrees. */
  readonly turn: QuarterTurn;
  /** Whether the turn is beyond doubt; else somebody should be asked, and the photo stays as it is. */
  readonly isCertain: boolean;
  /** With the turn where that is certain, else without; undefined where nothing stands out. */
  readonly subject: Subject | undefined;
}

/**
 * Long side of the copy in which a subject is looked for, pixels. Assumed: a face that fills a twentieth of it has the
 * few dozen pixels that the second look needs.
 */
export const SEARCHED_PX = 640;
/** Score from which a first look is followed by a second one, a share. Assumed: below are mostly leaves and folds. */
const GUESS = 0.4;
/** Score that each model must give a face in the second look, a share. Assumed: less is no word for a face. */
const LEAST = 0.5;
/**
 * Mean score of both models in the second look, a share. Measured (benchmarks/crops.ts,
 * tests/subject/find-subject.test.ts): upright faces 0.79 … 0.93; faces turned by a quarter or more up to 0.75; cats,
 * dogs, cups and flowers up to 0.6.
 */
const SURE = 0.77;
/** Score from which no other turn is tried, a share. Assumed: the same, since nothing of another turn reaches it. */
const PLAINLY_UPRIGHT = SURE;
/** Two boxes that share so much of the smaller one are of one face. A share. Assumed, as neighbours never do. */
const SAME = 0.3;
/** Side of the square of the second look over the height of the face, a factor. Assumed: as faces lie in selfies. */
const SECOND_LOOK = 3.2;
/**
 * Side of the parts in which small faces are looked for, a share of the long side. Assumed: two of them overlap by a
 * face.
 */
const PART = 0.62;
/** First guesses that are looked at again. A count. Assumed: groups on a small piece are smaller. */
const MOST_GUESSES = 12;
/** The same for a turn that is tried. A count. Assumed: one face shows a turn. */
const FEW_GUESSES = 2;
/** Steepest line between the eyes of an upright face, degrees. Assumed: heads seldom lean further. */
const LEANS_DEG = 40;
/**
 * Faces much smaller than the largest are strangers behind. A share of its height. Assumed: a child on an arm has half.
 */
const STRANGER = 0.3;
/** Score from which a turn is beyond doubt, if nothing is found without it; a share. Assumed: above every wrong one. */
const TURNED = 0.85;
/**
 * Beside a face so tall, a share of the photo's long side, no smaller one is looked for in parts. Assumed: one that the
 * whole does not show is then a stranger's.
 */
const LARGE = 0.35;
/** Long side of the copy for contrast, pixels. Assumed: fur and leaves are averaged away. */
const CONTRAST_PX = 128;
/** Long side of a subject's share, pixels. Exact: what the model of people gives. */
const SHARE_PX = 256;
/**
 * Share of the photo that a subject without a face takes: at least, at most, at most where the model of people wavers,
 * and at most where it does not at all. Measured (benchmarks/crops.ts) on 37 photos of pets, people turned away, things
 * and landscapes, the project's own and those of the Debian packages opencv-doc, lomiri-wallpapers, mate-backgrounds
 * and python3-sklearn, looked at one by one: faces of a cat and a dog take 0.94 and 0.78; what wavers over more than
 * 0.6 was leaves.
 */
const AREA = { from: 0.02, to: 0.7, unsure: 0.6, full: 0.96 } as const;
/**
 * How far shape and contrast must agree where no face is seen. A share. Measured (benchmarks/crops.ts) on the same
 * photos: 0.12 and more for pets and things, at most 0.1 for a beetle in leaves and for rooms.
 */
const AGREE = 0.12;
/** Least share of a subject's pixels that are decided. Assumed: a model that wavers guesses. */
const DECIDED = 0.5;
/**
 * The same for a subject that fills the photo. A share. Measured (benchmarks/crops.ts) on the same photos: pets 0.87
 * and 0.93, leaves up to 0.75.
 */
const PLAIN = 0.8;

/**
 * Whom or what a photo is of, from a small copy of it: faces at any of the four turns by `bazarevskyEtAl2019` (two
 * looks: the whole, then each guess by itself), the shape of people near the camera by `mediapipe2019`, which sees
 * many pets and things too, else what stands out from the rim (`zhangEtAl2015`). The models were published for people
 * at most 2 m off for shapes and near faces, 5 m for far ones.
 */
export function findSubject(
  image: ColourImage,
  models: SubjectModels,
  { turns = 'all' }: { readonly turns?: 'all' | 'none' } = {},
): FoundSubject {
  const picture = openPicture(image);
  let upright = searchFaces(picture, models, 'both');
  const best = bestOf(upright);
  let turn: QuarterTurn = 0;
  let turned: readonly Face[] = [];
  if (best < PLAINLY_UPRIGHT && turns === 'all') {
    for (const way of [90, 270, 180] as const) {
      const faces = searchFaces(picture.turn(way), models, 'far');
      if (bestOf(faces) > Math.max(best, bestOf(turned))) [turn, turned] = [way, faces];
    }
  }
  if (turn === 0 && tallestOf(picture, upright) < LARGE) upright = searchParts(picture, models, upright);
  if (turn === 0) return { turn, isCertain: true, subject: describe(picture, upright, models) };
  const subject = describe(picture.turn(turn), turned, models);
  // A person who lies is as much on the side as one whose photo does: a body that the lower edge cuts off, or a second
  // face, tells them apart.
  const { bottom, left, right, top } = describeShare(subject!.share).edges;
  const stands = bottom > 0.1 && Math.max(left, right, top) < 0.05;
  const isCertain = bestOf(turned) >= TURNED && upright.length === 0 && (turned.length > 1 || stands);
  if (isCertain || upright.length > 0) {
    return { turn, isCertain, subject: isCertain ? subject : describe(picture, upright, models) };
  }
  // It stays as it is, and its faces are kept in the crop all the same.
  return { turn, isCertain, subject: subject && turnSubject(subject, (360 - turn) as QuarterTurn) };
}

/** The same subject in the picture turned by so much. */
function turnSubject({ by, isSure, faces, box, share }: Subject, turn: QuarterTurn): Subject {
  const to = (point: Point) => turnPoint(point, turn);
  const [a, b] = [to(box), to({ x: box.x + box.width, y: box.y + box.height })];
  return {
    by,
    isSure,
    faces: faces.map((face) => mapFace(face, to)),
    box: { x: Math.min(a.x, b.x), y: Math.min(a.y, b.y), width: Math.abs(a.x - b.x), height: Math.abs(a.y - b.y) },
    share: turnShare(share, turn),
  };
}

/** Height of the tallest face, a share of the long side. */
const tallestOf = ({ width, height }: Picture, faces: readonly Face[]): number =>
  faces.reduce((most, { box }) => Math.max(most, (box.height * height) / Math.max(width, height)), 0);
const bestOf = (faces: readonly Face[]): number => faces.reduce((most, { score }) => Math.max(most, score), 0);

/**
 * Upright faces, the largest first; strangers far behind are left out. One look at the whole serves a turn that is
 * tried.
 */
function searchFaces(picture: Picture, models: SubjectModels, looks: 'both' | 'far'): readonly Face[] {
  const whole = squareAround(picture, { x: 0, y: 0, width: 1, height: 1 }, 1);
  const far = detectFaces(picture, { model: models.far, square: whole, least: GUESS });
  const near = looks === 'far' ? [] : detectFaces(picture, { model: models.near, square: whole, least: GUESS });
  const guesses = [...near, ...far].slice(0, looks === 'far' ? FEW_GUESSES : MOST_GUESSES);
  return rankFaces(confirmFaces(picture, models, guesses));
}

/** Faces of parts of the photo, which are as small there as the whole shows them large, with those already known. */
function searchParts(picture: Picture, models: SubjectModels, known: readonly Face[]): readonly Face[] {
  const side = PART * Math.max(picture.width, picture.height);
  const starts = (length: number) => (length <= side ? [(length - side) / 2] : [0, length - side]);
  const guesses = starts(picture.height).flatMap((y) =>
    starts(picture.width).flatMap((x) =>
      detectFaces(picture, { model: models.far, square: { x, y, side }, least: GUESS }),
    ),
  );
  const isNew = ({ box }: Face) => known.every((face) => shareOfSmaller(face.box, box) <= SAME);
  return rankFaces([...known, ...confirmFaces(picture, models, guesses.filter(isNew))]);
}

/** What a second look at each guess by both models confirms: their mean is the score. */
function confirmFaces(picture: Picture, models: SubjectModels, guesses: readonly Face[]): readonly Face[] {
  return keepSeparate(guesses)
    .slice(0, MOST_GUESSES)
    .flatMap(({ box }): readonly Face[] => {
      const square = squareAround(picture, box, SECOND_LOOK);
      const isSame = (face: Face) => shareOfSmaller(face.box, box) > SAME;
      const near = detectFaces(picture, { model: models.near, square, least: LEAST }).find(isSame);
      if (!near || !isUpright(near, picture)) return [];
      const far = detectFaces(picture, { model: models.far, square, least: LEAST }).find(isSame);
      const score = (near.score + (far?.score ?? 0)) / 2;
      return score >= SURE ? [{ ...near, score }] : [];
    });
}

/** The largest first, each once; strangers far behind are left out. */
function rankFaces(found: readonly Face[]): readonly Face[] {
  const faces = [...keepSeparate(found)].sort((a, b) => sizeOf(b) - sizeOf(a));
  return faces.filter(({ box }) => box.height > STRANGER * faces[0]!.box.height);
}

const sizeOf = ({ box, score }: Face): number => box.width * box.height * score;

/** The line between the eyes is level enough, and the mouth lies below it. */
function isUpright({ eyes: [left, right], mouth }: Face, { width, height }: Picture): boolean {
  const dx = (right.x - left.x) * width;
  const dy = (right.y - left.y) * height;
  const slope = (Math.abs(Math.atan2(dy, Math.abs(dx))) * 180) / Math.PI;
  return slope <= LEANS_DEG && mouth.y > (left.y + right.y) / 2;
}

/** The square about a box, so many times its longer side, pixels. */
function squareAround({ width, height }: Picture, box: Box, times: number): Square {
  const side = times * Math.max(box.width * width, box.height * height);
  return { x: (box.x + box.width / 2) * width - side / 2, y: (box.y + box.height / 2) * height - side / 2, side };
}

function describe(picture: Picture, faces: readonly Face[], models: SubjectModels): Subject | undefined {
  if (faces.length > 0) {
    const share = sharePeople(picture, models, bodySquare(picture, faces));
    const box = unionOf([...faces.map(({ box: one }) => one), ...boxOf(share)]);
    return { by: 'faces', isSure: true, faces, box, share };
  }
  const contrast = findSalience(shrink(picture.image(), CONTRAST_PX));
  const shape = sharePeople(picture, models, squareAround(picture, { x: 0, y: 0, width: 1, height: 1 }, 1));
  const isShape = isSubject(shape, contrast);
  const share = isShape ? shape : contrast;
  const facts = describeShare(share);
  if (!facts.box || facts.area < AREA.from || facts.area > (isShape ? AREA.full : AREA.to)) return undefined;
  return { by: isShape ? 'shape' : 'contrast', isSure: facts.sure >= DECIDED, faces, box: facts.box, share };
}

/** Whether the model of people has seen what the photo is of: people turned away, pets and many things. */
function isSubject(shape: Share, contrast: Share): boolean {
  const { area, sure } = describeShare(shape);
  const most = sure >= PLAIN ? AREA.full : AREA.to;
  if (area < AREA.from || area > most || agreeOf(shape, contrast) < AGREE) return false;
  return sure >= DECIDED || (area <= AREA.unsure && describeShare(contrast).sure < DECIDED);
}

const boxOf = (share: Share): readonly Box[] => {
  const { box } = describeShare(share);
  return box ? [box] : [];
};

/** Where the bodies are that belong to faces: a person is about seven heads high and three wide. */
function bodySquare(picture: Picture, faces: readonly Face[]): Square {
  const bodies = faces.map(({ box }) => {
    const head = box.height;
    const wide = (head * picture.height) / picture.width;
    return { x: box.x + box.width / 2 - 2.5 * wide, y: box.y - head, width: 5 * wide, height: 8 * head };
  });
  const all = unionOf(bodies);
  const within = intersect(all);
  return squareAround(picture, within, 1);
}

function intersect({ x, y, width, height }: Box): Box {
  const [left, top] = [Math.max(0, x), Math.max(0, y)];
  return { x: left, y: top, width: Math.min(1, x + width) - left, height: Math.min(1, y + height) - top };
}

function unionOf(boxes: readonly Box[]): Box {
  const x = Math.min(...boxes.map((box) => box.x));
  const y = Math.min(...boxes.map((box) => box.y));
  return {
    x,
    y,
    width: Math.max(...boxes.map((box) => box.x + box.width)) - x,
    height: Math.max(...boxes.map((box) => box.y + box.height)) - y,
  };
}

/** What is of people in a square of the picture, laid onto the whole picture. */
function sharePeople(picture: Picture, { people }: SubjectModels, square: Square): Share {
  const side = people.input.width;
  const input = picture.cutSquare({ square, side, scale: 1 / 255, offset: 0 });
  const [seenAt] = [...runNetwork(people, input).values()];
  const data = seenAt!.data;
  const scale = SHARE_PX / Math.max(picture.width, picture.height);
  const width = Math.max(1, Math.round(picture.width * scale));
  const height = Math.max(1, Math.round(picture.height * scale));
  const { x, y, side: span } = square;
  const columns = tabulate(new Float64Array(width), (at) => (((at + 0.5) / width) * picture.width - x) / span);
  const rows = tabulate(new Float64Array(height), (at) => (((at + 0.5) / height) * picture.height - y) / span);
  return sampleShare({ width: side, height: side, data }, { columns, rows });
}

/** Means of whole blocks: at most so many pixels on the long side. */
function shrink({ width, height, rgb }: ColourImage, longSide: number): ColourImage {
  const scale = Math.min(1, longSide / Math.max(width, height));
  const size = { width: Math.max(3, Math.round(width * scale)), height: Math.max(3, Math.round(height * scale)) };
  const columns = tabulate(new Int32Array(width), (x) => Math.floor((x * size.width) / width));
  const sums = new Uint32Array(3 * size.width);
  const counts = new Uint32Array(size.width);
  const means = new Uint8Array(3 * size.width * size.height);
  for (let y = 0, row = 0; row < size.height; row++) {
    sums.fill(0);
    counts.fill(0);
    for (; Math.floor((y * size.height) / height) === row && y < height; y++) addRow(y);
    const to = 3 * size.width * row;
    for (let at = 0; at < sums.length; at++) {
      means[to + at] = Math.round(sums[at]! / Math.max(1, counts[Math.floor(at / 3)]!));
    }
  }
  return { ...size, rgb: means };

  function addRow(y: number): void {
    for (let x = 0, from = 3 * y * width; x < width; x++, from += 3) {
      const column = columns[x]!;
      const to = 3 * column;
      counts[column]!++;
      sums[to]! += rgb[from]!;
      sums[to + 1]! += rgb[from + 1]!;
      sums[to + 2]! += rgb[from + 2]!;
    }
  }
}
