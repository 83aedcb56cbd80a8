import { decodeSrgb, REC709 } from '../colour/index.ts';
import { median, medianAbsoluteDeviation, standardDeviation, tabulate } from '../numeric/index.ts';
import { applyHomography, boxCorners } from './geometry.ts';
import type { Located } from './locate.ts';
import { invertNear, placeOnCapture } from './map.ts';
import type { CaptureImage, ChartLayout, Patch } from './types.ts';

/** Levels of a histogram: every code of 8 bits, every sixteenth of 16 bits. Exact: 2⁸ and 2¹². */
export const HISTOGRAM_LEVELS = { 8: 256, 16: 4096 } as const;

/** What the pixels of one field hold, before light and camera are undone. */
export interface FieldSamples {
  readonly xMm: number;
  readonly yMm: number;
  /** Weight of pixels by coded level, R then G then B; rejected blocks are left out. */
  readonly histogram: Float32Array;
  /** Sum of pixel weights that were kept. */
  readonly pixels: number;
  /** Share of blocks that were left out as scratches or dust. */
  readonly rejectedShare: number;
  /** Share of the pixels kept at the top of the scale in any channel, and at the bottom in all. */
  readonly clippedHigh: number;
  readonly clippedLow: number;
  /** Standard deviation between blocks as a share of their mean, in sRGB-decoded light. */
  readonly blockSpread: number;
}

export interface PatchSamples extends FieldSamples {
  readonly patch: Patch;
  /** sRGB-decoded light of the bare gutter around the patch; NaN where there is none to read. */
  readonly gutter: number;
  /** The same of its left, right, upper and lower side alone. */
  readonly gutterSides: readonly number[];
}

const WEIGHTS = REC709.weights;

/**
 * Blocks along one side of a patch, in which dust is told from tone. A count and pixels. Assumed: a block is larger
 * than a speck of dust and smaller than a patch.
 */
const BLOCKS = 6;
const BLOCK_MIN_PX = 3;
/**
 * Blocks further than this from the median, in robust standard deviations and as a share of the light, are left out.
 * Assumed: honest blocks pass 4.5 once in 100 000; 3 % is a screen's own texture.
 */
const BLOCK_OUTLIER = 4.5;
const BLOCK_OUTLIER_MIN = 0.03;
/** Rim of a field that blur reaches, standard deviations. Assumed: 1.4 % of a neighbour's light is left there. */
const BLUR_RIM = 2.2;
/** Middle part of the gutter between two patches that is read. Shares. Assumed: clear of both patches' blur. */
const RING_FROM = 0.3;
const RING_TO = 0.5;

interface FieldBox {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  /** Blocks along x and y. */
  readonly blocksX: number;
  readonly blocksY: number;
}

/**
 * The part of a patch that is read: its rim left off, and whole periods of an exact pattern, so that every dot counts
 * equally.
 */
function readBox(patch: Patch, located: Located): FieldBox {
  const { layout, blurMm, pxPerMm } = located;
  const rim = Math.max(layout.borderMm, BLUR_RIM * blurMm, 0.5 / pxPerMm);
  const [periodX, periodY] = periodOf(patch);
  const along = (from: number, size: number, periodMm: number) => {
    const room = Math.max(size - 2 * rim, size * 0.3);
    const periods = periodMm > 0 ? Math.floor(room / periodMm + 1e-6) : 0;
    const length = periods > 0 ? periods * periodMm : room;
    const most = Math.max(1, Math.min(BLOCKS, Math.floor((length * pxPerMm) / BLOCK_MIN_PX)));
    const blocks = periods > 0 ? largestDivisor(periods, most) : most;
    return { from: from + (size - length) / 2, length, blocks };
  };
  const x = along(patch.xMm, patch.widthMm, periodX * layout.grid.pitchMm);
  const y = along(patch.yMm, patch.heightMm, periodY * layout.grid.lineSpacingMm);
  return { x: x.from, y: y.from, width: x.length, height: y.length, blocksX: x.blocks, blocksY: y.blocks };
}

function largestDivisor(of: number, most: number): number {
  for (let divisor = Math.min(of, most); divisor > 1; divisor--) if (of % divisor === 0) return divisor;
  return 1;
}

/** Period of an exact pattern in dots along x and y; 0 where there is none. */
function periodOf({ pattern }: Pick<Patch, 'pattern'>): readonly [number, number] {
  switch (pattern.kind) {
    case 'checker':
      return [2 * pattern.dots, 2 * pattern.dots];
    case 'squares':
      return [pattern.period, pattern.period];
    case 'lines-x':
      return [0, pattern.period];
    case 'lines-y':
      return [pattern.period, 0];
    case 'vernier':
      return [pattern.period, 2];
    default:
      return [0, 0];
  }
}

/** sRGB-decoded light by histogram level. */
export function decodeLevels(bits: 8 | 16): Float64Array {
  const levels = HISTOGRAM_LEVELS[bits];
  return tabulate(new Float64Array(levels), (level) => decodeSrgb(level / (levels - 1)));
}

/** Reads every patch of a located chart. */
export function samplePatches(capture: CaptureImage, located: Located): readonly PatchSamples[] {
  const { layout } = located;
  const decode = decodeLevels(capture.bits);
  return layout.patches.map((patch) => {
    const field = sampleField(capture, located, { box: readBox(patch, located), decode });
    return { ...field, patch, ...sampleGutter(capture, located, { patch, decode }) };
  });
}

/** Bare fields on both sides of the patches of a strip, which has no room for bare patches. */
export function sampleMargins(capture: CaptureImage, located: Located): readonly FieldSamples[] {
  const { layout, blurMm } = located;
  const decode = decodeLevels(capture.bits);
  const rim = Math.max(0.4, BLUR_RIM * blurMm);
  const upright = layout.heightMm > layout.widthMm;
  return layout.patches.flatMap((patch) => {
    const { xMm, yMm, widthMm, heightMm } = patch;
    // From patch to edge, or to the next patch where the strip has several rows.
    return listFreeAcross(patch, layout).flatMap(([from, to]) => {
      const at = from + rim;
      const depth = to - from - 2 * rim;
      if (depth * located.pxPerMm < 4) return [];
      const box = upright
        ? { x: at, y: yMm, width: depth, height: heightMm, blocksX: 1, blocksY: 4 }
        : { x: xMm, y: at, width: widthMm, height: depth, blocksX: 4, blocksY: 1 };
      return [sampleField(capture, located, { box, decode })];
    });
  });
}

/** What lies bare before and behind a patch across the strip, mm from … to. */
function listFreeAcross(
  patch: Patch,
  { patches, widthMm, heightMm }: ChartLayout,
): readonly (readonly [number, number])[] {
  const upright = heightMm > widthMm;
  const across = (one: Patch): Span => (upright ? spanX(one) : spanY(one));
  const along = (one: Patch): Span => (upright ? spanY(one) : spanX(one));
  const [start, end] = across(patch);
  const [first, last] = along(patch);
  const inWay = patches.filter((one) => one !== patch && along(one)[0] < last && along(one)[1] > first).map(across);
  return [
    [Math.max(0, ...inWay.flatMap(([, to]) => (to <= start ? [to] : []))), start],
    [end, Math.min(upright ? widthMm : heightMm, ...inWay.flatMap(([from]) => (from >= end ? [from] : [])))],
  ];
}

type Span = readonly [from: number, to: number];
const spanX = ({ xMm, widthMm }: Patch): Span => [xMm, xMm + widthMm];
const spanY = ({ yMm, heightMm }: Patch): Span => [yMm, yMm + heightMm];

interface SampleOptions {
  readonly box: FieldBox;
  readonly decode: Float64Array;
}

/** Pixels of a field, row by row: index in the capture, place on the chart, and the share of each that lies inside. */
interface FieldPixels {
  readonly count: number;
  readonly at: Uint32Array;
  readonly xMm: Float64Array;
  readonly yMm: Float64Array;
  readonly weight: Float64Array;
}

/** Pixels whose centres lie in or within half a pixel of a box. */
function findPixels(
  capture: CaptureImage,
  located: Located,
  box: Pick<FieldBox, 'x' | 'y' | 'width' | 'height'>,
): FieldPixels {
  const { x, y, width, height } = box;
  const corners = boxCorners(x, y, width, height);
  const back = invertNear(located.map, corners);
  if (!back) return createPixels(0);
  const seen = corners.map(([cx, cy]) => placeOnCapture(located.map, cx, cy));
  const left = Math.max(0, Math.floor(Math.min(...seen.map(([px]) => px)) - 1));
  const right = Math.min(capture.width - 1, Math.ceil(Math.max(...seen.map(([px]) => px)) + 1));
  const top = Math.max(0, Math.floor(Math.min(...seen.map(([, py]) => py)) - 1));
  const bottom = Math.min(capture.height - 1, Math.ceil(Math.max(...seen.map(([, py]) => py)) + 1));
  const { pxPerMm } = located;
  const inside = (from: number, at: number, length: number) => {
    const low = (at - from) * pxPerMm + 0.5;
    const high = (from + length - at) * pxPerMm + 0.5;
    return Math.max(0, Math.min(1, low)) * Math.max(0, Math.min(1, high));
  };
  const found = createPixels(Math.max(0, right - left + 1) * Math.max(0, bottom - top + 1));
  let count = 0;
  for (let py = top; py <= bottom; py++) {
    for (let px = left; px <= right; px++) {
      const [xMm, yMm] = applyHomography(back, px + 0.5, py + 0.5);
      const weight = inside(x, xMm, width) * inside(y, yMm, height);
      if (!(weight > 0)) continue;
      found.at[count] = py * capture.width + px;
      found.xMm[count] = xMm;
      found.yMm[count] = yMm;
      found.weight[count] = weight;
      count++;
    }
  }
  return { ...found, count };
}

function createPixels(room: number): FieldPixels {
  const numbers = () => new Float64Array(room);
  return { count: 0, at: new Uint32Array(room), xMm: numbers(), yMm: numbers(), weight: numbers() };
}

function sampleField(capture: CaptureImage, located: Located, { box, decode }: SampleOptions): FieldSamples {
  const { rgb, bits } = capture;
  const shift = bits === 16 ? 4 : 0;
  const levels = HISTOGRAM_LEVELS[bits];
  const top = levels - 1;
  const blocks = box.blocksX * box.blocksY;
  const sums = new Float64Array(blocks);
  const weights = new Float64Array(blocks);
  const high = new Float64Array(blocks);
  const low = new Float64Array(blocks);
  let total = 0;
  const pixels = findPixels(capture, located, box);
  const blockOf = new Uint16Array(pixels.count);
  for (let i = 0; i < pixels.count; i++) {
    const at = 3 * pixels.at[i];
    const weight = pixels.weight[i];
    const r = rgb[at] >> shift;
    const g = rgb[at + 1] >> shift;
    const b = rgb[at + 2] >> shift;
    const bx = Math.floor(((pixels.xMm[i] - box.x) / box.width) * box.blocksX);
    const by = Math.floor(((pixels.yMm[i] - box.y) / box.height) * box.blocksY);
    const column = Math.min(box.blocksX - 1, Math.max(0, bx));
    const block = Math.min(box.blocksY - 1, Math.max(0, by)) * box.blocksX + column;
    blockOf[i] = block;
    sums[block] += weight * (WEIGHTS[0] * decode[r] + WEIGHTS[1] * decode[g] + WEIGHTS[2] * decode[b]);
    weights[block] += weight;
    total += weight;
    if (r >= top || g >= top || b >= top) high[block] += weight;
    if (r <= 0 && g <= 0 && b <= 0) low[block] += weight;
  }
  const seen = [...sums.keys()].filter((block) => weights[block] > 0);
  const means = Float64Array.from(sums, (sum, block) => (weights[block] > 0 ? sum / weights[block] : Number.NaN));
  const kept = new Uint8Array(blocks);
  const values = seen.map((block) => means[block]);
  const centre = values.length > 0 ? median(values) : Number.NaN;
  const scatter = values.length > 2 ? medianAbsoluteDeviation(values) : 0;
  const limit = Math.max(BLOCK_OUTLIER * scatter, BLOCK_OUTLIER_MIN * centre, 0.001);
  for (const block of seen) kept[block] = values.length < 4 || Math.abs(means[block] - centre) <= limit ? 1 : 0;

  const histogram = new Float32Array(levels * 3);
  let used = 0;
  for (let i = 0; i < pixels.count; i++) {
    if (!kept[blockOf[i]]) continue;
    const weight = pixels.weight[i];
    const at = 3 * pixels.at[i];
    histogram[rgb[at] >> shift] += weight;
    histogram[levels + (rgb[at + 1] >> shift)] += weight;
    histogram[2 * levels + (rgb[at + 2] >> shift)] += weight;
    used += weight;
  }
  const keptMeans = seen.filter((block) => kept[block]).map((block) => means[block]);
  const mean = keptMeans.reduce((sum, value) => sum + value, 0) / Math.max(1, keptMeans.length);
  const shareOf = (part: Float64Array) =>
    used > 0 ? part.reduce((sum, one, block) => sum + kept[block] * one, 0) / used : 0;
  return {
    xMm: box.x + box.width / 2,
    yMm: box.y + box.height / 2,
    histogram,
    pixels: used,
    rejectedShare: total > 0 ? 1 - used / total : 1,
    clippedHigh: shareOf(high),
    clippedLow: shareOf(low),
    blockSpread: keptMeans.length > 1 && mean > 0 ? standardDeviation(keptMeans) / mean : 0,
  };
}

function sampleGutter(
  capture: CaptureImage,
  located: Located,
  { patch, decode }: { readonly patch: Patch; readonly decode: Float64Array },
): Pick<PatchSamples, 'gutter' | 'gutterSides'> {
  const { gapMm } = located.layout;
  const { rgb, bits } = capture;
  const shift = bits === 16 ? 4 : 0;
  const outer = gapMm * RING_TO;
  const inner = gapMm * RING_FROM;
  const box = {
    x: patch.xMm - outer,
    y: patch.yMm - outer,
    width: patch.widthMm + 2 * outer,
    height: patch.heightMm + 2 * outer,
  };
  const values: number[] = [];
  const sides: readonly number[][] = [[], [], [], []];
  const pixels = findPixels(capture, located, box);
  for (let i = 0; i < pixels.count; i++) {
    if (pixels.weight[i] < 1) continue;
    const [xMm, yMm, at] = [pixels.xMm[i], pixels.yMm[i], 3 * pixels.at[i]];
    const dx = Math.max(patch.xMm - xMm, xMm - patch.xMm - patch.widthMm);
    const dy = Math.max(patch.yMm - yMm, yMm - patch.yMm - patch.heightMm);
    if (Math.max(dx, dy) < inner) continue;
    const light =
      WEIGHTS[0] * decode[rgb[at] >> shift] +
      WEIGHTS[1] * decode[rgb[at + 1] >> shift] +
      WEIGHTS[2] * decode[rgb[at + 2] >> shift];
    values.push(light);
    const side = dx > dy ? (xMm < patch.xMm ? 0 : 1) : yMm < patch.yMm ? 2 : 3;
    sides[side]!.push(light);
  }
  return {
    gutter: values.length >= 8 ? median(values) : Number.NaN,
    gutterSides: sides.map((side) => (side.length >= 4 ? median(side) : Number.NaN)),
  };
}
