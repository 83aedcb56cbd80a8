import { labToLinear } from './colour.ts';
import type { MaterialModel, PaneModel } from './material-model.ts';
import { mirrorSurface, type Surface } from './surface.ts';

/**
 * Angles at which light is followed inside the pane, and rounds of reflection, counts. Assumed: right to a thousandth.
 */
const ANGLES = 600;
const ROUNDS = 24;
/** Cells, a count, along the pane's thickness. Assumed: rings of light are wider than the pane is thick. */
const CELLS_PER_THICKNESS = 3;
/** Cells, a count, beyond which what comes back is lost. Assumed: twenty thicknesses of so grazing light are dark. */
const FARTHEST_CELLS = 60;

/** Mean reflection of unpolarised light at the pane's face from within, by Fresnel, at an angle to its normal. */
function bounce(sine: number, index: number): number {
  const beyond = index * sine;
  if (beyond >= 1) return 1;
  const [c, d] = [Math.sqrt(1 - sine * sine), Math.sqrt(1 - beyond * beyond)];
  return (((index * c - d) / (index * c + d)) ** 2 + ((c - index * d) / (c + index * d)) ** 2) / 2;
}

/**
 * A burned pane turned over and seen through: what diffuses in contact with it is lit through the smooth face, and
 * part of its light comes back from that face in a ring about each place, 2·thickness·tan θ away, so that a mark amid
 * marks is lighter than one alone. What lies beneath shows through as before. Saunderson's correction is the case
 * without an edge.
 */
export function seeThroughPane(
  surface: Surface,
  { colour, pane }: Pick<MaterialModel, 'colour'> & { readonly pane: PaneModel },
): Surface {
  const turned = mirrorSurface(surface);
  const { width, height, pixelWidthMm, pixelHeightMm, rgb } = turned;
  const { refractiveIndex: index, thicknessMm, transmittance } = pane;
  const ground = labToLinear(colour.bare);
  const cellMm = thicknessMm / CELLS_PER_THICKNESS;
  const columns = Math.max(1, Math.ceil((width * pixelWidthMm) / cellMm));
  const rows = Math.max(1, Math.ceil((height * pixelHeightMm) / cellMm));
  const ring = spreadInPane(pane, cellMm);
  // Straight in, and out to wherever the eye or the scanner is.
  const leaves = (1 - bounce(0, index)) * transmittance * shareThatLeaves(pane);
  const cellOf = (x: number, y: number) =>
    Math.min(rows - 1, Math.floor((y * pixelHeightMm) / cellMm)) * columns +
    Math.min(columns - 1, Math.floor((x * pixelWidthMm) / cellMm));
  const out = new Float32Array(rgb.length);
  for (let channel = 0; channel < 3; channel++) {
    const mark = new Float64Array(columns * rows);
    const counted = new Float64Array(columns * rows);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const cell = cellOf(x, y);
        mark[cell]! += Math.max(0, rgb[(y * width + x) * 3 + channel]! - ground[channel]!);
        counted[cell]!++;
      }
    }
    for (let cell = 0; cell < mark.length; cell++) mark[cell] = mark[cell]! / Math.max(1, counted[cell]!);
    const light = lightWithin(mark, { columns, rows, ring });
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const at = (y * width + x) * 3 + channel;
        const own = Math.max(0, rgb[at]! - ground[channel]!);
        out[at] =
          Math.min(rgb[at]!, ground[channel]!) +
          leaves *
            own *
            sample(light, {
              columns,
              rows,
              x: ((x + 0.5) * pixelWidthMm) / cellMm,
              y: ((y + 0.5) * pixelHeightMm) / cellMm,
            });
      }
    }
  }
  return { ...turned, rgb: out };
}

/** Share of a mark's light that comes out of the smooth face. */
function shareThatLeaves({ refractiveIndex, transmittance }: PaneModel): number {
  let sum = 0;
  for (let i = 0; i < ANGLES; i++) {
    const sine = Math.sqrt((i + 0.5) / ANGLES);
    sum += (1 - bounce(sine, refractiveIndex)) * transmittance ** (1 / Math.sqrt(1 - sine * sine));
  }
  return sum / ANGLES;
}

interface RingCell {
  readonly dx: number;
  readonly dy: number;
  readonly share: number;
}

/** Where light that a place sends into the pane comes back to its face, by cells, and which share of it. */
function spreadInPane({ refractiveIndex, thicknessMm, transmittance }: PaneModel, cellMm: number): readonly RingCell[] {
  const cells = new Map<string, RingCell>();
  for (let i = 0; i < ANGLES; i++) {
    // Equal steps of sin² are equal shares of Lambert's light.
    const sine = Math.sqrt((i + 0.5) / ANGLES);
    const cosine = Math.sqrt(1 - sine * sine);
    const share = (bounce(sine, refractiveIndex) * transmittance ** (2 / cosine)) / ANGLES;
    const radius = (2 * thicknessMm * sine) / cosine / cellMm;
    if (radius > FARTHEST_CELLS) continue;
    const around = Math.max(8, Math.ceil(4 * radius));
    for (let j = 0; j < around; j++) {
      const angle = (2 * Math.PI * (j + (i % 7) / 7)) / around;
      const [dx, dy] = [Math.round(radius * Math.cos(angle)), Math.round(radius * Math.sin(angle))];
      const key = `${dx},${dy}`;
      cells.set(key, { dx, dy, share: (cells.get(key)?.share ?? 0) + share / around });
    }
  }
  return [...cells.values()];
}

/** How much light falls on each cell within the pane, over what comes from outside. */
function lightWithin(
  mark: Float64Array,
  { columns, rows, ring }: { readonly columns: number; readonly rows: number; readonly ring: readonly RingCell[] },
): Float64Array {
  let light = new Float64Array(mark.length).fill(1);
  for (let round = 0; round < ROUNDS; round++) {
    const next = new Float64Array(mark.length).fill(1);
    let moved = 0;
    for (let y = 0; y < rows; y++) {
      for (let x = 0; x < columns; x++) {
        let sum = 0;
        for (const { dx, dy, share } of ring) {
          const [px, py] = [x + dx, y + dy];
          if (px < 0 || py < 0 || px >= columns || py >= rows) continue;
          const cell = py * columns + px;
          sum += share * mark[cell]! * light[cell]!;
        }
        const cell = y * columns + x;
        next[cell] = 1 + sum;
        moved = Math.max(moved, Math.abs(next[cell]! - light[cell]!));
      }
    }
    light = next;
    if (moved < 1e-4) break;
  }
  return light;
}

/** Between the middles of cells. */
function sample(
  values: Float64Array,
  { columns, rows, x, y }: { readonly columns: number; readonly rows: number; readonly x: number; readonly y: number },
): number {
  const clamp = (value: number, most: number) => Math.min(most - 1, Math.max(0, value));
  const [left, top] = [Math.floor(x - 0.5), Math.floor(y - 0.5)];
  const [u, v] = [x - 0.5 - left, y - 0.5 - top];
  const at = (column: number, row: number) => values[clamp(row, rows) * columns + clamp(column, columns)]!;
  return (
    (1 - v) * ((1 - u) * at(left, top) + u * at(left + 1, top)) +
    v * ((1 - u) * at(left, top + 1) + u * at(left + 1, top + 1))
  );
}
