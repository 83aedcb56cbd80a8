import type { CellSettings, ChartLayout, Readings } from '../../chart/index.ts';
import { type Lab, lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import { type KnownControl, saySetting } from '../../machine/index.ts';
import { regressCentredIsotonic, standardDeviation } from '../../numeric/index.ts';
import { computeArealDoseJPerCm2, computePulseEnergyUJ, fitCraters } from '../../optics/index.ts';
import { roundTo } from '../page/html.ts';

/** One cell of a dose chart as it was read. */
export interface DosePoint {
  readonly id: string;
  readonly settings: CellSettings;
  /** Mean dose of the solid, P·passes/(v·s). */
  readonly doseJPerCm2: number;
  readonly lightness: number;
  /** Colour of the mark, D65. */
  readonly colour: Lab;
  /** ΔL* from bare in the direction of the mark. */
  readonly contrast: number;
}

/** The characteristic curve of a material: lightness against dose, and what follows from it. */
export interface DoseReading {
  readonly schema: 'tonewright-dose/1';
  readonly chart: string;
  readonly direction: 'lighter' | 'darker';
  readonly bareLightness: number;
  readonly bareColour: Lab;
  /** In order of dose. */
  readonly points: readonly DosePoint[];
  /** Contrast that rises with dose up to the strongest: centred isotonic regression over log dose. */
  readonly curve: readonly { readonly doseJPerCm2: number; readonly contrast: number }[];
  /** Standard deviation of the cells from the curve, ΔL*: what power and speed do beyond their dose, and scatter. */
  readonly scatter: number;
  readonly strongest: DosePoint;
  /**
   * Doses at which a tenth and nine tenths of the strongest contrast are reached; null where the chart does not reach
   * them.
   */
  readonly usableFromJPerCm2: number | null;
  readonly usableToJPerCm2: number | null;
  /** Dose from which on more of it no longer helps: 97 % of the strongest. */
  readonly enoughJPerCm2: number;
  /**
   * Dose beyond the strongest at which the mark has clearly weakened again (fading, charring); null where it has not.
   */
  readonly overburnsFromJPerCm2: number | null;
  /** The fastest cell with nearly the best contrast and room below the turn. */
  readonly recommended: DosePoint;
  /** Peak fluence threshold by Liu's D² method, when diameters were given. */
  readonly threshold: { readonly thresholdJPerCm2: number; readonly spotDiameterUm: number } | null;
  readonly notes: readonly string[];
  /** Names of what the chart was burned with and on; absent in readings of before they were kept. */
  readonly machine?: string;
  readonly material?: string;
}

const DOSE_LIMITS = {
  /** Share of the strongest contrast that counts as enough. Assumed: 3 % are within a reading's own scatter. */
  enough: 0.97,
  /** Least share of the strongest contrast of a recommended cell. Assumed: less gives away tones. */
  recommended: 0.95,
  /** Largest share of the dose at which the mark overburns. Assumed: lens, batch and dirt move a dose by a fifth. */
  margin: 0.8,
  /**
   * A mark is weaker again when it falls by this many times the scatter, a count, and by this share of the strongest.
   * Assumed: three deviations are seldom chance.
   */
  turnScatter: 3,
  /** Share of the strongest contrast. Assumed: a smaller fall is harmless. */
  turnShare: 0.05,
} as const;

export interface DoseOptions {
  /** Diameters of craters of single pulses, µm, by cell; only on pulsed machines. */
  readonly diametersUm?: Readonly<Record<string, number>>;
  /** Control software of the machine that burned it: notes speak in its units. */
  readonly control?: KnownControl;
}

/**
 * Lightness against dose from a dose chart's readings.
 * @throws AppError chart-wrong for another chart, contrast-too-low when fewer than three cells were read,
 * option-invalid for diameters that Liu's line cannot be drawn through
 */
export function readDose(
  readings: Pick<Readings, 'readings' | 'bare' | 'direction'>,
  layout: ChartLayout,
  { diametersUm, control }: DoseOptions = {},
): DoseReading {
  if (layout.kind !== 'dose') {
    throw new AppError('chart-wrong', `found a ${layout.kind} chart (${layout.hash}), needed a dose chart`);
  }
  const bareLightness = readings.bare[0];
  const bare = reflectanceOfLightness(bareLightness);
  const sign = readings.direction === 'lighter' ? 1 : -1;
  const settingsOf = new Map(layout.patches.map(({ id, settings }) => [id, settings]));
  const points = readings.readings
    .flatMap(({ id, mean, colour }): DosePoint[] => {
      const settings = settingsOf.get(id);
      if (!settings) return [];
      const lightness = lightnessOfReflectance(mean * bare);
      const doseJPerCm2 = computeArealDoseJPerCm2(settings);
      return [{ id, settings, doseJPerCm2, lightness, colour, contrast: sign * (lightness - bareLightness) }];
    })
    .sort((a, b) => a.doseJPerCm2 - b.doseJPerCm2);
  if (points.length < 3) {
    throw new AppError('contrast-too-low', `found ${points.length} cells readable, needed at least 3`, {
      found: points.length,
    });
  }
  const strongest = points.reduce((a, b) => (b.contrast > a.contrast ? b : a));
  const doses = mergeDoses(points);
  const rising = doses.filter(({ doseJPerCm2 }) => doseJPerCm2 <= strongest.doseJPerCm2);
  const fit = regressCentredIsotonic(
    rising.map(({ doseJPerCm2 }) => Math.log(doseJPerCm2)),
    rising.map(({ contrast }) => contrast),
    rising.map(({ count }) => count),
  );
  const curve = Array.from(fit.x, (x, at) => ({ doseJPerCm2: Math.exp(x), contrast: fit.y[at]! }));
  const residuals = points
    .filter(({ doseJPerCm2 }) => doseJPerCm2 <= strongest.doseJPerCm2)
    .map(({ doseJPerCm2, contrast }) => contrast - interpolate(curve, doseJPerCm2));
  const scatter = residuals.length > 2 ? standardDeviation(residuals) : 0;
  const top = curve.at(-1)!.contrast;
  const fallen = Math.max(DOSE_LIMITS.turnScatter * scatter, DOSE_LIMITS.turnShare * top);
  const turn = doses.find(
    ({ doseJPerCm2, contrast }) => doseJPerCm2 > strongest.doseJPerCm2 && top - contrast > fallen,
  );
  const overburnsFromJPerCm2 = turn?.doseJPerCm2 ?? null;
  const enoughJPerCm2 = findDose(curve, DOSE_LIMITS.enough * top) ?? strongest.doseJPerCm2;
  const good = points.filter(
    ({ contrast, doseJPerCm2 }) =>
      contrast >= DOSE_LIMITS.recommended * top &&
      doseJPerCm2 <= DOSE_LIMITS.margin * (overburnsFromJPerCm2 ?? Number.POSITIVE_INFINITY),
  );
  const recommended = (good.length > 0 ? good : [strongest]).reduce((a, b) => (rate(b) < rate(a) ? b : a));
  const from = findDose(curve, 0.1 * top);
  const to = findDose(curve, 0.9 * top);
  const threshold = diametersUm ? fitThreshold(points, diametersUm) : null;
  return {
    schema: 'tonewright-dose/1',
    chart: layout.hash,
    direction: readings.direction,
    bareLightness,
    bareColour: readings.bare,
    points,
    curve,
    scatter,
    strongest,
    usableFromJPerCm2: from,
    usableToJPerCm2: to,
    enoughJPerCm2,
    overburnsFromJPerCm2,
    recommended,
    threshold,
    notes: writeNotes({ points, strongest, recommended, overburnsFromJPerCm2, from, good: good.length > 0, control }),
    machine: layout.machine,
    ...(layout.material === '' ? {} : { material: layout.material }),
  };
}

/** Seconds a mm²: what a setting costs in time. */
const rate = ({ settings }: DosePoint) => settings.passes / (settings.speedMmPerS * settings.lineSpacingMm);

/** Cells of the same dose as one point: doses within a thousandth are the same. */
function mergeDoses(points: readonly DosePoint[]) {
  const merged: { doseJPerCm2: number; contrast: number; count: number }[] = [];
  for (const { doseJPerCm2, contrast } of points) {
    const last = merged.at(-1);
    if (last && doseJPerCm2 <= last.doseJPerCm2 * 1.001) {
      last.contrast = (last.contrast * last.count + contrast) / (last.count + 1);
      last.count++;
    } else merged.push({ doseJPerCm2, contrast, count: 1 });
  }
  return merged;
}

type Curve = DoseReading['curve'];

/** Contrast at a dose, linear over log dose, the ends beyond them. */
function interpolate(curve: Curve, doseJPerCm2: number): number {
  const at = curve.findIndex((point) => point.doseJPerCm2 >= doseJPerCm2);
  if (at === 0) return curve[0]!.contrast;
  if (at < 0) return curve.at(-1)!.contrast;
  const [a, b] = [curve[at - 1]!, curve[at]!];
  const share = Math.log(doseJPerCm2 / a.doseJPerCm2) / Math.log(b.doseJPerCm2 / a.doseJPerCm2);
  return a.contrast + share * (b.contrast - a.contrast);
}

/** Dose at which a contrast is reached; null where the curve does not bracket it. */
function findDose(curve: Curve, contrast: number): number | null {
  const at = curve.findIndex((point) => point.contrast >= contrast);
  if (at < 0) return null;
  if (at === 0) return null;
  const [a, b] = [curve[at - 1]!, curve[at]!];
  const share = (contrast - a.contrast) / (b.contrast - a.contrast);
  return a.doseJPerCm2 * (b.doseJPerCm2 / a.doseJPerCm2) ** share;
}

function fitThreshold(points: readonly DosePoint[], diametersUm: Readonly<Record<string, number>>) {
  const known = points.map(({ id }) => id);
  const unknown = Object.keys(diametersUm).find((id) => !known.includes(id));
  if (unknown !== undefined) {
    throw new AppError(
      'option-invalid',
      `diameters: found no readable cell "${unknown}", needed some of ${known.join(', ')}`,
    );
  }
  const craters = points.flatMap(({ id, settings: { powerW, rateKHz } }) => {
    const diameterUm = diametersUm[id];
    if (diameterUm === undefined || rateKHz === undefined) return [];
    return [{ pulseEnergyUJ: computePulseEnergyUJ({ powerW, rateKHz }), diameterUm }];
  });
  try {
    const { thresholdJPerCm2, spotDiameterUm } = fitCraters(craters);
    return { thresholdJPerCm2, spotDiameterUm };
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new AppError(
      'option-invalid',
      `diameters: found ${craters.length} that belong to pulsed cells (${error.message}), needed two different pulse energies with diameters that grow`,
    );
  }
}

function writeNotes({
  points,
  strongest,
  recommended,
  overburnsFromJPerCm2,
  from,
  good,
  control,
}: {
  readonly points: readonly DosePoint[];
  readonly strongest: DosePoint;
  readonly recommended: DosePoint;
  readonly overburnsFromJPerCm2: number | null;
  readonly from: number | null;
  readonly good: boolean;
  readonly control: KnownControl | undefined;
}): string[] {
  const { powerW, speedMmPerS, passes } = recommended.settings;
  const notes = [
    `Start with ${recommended.id}: ${saySetting('powerW', powerW, control)} at ${saySetting('speedMmPerS', speedMmPerS, control)}${passes > 1 ? `, ${passes} passes` : ''} (${recommended.doseJPerCm2.toPrecision(3)} J/cm², ${roundTo(recommended.contrast, 1)} ΔL* from bare)${good ? '' : ': no cell is both nearly the strongest and well below the dose where the mark weakens'}.`,
  ];
  if (overburnsFromJPerCm2 !== null) {
    notes.push(
      `Beyond ${strongest.doseJPerCm2.toPrecision(3)} J/cm² more dose does harm: at ${overburnsFromJPerCm2.toPrecision(3)} J/cm² the mark is weaker again.`,
    );
  }
  if (overburnsFromJPerCm2 === null && points.at(-1)!.id === strongest.id) {
    notes.push('Not bracketed: the strongest mark has the largest dose of the chart. Extend the chart to more dose.');
  }
  if (from === null) {
    notes.push(
      'Not bracketed: the least dose of the chart already gives more than a tenth of the strongest mark. Extend the chart to less dose to see where marking begins.',
    );
  }
  return notes;
}
