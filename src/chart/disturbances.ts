import { lightnessOfReflectance } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { type GutterLight, judgeGutters, neighbourScatter } from './gutters.ts';
import { CHART_KINDS } from './kinds/register.ts';
import type { LightSurface } from './light.ts';
import type { Located } from './locate.ts';
import { type RejectedPatch, rejectPatch } from './readings.ts';
import type { FieldSamples, PatchSamples } from './samples.ts';
import type { ChartLayout } from './types.ts';

/**
 * Share of clipped pixels that spoils a patch, and share of spoilt patches that spoils a capture. Assumed: a twentieth
 * moves a mean by less than a reading's error; dust takes up to a third.
 */
export const CLIPPED_PATCH = 0.05;
const CLIPPED_CAPTURE = 0.15;
const SCRATCHED_PATCH = 0.35;

/**
 * The bare gutter around a patch differs from the light on it when by more than this share and this many robust
 * standard deviations. Assumed: less is grain, and does not move a patch by what is seen.
 */
const GUTTER_MIN = 0.02;
const GUTTER_OUTLIER = 5;

/**
 * A bare gutter that differs matters when it moves the patch by more than this, L*, or is more than this share.
 * Assumed: 1.5 L* is what a person sees.
 */
const GUTTER_HARM = 1.5;
const GUTTER_ALWAYS = 0.1;

/**
 * Beside a reflection or shadow a patch says something about the camera when its gutter is within this share and so
 * many deviations. Assumed: as even as undisturbed light leaves stock.
 */
const UNDISTURBED_MIN = 0.004;
const UNDISTURBED_DEVIATIONS = 2;

/**
 * Middle of the gutter that is judged, shares of its width, and the share of bare that blur may carry there from a
 * solid. Assumed: blur of a third of the gutter is told from reflected light.
 */
const GUTTER_MIDDLE = 0.4;
const CARRIED_MAX = 0.03;

/**
 * Gutters of cells with as much energy are at least this part as dark where it is smoke. A share. Assumed: smoke goes
 * with the energy, a reflection does not.
 */
const SMOKE_LIKE = 0.5;

/**
 * Largest part of a patch's own contrast that its bare gutter may show: more means that patches do not lie where they
 * were looked for. A share. Assumed: blur alone shows a tenth.
 */
const GUTTER_TONE_MAX = 0.3;

/** Patches that cannot be read: out of the picture, clipped, or scratched. */
export function findUnreadable(samples: readonly PatchSamples[], located: Located): RejectedPatch[] {
  const { pxPerMm, layout } = located;
  return samples.flatMap((sample) => {
    const { patch, pixels, rejectedShare, clippedHigh, clippedLow } = sample;
    const expected = (patch.widthMm - 2 * layout.borderMm) * (patch.heightMm - 2 * layout.borderMm) * pxPerMm ** 2;
    if (pixels / Math.max(1e-9, 1 - rejectedShare) < 0.25 * Math.min(expected, 400)) {
      return rejectPatch(
        sample,
        'outside',
        `${Math.round(pixels)} pixels read, needed ${Math.round(0.25 * Math.min(expected, 400))}`,
      );
    }
    if (clippedHigh > CLIPPED_PATCH || clippedLow > CLIPPED_PATCH) {
      const share = Math.max(clippedHigh, clippedLow);
      return rejectPatch(
        sample,
        'clipped',
        `${Math.round(100 * share)} % of its pixels at an end of the scale, needed ${100 * CLIPPED_PATCH} % or less`,
      );
    }
    if (rejectedShare > SCRATCHED_PATCH) {
      return rejectPatch(
        sample,
        'scratch',
        `${Math.round(100 * rejectedShare)} % of it unlike the rest, needed ${100 * SCRATCHED_PATCH} % or less`,
      );
    }
    return [];
  });
}

/** Refuses a capture of which too much is clipped. @throws AppError capture-clipped */
export function refuseClipped(samples: readonly PatchSamples[]): void {
  const share = (which: 'clippedHigh' | 'clippedLow') =>
    samples.filter((sample) => sample[which] > CLIPPED_PATCH).length / samples.length;
  const high = share('clippedHigh');
  const low = share('clippedLow');
  if (Math.max(high, low) <= CLIPPED_CAPTURE) return;
  const end = high >= low ? 'top' : 'bottom';
  const advice =
    high >= low ? 'expose less and turn automatic contrast off' : 'expose more and turn automatic contrast off';
  throw new AppError(
    'capture-clipped',
    `found ${Math.round(100 * Math.max(high, low))} % of patches cut off at the ${end} of the scale, needed ${100 * CLIPPED_CAPTURE} % or less; ${advice}`,
    { clippedHigh: high, clippedLow: low },
  );
}

/** The light on the chart before the camera's curve is known: by sRGB, or by the curve that was given. */
export interface RoughLight {
  readonly surface: LightSurface;
  readonly lightOf: (sample: FieldSamples) => number;
  readonly layout: ChartLayout;
  readonly blurMm: number;
}

/** What lies in a reflection or a shadow, as the bare stock beside the patches shows it. */
export interface Disturbance {
  readonly rejected: readonly RejectedPatch[];
  /** Cells of a dose chart whose dark gutter was taken for smoke, and how dark it is, a share. */
  readonly smoke: ReadonlyMap<string, number>;
  /** What the gutters say about the light; absent where they cannot be judged. */
  readonly gutters?: GutterLight;
}

const NOTHING: Disturbance = { rejected: [], smoke: new Map() };

interface Deviating extends Disturbance {
  /** All that deviate, those that were left out before, too. */
  readonly deviating: readonly PatchSamples[];
}

/**
 * Finds the patches under a reflection or a shadow: by the gutters around all patches, and on a strip by its margins.
 * @throws AppError chart-wrong
 */
export function findDisturbances(
  samples: readonly PatchSamples[],
  margins: readonly FieldSamples[],
  light: RoughLight,
): Disturbance {
  return joinDisturbances([findByGutters(samples, light), findByMargins(samples, margins, light)]);
}

function joinDisturbances(parts: readonly Disturbance[]): Disturbance {
  const gutters = parts.find((part) => part.gutters)?.gutters;
  return {
    rejected: parts.flatMap(({ rejected }) => rejected),
    smoke: new Map(parts.flatMap((part) => [...part.smoke])),
    ...(gutters ? { gutters } : {}),
  };
}

/**
 * Patches whose gutter is as light as it should be: near a reflection or shadow the others say nothing about the
 * camera.
 */
export function keepUndisturbed(
  samples: readonly PatchSamples[],
  gutters: GutterLight | undefined,
): readonly PatchSamples[] {
  if (!gutters) return samples;
  const most = Math.max(UNDISTURBED_MIN, UNDISTURBED_DEVIATIONS * gutters.scatter);
  return samples.filter((_, at) => Math.abs(gutters.off[at]!) <= most);
}

/**
 * Patches whose bare gutter is lighter or darker than a smooth light allows. A reflection adds the same light to a dark
 * patch as to its bare gutter, where it is a far smaller share: what it would do to the patch's L* counts. On a dose
 * chart dark gutters are left alone, as smoke from the stronger cells is part of what it shows.
 * @throws AppError chart-wrong when the gutters carry so much of the patches that these do not lie where they were
 * looked for
 */
function findByGutters(samples: readonly PatchSamples[], light: RoughLight): Disturbance {
  const { surface, lightOf, layout, blurMm } = light;
  const tones = samples.map((sample) => lightOf(sample) / surface.bareAt(sample.xMm, sample.yMm));
  // Where blur carries much of a strong mark into the gutters, these say more about the mark than about the light.
  const sigmas = (GUTTER_MIDDLE * layout.gapMm) / Math.max(1e-6, blurMm);
  const carried = Math.exp((-sigmas * sigmas) / 2) / (sigmas * Math.sqrt(2 * Math.PI));
  if (carried * Math.abs(1 - surface.solidRatio) > CARRIED_MAX) return NOTHING;
  const gutters = judgeGutters(samples, {
    tones,
    besides: samples.map((sample) => lightOf(sample) / sample.gutter),
    bares: samples.map((sample) => surface.bareAt(sample.xMm, sample.yMm)),
    chart: layout,
  });
  if (!gutters) return NOTHING;
  if (gutters.toneShare > GUTTER_TONE_MAX) {
    throw new AppError(
      'chart-wrong',
      `found ${Math.round(100 * gutters.toneShare)} % of the patches' contrast in the bare gutters between them, needed ${100 * GUTTER_TONE_MAX} % or less: the patches do not lie where the tags put them; photograph a curved piece from farther away, or lay it flat`,
      { toneShare: gutters.toneShare },
    );
  }
  const all = findDeviating(samples, gutters, light);
  // A shadow or a reflection that ends within a patch is seen on one side of its gutter only; where one is near, that
  // counts.
  const near = ({ patch }: PatchSamples) =>
    all.deviating.some(
      ({ patch: other }) =>
        Math.abs(patch.xMm - other.xMm) < 1.6 * (patch.widthMm + layout.gapMm) &&
        Math.abs(patch.yMm - other.yMm) < 1.6 * (patch.heightMm + layout.gapMm),
    );
  const worst = samples.map((sample, at) =>
    near(sample) ? gutters.offSides[at]!.reduce((most, side) => (Math.abs(side) > Math.abs(most) ? side : most), 0) : 0,
  );
  const bySide = findDeviating(samples, { off: worst, scatter: 1.5 * gutters.scatter }, light);
  return joinDisturbances([{ ...all, gutters }, bySide]);
}

/**
 * The same on a strip, whose patches lie between two bare fields each: a shadow over one end would otherwise be read as
 * tone.
 */
function findByMargins(
  samples: readonly PatchSamples[],
  margins: readonly FieldSamples[],
  light: RoughLight,
): Disturbance {
  if (margins.length === 0) return NOTHING;
  const away = margins.map((margin) => Math.log(light.lightOf(margin) / light.surface.bareAt(margin.xMm, margin.yMm)));
  const off = samples.map(({ patch }) => {
    const x = patch.xMm + patch.widthMm / 2;
    const y = patch.yMm + patch.heightMm / 2;
    const beside = away.filter(
      (_, at) => Math.abs(margins[at]!.xMm - x) < 1e-6 || Math.abs(margins[at]!.yMm - y) < 1e-6,
    );
    const most = beside.reduce((worst, one) => (Math.abs(one) > Math.abs(worst) ? one : worst), 0);
    return Math.exp(most) - 1;
  });
  const points = margins.map(({ xMm, yMm }, at) => ({ xMm, yMm, value: away[at]! }));
  return findDeviating(samples, { off, scatter: neighbourScatter(points) }, light);
}

/** Patches beside which the light deviates so far that it moves them; with dark gutters that are smoke told apart. */
function findDeviating(
  samples: readonly PatchSamples[],
  { off: offs, scatter }: Pick<GutterLight, 'off' | 'scatter'>,
  { surface, lightOf, layout }: RoughLight,
): Deviating {
  const smoke = new Map<string, number>();
  const rejected: RejectedPatch[] = [];
  const noticed = Math.max(GUTTER_MIN, GUTTER_OUTLIER * scatter);
  const isSmoke = CHART_KINDS[layout.kind].isTable ? tellSmoke(samples, offs, layout) : () => false;
  const deviating = samples.filter((sample, at) => {
    const off = offs[at]!;
    if (!(Math.abs(off) > noticed)) return false;
    if (off < 0 && isSmoke(at)) {
      if (-off > GUTTER_ALWAYS) smoke.set(sample.patch.id, -off);
      return false;
    }
    const light = lightOf(sample);
    const without = off > 0 ? light - off * surface.bareAt(sample.xMm, sample.yMm) : light / (1 + off);
    const harm = Math.abs(lightnessOfReflectance(light) - lightnessOfReflectance(Math.max(0, without)));
    if (harm < GUTTER_HARM && Math.abs(off) < GUTTER_ALWAYS) return false;
    rejected.push(
      rejectPatch(
        sample,
        off > 0 ? 'glare' : 'shadow',
        `the bare gutter around it is ${(100 * off).toFixed(1)} % off, which moves it by ${harm.toFixed(1)} L*, needed ${GUTTER_HARM} L* or less`,
      ),
    );
    return true;
  });
  return { deviating, rejected, smoke };
}

/**
 * Whether a dark gutter can be smoke of its own cell, which is part of what a dose chart shows: then no cell of the
 * same energy or more has a gutter that is far less dark. A shadow does not ask for the dose.
 */
function tellSmoke(
  samples: readonly PatchSamples[],
  offs: readonly number[],
  layout: ChartLayout,
): (at: number) => boolean {
  const doses = samples.map(({ patch }) => {
    if (patch.role === 'bare') return 0;
    const { powerW, passes, speedMmPerS, lineSpacingMm } = {
      lineSpacingMm: layout.grid.lineSpacingMm,
      ...layout.settings,
      ...patch.settings,
    };
    return (powerW * passes) / (speedMmPerS * lineSpacingMm);
  });
  return (at) => doses.every((dose, i) => i === at || dose < doses[at]! || !(offs[i]! > SMOKE_LIKE * offs[at]!));
}
