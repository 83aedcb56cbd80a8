import type { Lab } from '../../src/colour/index.ts';
import { predictCurve } from '../../src/job/request/curve.ts';
import { assumeResponse, coverageTable, fillDotTable, invertProfile, type Surface } from '../../src/material/index.ts';
import type { DotGrid, Dots, DotTable, Plane } from '../../src/plane/index.ts';
import {
  applyScreen,
  SCREEN_NAMES,
  SCREENS,
  type ScreenName,
  type ScreenOptions,
  takesStrength,
} from '../../src/screens/index.ts';

/** A surface whose response model is the printer, and the grid that is printed on. */
export interface BenchMaterial {
  readonly title: string;
  readonly surface: Surface;
  readonly grid: DotGrid;
  /** Mark diameter of a lone dot to the pitch. */
  readonly markToPitch: number;
}

interface Marks {
  readonly title: string;
  readonly bare: Lab;
  readonly full: Lab;
  readonly pitchMm: number;
  readonly markToPitch: number;
  readonly steepness: number;
  readonly yuleNielsenN: number;
}

function describeMaterial({ title, bare, full, pitchMm, markToPitch, steepness, yuleNielsenN }: Marks): BenchMaterial {
  const grid = { pitchMm, lineSpacingMm: pitchMm };
  const markDiameterUm = 1000 * markToPitch * pitchMm;
  const mark = { markDiameterXUm: markDiameterUm, markDiameterYUm: markDiameterUm, drive: 2, steepness, yuleNielsenN };
  return { title, grid, markToPitch, surface: { bare, full, response: assumeResponse(mark, grid) } };
}

/** Assumed, like the built-in profiles: three kinds of mark, all wider than the pitch. */
export const WIDE_MARKS: readonly BenchMaterial[] = [
  {
    title: 'anodised',
    bare: [17, 0, 0] as Lab,
    full: [80, 0, 0] as Lab,
    pitchMm: 0.02,
    markToPitch: 2,
    steepness: 8,
    yuleNielsenN: 1,
  },
  {
    title: 'stainless',
    bare: [70, 0, 0] as Lab,
    full: [24, 0, 0] as Lab,
    pitchMm: 0.03,
    markToPitch: 1.7,
    steepness: 4,
    yuleNielsenN: 1,
  },
  {
    title: 'leather',
    bare: [70, 0, 0] as Lab,
    full: [28, 0, 0] as Lab,
    pitchMm: 0.1,
    markToPitch: 1.5,
    steepness: 2.5,
    yuleNielsenN: 1,
  },
].map(describeMaterial);

export interface Variant {
  readonly label: string;
  readonly name: ScreenName;
  readonly options: Partial<ScreenOptions>;
}

/** What an option does to one screen stands for what it does to all. */
const OPTIONS: readonly Variant[] = [
  { label: 'floyd-steinberg, edges 1', name: 'floyd-steinberg', options: { edges: 1 } },
  { label: 'floyd-steinberg, runs of 4', name: 'floyd-steinberg', options: { run: 4 } },
];

/**
 * Every screen of the registry, each that can pass on the error of the marks a second time with that, and some options.
 */
export function listVariants(): Variant[] {
  const all = SCREEN_NAMES.flatMap((name): Variant[] => {
    const plain: Variant = { label: name, name, options: {} };
    const isModelBased = SCREENS[name].uses.includes('errorOf');
    return isModelBased ? [plain, { label: `${name}, model-based`, name, options: { errorOf: 'marks' } }] : [plain];
  });
  return [...all, ...OPTIONS];
}

export interface Print {
  readonly dots: Dots;
  readonly table: DotTable;
  /** Wanted reflectance for each luminance. */
  readonly reflectance: Float32Array;
}

/**
 * Prints a luminance plane on a material as a job does: through the screen's curve, or, for `strength`, without one.
 */
export function openPrinter(material: BenchMaterial, { name, options }: Variant, curve: 'own' | 'none' = 'own') {
  const { surface, grid } = material;
  const table = fillDotTable(surface, grid);
  const request = { ...options, name, grid };
  const isStrength = takesStrength(request);
  const screen = { name, options: options as Readonly<Record<string, string | number>> };
  const asMarks = { name: 'floyd-steinberg', options: { errorOf: 'marks' } } as const;
  const points = predictCurve(surface, { screen: curve === 'none' ? asMarks : screen, grid });
  const rising = points.filter(({ lightness }, i) => i === 0 || Math.abs(lightness - points[i - 1]!.lightness) > 1e-3);
  const tones = coverageTable({ points: rising.map((point) => ({ ...point, spread: 0 })) }, { range: 'scale' });
  return (luminance: Plane<'luminance'>): Print => {
    const wanted = invertProfile(luminance, { table: tones });
    const dots = applyScreen(wanted, { ...request, ...(isStrength ? { marks: table } : {}) });
    return { dots, table, reflectance: tones.reflectance };
  };
}
