import { type Lab, labOfLinearRgb, REC709, reflectanceOfLightness } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { median, NORMAL_95_ROUNDED, tabulate } from '../numeric/index.ts';
import type { CameraCurve } from './camera.ts';
import { applyHomography, boxCorners } from './geometry.ts';
import { fitBeside, type ReferenceField } from './light.ts';
import type { Located } from './locate.ts';
import { invertNear } from './map.ts';
import type { CaptureImage } from './types.ts';

/** A neutral field beside the chart whose lightness is known: what tells how light the whole is. */
export interface NeutralReference {
  /** L* under D65, and half the 95 % interval of it. */
  readonly lightness: number;
  readonly tolerance: number;
  /** Where it lies, pixels of the capture; looked for around the chart when absent. */
  readonly box?: PixelBox;
}

export interface PixelBox {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/**
 * Plain white office paper, L*. Assumed: common practice, no source for office paper itself; uncoated white printing
 * paper is 92 over black and 95 over white in ISO 12647-2:2004, table 1, from memory.
 */
export const WHITE_PAPER = { lightness: 93, tolerance: 3 } as const;

/** A reference as it was found. */
export interface FoundReference {
  readonly lightness: number;
  readonly tolerance: number;
  /** By this the luminance of the bare surface as the capture codes it was multiplied. */
  readonly gain: number;
  /** 95 %: the true luminance lies between 1/factor and factor times what is told. */
  readonly factor: number;
  /** Where it was found, pixels of the capture: around all that was read of it. */
  readonly box: PixelBox;
  /** L* as the capture codes it. */
  readonly coded: number;
}

/** What of the chart's reading the reference is compared with. */
export interface ChartLight {
  readonly capture: CaptureImage;
  readonly located: Located;
  readonly curve: CameraCurve;
  /** Bare and solid as read. */
  readonly fields: readonly ReferenceField[];
  readonly bareAt: (xMm: number, yMm: number) => number;
  /** Linear light of bare as the capture codes it, R, G, B; and the L* of bare and solid by it. */
  readonly bareRgb: readonly [number, number, number];
  readonly bareL: number;
  readonly solidL: number;
}

/**
 * Side of the squares that the surroundings are looked at in, mm, and their least side, pixels. Assumed: several
 * squares lie on a card's edge of paper, each with pixels enough.
 */
const CELL_MM = 3;
const CELL_MIN_PX = 8;
/** Part of a square that is read: the rest may lie over an edge. A share. Assumed: leaves a seventh to each side. */
const CELL_READ = 0.7;
/** Pixels read along one side of a square. Assumed: 64 pixels tell evenness; more cost time. */
const CELL_SAMPLES = 8;
/**
 * How far from the chart's edge a reference is looked for, mm, and the rim of the chart that is left out. Assumed:
 * light changes little over 60 mm; the cut edge shines within 2 mm.
 */
const REACH_MM = 60;
const RIM_MM = 2;
/**
 * Least squares of a reference: found, and where a person said where it lies. Counts. Assumed: a spot of another white
 * is smaller.
 */
const CELLS_MIN = 8;
const CELLS_MIN_GIVEN = 4;
/**
 * Squares nearest to the chart that count: farther ones say less about the light on it. A count. Assumed: 540 mm² are
 * enough.
 */
const CELLS_MOST = 60;
/**
 * Largest chroma, C*ab without unit, of what is taken for neutral. Assumed: a camera's white balance may be off by as
 * much.
 */
const CHROMA_MAX = 12;
/**
 * A square is even when its quarters differ by no more than this share, and neighbours belong together within the
 * second. Assumed: paper's grain and a lamp's slope stay below.
 */
const CELL_EVEN = 0.05;
const NEIGHBOUR_EVEN = 0.04;
/**
 * Squares as light and as coloured as the bare surface next to the chart are the piece, not a reference. Shares, C*ab
 * and mm. Assumed: stock differs so little within one piece.
 */
const BARE_LIKE = { share: 0.06, chroma: 5, nearMm: 8 } as const;
/** Share of clipped pixels of a square. Assumed: as for a patch. */
const CLIPPED_CELL = 0.05;
/**
 * A paper is coded no further from its own luminance than by this factor: an even table is not a paper. Assumed:
 * exposures and contrast curves stay within one stop and a bit.
 */
const CODED_FACTOR = 2.2;
/**
 * L* from which a reference is paper, the lightest thing beside the piece. Assumed: greyer sheets are not called white.
 */
const PAPER_L = 85;
/**
 * What of the light between chart and reference may stay open, a share, and what is open in any case (95 %). Assumed:
 * 15 % are 5 L* of a light surface; more is no measurement.
 */
const LIGHT_OPEN_MAX = 0.15;
const LIGHT_OPEN_MIN = 0.03;
/**
 * Robust scatter of the light over the reference after levelling, and over the chart's references, which one light must
 * fit as well. Shares. Assumed: even light on flat paper leaves half of them.
 */
const SCATTER_MAX = 0.04;
const STRAIN_MAX = 0.03;
/** Lightness beyond which a surface would have to shine. Exact: 100, the white that reflects all. */
const LIGHTEST_L = 100;

interface Cell {
  readonly column: number;
  readonly row: number;
  readonly xMm: number;
  readonly yMm: number;
  readonly awayMm: number;
  readonly light: number;
  readonly lab: Lab;
  readonly even: boolean;
  readonly clipped: boolean;
}

/**
 * Finds the neutral field and compares the bare surface with it: one smooth light over chart and reference together
 * (`fitBeside`) tells the ratio of their luminances.
 * @throws AppError reference-unusable when there is none, or it is coloured, clipped, uneven, or not as light as was
 * said
 */
export function readReference(asked: NeutralReference, chart: ChartLight): FoundReference {
  const cells = lookAround(asked, chart);
  const field = asked.box ? takeGiven(cells) : chooseField(asked, groupCells(cells, chart), cells);
  const { lightness, tolerance } = asked;
  const near = [...field].sort((a, b) => a.awayMm - b.awayMm).slice(0, CELLS_MOST);
  const trueLuminance = reflectanceOfLightness(lightness);
  const codedLuminance = median(near.map(({ light }) => light));
  const coded = labOfLinearRgb([codedLuminance, codedLuminance, codedLuminance])[0];
  const off = codedLuminance / trueLuminance;
  if (!(off > 1 / CODED_FACTOR && off < CODED_FACTOR)) {
    throw unusable(
      `an even neutral area that the capture shows at L* ${coded.toFixed(0)}, needed one near L* ${lightness}: ${off < 1 ? 'a table and not the reference, or a picture that is far too dark' : 'a lighter thing than the reference, or a picture that is far too light'}`,
      { coded, lightness },
    );
  }
  const beside = near.map(({ xMm, yMm, light }) => ({ xMm, yMm, light }));
  const { ratio, open, scatter, strain } = fitBeside(chart.fields, beside, chart.located.layout);
  if (open > LIGHT_OPEN_MAX || scatter > SCATTER_MAX || strain > STRAIN_MAX) {
    throw unusable(
      open > LIGHT_OPEN_MAX
        ? `light that changes so much between the chart and the reference that their ratio is open by ${Math.round(100 * open)} %, needed ${100 * LIGHT_OPEN_MAX} % or less; lay it nearer, and use even light`
        : `no one light over chart and reference: it leaves ${(100 * strain).toFixed(1)} % on the chart and ${(100 * scatter).toFixed(1)} % on the reference, needed ${100 * STRAIN_MAX} and ${100 * SCATTER_MAX} % or less; lay it flat, out of the shadow`,
      { open, scatter, strain },
    );
  }
  const bareLuminance = trueLuminance / ratio;
  const solidLuminance = (bareLuminance * reflectanceOfLightness(chart.solidL)) / reflectanceOfLightness(chart.bareL);
  if (Math.max(bareLuminance, solidLuminance) > reflectanceOfLightness(LIGHTEST_L)) {
    throw unusable(
      'a chart that is lighter than perfect white beside the reference, needed both in the same light: a reflection in the piece, or a shadow on the reference',
      { bareLuminance, solidLuminance },
    );
  }
  const codedBare = REC709.weights.reduce((sum, weight, c) => sum + weight * chart.bareRgb[c]!, 0);
  const gain = bareLuminance / codedBare;
  return {
    lightness,
    tolerance,
    gain,
    factor: Math.exp(
      Math.hypot(logOfLightness(lightness) * tolerance, Math.max(LIGHT_OPEN_MIN, open), curveOpen(coded, chart)),
    ),
    box: asked.box ?? boundsOf(near, cellPxOf(chart)),
    coded,
  };
}

/** Change of the logarithm of luminance for one L*, above the linear toe: L* + 16 goes with its cube root. */
const logOfLightness = (lightness: number) => 3 / (lightness + 16);

/**
 * What an estimated camera curve leaves open between the reference and the lighter of bare and solid (95 %, logarithm):
 * in proportion to what it leaves open over the chart's own range; assumed.
 */
function curveOpen(coded: number, { curve, bareL, solidL }: ChartLight): number {
  if (curve.errorLightness === 0) return 0;
  const lightest = Math.max(bareL, solidL);
  const range = Math.max(1, Math.abs(bareL - solidL));
  const carried = curve.errorLightness * Math.min(2, Math.abs(coded - lightest) / range);
  return NORMAL_95_ROUNDED * carried * logOfLightness(lightest);
}

const unusable = (found: string, details: Readonly<Record<string, unknown>> = {}) =>
  new AppError('reference-unusable', `found ${found}`, details);

const cellPxOf = ({ located }: Pick<ChartLight, 'located'>) => Math.max(CELL_MIN_PX, CELL_MM * located.pxPerMm);

/** Squares around the chart, or of the box that was given. */
function lookAround({ box, lightness }: NeutralReference, chart: ChartLight): readonly Cell[] {
  const { capture, located, curve } = chart;
  const { width, height } = capture;
  const { widthMm, heightMm } = located.layout;
  const back = invertNear(located.map, boxCorners(0, 0, widthMm, heightMm));
  if (!back) throw unusable('no way from the picture back to the chart, needed its four corners');
  const area = box ?? { x: 0, y: 0, width, height };
  if (!(area.x >= 0 && area.y >= 0 && area.x + area.width <= width && area.y + area.height <= height)) {
    throw new AppError(
      'option-invalid',
      `the reference’s place: found ${area.x},${area.y},${area.width},${area.height}, needed x,y,width,height within the picture of ${width} × ${height} pixels`,
    );
  }
  const side = box ? Math.min(cellPxOf(chart), Math.min(area.width, area.height) / 2) : cellPxOf(chart);
  const read = readCell(capture, curve);
  const target = reflectanceOfLightness(lightness);
  const cells: Cell[] = [];
  for (let row = 0; (row + 1) * side <= area.height; row++) {
    for (let column = 0; (column + 1) * side <= area.width; column++) {
      const x = area.x + column * side;
      const y = area.y + row * side;
      const [xMm, yMm] = applyHomography(back, x + side / 2, y + side / 2);
      const awayMm = Math.hypot(Math.max(-xMm, 0, xMm - widthMm), Math.max(-yMm, 0, yMm - heightMm));
      if (!box && (awayMm > REACH_MM || awayMm < RIM_MM + (side * Math.SQRT1_2) / located.pxPerMm)) continue;
      const { rgb, spread, clipped } = read(x + (side * (1 - CELL_READ)) / 2, y + (side * (1 - CELL_READ)) / 2, side);
      const light = REC709.weights.reduce((sum, weight, c) => sum + weight * rgb[c]!, 0);
      // Colour is judged at the lightness that the field should have: chroma grows with exposure.
      const scale = target / Math.max(1e-6, light);
      cells.push({
        column,
        row,
        xMm,
        yMm,
        awayMm,
        light,
        lab: labOfLinearRgb([rgb[0] * scale, rgb[1] * scale, rgb[2] * scale]),
        even: spread <= CELL_EVEN,
        clipped: clipped > CLIPPED_CELL,
      });
    }
  }
  return cells;
}

/**
 * Reads the middle part of a square: mean linear light, the spread of its quarters, and the share of clipped pixels.
 */
function readCell({ width, rgb, bits }: CaptureImage, { linearOf }: CameraCurve) {
  const most = bits === 16 ? 65535 : 255;
  const table = tabulate(new Float64Array(256), (level) => linearOf(level / 255));
  const linear = bits === 16 ? (code: number) => linearOf(code / most) : (code: number) => table[code]!;
  return (left: number, top: number, side: number) => {
    const sums: [number, number, number] = [0, 0, 0];
    const quarters = [0, 0, 0, 0];
    let clipped = 0;
    for (let j = 0; j < CELL_SAMPLES; j++) {
      for (let i = 0; i < CELL_SAMPLES; i++) {
        const x = Math.floor(left + ((i + 0.5) / CELL_SAMPLES) * CELL_READ * side);
        const y = Math.floor(top + ((j + 0.5) / CELL_SAMPLES) * CELL_READ * side);
        const at = 3 * (y * width + x);
        let light = 0;
        let white = false;
        for (let c = 0; c < 3; c++) {
          const one = linear(rgb[at + c]!);
          sums[c]! += one / CELL_SAMPLES ** 2;
          light += REC709.weights[c]! * one;
          white ||= rgb[at + c]! >= most;
        }
        if (white) clipped++;
        quarters[(2 * i < CELL_SAMPLES ? 0 : 1) + (2 * j < CELL_SAMPLES ? 0 : 2)]! += light;
      }
    }
    const spread = Math.max(...quarters) / Math.max(1e-9, Math.min(...quarters)) - 1;
    return { rgb: sums, spread, clipped: clipped / CELL_SAMPLES ** 2 };
  };
}

const chromaOf = ([, a, b]: Lab) => Math.hypot(a, b);
const isNeutral = ({ lab }: Cell) => chromaOf(lab) <= CHROMA_MAX;

/** All squares of a place that a person gave: no choice is left, so every fault is told. */
function takeGiven(cells: readonly Cell[]): readonly Cell[] {
  const count = cells.length;
  if (count < CELLS_MIN_GIVEN) {
    throw unusable(`a place for ${count} squares to read, needed ${CELLS_MIN_GIVEN}; give a larger one`, { count });
  }
  refuseMost(cells);
  return cells.filter((cell) => cell.even && !cell.clipped && isNeutral(cell));
}

/** Says what is wrong with most of the squares; returns when nothing is. */
function refuseMost(cells: readonly Cell[]): void {
  const half = cells.length / 2;
  const clipped = cells.filter((cell) => cell.clipped).length;
  const coloured = cells.filter((cell) => !isNeutral(cell)).length;
  const uneven = cells.filter((cell) => !cell.even).length;
  if (clipped > half) {
    throw unusable('a reference that is cut off at the top of the scale, needed some room above it; expose less', {
      clipped,
    });
  }
  if (coloured > half) {
    const chroma = median(cells.map(({ lab }) => chromaOf(lab)));
    throw unusable(
      `a reference of colour (C* ${chroma.toFixed(0)}), needed a neutral one (C* ${CHROMA_MAX} or less); set the white balance, or take plain white paper or a grey card`,
      { chroma },
    );
  }
  if (uneven > half) {
    throw unusable('a reference that is not even, needed one without print, folds and shadows', { uneven });
  }
}

/** Connected areas of even, neutral, unclipped squares that are not the piece itself. */
function groupCells(cells: readonly Cell[], chart: ChartLight): readonly (readonly Cell[])[] {
  const { bareAt, bareRgb, located } = chart;
  const { widthMm, heightMm } = located.layout;
  const isPiece = ({ light, lab, xMm, yMm }: Cell) => {
    const here = bareAt(Math.min(widthMm, Math.max(0, xMm)), Math.min(heightMm, Math.max(0, yMm)));
    const ownLab = labOfLinearRgb(scaleTo(bareRgb, lab[0]));
    const chroma = Math.hypot(lab[1] - ownLab[1], lab[2] - ownLab[2]);
    return Math.abs(Math.log(light / here)) < BARE_LIKE.share && chroma < BARE_LIKE.chroma;
  };
  const byPlace = new Map(
    cells
      .filter((cell) => cell.even && !cell.clipped && isNeutral(cell))
      .map((cell) => [`${cell.column},${cell.row}`, cell]),
  );
  const groups: Cell[][] = [];
  for (const [place, first] of byPlace) {
    byPlace.delete(place);
    const group = [first];
    for (const { column, row, light } of group) {
      for (const [dx, dy] of [
        [1, 0],
        [-1, 0],
        [0, 1],
        [0, -1],
      ] as const) {
        const key = `${column + dx},${row + dy}`;
        const next = byPlace.get(key);
        if (!next || Math.abs(Math.log(next.light / light)) > NEIGHBOUR_EVEN) continue;
        byPlace.delete(key);
        group.push(next);
      }
    }
    groups.push(group);
  }
  return groups.filter(
    (group) =>
      group.length >= CELLS_MIN &&
      !(
        Math.min(...group.map(({ awayMm }) => awayMm)) < BARE_LIKE.nearMm &&
        group.filter(isPiece).length * 2 > group.length
      ),
  );
}

/** The same colour at another L*. */
function scaleTo([r, g, b]: readonly [number, number, number], lightness: number): [number, number, number] {
  const [wr, wg, wb] = REC709.weights;
  const scale = reflectanceOfLightness(lightness) / Math.max(1e-6, wr * r + wg * g + wb * b);
  return [r * scale, g * scale, b * scale];
}

/** Paper is the lightest thing beside the piece; of a card there must be one alone. */
function chooseField(
  { lightness }: NeutralReference,
  groups: readonly (readonly Cell[])[],
  cells: readonly Cell[],
): readonly Cell[] {
  const isPaper = lightness >= PAPER_L;
  const clipped = cells.filter((cell) => cell.clipped).length;
  if (groups.length === 0 || isPaper) {
    if (clipped >= CELLS_MIN) {
      throw unusable(
        'what is lightest beside the chart cut off at the top of the scale, needed some room above it; expose less',
        {
          clipped,
        },
      );
    }
  }
  if (groups.length === 0) {
    throw unusable(
      `no even, neutral area of ${CELLS_MIN} squares of ${CELL_MM} mm within ${REACH_MM} mm of the chart that is not the piece itself, needed plain white paper or a grey card there; or give its place`,
      { squares: cells.length, options: ['reference-at'] },
    );
  }
  const levels = groups.map((group) => median(group.map(({ light }) => light)));
  if (isPaper) return groups[levels.indexOf(Math.max(...levels))]!;
  if (groups.length > 1) {
    throw unusable(
      `${groups.length} even neutral areas beside the chart (L* ${levels.map((level) => labOfLinearRgb([level, level, level])[0].toFixed(0)).join(', ')} as the capture shows them), needed one; give the place of the card`,
      { areas: groups.length, options: ['reference-at'] },
    );
  }
  return groups[0]!;
}

function boundsOf(cells: readonly Cell[], side: number): PixelBox {
  const columns = cells.map(({ column }) => column);
  const rows = cells.map(({ row }) => row);
  const [left, top] = [Math.min(...columns), Math.min(...rows)];
  return {
    x: Math.round(left * side),
    y: Math.round(top * side),
    width: Math.round((Math.max(...columns) - left + 1) * side),
    height: Math.round((Math.max(...rows) - top + 1) * side),
  };
}
