import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid, Dots } from '../plane/index.ts';
import { hash32 } from './chance.ts';
import { depositLines, type PlacedLine } from './deposit.ts';
import { type EngraveRows, startFastRows, startPlainRows } from './engrave-rows.ts';
import type { PlacedField } from './field.ts';
import { createGrainField } from './grain.ts';
import { tabulateColours } from './law.ts';
import { type RowSink, scatterLight } from './light-scatter.ts';
import type { MaterialModel } from './material-model.ts';
import type { PowerModel } from './power-levels.ts';
import { startFastSum, startPlainSum } from './row-sum.ts';
import type { Surface } from './surface.ts';

export interface EngraveOptions {
  readonly grid: DotGrid;
  readonly model: MaterialModel;
  /** Any whole number; the same seed burns the same piece again. */
  readonly seed: number;
  /** What was typed in; the model's own settings when absent. */
  readonly settings?: BurnSettings;
  /** Samples of the deposit per dot in each direction; chosen from spot and pixel when absent. */
  readonly oversample?: number;
  /** Size of a pixel of the surface, µm; 25.4 mm/1200 when absent. */
  readonly pixelUm?: number;
  /** Bare material around the bitmap, mm, rounded up to whole dots; 0 when absent. */
  readonly marginMm?: number;
  readonly cornerRadiusMm?: number;
  /** How far the piece leaves focus from its middle line towards its upper and lower edge, mm per mm; 0 when absent. */
  readonly tilt?: number;
  /** How the beam differs over the machine's field, and where in it the bitmap lies; even when absent. */
  readonly field?: PlacedField;
  /** What the laser makes of levels of power; in proportion when absent. */
  readonly levels?: PowerModel;
  /** Height of the best focus above the middle of the piece, mm; 0 when absent. */
  readonly focusMm?: number;
  /** How far the beam focuses higher along the scan than across it, mm; 0 when absent. */
  readonly astigmatismMm?: number;
  /** Rows that are burned at places of their own, on a piece so many line spacings high; row by row when absent. */
  readonly turn?: { readonly rows: number; readonly lines: readonly PlacedLine[] };
}

/** Side of a pixel of the surface. Exact: an inch over 1200, twice as fine as the finest flatbed here. */
const DEFAULT_PIXEL_UM = 25_400 / 1200;
/** Most samples along a dot's side, a count. Assumed: more cost memory by their square and change no mean. */
const MOST_SAMPLES = 12;

/**
 * Burns dots into a material and gives what the piece then reflects.
 *
 * The energy of each dot (power × time, uneven from dot to dot and line to line, raised by the heat of the dots before
 * it) lands as an elliptical Gaussian smeared along the scan. The doses of all dots and passes add up, sample by
 * sample, to a local dose; over the local half dose (uneven with the grain) the law and the colour path give the local
 * colour; light scatter in the material and the grain's own shade follow; the mean over each pixel is kept.
 * Mean dose of a solid fill: P·duty·passes/(v·s) × (1 + heat gains).
 *
 * Works line by line, so that a whole card needs little more memory than its own pixels.
 * @throws RangeError when `oversample`, `pixelUm` or `marginMm` is out of range
 */
export function engrave(dots: Dots, options: EngraveOptions): Surface {
  const { grid, model, seed } = options;
  const settings = options.settings ?? model.settings;
  const pixelUm = options.pixelUm ?? DEFAULT_PIXEL_UM;
  const marginMm = options.marginMm ?? 0;
  if (!(pixelUm > 0)) throw new RangeError(`pixelUm needs to be above 0, got ${pixelUm}`);
  if (!(marginMm >= 0)) throw new RangeError(`marginMm needs to be at least 0, got ${marginMm}`);
  const perDot = samplesPerDot(options, pixelUm);
  const marginX = Math.ceil(marginMm / grid.pitchMm - 1e-9);
  const marginY = Math.ceil(marginMm / grid.lineSpacingMm - 1e-9);
  const columns = dots.width + 2 * marginX;
  const rows = options.turn?.rows ?? dots.height + 2 * marginY;

  const widthMm = columns * grid.pitchMm;
  const heightMm = rows * grid.lineSpacingMm;
  const width = Math.max(1, Math.round((widthMm * 1000) / pixelUm));
  const height = Math.max(1, Math.round((heightMm * 1000) / pixelUm));
  const surface: Surface = {
    width,
    height,
    pixelWidthMm: widthMm / width,
    pixelHeightMm: heightMm / height,
    leftMm: -marginX * grid.pitchMm,
    topMm: -marginY * grid.lineSpacingMm,
    widthMm,
    heightMm,
    cornerRadiusMm: options.cornerRadiusMm ?? 0,
    rgb: new Float32Array(width * height * 3),
  };

  const colours = tabulateColours(model.law, model.colour);
  const shape = { columns, perDot: perDot.x, pixels: width };
  const passes = startFastRows(shape, colours) ?? startPlainRows(shape, colours);
  const average = averageIntoPixels(surface, rows * perDot.y, passes);
  const sink =
    model.lightSpread.share > 0
      ? scatterLight(average, {
          spread: model.lightSpread,
          samples: columns * perDot.x,
          rows: rows * perDot.y,
          sampleXUm: (grid.pitchMm * 1000) / perDot.x,
          sampleYUm: (grid.lineSpacingMm * 1000) / perDot.y,
        })
      : average;

  const deposit = depositLines(dots, {
    ...{ ...options, settings, perDot, marginX, tilt: options.tilt ?? 0 },
    ...(options.turn ? { lines: options.turn.lines } : {}),
  });
  const fields = model.grain.map((layer, index) => ({
    layer,
    field: createGrainField({ layer, seed: hash32(seed, 11, index), columns, columnUm: grid.pitchMm * 1000 }),
  }));
  const dose = new Float32Array(columns * perDot.x);
  const answer = new Float32Array(columns);
  const shade = new Float32Array(columns);
  const root = 1 / model.law.accumulation;

  for (let dotRow = 0; dotRow < rows; dotRow++) {
    // Grain is taken once a dot: it is coarser than a dot, or else too fine to tell from jitter.
    answer.fill(Math.log(colours.perRatio / model.law.halfDoseJPerCm2));
    shade.fill(0);
    for (const { layer, field } of fields) {
      const yUm = (dotRow + 0.5) * grid.lineSpacingMm * 1000;
      if (layer.thresholdSd > 0) field.addLine(answer, yUm, layer.thresholdSd);
      if (layer.reflectanceSd > 0) field.addLine(shade, yUm, -layer.reflectanceSd);
    }
    for (let i = 0; i < columns; i++) {
      answer[i] = Math.exp(answer[i]);
      shade[i] = Math.exp(shade[i]);
    }
    for (let sub = 0; sub < perDot.y; sub++) {
      deposit.readRow(dose, (dotRow - marginY) * perDot.y + sub);
      if (root !== 1) takeAccumulationRoot(dose, 1 / root);
      sink(passes.colour(dose, answer, shade));
    }
  }
  return surface;
}

/** Samples per dot along x and y: at least as fine as a pixel and an eighth of the spot. */
function samplesPerDot({ grid, model, oversample }: EngraveOptions, pixelUm: number): { x: number; y: number } {
  if (oversample !== undefined && !(Number.isInteger(oversample) && oversample >= 1 && oversample <= 32)) {
    throw new RangeError(`oversample needs to be a whole number from 1 to 32, got ${oversample}`);
  }
  const choose = (dotUm: number, spotUm: number) => {
    const finest = Math.ceil(dotUm / Math.min(pixelUm, spotUm / 6) - 1e-9);
    return oversample ?? Math.min(MOST_SAMPLES, Math.max(2, finest));
  };
  return {
    x: choose(grid.pitchMm * 1000, model.beam.spotDiameterXUm),
    y: choose(grid.lineSpacingMm * 1000, model.beam.spotDiameterYUm),
  };
}

/** From Σ dose^power back to a dose. */
function takeAccumulationRoot(dose: Float32Array, accumulation: number): void {
  for (let i = 0; i < dose.length; i++) if (dose[i] > 0) dose[i] = dose[i] ** accumulation;
}

/**
 * A sink that keeps the mean of the samples over each pixel; a sample on a pixel's edge counts in both by its share.
 */
function averageIntoPixels({ width, height, rgb }: Surface, rows: number, passes: EngraveRows): RowSink {
  const perPixelY = rows / height;
  const length = 3 * width;
  const pixelRow = startFastSum(length, 1) ?? startPlainSum(length, 1);
  const line = pixelRow.spare[0]!;
  let sampleRow = 0;
  let current = -1;
  return (row) => {
    line.set(passes.average(row));
    const top = sampleRow / perPixelY;
    const bottom = ++sampleRow / perPixelY;
    for (let y = Math.floor(top + 1e-9); y < Math.min(height, bottom - 1e-9); y++) {
      const share = Math.min(bottom, y + 1) - Math.max(top, y);
      if (y !== current) pixelRow.clear();
      current = y;
      pixelRow.add(line, share, 0, length);
      rgb.set(pixelRow.sum, y * length);
    }
  };
}
