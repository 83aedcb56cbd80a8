import type { Dots } from '../plane/index.ts';
import type { PlacedLine } from './deposit.ts';
import { type EngraveOptions, engrave } from './engrave.ts';
import { type BeamAt, beamAt } from './field.ts';
import type { MaterialModel } from './material-model.ts';
import type { Surface } from './surface.ts';

export interface EngraveConeOptions extends Omit<EngraveOptions, 'marginMm' | 'cornerRadiusMm' | 'turn'> {
  /** Of the piece at the right and at the left end of the scan lines, which are its upper and its lower edge. */
  readonly coneDiametersMm: readonly [upper: number, lower: number];
  /** How far the rotary turns from line to line; absent: the line spacing half-way between both diameters. */
  readonly degreesPerLine?: number;
}

/** A piece that was turned below one line: what it reflects, whole turn by whole length. */
export interface TurnedPiece {
  /** Pixels along the scan lines, from the lower edge of the piece to its upper one. */
  readonly columns: number;
  /** Pixels around, to the right as the piece is looked at from outside; its back is at both ends. */
  readonly rows: number;
  readonly diametersMm: readonly [upper: number, lower: number];
  /** Along the surface, from edge to edge. */
  readonly lengthMm: number;
  /** How much of a turn the bitmap's lines took, degrees; beyond 360 they lie over one another. */
  readonly coveredDeg: number;
  readonly pixelMm: number;
  /** Linear sRGB reflectance, interleaved, row by row around. */
  readonly rgb: Float32Array;
}

/** Largest change of the diameter over a strip that is burned as a tube, a share. Assumed: tones tell less. */
const STRIP_CHANGE = 0.004;
/** Narrowest and widest strip, mm. Assumed: narrower ones cost time, and wider ones memory, for nothing. */
const STRIP_MM = [0.5, 6] as const;
/** Dots beside a strip that are burned with it, mm. Assumed: farther than any beam here reaches. */
const BESIDE_MM = 0.5;
/** Lines of the turn before and after that are burned with a turn, mm around. Assumed: as far as a beam reaches. */
const WRAPPED_MM = 0.6;
/** Side of a pixel when nothing is said, µm. Exact: an inch over 600. */
const PIXEL_UM = 25_400 / 600;
/** Degrees of a turn. Exact: by definition. */
const TURN_DEG = 360;

/**
 * Burns dots into a cone that a rotary turns below one line, from line to line by the same angle. Its surface goes by
 * faster where it is thicker: lines lie further apart there, while power, speed and dots along the line stay, so that a
 * place gets as much less dose. In strips across the axis, each burned as a tube of its own girth, in focus all along,
 * as if its highest line were level. What lies on the seam is burned from both sides.
 * @throws RangeError for diameters that are none, and for lines that a turn has none of
 */
export function engraveCone(dots: Dots, options: EngraveConeOptions): TurnedPiece {
  const { grid, model, coneDiametersMm, pixelUm = PIXEL_UM, tilt = 0, focusMm = 0 } = options;
  const [upper, lower] = coneDiametersMm;
  if (!(upper > 0 && lower > 0)) throw new RangeError(`a cone needs diameters above 0, got ${upper} and ${lower} mm`);
  const middleMm = (upper + lower) / 2;
  const degreesPerLine = options.degreesPerLine ?? (TURN_DEG * grid.lineSpacingMm) / (Math.PI * middleMm);
  const linesPerTurn = TURN_DEG / degreesPerLine;
  if (!(linesPerTurn >= 2)) throw new RangeError(`a turn needs two lines or more, got ${linesPerTurn}`);
  const lengthMm = dots.width * grid.pitchMm;
  const wrapped = Math.ceil((WRAPPED_MM * linesPerTurn) / (Math.PI * Math.min(upper, lower)));
  const lines = wrapLines(dots.height, { linesPerTurn, wrapped });
  const turned = pickRows(dots, lines);
  const steep = Math.abs(upper - lower) / (lengthMm * middleMm);
  const stripMm = Math.min(STRIP_MM[1], Math.max(STRIP_MM[0], STRIP_CHANGE / Math.max(steep, 1e-9)));
  const strip = Math.max(1, Math.round(stripMm / grid.pitchMm));
  const beside = Math.ceil(BESIDE_MM / grid.pitchMm);
  const pixelMm = pixelUm / 1000;
  const columns = Math.max(2, Math.round(lengthMm / pixelMm));
  const rows = Math.max(2, Math.round((Math.PI * Math.max(upper, lower)) / pixelMm));
  const rgb = new Float32Array(3 * columns * rows);
  const { field, ...flat } = options;
  // All lines lie where the bitmap's middle one would.
  const lineYMm = field ? field.yMm + (dots.height * grid.lineSpacingMm) / 2 : 0;
  for (let from = 0; from < dots.width; from += strip) {
    const to = Math.min(dots.width, from + strip);
    const [left, right] = [Math.max(0, from - beside), Math.min(dots.width, to + beside)];
    const share = (from + to) / 2 / dots.width;
    const diameterMm = lower + share * (upper - lower);
    const offMm = (share - 0.5) * lengthMm;
    const surface = engrave(cutColumns(turned, left, right), {
      ...flat,
      grid: { pitchMm: grid.pitchMm, lineSpacingMm: (Math.PI * diameterMm) / linesPerTurn },
      model: field ? underField(model, beamAt(field.model, field.xMm + share * lengthMm, lineYMm)) : model,
      pixelUm,
      focusMm: focusMm - tilt * offMm,
      tilt: 0,
      turn: { rows: Math.ceil(linesPerTurn), lines },
    });
    layStrip(surface, {
      rgb,
      columns,
      rows,
      turnRows: (surface.height * linesPerTurn) / Math.ceil(linesPerTurn),
      ofStrip: { from: left, of: right - left },
      ofPiece: { from: Math.round((from / dots.width) * columns), to: Math.round((to / dots.width) * columns) },
      dotsPerColumn: dots.width / columns,
    });
  }
  const coveredDeg = dots.height * degreesPerLine;
  return { columns, rows, diametersMm: coneDiametersMm, lengthMm, coveredDeg, pixelMm, rgb };
}

/** The lines of a turn whose front is the bitmap's middle, and those of the turns beside that reach into it. */
function wrapLines(
  count: number,
  { linesPerTurn, wrapped }: { readonly linesPerTurn: number; readonly wrapped: number },
): PlacedLine[] {
  const turns = Math.ceil(count / linesPerTurn) + 1;
  const lines: PlacedLine[] = [];
  for (let turn = -turns; turn <= turns; turn++) {
    for (let line = 0; line < count; line++) {
      const place = line + (linesPerTurn - count) / 2 + turn * linesPerTurn;
      if (place > -wrapped - 1 && place < linesPerTurn + wrapped) lines.push({ place, line });
    }
  }
  return lines.sort((a, b) => a.place - b.place);
}

function pickRows({ width, levels, data }: Dots, lines: readonly PlacedLine[]): Dots {
  const rows = new Uint8Array(width * lines.length);
  for (const [row, { line }] of lines.entries()) {
    rows.set(data.subarray(line * width, (line + 1) * width), row * width);
  }
  return { scale: 'bit', width, height: lines.length, levels, data: rows };
}

function cutColumns({ width, height, levels, data }: Dots, from: number, to: number): Dots {
  const part = new Uint8Array((to - from) * height);
  for (let y = 0; y < height; y++) part.set(data.subarray(y * width + from, y * width + to), y * (to - from));
  return { scale: 'bit', width: to - from, height, levels, data: part };
}

/** A model as it burns at one place of a field. */
function underField(model: MaterialModel, { dose, width }: BeamAt): MaterialModel {
  const { beam, law } = model;
  const { fade } = law;
  return {
    ...model,
    beam: { ...beam, spotDiameterXUm: width * beam.spotDiameterXUm, spotDiameterYUm: width * beam.spotDiameterYUm },
    law: {
      ...law,
      halfDoseJPerCm2: law.halfDoseJPerCm2 / dose,
      ...(fade ? { fade: { ...fade, halfDoseJPerCm2: fade.halfDoseJPerCm2 / dose } } : {}),
    },
  };
}

interface LaidStrip {
  readonly rgb: Float32Array;
  readonly columns: number;
  readonly rows: number;
  /** Rows of the strip that are a whole turn; a part of one may lie behind. */
  readonly turnRows: number;
  /** First dot of the strip with what was burned beside it, and how many dots it has. */
  readonly ofStrip: { readonly from: number; readonly of: number };
  /** Columns of the piece that it gives. */
  readonly ofPiece: { readonly from: number; readonly to: number };
  readonly dotsPerColumn: number;
}

/** The middle of a burned strip as columns of the piece: by its nearest column, around by the mean over each row. */
function layStrip(
  { width, rgb: burned }: Surface,
  { rgb, columns, rows, turnRows, ofStrip, ofPiece, dotsPerColumn }: LaidStrip,
): void {
  const sources = Array.from({ length: ofPiece.to - ofPiece.from }, (_, at) => {
    const dot = (ofPiece.from + at + 0.5) * dotsPerColumn - ofStrip.from;
    return Math.min(width - 1, Math.max(0, Math.floor((dot / ofStrip.of) * width)));
  });
  for (let row = 0; row < rows; row++) {
    const [top, bottom] = [(row * turnRows) / rows, ((row + 1) * turnRows) / rows];
    for (let y = Math.floor(top); y < Math.ceil(bottom - 1e-9); y++) {
      const share = (Math.min(bottom, y + 1) - Math.max(top, y)) / (bottom - top);
      for (let at = 0; at < sources.length; at++) {
        const to = 3 * (row * columns + ofPiece.from + at);
        const from = 3 * (y * width + sources[at]!);
        for (let c = 0; c < 3; c++) rgb[to + c] = rgb[to + c]! + share * burned[from + c]!;
      }
    }
  }
}

/** Share of light that white paper around a picture gives back. By definition: all of it. */
const PAPER = 1;

/**
 * The piece's skin cut open at its back and laid flat, its front upright in the middle, its upper edge above: a point
 * lies as far from the cone's tip as on the piece, and a turn is as wide an angle there as its girth has room for.
 */
export function unrollPiece(piece: TurnedPiece, { pixelUm }: { readonly pixelUm: number }): Surface {
  const [upper, lower] = piece.diametersMm;
  const { lengthMm } = piece;
  const sine = (upper - lower) / (2 * lengthMm);
  if (Math.abs(sine) < 1e-9) {
    const widthMm = Math.PI * upper;
    return drawPlaces(piece, {
      pixelUm,
      widthMm,
      heightMm: lengthMm,
      placeAt: (x, y) => ({ downMm: y, deg: (x / widthMm - 0.5) * TURN_DEG, light: 1 }),
    });
  }
  // The tip lies on the y axis, at 0; the skin hangs below it, or stands above it where the piece is wider above.
  const sign = sine > 0 ? -1 : 1;
  const tipMm = [upper / (2 * Math.abs(sine)), lower / (2 * Math.abs(sine))] as const;
  const half = Math.PI * Math.abs(sine);
  const outer = Math.max(...tipMm);
  const inner = Math.min(...tipMm);
  const sideMm = half < Math.PI / 2 ? outer * Math.sin(half) : outer;
  const nearMm = half < Math.PI / 2 ? inner * Math.cos(half) : outer * Math.cos(half);
  const topMm = sign > 0 ? nearMm : -outer;
  return drawPlaces(piece, {
    pixelUm,
    widthMm: 2 * sideMm,
    heightMm: outer - nearMm,
    placeAt: (x, y) => {
      const [across, along] = [x - sideMm, sign * (y + topMm)];
      const angle = Math.atan2(across, along);
      if (Math.abs(angle) > half) return undefined;
      const farMm = Math.hypot(across, along);
      return { downMm: sign * (farMm - tipMm[0]), deg: (angle / half) * (TURN_DEG / 2), light: 1 };
    },
  });
}

/** Light that a surface turned away from the eye still shows, a share. Assumed: so that it looks round. */
const EDGE_LIGHT = 0.4;

/**
 * The piece upright, from far away and straight from one side, its axis vertical; edges are shaded as those of a round
 * body under light from the eye.
 * @param fromDeg side, degrees to the right of the picture's middle
 */
export function viewPiece(
  piece: TurnedPiece,
  { fromDeg, pixelUm }: { readonly fromDeg: number; readonly pixelUm: number },
): Surface {
  const [upper, lower] = piece.diametersMm;
  const widthMm = Math.max(upper, lower);
  const heightMm = Math.sqrt(piece.lengthMm ** 2 - ((upper - lower) / 2) ** 2);
  return drawPlaces(piece, {
    pixelUm,
    widthMm,
    heightMm,
    placeAt: (x, y) => {
      const radiusMm = (upper + (y / heightMm) * (lower - upper)) / 2;
      const sine = (x - widthMm / 2) / radiusMm;
      if (Math.abs(sine) >= 1) return undefined;
      const angle = Math.asin(sine);
      return {
        downMm: (y / heightMm) * piece.lengthMm,
        deg: (angle / Math.PI) * (TURN_DEG / 2) + fromDeg,
        light: EDGE_LIGHT + (1 - EDGE_LIGHT) * Math.cos(angle),
      };
    },
  });
}

interface DrawnPlaces {
  readonly pixelUm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  /** Place of the piece at a point of the picture, mm down from its upper edge and degrees from its front. */
  readonly placeAt: (
    xMm: number,
    yMm: number,
  ) => { readonly downMm: number; readonly deg: number; readonly light: number } | undefined;
}

function drawPlaces(piece: TurnedPiece, { pixelUm, widthMm, heightMm, placeAt }: DrawnPlaces): Surface {
  const width = Math.max(1, Math.round((1000 * widthMm) / pixelUm));
  const height = Math.max(1, Math.round((1000 * heightMm) / pixelUm));
  const [pixelWidthMm, pixelHeightMm] = [widthMm / width, heightMm / height];
  const rgb = new Float32Array(3 * width * height).fill(PAPER);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const place = placeAt((x + 0.5) * pixelWidthMm, (y + 0.5) * pixelHeightMm);
      if (!place) continue;
      if (place.downMm < 0 || place.downMm > piece.lengthMm) continue;
      readPiece(piece, place, { rgb, at: 3 * (y * width + x) });
    }
  }
  return { width, height, pixelWidthMm, pixelHeightMm, leftMm: 0, topMm: 0, widthMm, heightMm, cornerRadiusMm: 0, rgb };
}

/** Between four pixels; around, the last is beside the first. */
function readPiece(
  { columns, rows, lengthMm, rgb }: TurnedPiece,
  { downMm, deg, light }: { readonly downMm: number; readonly deg: number; readonly light: number },
  out: { readonly rgb: Float32Array; readonly at: number },
): void {
  const x = Math.min(columns - 1, Math.max(0, (1 - downMm / lengthMm) * columns - 0.5));
  const turn = deg / TURN_DEG + 0.5;
  const y = (turn - Math.floor(turn)) * rows - 0.5;
  const left = Math.min(columns - 2, Math.floor(x));
  const above = Math.floor(y);
  const [right, below] = [x - left, y - above];
  const first = 3 * (((above + rows) % rows) * columns + left);
  const second = 3 * (((above + 1) % rows) * columns + left);
  for (let c = 0; c < 3; c++) {
    const upperLight = rgb[first + c]! * (1 - right) + rgb[first + 3 + c]! * right;
    const lowerLight = rgb[second + c]! * (1 - right) + rgb[second + 3 + c]! * right;
    out.rgb[out.at + c] = light * (upperLight * (1 - below) + lowerLight * below);
  }
}
