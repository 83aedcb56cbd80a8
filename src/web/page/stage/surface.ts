/** The look of a material's surface over its tones: shares that a tone is multiplied with, of mean 0, never a tone. */

export type SurfaceKind = 'brushed' | 'slate' | 'grain' | 'frosted' | 'pebbled';

/** Side of the square that repeats, pixels. Assumed: no face of it is known again on a piece. */
export const TILE = 256;

interface SurfaceRecord {
  /** Words in names of materials that have it. */
  readonly names: RegExp;
  /** Root mean square of the shares. Assumed: seen, and less than the screen's own grain. */
  readonly depth: number;
  /** Pixels over which it is smooth, along and across the scan line. Assumed: from looking at the materials. */
  readonly alongPx: number;
  readonly acrossPx: number;
}

/**
 * Depth as a share of the tone, lengths in pixels. Assumed: from looking at the materials, and less than the screen's
 * own grain.
 */
const SURFACES: Readonly<Record<SurfaceKind, SurfaceRecord>> = {
  brushed: { names: /steel|alumin|anodis|brass|copper|titan|metal/, depth: 0.025, alongPx: 48, acrossPx: 0 },
  slate: { names: /slate|stone|granite|marble/, depth: 0.05, alongPx: 14, acrossPx: 2 },
  grain: { names: /wood|maple|bamboo|cork|oak|walnut|cherry|birch|ply/, depth: 0.045, alongPx: 64, acrossPx: 1 },
  frosted: { names: /glass|acryl|mirror/, depth: 0.02, alongPx: 1, acrossPx: 1 },
  pebbled: { names: /leather/, depth: 0.04, alongPx: 3, acrossPx: 3 },
};

/** The surface of a material by its name; undefined for one that is as smooth as paint. */
export function surfaceOf(material: string | undefined): SurfaceKind | undefined {
  if (material === undefined) return undefined;
  const found = Object.entries(SURFACES).find(([, { names }]) => names.test(material));
  return found?.[0] as SurfaceKind | undefined;
}

const made = new Map<SurfaceKind, Float32Array>();

/** TILE × TILE shares of mean 0, the same ones each time. */
export function makeSurface(kind: SurfaceKind): Float32Array {
  const known = made.get(kind);
  if (known) return known;
  const { depth, alongPx, acrossPx } = SURFACES[kind];
  let seed = 1;
  const white = Float32Array.from({ length: TILE * TILE }, () => {
    // Park and Miller 1988, the minimal standard generator.
    seed = (seed * 48271) % 2147483647;
    return seed / 2147483647 - 0.5;
  });
  const smooth = smoothRing(smoothRing(white, alongPx, { step: 1, next: TILE }), acrossPx, { step: TILE, next: 1 });
  let sum = 0;
  let squares = 0;
  for (const value of smooth) sum += value;
  const mean = sum / smooth.length;
  for (const value of smooth) squares += (value - mean) ** 2;
  const times = depth / Math.sqrt(squares / smooth.length);
  const out = smooth.map((value) => (value - mean) * times);
  made.set(kind, out);
  return out;
}

/** Means over a window along each line of the tile, which closes on itself. */
function smoothRing(
  data: Float32Array,
  reach: number,
  { step, next }: { readonly step: number; readonly next: number },
): Float32Array {
  if (reach === 0) return data;
  const out = new Float32Array(data.length);
  for (let line = 0; line < TILE; line++) {
    const at = (i: number) => line * next + (((i % TILE) + TILE) % TILE) * step;
    let sum = 0;
    for (let i = -reach; i <= reach; i++) sum += data[at(i)]!;
    for (let i = 0; i < TILE; i++) {
      out[at(i)] = sum / (2 * reach + 1);
      sum += data[at(i + reach + 1)]! - data[at(i - reach)]!;
    }
  }
  return out;
}

/** Shares that are told apart, a count: as many as a byte holds. Assumed: finer ones change no code. */
const LEVELS = 256;
/** IEC 61966-2-1: sRGB code values to linear light, and back. */
const toLinear = (code: number) => {
  const c = code / 255;
  return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
};
const toCode = (c: number) => 255 * (c <= 0.0031308 ? 12.92 * c : 1.055 * Math.min(1, c) ** (1 / 2.4) - 0.055);

interface SurfaceTable {
  /** For each place of the tile, where the codes of its share begin. */
  readonly from: Uint16Array;
  /** Codes by share and by code. */
  readonly codes: Uint8Array;
}

const tables = new Map<SurfaceKind, SurfaceTable>();

function tabulateSurface(kind: SurfaceKind): SurfaceTable {
  const known = tables.get(kind);
  if (known) return known;
  const shares = makeSurface(kind);
  let most = 0;
  for (const share of shares) most = Math.max(most, Math.abs(share));
  const step = (2 * most) / (LEVELS - 1);
  const codes = new Uint8Array(LEVELS << 8);
  for (let level = 0; level < LEVELS; level++) {
    const times = 1 + level * step - most;
    for (let code = 0; code < 256; code++) codes[(level << 8) | code] = Math.round(toCode(times * toLinear(code)));
  }
  const table = { from: Uint16Array.from(shares, (share) => Math.round((share + most) / step) << 8), codes };
  tables.set(kind, table);
  return table;
}

/**
 * Lays the surface over a picture, in place: each pixel's light is multiplied, so that the mean light of a tone stays.
 * @param rgba sRGB codes and alpha
 */
export function laySurface(rgba: Uint8ClampedArray, width: number, kind: SurfaceKind): void {
  const { from, codes } = tabulateSurface(kind);
  const pixels = new Uint8Array(rgba.buffer, rgba.byteOffset, rgba.length);
  for (let y = 0, i = 0; i < pixels.length; y++) {
    const row = (y % TILE) * TILE;
    for (let x = 0; x < width; x++, i += 4) {
      const at = from[row + (x % TILE)]!;
      pixels[i] = codes[at | pixels[i]!]!;
      pixels[i + 1] = codes[at | pixels[i + 1]!]!;
      pixels[i + 2] = codes[at | pixels[i + 2]!]!;
    }
  }
}
