import type { ChartLayout, Reading, Readings } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import type { BareHandling } from '../../machine/index.ts';
import { fitLeastSquares, NORMAL_95_ROUNDED, power } from '../../numeric/index.ts';
import { explainTwoWay, readTwoWay, type TwoWayOffset, type WhyUntold } from './two-way.ts';

/** A width with its 95 % confidence interval, µm. */
export interface MeasuredWidth {
  readonly valueUm: number;
  readonly lowUm: number;
  readonly highUm: number;
}

/** What a spot chart says: how wide one line marks along and across the scan. */
export interface SpotReading {
  readonly schema: 'tonewright-spot/1';
  readonly chart: string;
  /** Width of a line that runs along y: of a column of dots, measured along the scan. */
  readonly widthX: MeasuredWidth;
  /** Width of one scan line, measured across the scan. */
  readonly widthY: MeasuredWidth;
  /** Diameter of a disc that marks as much as one dot standing alone; null where the chart shows none. */
  readonly dotUm: number | null;
  /** Yule-Nielsen n: light scatter in the material and in the capture. */
  readonly yuleNielsenN: number;
  /** Line spacing at which neighbouring lines close a solid with a little to spare, mm. */
  readonly recommendedSpacingMm: number;
  /** Each ladder: marked share of the area as read, and as the widths have it. */
  readonly ladders: readonly {
    readonly ids: readonly string[];
    readonly along: 'x' | 'y';
    readonly periodUm: number;
    readonly share: number;
    readonly expected: number;
  }[];
  /** How far lines there and back lie apart; absent where the chart was burned one way, or does not tell. */
  readonly twoWay?: TwoWayOffset;
  readonly notes: readonly string[];
}

/**
 * Share of the width of a scan line by which lines may lie apart. Assumed: a fifth of overlap bridges wobble
 * (commonPractice).
 */
const SPACING_TO_WIDTH = 0.8;
/**
 * Lines of a larger share touch and say nothing about their width; counts: the fewest ladders that fit one width, and
 * the largest n. Assumed: above 0.85 the gaps close by wobble alone, three ladders show their own scatter, and n beyond
 * 4 is no paper's.
 */
const SHARE_MAX = 0.85;
const MIN_LADDERS = 3;
const N_MAX = 4;

/** What a vernier that tells nothing is answered with. */
const UNTOLD: Readonly<Record<WhyUntold, string>> = {
  'drawn-without':
    'The vernier lacks some of its moves, so it does not tell how far lines there and back lie apart: the chart was drawn before all of them were on it, or the machine’s bare lines were treated otherwise then. Draw the chart anew and burn that one; its ladders hold.',
  unread:
    'One of the vernier’s moves has no patch that could be read, so it does not tell how far lines there and back lie apart. Clean the piece and scan it again, at 600 dpi.',
  hidden:
    'The vernier does not tell how far lines there and back lie apart: the surface’s grain hides how its tone changes. Burn the chart on an even stock, such as coated metal: the offset is the machine’s, and no material’s.',
  disagreeing:
    'The vernier does not tell how far lines there and back lie apart: more than their offset shapes its tones, such as heat from line to line, or marks whose edge is too sharp for its moves. Burn the chart at the same speed on another even stock, such as anodised metal: the offset is the machine’s, and no material’s.',
};

interface Ladder {
  readonly ids: readonly string[];
  readonly along: 'x' | 'y';
  readonly periodUm: number;
  /** Luminance relative to bare. */
  readonly ratio: number;
}

/**
 * Widths of lines from the mean reflectance of ladders: a line of width w in every period p marks the share w/p of the
 * area, and the reflectance follows by Yule and Nielsen's mixing (source: 'yuleNielsen1951'; without light scatter it
 * is Murray and Davies', source: 'murray1936'). Both widths and n are fitted together. Lines that touch are left out.
 * @throws AppError chart-wrong for another chart, contrast-too-low when fewer than three ladders a direction are apart
 */
export function readSpot(
  { readings, solidRatio }: Pick<Readings, 'readings' | 'solidRatio'>,
  layout: ChartLayout,
  /** What the machine does with bare lines: it says which lines run back. */
  bare?: BareHandling,
): SpotReading {
  if (layout.kind !== 'spot') {
    throw new AppError('chart-wrong', `found a ${layout.kind} chart (${layout.hash}), needed a spot chart`);
  }
  const { grid } = layout;
  const ladders = groupLadders(readings, layout);
  const shareOf = (ratio: number, n: number) => (power(ratio, 1 / n) - 1) / (power(solidRatio, 1 / n) - 1);
  const apart = ladders.filter(({ ratio }) => shareOf(ratio, 1) < SHARE_MAX);
  for (const along of ['x', 'y'] as const) {
    const found = apart.filter((ladder) => ladder.along === along).length;
    if (found >= MIN_LADDERS) continue;
    throw new AppError(
      'contrast-too-low',
      `found ${found} ladders along ${along} whose lines do not touch, needed ${MIN_LADDERS}; draw the spot chart at a wider pitch and line spacing`,
      { found, along },
    );
  }
  const startOf = (along: 'x' | 'y') => {
    const widest = apart.filter((ladder) => ladder.along === along).reduce((a, b) => (b.periodUm > a.periodUm ? b : a));
    return Math.max(1, shareOf(widest.ratio, 1) * widest.periodUm);
  };
  // Errors of reflectance are alike whatever the tone, so the residuals are taken in reflectance.
  const expectedRatio = (widthUm: number, periodUm: number, n: number) =>
    power(1 + Math.min(1, widthUm / periodUm) * (power(solidRatio, 1 / n) - 1), n);
  const fit = fitLeastSquares(
    ([x, y, n]) =>
      apart.map(({ along, periodUm, ratio }) => expectedRatio(along === 'x' ? y! : x!, periodUm, n!) - ratio),
    { start: [startOf('y'), startOf('x'), 1.2], lower: [0.1, 0.1, 1], upper: [1e4, 1e4, N_MAX], scales: [10, 10, 0.3] },
  );
  const [widthX, widthY, n] = fit.parameters as [number, number, number];
  const measured = (valueUm: number, at: number): MeasuredWidth => {
    const reach = NORMAL_95_ROUNDED * fit.standardErrors[at]!;
    return { valueUm, lowUm: Math.max(0, valueUm - reach), highUm: valueUm + reach };
  };
  const notes: string[] = [];
  if (!fit.converged) notes.push('The widths did not settle: look at the ladders one by one.');
  if (fit.atBound[2]) notes.push(`The light scatter lies at the end of what was tried (n ${n.toFixed(1)}).`);
  const spacingUm = grid.lineSpacingMm * 1000;
  if (widthY < spacingUm) {
    notes.push(
      `A scan line marks ${widthY.toFixed(1)} µm, less than the ${spacingUm.toFixed(1)} µm from line to line: a solid shows stripes, and all widths come out a little large.`,
    );
  }
  const twoWay = readTwoWay(readings, layout, bare);
  if (twoWay) notes.push(sayTwoWay(twoWay, grid.pitchMm));
  const untold = twoWay ? undefined : explainTwoWay(readings, layout, bare);
  if (untold) notes.push(UNTOLD[untold]);
  return {
    schema: 'tonewright-spot/1',
    chart: layout.hash,
    widthX: measured(widthX, 0),
    widthY: measured(widthY, 1),
    dotUm: readIsolated(readings, { layout, shareOf: (ratio) => shareOf(ratio, n) }),
    yuleNielsenN: n,
    recommendedSpacingMm: Math.round(SPACING_TO_WIDTH * widthY) / 1000,
    ladders: ladders.map(({ ids, along, periodUm, ratio }) => ({
      ids,
      along,
      periodUm,
      share: shareOf(ratio, n),
      expected: Math.min(1, (along === 'x' ? widthY : widthX) / periodUm),
    })),
    ...(twoWay ? { twoWay } : {}),
    notes,
  };
}

/** What was found, and what it asks for. */
function sayTwoWay({ offsetUm, lowUm, highUm, speedMmPerS, delayUs }: TwoWayOffset, pitchMm: number): string {
  const range = `95 %: ${lowUm.toFixed(1)} … ${highUm.toFixed(1)}`;
  if (lowUm <= 0 && highUm >= 0) {
    return `Lines there and back meet: ${offsetUm.toFixed(1)} µm apart (${range}) at ${speedMmPerS} mm/s.`;
  }
  const dots = (Math.abs(offsetUm) / 1000 / pitchMm).toFixed(1);
  return `Lines that run back land ${Math.abs(offsetUm).toFixed(1)} µm (${dots} dots; ${range}) too far to the ${offsetUm < 0 ? 'left' : 'right'} at ${speedMmPerS} mm/s: as a beam does that fires ${Math.abs(delayUs).toFixed(1)} µs too ${delayUs < 0 ? 'early' : 'late'}, or mechanics with ${(Math.abs(offsetUm) / 1000).toFixed(4)} mm of play. Burn the chart at another speed, too: two tell one from the other.`;
}

function groupLadders(readings: readonly Reading[], { grid }: ChartLayout): readonly Ladder[] {
  const groups = new Map<string, Reading[]>();
  for (const reading of readings) {
    if (reading.role !== 'ladder') continue;
    groups.set(reading.group, [...(groups.get(reading.group) ?? []), reading]);
  }
  return [...groups.values()].flatMap((group): Ladder[] => {
    const { pattern } = group[0]!;
    if (pattern.kind !== 'lines-x' && pattern.kind !== 'lines-y') return [];
    const along = pattern.kind === 'lines-x' ? 'x' : 'y';
    const stepMm = along === 'x' ? grid.lineSpacingMm : grid.pitchMm;
    const ratio = group.reduce((sum, { mean }) => sum + mean, 0) / group.length;
    return [{ ids: group.map(({ id }) => id), along, periodUm: pattern.period * stepMm * 1000, ratio }];
  });
}

/** Diameter of the disc that isolated dots mark, from the sparse fields: the median over them. */
function readIsolated(
  readings: readonly Reading[],
  { layout: { grid }, shareOf }: { readonly layout: ChartLayout; readonly shareOf: (ratio: number) => number },
): number | null {
  const diameters = readings.flatMap(({ role, pattern, mean }) => {
    if (role !== 'isolated' || pattern.kind !== 'squares') return [];
    const share = shareOf(mean);
    // Dots that touch are no longer alone, and of very sparse ones the reading is mostly noise.
    if (!(share > 0.02 && share < 0.5)) return [];
    const cellUm2 = pattern.period ** 2 * grid.pitchMm * grid.lineSpacingMm * 1e6;
    return [Math.sqrt((4 * share * cellUm2) / Math.PI)];
  });
  if (diameters.length === 0) return null;
  diameters.sort((a, b) => a - b);
  return diameters[diameters.length >> 1]!;
}
