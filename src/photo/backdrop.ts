import { tabulate } from '../numeric/index.ts';
import {
  createPlane,
  type DotGrid,
  lightnessOfLuminance,
  luminanceOfLightness,
  ONE,
  type Plane,
  tabulateLightness,
} from '../plane/index.ts';
import { averageCells, averageWindow, type Cells, cellSize } from './cells.ts';
import { layGuidedLines } from './guided-filter.ts';

/** What becomes of the picture around its subject: as it is, flattened, faded out, or left unburned. */
export type Backdrop = 'keep' | 'soften' | 'fade' | 'bare';
export const BACKDROPS: readonly Backdrop[] = ['keep', 'soften', 'fade', 'bare'];

/**
 * Variance of shares (of L* / 100) below which a window counts as even, so that the mask keeps its own mean there.
 * Published (source: 'heSunTang2013', section 4: 10⁻⁴ … 10⁻² for mattes); the middle of that range.
 */
const EVEN = 1e-3;
/** Share of its contrast that a softened backdrop keeps. Assumed, by eye: less is a cut-out, more is no help. */
const SOFT_CONTRAST = 0.45;
/**
 * Width over which a backdrop fades out, a share of the picture's short side. Assumed, by eye: a glow around the
 * subject.
 */
const FADE_SHARE = 0.12;

export interface MatteOptions {
  readonly grid: DotGrid;
  /** Share of the subject, 0 … 1, at a place of the picture, dots. */
  readonly shareAt: (x: number, y: number) => number;
  /** Distance between the places where the share is known, dots. */
  readonly knownEveryDots: number;
}

/**
 * What is the subject's at each dot: a coarse share brought to the edges of the picture's light by the guided filter
 * (`heSunTang2013`, eq. 5 and 6), on cells of about 0.08 mm. Hair comes out as a mixture, never as a cut.
 */
export function refineMatte(light: Plane<'luminance'>, { grid, shareAt, knownEveryDots }: MatteOptions): Plane<'mask'> {
  const size = cellSize(grid);
  const seen = averageCells(light, { table: tabulateLightness(), size });
  const { width, height } = seen;
  const guide: Cells = { width, height, data: seen.data.map((lightness) => lightness / 100) };
  const coarse = new Float32Array(guide.data.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) coarse[y * width + x] = shareAt((x + 0.5) * size.x, (y + 0.5) * size.y);
  }
  const radius = Math.max(2, Math.round((1.5 * knownEveryDots) / size.x));
  return spreadCells({ width, height, data: guideShares(coarse, guide, radius) }, light, size);
}

/**
 * Shares that follow the edges of a picture of lightness (L* / 100): in each window a straight line of it, the mean of
 * all windows that hold a place (`heSunTang2013`, eq. 5, 6 and 8). They may go a little beyond 0 and 1.
 * @param radius of the windows, cells
 */
export function guideShares(shares: Float32Array, { width, height, data: guide }: Cells, radius: number): Float32Array {
  const { gain, offset } = layGuidedLines(
    { width, height, data: guide },
    {
      radius,
      input: { width, height, data: shares },
      gainOf: ({ covariance, variance }) => covariance / (variance + EVEN),
    },
  );
  return guide.map((value, i) => gain.data[i] * value + offset.data[i]);
}

/** Cells at the dots, straight between their middles, as shares of 255. */
function spreadCells(
  { width, height, data }: Cells,
  to: { readonly width: number; readonly height: number },
  size: { readonly x: number; readonly y: number },
): Plane<'mask'> {
  const out = createPlane('mask', to.width, to.height);
  const place = (dot: number, dots: number, count: number) => {
    const at = Math.min(Math.max(0, (dot + 0.5) / dots - 0.5), count - 1);
    const low = Math.floor(at);
    return { low, high: Math.min(low + 1, count - 1), share: at - low };
  };
  const columns = Array.from({ length: to.width }, (_, x) => place(x, size.x, width));
  for (let y = 0; y < to.height; y++) {
    const row = place(y, size.y, height);
    const [upper, lower] = [row.low * width, row.high * width];
    for (let x = 0; x < to.width; x++) {
      const { low, high, share } = columns[x];
      const above = data[upper + low] * (1 - share) + data[upper + high] * share;
      const below = data[lower + low] * (1 - share) + data[lower + high] * share;
      const value = above * (1 - row.share) + below * row.share;
      out.data[y * to.width + x] = Math.round(255 * Math.min(1, Math.max(0, value)));
    }
  }
  return out;
}

/** The picture with less contrast around its subject: differences from the backdrop's mean shrink, in L*. */
export function softenBackdrop(light: Plane<'luminance'>, matte: Plane<'mask'>): Plane<'luminance'> {
  const levels = tabulate(new Float64Array(ONE + 1), (level) => lightnessOfLuminance(level));
  let sum = 0;
  let weight = 0;
  for (let i = 0; i < light.data.length; i++) {
    const share = 255 - matte.data[i];
    sum += share * levels[light.data[i]];
    weight += share;
  }
  if (weight === 0) return light;
  const mean = sum / weight;
  const out = createPlane('luminance', light.width, light.height, light.data.slice());
  for (let i = 0; i < light.data.length; i++) {
    if (matte.data[i] === 255) continue;
    const lightness = levels[light.data[i]];
    const soft = mean + SOFT_CONTRAST * (lightness - mean);
    const share = matte.data[i] / 255;
    out.data[i] = luminanceOfLightness(share * lightness + (1 - share) * soft);
  }
  return out;
}

/** What of the picture is burned at all: the subject alone, or with a backdrop that fades out around it. */
export function maskBackdrop(
  matte: Plane<'mask'>,
  { backdrop, grid }: { readonly backdrop: 'fade' | 'bare'; readonly grid: DotGrid },
): Plane<'mask'> {
  if (backdrop === 'bare') return matte;
  const { width, height } = matte;
  const size = cellSize(grid);
  const [across, down] = [Math.ceil(width / size.x), Math.ceil(height / size.y)];
  const data = new Float32Array(across * down);
  for (let y = 0; y < down; y++) {
    for (let x = 0; x < across; x++) {
      const [dx, dy] = [
        Math.min(width - 1, x * size.x + (size.x >> 1)),
        Math.min(height - 1, y * size.y + (size.y >> 1)),
      ];
      data[y * across + x] = matte.data[dy * width + dx] / 255;
    }
  }
  // Three passes of a box are nearly a Gaussian: what is far from the subject has nothing of it.
  const radius = Math.max(1, Math.round((FADE_SHARE * Math.min(across, down)) / 2));
  let blurred: Cells = { width: across, height: down, data };
  for (let pass = 0; pass < 3; pass++) blurred = averageWindow(blurred, { radius });
  const glow = spreadCells({ ...blurred, data: blurred.data.map((share) => 2 * share) }, matte, size);
  const out = createPlane('mask', width, height);
  for (let i = 0; i < out.data.length; i++) out.data[i] = Math.max(matte.data[i], glow.data[i]);
  return out;
}
