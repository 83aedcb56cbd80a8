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

export const PROOF_DEFAULTS = { cornerRadiusPx: 0, marginPx: 56, surroundLightness: 62 } as const;

/** Assumed: what makes a piece look as if it lay on a table. Darkening of the shadow, and of the hairline at the edge. */
const SHADOW = { strength: 0.3, spread: 0.5, offset: 0.22 } as const;
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
  const rgb = new Uint8Array(3 * width * height).fill(ground);
  const spread = Math.max(1, SHADOW.spread * margin);
  const drop = SHADOW.offset * margin;

  for (let y = 0; y < height; y++) {
    const py = y - margin;
    // Rows far inside need no distance but at their two ends.
    const plain = py >= radius + 2 && py < piece.height - radius - 2;
    for (let x = 0; x < width; x++) {
      const px = x - margin;
      const to = 3 * (y * width + x);
      if (plain && px >= 2 && px < piece.width - 2) {
        copyRun({ rgb, piece }, { to, from: 3 * (py * piece.width + px), length: 3 * (piece.width - 4) });
        x += piece.width - 5;
        continue;
      }
      const outside = distanceOutside(px + 0.5, py + 0.5, { width: piece.width, height: piece.height, radius });
      const share = Math.min(1, Math.max(0, 0.5 - outside));
      let shade = ground;
      if (share < 1 && margin > 0) {
        const below = distanceOutside(px + 0.5, py + 0.5 - drop, { width: piece.width, height: piece.height, radius });
        shade = ground * (1 - SHADOW.strength * Math.exp(-((Math.max(0, below) / spread) ** 2)));
      }
      // A rounding error's worth of inside is outside: there is no pixel of the piece to take.
      if (share < 1e-6) {
        rgb.fill(Math.round(shade), to, to + 3);
        continue;
      }
      const from = 3 * (py * piece.width + px);
      const line = margin > 0 ? 1 - HAIRLINE * Math.min(1, Math.max(0, outside + 1.5)) : 1;
      for (let c = 0; c < 3; c++) rgb[to + c] = Math.round(share * line * piece.rgb[from + c] + (1 - share) * shade);
    }
  }
  return { width, height, rgb };
}

function copyRun(
  { rgb, piece }: { rgb: Uint8Array; piece: ColourImage },
  { to, from, length }: { to: number; from: number; length: number },
): void {
  rgb.set(piece.rgb.subarray(from, from + length), to);
}

/** Distance from a rounded rectangle with a corner at 0, 0; negative inside. */
function distanceOutside(
  x: number,
  y: number,
  { width, height, radius }: { width: number; height: number; radius: number },
): number {
  const dx = Math.abs(x - width / 2) - (width / 2 - radius);
  const dy = Math.abs(y - height / 2) - (height / 2 - radius);
  // Not Math.hypot, which is several times slower and guards against sizes that no picture has.
  const besideX = Math.max(0, dx);
  const besideY = Math.max(0, dy);
  return Math.sqrt(besideX * besideX + besideY * besideY) + Math.min(0, Math.max(dx, dy)) - radius;
}
