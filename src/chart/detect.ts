import { refineCorners } from './edges.ts';
import { applyHomography, boxCorners, fitHomography, fitPlane, signedArea } from './geometry.ts';
import { type GreyPlane, type GreySampler, sampleCapture, sampleGrey, sampleLight, shrinkToGrey } from './grey.ts';
import { createQuadScratch, findQuads } from './quads.ts';
import { CODE_CELLS, INK_CELLS, readTagCells, TAG_COUNT } from './tag-codes.ts';
import type { CaptureImage, Corners, Point } from './types.ts';

/** A tag seen in a picture. */
export interface FoundTag {
  readonly id: number;
  /** Cells that were read otherwise than the tag has them, 0 … 3. */
  readonly hamming: number;
  /** Mean distance of the cells from their threshold, as a share of the contrast; about 0.5 when perfectly clear. */
  readonly margin: number;
  readonly polarity: 'darker' | 'lighter';
  /** Seen from behind. */
  readonly mirrored: boolean;
  /**
   * Corners of the ink in pixels of the picture, in the tag's own order: upper left, upper right, lower right, lower
   * left.
   */
  readonly corners: Corners;
}

export interface DetectOptions {
  /** Asked after each pass whether these tags do; all passes run when absent. */
  readonly enough?: (tags: readonly FoundTag[]) => boolean;
  /** Looks for tags seen from behind instead. */
  readonly mirrored?: boolean;
}

/**
 * Passes of rising cost to others' rarer cases: [radius of the first blur, radius of the light as a share of the longer
 * side]. Steps and shares of light. Assumed: each pass finds tags that the one before misses; more cost time.
 */
const PASSES: readonly (readonly [pre: number, light: number])[] = [
  [1, 1 / 16],
  [0, 1 / 16],
  [3, 1 / 16],
  [2, 1 / 10.7],
];
/**
 * Errors that are corrected: the codes differ in 11 cells, so four tags of one chart leave no room for chance. Cells.
 * Exact: below half of the code's least distance, 11.
 */
const HAMMING_MAX = 3;
/**
 * Least difference of bare ring and ink as a share of the bare ring. Assumed: weaker ink drowns in the grain of stock
 * (benchmarks/captures.ts finds every legible chart).
 */
const CONTRAST_MIN = 0.01;
/**
 * Pixels that are searched for spots; larger pictures are searched on a smaller copy and refined on the full one.
 * Assumed: a tag's cell keeps several pixels at that size, and the search its speed.
 */
const SEARCH_PIXELS = 3.2e6;
/**
 * Share of the four neighbours that is taken off a cell. Assumed: undoes the blur of one cell; the usual value of tag
 * readers.
 */
const SHARPENING = 0.25;

/**
 * Tags of family 36h11 in a picture, light or dark, at any turn. Spots are searched on a copy of at most three million
 * pixels, edges refined on the full picture; when a picture of more pixels shows too few tags it is searched once more
 * at twice the resolution.
 */
export function locateTags(capture: CaptureImage, options: DetectOptions = {}): readonly FoundTag[] {
  const { enough = () => false } = options;
  const sample = sampleLight(sampleCapture(capture));
  const coarse = Math.max(1, Math.ceil(Math.sqrt((capture.width * capture.height) / SEARCH_PIXELS)));
  const factors = coarse > 1 ? [coarse, Math.ceil(coarse / 2)] : [coarse];
  const found = new Map<number, FoundTag>();
  for (const factor of factors) {
    if (capture.width < 8 * factor || capture.height < 8 * factor) continue;
    const grey = shrinkToGrey(capture, factor);
    searchGrey(grey, { ...options, enough, found, factor, sample });
    if (enough([...found.values()])) break;
  }
  return [...found.values()];
}

function keepBetter(found: Map<number, FoundTag>, tag: FoundTag): void {
  const known = found.get(tag.id);
  if (!known || tag.hamming < known.hamming || (tag.hamming === known.hamming && tag.margin > known.margin)) {
    found.set(tag.id, tag);
  }
}

interface SearchOptions extends DetectOptions {
  readonly enough: (tags: readonly FoundTag[]) => boolean;
  /** Gains the tags that are found. */
  readonly found: Map<number, FoundTag>;
  readonly factor: number;
  readonly sample: GreySampler;
}

function searchGrey(grey: GreyPlane, options: SearchOptions): void {
  const { enough, found, factor, sample, mirrored = false } = options;
  const scratch = createQuadScratch(grey);
  const coarse = sampleGrey(grey);
  const coarseLight = sampleLight(coarse);
  for (const [preRadius, light] of PASSES) {
    const lightRadius = Math.max(4, Math.round(Math.max(grey.width, grey.height) * light));
    for (const quad of findQuads(grey, { preRadius, lightRadius }, scratch)) {
      const near = refineTwice(coarse, quad.corners, { polarity: quad.polarity, scale: 1 });
      if (!near) continue;
      const rough = readTag(coarseLight, near, { polarity: quad.polarity, mirrored });
      if (!rough) continue;
      const known = found.get(rough.id);
      if (known && known.hamming === 0 && overlaps(known.corners, near, factor)) continue;
      const full = near.map(([x, y]): Point => [x * factor, y * factor]) as unknown as Corners;
      const sharp = factor > 1 ? refineFull(sample, full, { polarity: quad.polarity, scale: factor }) : near;
      const tag = readTag(sample, sharp ?? full, { polarity: quad.polarity, mirrored });
      // The full picture is noisier a pixel: the copy's reading stands where it is the better one.
      const best =
        tag && tag.hamming <= rough.hamming ? tag : { ...rough, corners: orderCorners(sharp ?? full, rough) };
      keepBetter(found, best);
    }
    if (enough([...found.values()])) return;
  }
}

function overlaps(known: Corners, near: Corners, factor: number): boolean {
  const middle = (corners: Corners) => [
    corners.reduce((sum, [x]) => sum + x / 4, 0),
    corners.reduce((sum, [, y]) => sum + y / 4, 0),
  ];
  const [ax, ay] = middle(known) as [number, number];
  const [bx, by] = middle(near) as [number, number];
  return Math.hypot(ax - bx * factor, ay - by * factor) < 4 * factor;
}

interface RefineOptions {
  readonly polarity: 1 | -1;
  readonly scale: number;
}

function meanSide(corners: Corners): number {
  return (
    corners.reduce(
      (sum, [x, y], at) => sum + Math.hypot(x - corners[(at + 1) % 4]![0], y - corners[(at + 1) % 4]![1]),
      0,
    ) / 4
  );
}

function refineTwice(sample: GreySampler, corners: Corners, { polarity, scale }: RefineOptions): Corners | undefined {
  const side = meanSide(corners);
  const once = refineCorners(sample, corners, { polarity, reachPx: scale * 2 + side * 0.06, basePx: scale });
  return once && refineCorners(sample, once, { polarity, reachPx: scale * 1.5 + side * 0.02, basePx: scale });
}

function refineFull(sample: GreySampler, corners: Corners, { polarity, scale }: RefineOptions): Corners | undefined {
  const side = meanSide(corners);
  const basePx = Math.max(1, scale * 0.6);
  const once = refineCorners(sample, corners, { polarity, reachPx: scale * 1.5 + side * 0.02, basePx });
  return once && refineCorners(sample, once, { polarity, reachPx: scale + side * 0.02, basePx });
}

/**
 * Refines the corners of a tag that is expected at a place, on the full picture; for corners given by hand.
 * @param cellPx size of one cell, pixels
 */
export function refineExpected(
  sample: GreySampler,
  corners: Corners,
  { polarity, cellPx }: { readonly polarity: 1 | -1; readonly cellPx: number },
): Corners | undefined {
  const basePx = Math.max(1, cellPx / 8);
  const clockwise = signedArea(corners) > 0 ? corners : reverseCorners(corners);
  const once = refineCorners(sample, clockwise, { polarity, reachPx: cellPx * 0.8, basePx });
  const twice = once && refineCorners(sample, once, { polarity, reachPx: Math.max(2, cellPx * 0.3), basePx });
  return twice && (clockwise === corners ? twice : reverseCorners(twice));
}

/**
 * Refines corners once more where the blur of the picture is known: gradients over as many pixels as an edge is wide,
 * and a line across it at every pixel, so that noise is averaged.
 */
export function polishCorners(
  sample: GreySampler,
  corners: Corners,
  { polarity, cellPx, blurPx }: { readonly polarity: 1 | -1; readonly cellPx: number; readonly blurPx: number },
): Corners | undefined {
  const clockwise = signedArea(corners) > 0 ? corners : reverseCorners(corners);
  const basePx = Math.max(1, Math.min(blurPx, cellPx * 0.4));
  const reachPx = Math.max(2, Math.min(1.5 * blurPx, cellPx * 0.5));
  const refined = refineCorners(sample, clockwise, { polarity, reachPx, basePx, spacingPx: 1 });
  return refined && (clockwise === corners ? refined : reverseCorners(refined));
}

/** The same corners the other way round; twice gives them back. */
export function reverseCorners([a, b, c, d]: Corners): Corners {
  return [b, a, d, c];
}

interface RawTag extends FoundTag {
  /** Quarter turns of the tag within the quad. */
  readonly turn: number;
}

/** Corners of a quad in the order of the tag that was read in it. */
function orderCorners(corners: Corners, { turn, mirrored }: Pick<RawTag, 'turn' | 'mirrored'>): Corners {
  const order = mirrored ? reverseCorners(corners) : corners;
  return [0, 1, 2, 3].map((at) => order[(at + turn) % 4]!) as unknown as Corners;
}

/**
 * Reads the tag inside a quad: grey of each of the 36 cells against the mean of two planes, one through the ink of the
 * border and one through the bare ring, sharpened a little (source: 'olson2011', section on payload decoding), so that
 * only the order of light matters and not its contrast. Undefined when no code is near enough.
 */
export function readTag(
  sample: GreySampler,
  corners: Corners,
  { polarity, mirrored }: { readonly polarity: 1 | -1; readonly mirrored: boolean },
): RawTag | undefined {
  const toPicture = fitHomography(boxCorners(0, 0, INK_CELLS, INK_CELLS), corners);
  if (!toPicture) return undefined;
  const at = (x: number, y: number) => {
    const [px, py] = applyHomography(toPicture, x, y);
    return sample(px, py);
  };
  const ink: [number, number, number][] = [];
  const bare: [number, number, number][] = [];
  for (let k = 0; k < INK_CELLS; k++) {
    const inner: [number, number][] = [
      [k + 0.5, 0.5],
      [k + 0.5, 7.5],
      [0.5, k + 0.5],
      [7.5, k + 0.5],
    ];
    const outer: [number, number][] = [
      [k + 0.5, -0.5],
      [k + 0.5, 8.5],
      [-0.5, k + 0.5],
      [8.5, k + 0.5],
    ];
    for (const [x, y] of inner) ink.push([x, y, at(x, y)]);
    for (const [x, y] of outer) bare.push([x, y, at(x, y)]);
  }
  const seen = bare.filter(([, , value]) => !Number.isNaN(value));
  if (ink.some(([, , value]) => Number.isNaN(value)) || seen.length < 16) return undefined;
  const inkAt = fitPlane(ink);
  const bareAt = fitPlane(seen);
  const contrast = (bareAt(4, 4) - inkAt(4, 4)) * polarity;
  if (!(contrast >= CONTRAST_MIN * Math.max(1, bareAt(4, 4)))) return undefined;

  const values = new Float64Array(36);
  for (let y = 0; y < CODE_CELLS; y++) {
    for (let x = 0; x < CODE_CELLS; x++) {
      const threshold = (inkAt(x + 1.5, y + 1.5) + bareAt(x + 1.5, y + 1.5)) / 2;
      let sum = 0;
      for (const [dx, dy] of CELL_POINTS) sum += at(x + 1 + dx, y + 1 + dy);
      // Above 0 where there is ink.
      values[y * CODE_CELLS + x] = (threshold - sum / CELL_POINTS.length) * polarity;
    }
  }
  let low = 0;
  let high = 0;
  let margin = 0;
  for (let k = 0; k < 36; k++) {
    const x = k % CODE_CELLS;
    const y = (k - x) / CODE_CELLS;
    const near = (nx: number, ny: number) =>
      nx < 0 || ny < 0 || nx >= CODE_CELLS || ny >= CODE_CELLS ? contrast / 2 : values[ny * CODE_CELLS + nx];
    const sharpened =
      values[k] + SHARPENING * (4 * values[k] - near(x - 1, y) - near(x + 1, y) - near(x, y - 1) - near(x, y + 1));
    margin += Math.abs(sharpened) / 36 / contrast;
    if (!(sharpened > 0)) continue;
    if (k < 18) low |= 1 << k;
    else high |= 1 << (k - 18);
  }
  const match = matchCode(low, high, mirrored);
  if (match.hamming > HAMMING_MAX) return undefined;
  const { id, turn, hamming } = match;
  const named = polarity === 1 ? 'darker' : 'lighter';
  return { id, hamming, margin, polarity: named, mirrored, turn, corners: orderCorners(corners, { turn, mirrored }) };
}

/** Places within a cell that are read, shares of its side. Assumed: the middle half, which ink growth leaves alone. */
const CELL_POINTS: readonly (readonly [number, number])[] = [
  [0.5, 0.5],
  [0.35, 0.5],
  [0.65, 0.5],
  [0.5, 0.35],
  [0.5, 0.65],
];

/**
 * Where cell (x, y) of a quad lies in a tag turned by a quarter `turn` times: the tag's upper left is the quad's corner
 * `turn`.
 */
function turnCell(x: number, y: number, turn: number): readonly [number, number] {
  const last = CODE_CELLS - 1;
  if (turn === 0) return [x, y];
  if (turn === 1) return [y, last - x];
  if (turn === 2) return [last - x, last - y];
  return [last - y, x];
}

let codeWords: Int32Array | undefined;

/** All codes at all turns as two words of 18 cells each; made at first use, because few commands look for tags. */
function listCodeWords(): Int32Array {
  if (codeWords) return codeWords;
  const words = new Int32Array(TAG_COUNT * 8);
  for (let id = 0; id < TAG_COUNT; id++) {
    const cells = readTagCells(id);
    for (let turn = 0; turn < 4; turn++) {
      for (let k = 0; k < 36; k++) {
        const x = k % CODE_CELLS;
        const [tx, ty] = turnCell(x, (k - x) / CODE_CELLS, turn);
        if (cells[ty * CODE_CELLS + tx]) words[(id * 4 + turn) * 2 + (k < 18 ? 0 : 1)]! |= 1 << (k % 18);
      }
    }
  }
  codeWords = words;
  return words;
}

/** Mirrors three rows of six cells left to right. */
function mirrorWord(word: number): number {
  let mirrored = 0;
  for (let k = 0; k < 18; k++) {
    const x = k % CODE_CELLS;
    if ((word >> k) & 1) mirrored |= 1 << (k - x + (CODE_CELLS - 1 - x));
  }
  return mirrored;
}

function countBits(word: number): number {
  let v = word - ((word >>> 1) & 0x55555555);
  v = (v & 0x33333333) + ((v >>> 2) & 0x33333333);
  return Math.imul((v + (v >>> 4)) & 0x0f0f0f0f, 0x01010101) >>> 24;
}

function matchCode(low: number, high: number, mirrored: boolean) {
  const lowSeen = mirrored ? mirrorWord(low) : low;
  const highSeen = mirrored ? mirrorWord(high) : high;
  const words = listCodeWords();
  let hamming = 37;
  let best = 0;
  for (let code = 0; code < TAG_COUNT * 4; code++) {
    const distance = countBits(words[code * 2] ^ lowSeen) + countBits(words[code * 2 + 1] ^ highSeen);
    if (distance < hamming) {
      hamming = distance;
      best = code;
    }
  }
  return { id: best >> 2, turn: best & 3, hamming };
}
