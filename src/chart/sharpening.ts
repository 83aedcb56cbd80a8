import { decodeSrgb, encodeSrgb } from '../colour/index.ts';
import { median, tabulate } from '../numeric/index.ts';
import { sampleCapture } from './grey.ts';
import { fitLight } from './light.ts';
import type { Located } from './locate.ts';
import { placeOnCapture } from './map.ts';
import type { CaptureImage, Patch } from './types.ts';

/** Sharpening by a camera: the difference of each code from a blur of its surroundings was added to it. */
export interface Sharpening {
  /** Share of that difference. */
  readonly amount: number;
  /** Standard deviation of the blur, pixels. */
  readonly radiusPx: number;
}

/**
 * Step of averaged edges, pixels, and their reach into a solid patch, beyond the longest halo. Assumed: finer than any
 * halo; 14 pixels are longer than a phone's widest.
 */
const STEP_PX = 0.25;
const REACH_PX = 14;
/**
 * Edges of patches smaller than this have no calm middle to compare with, pixels. Assumed: as long as the edge's reach.
 */
const SIDE_MIN_PX = 14;
/**
 * Least amount that is told from the chance shapes of edges. Factors of the edge. Assumed: less changes no reading;
 * more than 3 is no sharpening.
 */
const AMOUNT_MIN = 0.15;
const AMOUNT_MAX = 3;
/**
 * What the halo must explain: the lack of fit without it is this many times the one with it, squares. A ratio. Assumed:
 * chance shapes gain less (benchmarks/captures.ts).
 */
const GAIN_MIN = 1.7;
/** Least depth of the halo within the marks, as a share of the edge. Assumed: less is chance shape of an edge. */
const HALO_MIN = 0.01;
/** The same in codes 0 … 255. Assumed: below one code rounding and compression shape an edge as well. */
const HALO_CODES_MIN = 1;
/**
 * The same as a factor on the highest wave of the other sign. Assumed: compression leaves such waves along edges of
 * little contrast.
 */
const HALO_TO_WAVES = 2.5;
/** Each side alone shows at least this share of the amount. Assumed: a shadow or a burr shows on one side alone. */
const BOTH_SIDES_MIN = 0.3;
/**
 * Codes this near to an end of the scale are cut off there: no halo can be seen, 0 … 255. Assumed: cameras round near
 * the ends.
 */
const END = 4;

/** How far marks may have grown over where they were drawn, pixels. Assumed: a mark's growth at common scales. */
const SHIFT_MAX_PX = 2;
/**
 * Blurs and radii that are tried, pixels. Assumed: from sharper than a lens to beyond what is read, by steps of a
 * quarter.
 */
const BLURS_PX = [0.35, 0.5, 0.7, 0.9, 1.1, 1.4, 1.7, 2.1, 2.6, 3.2];
const RADII_PX = [0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4];

/**
 * Looks for the halos that sharpening leaves along edges: the averaged edge of the solid patches against an edge of
 * light that is only blurred and coded. Within a mark a halo is stronger than the mark's middle and in the bare gutter
 * lighter or darker than bare; what burning does to an edge (heat that is missing there, smoke) goes the other way or
 * is on one side. Undefined where none is seen or none could be.
 */
export function measureSharpening(capture: CaptureImage, located: Located): Sharpening | undefined {
  const edge = averageEdges(capture, located);
  if (!edge) return undefined;
  const { values, from, bareCode, solidCode } = edge;
  const fits = BLURS_PX.flatMap((blurPx) => {
    const plain = modelEdge(blurPx, 0, edge);
    return RADII_PX.map((radiusPx) => ({ plain, halo: modelEdge(blurPx, radiusPx, edge), radiusPx }));
  });
  let best = { lackOfFit: Number.POSITIVE_INFINITY, amount: 0, radiusPx: 1, inner: 0, outer: 0 };
  let without = Number.POSITIVE_INFINITY;
  for (const { plain, halo, radiusPx } of fits) {
    for (let shift = -SHIFT_MAX_PX; shift <= SHIFT_MAX_PX; shift += STEP_PX) {
      // values ≈ height · plain + added · (plain − halo), sums over the marked side and over the bare side.
      const sums = [new Float64Array(5), new Float64Array(5)] as const;
      let square = 0;
      for (let i = 0; i < values.length; i++) {
        const s = from + i * STEP_PX - shift;
        const at = Math.round((s + MODEL_REACH_PX) / STEP_PX);
        const value = values[i];
        const edgeHere = plain[at];
        const haloHere = edgeHere - halo[at];
        const side = sums[s < 0 ? 0 : 1];
        side[0] += edgeHere * edgeHere;
        side[1] += edgeHere * haloHere;
        side[2] += haloHere * haloHere;
        side[3] += value * edgeHere;
        side[4] += value * haloHere;
        square += value * value;
      }
      const [ee, eh, hh, ve, vh] = sums[0].map((sum, at) => sum + sums[1][at]) as unknown as readonly number[];
      without = Math.min(without, square - (ve! * ve!) / ee!);
      const det = ee! * hh! - eh! * eh!;
      if (!(det > 0)) continue;
      const height = (ve! * hh! - vh! * eh!) / det;
      const added = (vh! * ee! - ve! * eh!) / det;
      const lackOfFit = square - height * ve! - added * vh!;
      if (lackOfFit >= best.lackOfFit || !(height > 0) || !(added > 0)) continue;
      const [inner, outer] = sums.map((side) => (side[4]! - height * side[1]!) / side[2]! / height) as [number, number];
      best = { lackOfFit, amount: Math.min(AMOUNT_MAX, added / height), radiusPx, inner, outer };
    }
  }
  const { lackOfFit, amount, radiusPx, inner, outer } = best;
  if (amount < AMOUNT_MIN || without < GAIN_MIN * lackOfFit) return undefined;
  const seen = (code: number) => code > END && code < 255 - END;
  if (seen(solidCode)) {
    const inside = values.subarray(0, Math.round((SHIFT_MAX_PX - from) / STEP_PX));
    const depth = -Math.min(...inside);
    const waves = Math.max(...inside.subarray(0, inside.indexOf(-depth)), 0);
    const least = Math.max(HALO_MIN, HALO_TO_WAVES * waves, HALO_CODES_MIN / Math.abs(bareCode - solidCode));
    if (inner < BOTH_SIDES_MIN * amount || depth < least) return undefined;
  }
  if (seen(bareCode) && outer < BOTH_SIDES_MIN * amount) return undefined;
  if (!seen(solidCode) && !seen(bareCode)) return undefined;
  return { amount, radiusPx };
}

interface AveragedEdge {
  /** 0 in the middle of solid patches, 1 on bare; from inside outwards, one each STEP_PX. */
  readonly values: Float64Array;
  /** Distance of the first value from the edge, pixels; negative inside. */
  readonly from: number;
  readonly solidCode: number;
  readonly bareCode: number;
}

/** Mean over the edges of all solid patches, as shares of the way from solid to bare. */
function averageEdges(capture: CaptureImage, located: Located): AveragedEdge | undefined {
  const { layout, pxPerMm, map } = located;
  const sample = sampleCapture(capture);
  const at = (xMm: number, yMm: number) => sample(...placeOnCapture(map, xMm, yMm));
  const middleOf = ({ xMm, yMm, widthMm, heightMm }: Patch) => {
    const codes: number[] = [];
    for (let i = 1; i <= 5; i++) {
      for (let j = 1; j <= 5; j++) {
        const code = at(xMm + widthMm * (0.35 + 0.05 * i), yMm + heightMm * (0.35 + 0.05 * j));
        if (Number.isFinite(code)) codes.push(code);
      }
    }
    return codes.length > 0 ? median(codes) : Number.NaN;
  };
  const codesOf = (role: 'bare' | 'solid') =>
    layout.patches
      .filter((patch) => patch.role === role)
      .map((patch) => ({ patch, code: middleOf(patch) }))
      .filter(({ code }) => Number.isFinite(code));
  const solids = codesOf('solid').filter(
    ({ patch }) => Math.min(patch.widthMm, patch.heightMm) * pxPerMm >= SIDE_MIN_PX,
  );
  const bares = codesOf('bare');
  if (solids.length === 0 || bares.length === 0) return undefined;
  // Codes follow the light nearly as a power, so that one surface of their logarithms serves both.
  const codes = fitLight(
    [...bares, ...solids].map(({ patch, code }) => ({
      kind: patch.role === 'bare' ? 'bare' : 'solid',
      xMm: patch.xMm + patch.widthMm / 2,
      yMm: patch.yMm + patch.heightMm / 2,
      light: Math.max(1, code),
    })),
    layout,
  );
  const solidCode = median(solids.map(({ code }) => code));
  const bareCode = median(bares.map(({ code }) => code));
  const reach = Math.min(
    REACH_PX,
    ...solids.map(({ patch }) => 0.4 * Math.min(patch.widthMm, patch.heightMm) * pxPerMm),
  );
  const beyond = 0.5 * layout.gapMm * pxPerMm;
  const count = Math.floor((reach + beyond) / STEP_PX) + 1;
  const from = -reach;
  const values = new Float64Array(count);
  let lines = 0;
  for (const { patch, code } of solids) {
    const bareHere = codes.bareAt(patch.xMm + patch.widthMm / 2, patch.yMm + patch.heightMm / 2);
    if (Math.abs(bareHere - code) < 4) continue;
    for (let side = 0; side < 4; side++) {
      for (let k = 0; k < 24; k++) {
        const along = 0.2 + (0.6 * (k + 0.5)) / 24;
        const line = tabulate(new Float64Array(count), (i) => {
          const out = (from + i * STEP_PX) / pxPerMm;
          const x = side === 0 ? -out : side === 1 ? patch.widthMm + out : along * patch.widthMm;
          const y = side === 2 ? -out : side === 3 ? patch.heightMm + out : along * patch.heightMm;
          return (at(patch.xMm + x, patch.yMm + y) - code) / (bareHere - code);
        });
        if (line.some((value) => !Number.isFinite(value))) continue;
        for (let i = 0; i < count; i++) values[i] += line[i];
        lines++;
      }
    }
  }
  if (lines < 24) return undefined;
  for (let i = 0; i < count; i++) values[i] /= lines;
  // The middle of the patches is where the averaged edge is to be 0.
  const calm = Math.floor(count / 4);
  const level = values.subarray(0, calm).reduce((sum, value) => sum + value, 0) / calm;
  for (let i = 0; i < count; i++) values[i] = (values[i] - level) / (1 - level);
  return { values, from, solidCode, bareCode };
}

/** Model edges reach this far to both sides, pixels. Assumed: 14 pixels and four of the widest blur. */
const MODEL_REACH_PX = 24;

/**
 * Edge of light blurred by `blurPx`, coded as sRGB between the two codes, as shares of the way from solid to bare;
 * after that blurred by `radiusPx`, as codes.
 */
function modelEdge(
  blurPx: number,
  radiusPx: number,
  { solidCode, bareCode }: Pick<AveragedEdge, 'solidCode' | 'bareCode'>,
): Float64Array {
  const count = (2 * MODEL_REACH_PX) / STEP_PX + 1;
  const low = decodeSrgb(solidCode / 255);
  const high = decodeSrgb(bareCode / 255);
  const ends = [encodeSrgb(low), encodeSrgb(high)] as const;
  const edge = tabulate(new Float64Array(count), (i) => {
    const share = normalShare((i * STEP_PX - MODEL_REACH_PX) / blurPx);
    return (encodeSrgb(low + (high - low) * share) - ends[0]) / (ends[1] - ends[0]);
  });
  if (radiusPx === 0) return edge;
  const taps = gaussTaps(radiusPx / STEP_PX);
  const reach = (taps.length - 1) / 2;
  return edge.map((_, i) => {
    let sum = 0;
    for (let k = -reach; k <= reach; k++) sum += taps[k + reach]! * edge[Math.min(count - 1, Math.max(0, i + k))]!;
    return sum;
  });
}

/** Standard normal distribution, by the logistic function of its usual cubic fit; good to 2e-4 (from memory). */
function normalShare(z: number): number {
  return 1 / (1 + Math.exp(-z * (1.5976 + 0.070566 * z * z)));
}

function gaussTaps(sigma: number): Float64Array {
  const reach = Math.max(1, Math.ceil(2.5 * sigma));
  const taps = tabulate(new Float64Array(2 * reach + 1), (i) => Math.exp(-((i - reach) ** 2) / (2 * sigma ** 2)));
  const total = taps.reduce((sum, tap) => sum + tap, 0);
  return taps.map((tap) => tap / total);
}

/**
 * A capture with the sharpening taken back within its chart. The exact inverse 1 / (1 + a·(1 − G)) of a sharpening by
 * a·(1 − G) is close to 1/(1 + a) of the picture and a/(1 + a) of a blur of √(1 + a) times the radius: the same at the
 * finest detail, and the same curvature at the coarsest. What was cut off at an end of the scale does not come back and
 * stays there.
 */
export function undoSharpening(capture: CaptureImage, located: Located, sharpening: Sharpening): CaptureImage {
  const { width, height, rgb, bits } = capture;
  const { amount, radiusPx } = sharpening;
  const taps = gaussTaps(radiusPx * Math.sqrt(1 + amount));
  const reach = (taps.length - 1) / 2;
  const { left, top, right, bottom } = boundChart(capture, located);
  const across = right - left;
  const down = bottom - top;
  if (across <= 0 || down <= 0) return capture;
  // Sharpening works on the light, not on colours.
  const light = new Float32Array(across * down);
  for (let y = 0; y < down; y++) {
    let from = ((top + y) * width + left) * 3;
    for (let x = 0; x < across; x++, from += 3) {
      light[y * across + x] = 0.2126 * rgb[from] + 0.7152 * rgb[from + 1] + 0.0722 * rgb[from + 2];
    }
  }
  const rows = new Float32Array(light.length);
  for (let y = 0; y < down; y++) {
    const row = y * across;
    for (let x = 0; x < across; x++) {
      let sum = 0;
      if (x >= reach && x < across - reach) {
        for (let k = -reach; k <= reach; k++) sum += taps[k + reach] * light[row + x + k];
      } else {
        for (let k = -reach; k <= reach; k++)
          sum += taps[k + reach] * light[row + Math.min(across - 1, Math.max(0, x + k))];
      }
      rows[row + x] = sum;
    }
  }
  const out = rgb.slice();
  const full = bits === 16 ? 65535 : 255;
  const share = amount / (1 + amount);
  const blurred = new Float32Array(across);
  for (let y = 0; y < down; y++) {
    blurred.fill(0);
    for (let k = -reach; k <= reach; k++) {
      const row = Math.min(down - 1, Math.max(0, y + k)) * across;
      const tap = taps[k + reach];
      for (let x = 0; x < across; x++) blurred[x] += tap * rows[row + x];
    }
    let to = ((top + y) * width + left) * 3;
    for (let x = 0; x < across; x++, to += 3) {
      const change = share * (blurred[x] - light[y * across + x]);
      for (let c = 0; c < 3; c++) {
        const code = rgb[to + c];
        // What was cut off stays so, for a later question.
        if (code > 0 && code < full) out[to + c] = Math.min(full - 1, Math.max(1, Math.round(code + change)));
      }
    }
  }
  return { width, height, rgb: out, bits };
}

/** Box around the chart, whole pixels within the picture. */
function boundChart({ width, height }: CaptureImage, { layout, map }: Located) {
  const points = [0, 0.5, 1].flatMap((u) =>
    [0, 0.5, 1].map((v) => placeOnCapture(map, u * layout.widthMm, v * layout.heightMm)),
  );
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  return {
    left: Math.max(0, Math.floor(Math.min(...xs) - 10)),
    top: Math.max(0, Math.floor(Math.min(...ys) - 10)),
    right: Math.min(width, Math.ceil(Math.max(...xs) + 10)),
    bottom: Math.min(height, Math.ceil(Math.max(...ys) + 10)),
  };
}
