import type { Dots } from '../plane/index.ts';
import { type EngraveOptions, engrave } from './engrave.ts';
import type { MaterialModel } from './material-model.ts';
import type { Surface } from './surface.ts';

export interface EngraveRoundOptions extends EngraveOptions {
  /** Of the piece, whose axis runs down the bitmap; its highest line, in focus, is the bitmap's middle. */
  readonly roundDiameterMm: number;
  /** How high above its highest line all rays come from, mm; absent: they are parallel. */
  readonly pupilMm?: number;
}

/** Width of a strip that is burned as if it were flat, mm. Assumed: the slant changes by little over it. */
const STRIP_MM = 1;
/** Dots beside a strip that are burned with it, mm. Assumed: farther than any beam here reaches. */
const BESIDE_MM = 0.5;

/**
 * Burns dots into a round piece that lies still, and gives what it reflects, seen from the front. In strips: each is
 * burned out of focus, with a spot of w0·√(1 + (z/zR)²), and slanted, so that the same beam falls on more surface, by
 * as much as the ends of its rays lie further apart, and a place needs more of the dose. Grain begins anew with each.
 * @throws RangeError for dots wider than the piece
 */
export function engraveRound(dots: Dots, options: EngraveRoundOptions): Surface {
  const { grid, model, roundDiameterMm, pupilMm } = options;
  const radiusMm = roundDiameterMm / 2;
  const widthMm = dots.width * grid.pitchMm;
  if (!(widthMm < roundDiameterMm)) {
    throw new RangeError(`dots over ${widthMm} mm need a piece thicker than that, got ${roundDiameterMm} mm`);
  }
  const strip = Math.max(1, Math.round(STRIP_MM / grid.pitchMm));
  const beside = Math.ceil(BESIDE_MM / grid.pitchMm);
  const parts: { readonly surface: Surface; readonly from: number; readonly count: number; readonly lead: number }[] =
    [];
  for (let from = 0; from < dots.width; from += strip) {
    const count = Math.min(strip, dots.width - from);
    const offMm = (from + count / 2) * grid.pitchMm - widthMm / 2;
    const { depthMm, stretch } = meetSurface(offMm, { radiusMm, pupilMm });
    const lead = Math.min(beside, from);
    const part = cut(dots, from - lead, Math.min(dots.width, from + count + beside));
    const bent = bendModel(model, { stretch, depthMm });
    parts.push({ surface: engrave(part, { ...options, marginMm: 0, model: bent }), from, count, lead });
  }
  return join(parts, { widthMm, pitchMm: grid.pitchMm });
}

/** Half the step of a difference quotient, mm. Assumed: the surface is smooth over it. */
const HALF_STEP_MM = 1e-3;
/** Halvings of a search. Assumed: as exact as the numbers are. */
const HALVINGS = 60;

/** How deep a ray ends that is aimed at a place of the plane of focus, and how much more surface its dots have. */
function meetSurface(
  offMm: number,
  { radiusMm, pupilMm }: { readonly radiusMm: number; readonly pupilMm: number | undefined },
): { readonly depthMm: number; readonly stretch: number } {
  const depthAt = (xMm: number) => {
    // The ray goes down from the plane; searched for is the depth at which it is no longer outside the circle.
    const outside = (zMm: number) =>
      Math.hypot(xMm * (pupilMm === undefined ? 1 : 1 + zMm / pupilMm), radiusMm - zMm) > radiusMm;
    let [above, below] = [0, radiusMm];
    for (let i = 0; i < HALVINGS; i++) {
      const middle = (above + below) / 2;
      if (outside(middle)) above = middle;
      else below = middle;
    }
    return above;
  };
  const end = (xMm: number) => {
    const zMm = depthAt(xMm);
    return { x: xMm * (pupilMm === undefined ? 1 : 1 + zMm / pupilMm), z: zMm };
  };
  const [left, right] = [end(offMm - HALF_STEP_MM), end(offMm + HALF_STEP_MM)];
  const depthMm = depthAt(offMm);
  const across = Math.hypot(right.x - left.x, right.z - left.z) / (2 * HALF_STEP_MM);
  return { depthMm, stretch: across * (pupilMm === undefined ? 1 : 1 + depthMm / pupilMm) };
}

function bendModel(
  model: MaterialModel,
  { stretch, depthMm }: { readonly stretch: number; readonly depthMm: number },
): MaterialModel {
  const { beam, law } = model;
  const growth = Math.sqrt(1 + (depthMm / beam.rayleighLengthMm) ** 2);
  const { fade } = law;
  return {
    ...model,
    beam: {
      ...beam,
      spotDiameterXUm: growth * beam.spotDiameterXUm,
      spotDiameterYUm: growth * beam.spotDiameterYUm,
    },
    law: {
      ...law,
      halfDoseJPerCm2: law.halfDoseJPerCm2 * stretch,
      ...(fade ? { fade: { ...fade, halfDoseJPerCm2: fade.halfDoseJPerCm2 * stretch } } : {}),
    },
  };
}

function cut({ width, height, levels, data }: Dots, from: number, to: number): Dots {
  const part = new Uint8Array((to - from) * height);
  for (let y = 0; y < height; y++) part.set(data.subarray(y * width + from, y * width + to), y * (to - from));
  return { scale: 'bit', width: to - from, height, levels, data: part };
}

/** The middles of all strips side by side, each pixel from the strip below its own middle. */
function join(
  parts: readonly { readonly surface: Surface; readonly from: number; readonly count: number; readonly lead: number }[],
  { widthMm, pitchMm }: { readonly widthMm: number; readonly pitchMm: number },
): Surface {
  const { surface: first } = parts[0]!;
  const width = Math.max(1, Math.round(widthMm / first.pixelWidthMm));
  const { height } = first;
  const rgb = new Float32Array(3 * width * height);
  for (let x = 0; x < width; x++) {
    const at = (((x + 0.5) / width) * widthMm) / pitchMm;
    const { surface, from, lead } = parts.findLast((part) => at >= part.from)!;
    const own = Math.floor(((at - from + lead) * pitchMm) / surface.pixelWidthMm);
    const column = Math.min(surface.width - 1, Math.max(0, own));
    for (let y = 0; y < height; y++) {
      const source = (y * surface.width + column) * 3;
      rgb.set(surface.rgb.subarray(source, source + 3), (y * width + x) * 3);
    }
  }
  return { ...first, width, pixelWidthMm: widthMm / width, widthMm, leftMm: 0, rgb };
}
