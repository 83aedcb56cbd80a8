import { median, medianAbsoluteDeviation } from '../numeric/index.ts';
import type { ColourImage } from '../plane/index.ts';
import type { PhotoPart } from './choose-crop.ts';

/** A printed picture that a photo shows lying on something. All places are shares of the photo's width and height. */
export interface SeenPrint {
  /** Left upper, right upper, right lower, left lower. */
  readonly corners: readonly [Corner, Corner, Corner, Corner];
  /** The largest upright part within its edges. */
  readonly picture: PhotoPart;
  /** How far its upper and lower edge lean, degrees clockwise. */
  readonly leansDeg: number;
  /** How much longer one edge is than the one opposite, a share: what comes of a camera that looked at it aslant. */
  readonly slant: number;
  /** A light that is mirrored in it. */
  readonly glare?: { readonly where: string; readonly share: number };
}

export interface Corner {
  readonly x: number;
  readonly y: number;
}

/** Long side of the copy in which a print is looked for, pixels. Assumed: edges are straight to half a pixel there. */
export const PRINT_SEARCHED_PX = 240;
/** Width of the photo's rim that shows what the print lies on, pixels of the copy. Assumed: margins are wider. */
const RIM = 3;
/** How far smoothing carries an edge outwards, pixels of the copy. Exact: means of 3 × 3. */
const SMEAR = 1;
/**
 * What counts as that ground, codes of 8 bits: at least so far from it, and so many times its own scatter, which no
 * camera leaves below a little. Share of the rim that must be ground. Assumed, by prints on wood, cloth and paper; what
 * has no scatter is a drawn frame or a screenshot.
 */
const GROUND = { codes: 14, scatters: 3.5, least: 0.1, most: 45, ofRim: 0.85 } as const;
/**
 * Neighbours of one colour, a share of all or of those at the rim, from which a picture was drawn and not taken by a
 * camera, which leaves grain everywhere. Assumed, by 943 pictures of the Debian packages opencv-doc, python3-skimage,
 * python3-sklearn and four of wallpapers: photos reach 0.51; drawings, windows of programs and pictures put together
 * that were taken for a print have 0.64 and more.
 */
const DRAWN = 0.6;
/**
 * What a print is: share of the photo that it takes, how much of each edge lies within so many pixels of a line, how
 * much of the four-sided figure is filled, its corners in degrees, how unequal opposite edges may be, and what its
 * picture holds at least (standard deviation, codes of 8 bits). Measured (tests/photo/find-print.test.ts) on photos of
 * prints made for it and on the project's own photos, which are none; of 943 other pictures (see `DRAWN`) two are taken
 * for one, both of a printed page.
 */
const PRINT = {
  from: 0.2,
  to: 0.96,
  straightPx: 1.5,
  straight: 0.9,
  filled: 0.96,
  cornersDeg: [65, 115],
  unequal: 1.5,
  contrast: 22,
} as const;
/**
 * A mirrored light: codes of 8 bits from which a pixel is blown out, and up to which the paper's own white lies; share
 * of the print that it takes. Assumed: paper reflects less than a lamp that is mirrored in it.
 */
const GLARE = { blown: 250, paper: 243, from: 0.002, to: 0.3 } as const;

/**
 * A printed picture in a small copy of a photo: one figure with four straight edges on an even ground that surrounds
 * it, and a picture in it.
 */
export function findPrint(image: ColourImage): SeenPrint | undefined {
  if (isDrawn(image)) return undefined;
  const figure = tellFromGround(image);
  if (!figure) return undefined;
  const { width, height } = image;
  const area = countOnes(figure);
  if (area < PRINT.from * width * height || area > PRINT.to * width * height) return undefined;
  const corners = fitEdges(figure, { width, height });
  if (!corners || !isFourSided(corners) || area < PRINT.filled * areaOf(corners)) return undefined;
  const inside = insideOf(corners, { width, height });
  if (contrastOf(image, inside) < PRINT.contrast) return undefined;
  const [a, b, c, d] = corners;
  const [upper, lower, left, right] = [lengthOf(a, b), lengthOf(d, c), lengthOf(a, d), lengthOf(b, c)];
  const leanOf = (from: Corner, to: Corner) => (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI;
  const glare = findGlare(image, inside);
  const shareOf = ({ x, y }: Corner): Corner => ({ x: x / width, y: y / height });
  const [x, y] = [(Math.max(a.x, d.x) + SMEAR) / width, (Math.max(a.y, b.y) + SMEAR) / height];
  const [farX, farY] = [(Math.min(b.x, c.x) - SMEAR) / width, (Math.min(c.y, d.y) - SMEAR) / height];
  return {
    corners: [shareOf(a), shareOf(b), shareOf(c), shareOf(d)],
    picture: { x, y, width: farX - x, height: farY - y },
    leansDeg: (leanOf(a, b) + leanOf(d, c)) / 2,
    slant: Math.max(upper / lower, lower / upper, left / right, right / left) - 1,
    ...(glare ? { glare } : {}),
  };
}

/** Whether most neighbours along the rows have one colour, in all of the picture or at its rim. */
function isDrawn({ width, height, rgb }: ColourImage): boolean {
  const pairs = { all: 0, rim: 0 };
  const equal = { all: 0, rim: 0 };
  for (let y = 0; y < height; y++) {
    for (let x = 1, at = 3 * (y * width + 1); x < width; x++, at += 3) {
      const isEqual = rgb[at] === rgb[at - 3] && rgb[at + 1] === rgb[at - 2] && rgb[at + 2] === rgb[at - 1];
      const isRim = y < RIM || y >= height - RIM || x < RIM || x > width - RIM;
      pairs.all++;
      if (isEqual) equal.all++;
      if (!isRim) continue;
      pairs.rim++;
      if (isEqual) equal.rim++;
    }
  }
  return equal.all > DRAWN * pairs.all || equal.rim > DRAWN * pairs.rim;
}

/** Ones where the largest figure is that stands out from the ground around it; undefined without such a ground. */
function tellFromGround(image: ColourImage): Uint8Array | undefined {
  const { width, height } = image;
  const near = smoothOf(image);
  // What is ground at each side: its colour may change evenly from one to the other.
  const sides = [
    { x: 0, y: 0, width: RIM, height },
    { x: width - RIM, y: 0, width: RIM, height },
    { x: 0, y: 0, width, height: RIM },
    { x: 0, y: height - RIM, width, height: RIM },
  ].map((part) => listPixels(part, width));
  const planes = [0, 1, 2].map((c) => {
    const [left, right, top, bottom] = sides.map((pixels) => median(pixels.map((at) => near(at, c)))) as [
      number,
      number,
      number,
      number,
    ];
    return { middle: (left + right + top + bottom) / 4, byX: right - left, byY: bottom - top };
  });
  const awayOf = (at: number, c: number) => {
    const { middle, byX, byY } = planes[c]!;
    const [x, y] = [at % width, Math.floor(at / width)];
    return near(at, c) - (middle + byX * ((x + 0.5) / width - 0.5) + byY * ((y + 0.5) / height - 0.5));
  };
  const rim = sides.flat();
  const away = [0, 1, 2].map((c) => rim.map((at) => awayOf(at, c)));
  const scatter = Math.max(...away.map((of) => medianAbsoluteDeviation(of)));
  const most = Math.max(GROUND.codes, GROUND.scatters * scatter);
  if (most > GROUND.most || scatter < GROUND.least) return undefined;
  const ground = rim.filter((_, i) => away.every((of) => Math.abs(of[i]!) <= most));
  if (ground.length < GROUND.ofRim * rim.length) return undefined;
  const isGround = (at: number) => [0, 1, 2].every((c) => Math.abs(awayOf(at, c)) <= most);
  const out = new Uint8Array(width * height).fill(1);
  floodFrom(ground, {
    width,
    height,
    take: (at) => out[at] === 1 && isGround(at),
    mark: (at) => out.fill(0, at, at + 1),
  });
  return keepLargest(out, { width, height });
}

interface Size {
  readonly width: number;
  readonly height: number;
}

const listPixels = (part: PhotoPart, width: number): number[] =>
  Array.from({ length: part.width * part.height }, (_, i) => {
    return (part.y + Math.floor(i / part.width)) * width + part.x + (i % part.width);
  });

/** Means of 3 × 3 pixels, each worked out when it is asked for: the grain of wood and cloth is ground. */
function smoothOf({ width, height, rgb }: ColourImage): (at: number, channel: number) => number {
  return (at, channel) => {
    const [x, y] = [at % width, Math.floor(at / width)];
    let sum = 0;
    let count = 0;
    for (let row = Math.max(0, y - 1); row <= Math.min(height - 1, y + 1); row++) {
      for (let column = Math.max(0, x - 1); column <= Math.min(width - 1, x + 1); column++, count++) {
        sum += rgb[3 * (row * width + column) + channel]!;
      }
    }
    return sum / count;
  };
}

interface Flood extends Size {
  readonly take: (at: number) => boolean;
  readonly mark: (at: number) => void;
}

/** All pixels that are joined to the first ones by an edge and are taken, each marked once. @returns how many */
function floodFrom(first: readonly number[], { width, height, take, mark }: Flood): number {
  const open: number[] = [];
  let count = 0;
  const visit = (at: number) => {
    if (!take(at)) return;
    mark(at);
    count++;
    open.push(at);
  };
  for (const at of first) visit(at);
  for (let at = open.pop(); at !== undefined; at = open.pop()) {
    const [x, y] = [at % width, Math.floor(at / width)];
    if (x > 0) visit(at - 1);
    if (x < width - 1) visit(at + 1);
    if (y > 0) visit(at - width);
    if (y < height - 1) visit(at + width);
  }
  return count;
}

function keepLargest(ones: Uint8Array, size: Size): Uint8Array {
  const labels = new Int32Array(ones.length);
  let [largest, most] = [0, 0];
  for (let at = 0, label = 0; at < ones.length; at++) {
    if (ones[at] === 0 || labels[at] !== 0) continue;
    label++;
    const mark = (pixel: number) => {
      labels[pixel] = label;
    };
    const count = floodFrom([at], { ...size, take: (pixel) => ones[pixel] === 1 && labels[pixel] === 0, mark });
    if (count > most) [largest, most] = [label, count];
  }
  return Uint8Array.from(labels, (label) => (label === largest && most > 0 ? 1 : 0));
}

const countOnes = (ones: Uint8Array): number => ones.reduce((sum, one) => sum + one, 0);

type Quad = readonly [Corner, Corner, Corner, Corner];

/** The corners where the lines along a figure's edges meet, pixels; undefined where an edge is not straight. */
function fitEdges(figure: Uint8Array, { width, height }: Size): Quad | undefined {
  const at = (x: number, y: number) => figure[y * width + x] === 1;
  const columns = Array.from({ length: width }, (_, x) => x);
  const rows = Array.from({ length: height }, (_, y) => y);
  const present = (points: readonly (Corner | undefined)[]) => points.filter((point) => point !== undefined);
  const point = (x: number, y: number): Corner => ({ x, y });
  // The first pixel of the figure from each side, between pixels.
  const edges = [
    present(
      columns.map((x) =>
        pointAt(
          rows.find((y) => at(x, y)),
          (y) => point(x + 0.5, y),
        ),
      ),
    ),
    present(
      rows.map((y) =>
        pointAt(
          columns.findLast((x) => at(x, y)),
          (x) => point(x + 1, y + 0.5),
        ),
      ),
    ),
    present(
      columns.map((x) =>
        pointAt(
          rows.findLast((y) => at(x, y)),
          (y) => point(x + 0.5, y + 1),
        ),
      ),
    ),
    present(
      rows.map((y) =>
        pointAt(
          columns.find((x) => at(x, y)),
          (x) => point(x, y + 0.5),
        ),
      ),
    ),
  ];
  const all = edges.flat();
  const extreme = (of: (p: Corner) => number) => all.reduce((best, p) => (of(p) > of(best) ? p : best), all[0]!);
  if (all.length === 0) return undefined;
  const rough: Quad = [
    extreme(({ x, y }) => -x - y),
    extreme(({ x, y }) => x - y),
    extreme(({ x, y }) => x + y),
    extreme(({ x, y }) => y - x),
  ];
  const lines = edges.map((points, i) => fitLine(points, [rough[i]!, rough[(i + 1) % 4]!]));
  if (lines.some((line) => line === undefined)) return undefined;
  const [top, right, bottom, left] = lines as [Line, Line, Line, Line];
  return [meet(left, top), meet(top, right), meet(right, bottom), meet(bottom, left)];
}

const pointAt = (found: number | undefined, make: (at: number) => Corner): Corner | undefined =>
  found === undefined || found < 0 ? undefined : make(found);

/** All points (x, y) with a·x + b·y = c; a and b are of unit length. */
interface Line {
  readonly a: number;
  readonly b: number;
  readonly c: number;
}

/** The line along the points between two corners, by the middle half of them; undefined where they do not follow it. */
function fitLine(points: readonly Corner[], [from, to]: readonly [Corner, Corner]): Line | undefined {
  const [dx, dy] = [to.x - from.x, to.y - from.y];
  const length = Math.hypot(dx, dy);
  if (length < 1) return undefined;
  const [ux, uy] = [dx / length, dy / length];
  const along = ({ x, y }: Corner) => ((x - from.x) * ux + (y - from.y) * uy) / length;
  const off = ({ x, y }: Corner) => (y - from.y) * ux - (x - from.x) * uy;
  const between = points.filter((point) => along(point) > 0.05 && along(point) < 0.95);
  if (between.length < length / 2) return undefined;
  // How far the edge lies off at each half: medians shrug off what lies at the edge.
  const half = (low: number) => between.filter((point) => along(point) > low && along(point) < low + 0.45);
  const [first, last] = [half(0.05), half(0.5)].map((part) => ({
    t: median(part.map(along)),
    d: median(part.map(off)),
  })) as [{ t: number; d: number }, { t: number; d: number }];
  const slope = (last.d - first.d) / (last.t - first.t);
  const at = (t: number) => first.d + slope * (t - first.t);
  const straight = between.filter((point) => Math.abs(off(point) - at(along(point))) <= PRINT.straightPx).length;
  if (straight < PRINT.straight * between.length) return undefined;
  const lineAt = (t: number): Corner => ({ x: from.x + dx * t - uy * at(t), y: from.y + dy * t + ux * at(t) });
  const [p, q] = [lineAt(0), lineAt(1)];
  const span = lengthOf(p, q);
  const [a, b] = [(q.y - p.y) / span, (p.x - q.x) / span];
  return { a, b, c: a * p.x + b * p.y };
}

function meet(one: Line, other: Line): Corner {
  const determinant = one.a * other.b - other.a * one.b;
  return {
    x: (one.c * other.b - other.c * one.b) / determinant,
    y: (one.a * other.c - other.a * one.c) / determinant,
  };
}

const lengthOf = (p: Corner, q: Corner): number => Math.hypot(q.x - p.x, q.y - p.y);

const areaOf = (corners: Quad): number =>
  Math.abs(
    corners.reduce((sum, p, i) => {
      const q = corners[(i + 1) % 4]!;
      return sum + p.x * q.y - q.x * p.y;
    }, 0),
  ) / 2;

function isFourSided(corners: Quad): boolean {
  const angles = corners.map((p, i) => {
    const [q, r] = [corners[(i + 1) % 4]!, corners[(i + 3) % 4]!];
    const cosine = ((q.x - p.x) * (r.x - p.x) + (q.y - p.y) * (r.y - p.y)) / (lengthOf(p, q) * lengthOf(p, r));
    return (Math.acos(cosine) * 180) / Math.PI;
  });
  const [least, most] = PRINT.cornersDeg;
  const [a, b, c, d] = corners;
  const pairs = [lengthOf(a, b) / lengthOf(d, c), lengthOf(a, d) / lengthOf(b, c)];
  return (
    angles.every((angle) => angle >= least && angle <= most) &&
    pairs.every((ratio) => ratio <= PRINT.unequal && ratio >= 1 / PRINT.unequal)
  );
}

/** Ones well within the four sides: a fiftieth of the picture's long side from each. */
function insideOf(corners: Quad, { width, height }: Size): Uint8Array {
  const inset = Math.max(width, height) / 50;
  const out = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const isInside = corners.every((p, i) => {
        const q = corners[(i + 1) % 4]!;
        return ((q.x - p.x) * (y + 0.5 - p.y) - (q.y - p.y) * (x + 0.5 - p.x)) / lengthOf(p, q) >= inset;
      });
      if (isInside) out[y * width + x] = 1;
    }
  }
  return out;
}

function contrastOf({ rgb }: ColourImage, inside: Uint8Array): number {
  let [count, sum, squares] = [0, 0, 0];
  inside.forEach((one, at) => {
    if (one === 0) return;
    const level = (rgb[3 * at]! + rgb[3 * at + 1]! + rgb[3 * at + 2]!) / 3;
    count++;
    sum += level;
    squares += level * level;
  });
  return count === 0 ? 0 : Math.sqrt(Math.max(0, squares / count - (sum / count) ** 2));
}

/** The largest blown-out patch within, where the rest is clearly darker: else it is the picture's own white. */
function findGlare({ width, height, rgb }: ColourImage, inside: Uint8Array): SeenPrint['glare'] {
  const levelOf = (at: number) => Math.min(rgb[3 * at]!, rgb[3 * at + 1]!, rgb[3 * at + 2]!);
  const blown = keepLargest(
    Uint8Array.from(inside, (one, at) => (one === 1 && levelOf(at) >= GLARE.blown ? 1 : 0)),
    { width, height },
  );
  const [count, whole] = [countOnes(blown), countOnes(inside)];
  if (count < GLARE.from * whole || count > GLARE.to * whole) return undefined;
  let [x, y] = [0, 0];
  blown.forEach((one, at) => {
    if (one === 0) return;
    x += (at % width) + 0.5;
    y += Math.floor(at / width) + 0.5;
  });
  [x, y] = [x / count, y / count];
  // Around the patch its light fades; farther off nothing may be as light as it.
  const reach = 3 * Math.sqrt(count / Math.PI) + Math.max(width, height) / 20;
  const rest: number[] = [];
  let [left, top, right, bottom] = [width, height, 0, 0];
  inside.forEach((one, at) => {
    if (one === 0) return;
    const [column, row] = [at % width, Math.floor(at / width)];
    [left, top, right, bottom] = [
      Math.min(left, column),
      Math.min(top, row),
      Math.max(right, column),
      Math.max(bottom, row),
    ];
    if (Math.hypot(column + 0.5 - x, row + 0.5 - y) > reach) rest.push(levelOf(at));
  });
  rest.sort((a, b) => a - b);
  if (rest.length < whole / 4 || rest[Math.floor(0.99 * rest.length)]! > GLARE.paper) return undefined;
  const third = (at: number, from: number, to: number) => Math.min(2, Math.floor((3 * (at - from)) / (to - from + 1)));
  return { where: PLACES[third(y, top, bottom)]![third(x, left, right)]!, share: count / whole };
}

/** Where a glare lies in the print, by rows. */
const PLACES = [
  ['at the upper left', 'at the top', 'at the upper right'],
  ['at the left', 'in the middle', 'at the right'],
  ['at the lower left', 'at the bottom', 'at the lower right'],
] as const;
