import type { ColourImage, Plane } from '../plane/index.ts';
import { codeOfLightness, tabulateColours } from './colour.ts';
import type { SurfaceColours } from './types.ts';

/** Colours of a surface, pixel by pixel: a plain picture of a plane of reflectances, whether predicted or simulated. */
export function renderSurface(plane: Plane<'reflectance'>, colours: SurfaceColours): ColourImage {
  const { rgb: scale, stepsPerUnit } = tabulateColours(colours);
  const { width, height, data } = plane;
  const rgb = new Uint8Array(3 * width * height);
  for (let i = 0; i < data.length; i++) {
    // What is not negative is rounded by cutting off, several times as fast.
    const from = 3 * ((Math.min(1, Math.max(0, data[i])) * stepsPerUnit + 0.5) | 0);
    rgb[3 * i] = scale[from];
    rgb[3 * i + 1] = scale[from + 1];
    rgb[3 * i + 2] = scale[from + 2];
  }
  return { width, height, rgb };
}

export interface ProofOptions {
  readonly colours: SurfaceColours;
  /** Corner radius of the piece, pixels of the plane along x; rounded corners show the surroundings. */
  readonly cornerRadiusPx?: number;
  /** Width of the surroundings on every side, pixels. */
  readonly marginPx?: number;
  /** CIE L* of the neutral surroundings. */
  readonly surroundLightness?: number;
}

/**
 * Pixels, and L* of the ground. Assumed: a light neutral as of a sheet of paper; the edge of a light piece shows by its
 * shadow.
 */
const PROOF_DEFAULTS = { cornerRadiusPx: 0, marginPx: 40, surroundLightness: 90 } as const;

/**
 * What makes a piece look as if it lay on a table: darkening of the shadow, and its reach and drop in margins; below,
 * darkening of the hairline at the edge. Shares. Assumed, by eye: a thin shadow of contact; a broad dark one is taken
 * for a vignette on the piece.
 */
const SHADOW = { strength: 0.34, width: 0.16, offset: 0.08 } as const;
const HAIRLINE = 0.16;

/**
 * Picture of the finished piece on quiet, neutral surroundings, with rounded corners and a soft shadow, one pixel for
 * each cell of the plane. Cells should be square on the work; give the plane the size at which it is to be seen.
 */
export function renderProof(plane: Plane<'reflectance'>, { colours, ...surroundings }: ProofOptions): ColourImage {
  return layOnTable(renderSurface(plane, colours), surroundings);
}

/** The same for a picture of a piece whose colours are known already. */
export function layOnTable(piece: ColourImage, options: Omit<ProofOptions, 'colours'> = {}): ColourImage {
  const margin = Math.round(options.marginPx ?? PROOF_DEFAULTS.marginPx);
  const radius = Math.min(options.cornerRadiusPx ?? PROOF_DEFAULTS.cornerRadiusPx, piece.width / 2, piece.height / 2);
  const ground = codeOfLightness(options.surroundLightness ?? PROOF_DEFAULTS.surroundLightness);
  const width = piece.width + 2 * margin;
  const height = piece.height + 2 * margin;
  const rgb = new Uint8Array(3 * width * height);
  const shape = { width: piece.width, height: piece.height, radius };
  const drop = SHADOW.offset * margin;
  // Left and right are alike, and from here to the middle all of a row is as far from the edge.
  const side = Math.min((width - 1) >> 1, margin + Math.ceil(radius) + 2);
  let edge: Edge | undefined;
  let isSameBelow = false;
  for (let y = 0; y < height; y++) {
    const py = y - margin;
    const isInside = py >= radius + 2 && py < piece.height - radius - 2;
    const isStraight = isInside && py - drop >= radius + 2;
    if (!edge || !isSameBelow || !isStraight) edge = measureEdge(py, { margin, side, ground, drop, shape });
    isSameBelow = isStraight;
    const row = { y, margin, edge };
    if (isInside && piece.width > 4) {
      const start = 3 * (py * piece.width + 2);
      drawRun({ width, rgb }, piece, { ...row, from: 0, to: margin + 2 });
      rgb.set(piece.rgb.subarray(start, start + 3 * (piece.width - 4)), 3 * (y * width + margin + 2));
      drawRun({ width, rgb }, piece, { ...row, from: width - margin - 2, to: width });
    } else drawRun({ width, rgb }, piece, { ...row, from: 0, to: width });
  }
  return { width, height, rgb };
}

/** What a row shows from its left end inwards: so much of the piece, and so much code of what lies around and below. */
interface Edge {
  readonly weights: Float64Array;
  readonly rest: Float64Array;
}

interface EdgeOptions {
  readonly margin: number;
  readonly side: number;
  readonly ground: number;
  /** How far the shadow lies below, pixels. */
  readonly drop: number;
  readonly shape: Shape;
}

function measureEdge(py: number, { margin, side, ground, drop, shape }: EdgeOptions): Edge {
  const shadowWidth = Math.max(1, SHADOW.width * margin);
  const weights = new Float64Array(side + 1);
  const rest = new Float64Array(side + 1);
  for (let x = 0; x <= side; x++) {
    const px = x - margin + 0.5;
    const outside = distanceOutside(px, py + 0.5, shape);
    let share = Math.min(1, Math.max(0, 0.5 - outside));
    // A rounding error's worth of inside is outside: there is no pixel of the piece to take.
    if (share < 1e-6) share = 0;
    let shade = ground;
    if (share < 1 && margin > 0) {
      const below = distanceOutside(px, py + 0.5 - drop, shape);
      shade = ground * (1 - SHADOW.strength * Math.exp(-((Math.max(0, below) / shadowWidth) ** 2)));
    }
    const line = margin > 0 ? 1 - HAIRLINE * Math.min(1, Math.max(0, outside + 1.5)) : 1;
    weights[x] = share * line;
    rest[x] = (1 - share) * shade;
  }
  return { weights, rest };
}

interface Run {
  readonly y: number;
  readonly margin: number;
  readonly edge: Edge;
  readonly from: number;
  /** Not included. */
  readonly to: number;
}

function drawRun(
  { width, rgb }: Pick<ColourImage, 'width' | 'rgb'>,
  piece: ColourImage,
  { y, margin, edge: { weights, rest }, from, to }: Run,
): void {
  const side = weights.length - 1;
  const shift = 3 * ((y - margin) * piece.width - margin);
  for (let x = from, at = 3 * (y * width + from); x < to; x++, at += 3) {
    const k = Math.min(x, width - 1 - x, side);
    const weight = weights[k];
    if (weight === 0) {
      const code = Math.round(rest[k]);
      rgb[at] = code;
      rgb[at + 1] = code;
      rgb[at + 2] = code;
      continue;
    }
    const source = shift + 3 * x;
    for (let c = 0; c < 3; c++) rgb[at + c] = Math.round(weight * piece.rgb[source + c] + rest[k]);
  }
}

interface Shape {
  readonly width: number;
  readonly height: number;
  readonly radius: number;
}

/** Distance from a rounded rectangle with a corner at 0, 0; negative inside. */
function distanceOutside(x: number, y: number, { width, height, radius }: Shape): number {
  const dx = Math.abs(x - width / 2) - (width / 2 - radius);
  const dy = Math.abs(y - height / 2) - (height / 2 - radius);
  // Not Math.hypot, which is several times slower and guards against sizes that no picture has.
  const besideX = Math.max(0, dx);
  const besideY = Math.max(0, dy);
  return Math.sqrt(besideX * besideX + besideY * besideY) + Math.min(0, Math.max(dx, dy)) - radius;
}
