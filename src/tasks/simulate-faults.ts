import { type CaptureImage, type ChartLayout, type ChartOptions, drawChart, layoutChart } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { checkCapture, fitCaptures, type Learned, type ReadCapture, readCaptures } from '../job/index.ts';
import type { Profile } from '../material/index.ts';
import { applyScreen } from '../screens/index.ts';
import {
  CAMERAS,
  type CameraOptions,
  type CaptureFault,
  captureSurface,
  DIRTY_LENS,
  dirtyLens,
  engrave,
  type MaterialModel,
  mirrorSurface,
  type Surface,
  spoilCamera,
  TILT,
} from '../simulation/index.ts';
import type { TaskContext } from './context.ts';

/** Pixels of the burned surface, dots per inch. Exact: twice the 300 dpi of the scan. */
const SURFACE_DPI = 600;
const SCREEN = { name: 'floyd-steinberg', options: {} } as const;
/** Date of profiles that are thrown away again. */
const DATE = '2000-01-01';

export interface PlantedFault {
  readonly fault: string;
  /** What was done, in words. */
  readonly planted: string;
  /** What the program said: a refusal with its code, or its words. */
  readonly said: string;
  readonly code: string | null;
}

export interface FaultsRecord {
  readonly model: MaterialModel;
  readonly seed: number;
  /** Hashes of the tone chart and of the control strip. */
  readonly chart: string;
  readonly strip: string;
  readonly faults: readonly PlantedFault[];
}

/**
 * The loop with one fault after another, and what the program says to each: shows a person what faults look like, by
 * the same code that reads real captures.
 */
export async function simulateFaults(
  model: MaterialModel,
  {
    seed,
    progress,
    only = [],
    size,
  }: {
    readonly seed: number;
    readonly progress: TaskContext['progress'];
    /** Faults to plant; all when empty. */
    readonly only?: readonly string[];
    /** Of the tone chart; its usual one when absent. */
    readonly size?: { readonly widthMm: number; readonly heightMm: number };
  },
): Promise<FaultsRecord> {
  const shared: Omit<ChartOptions, 'widthMm'> = {
    machine: 'simulation',
    material: model.name,
    direction: model.direction,
    settings: model.settings,
    grid: model.reference,
    screen: SCREEN,
  };
  const tone = layoutChart('tone', { ...shared, ...size });
  const burn = (layout: ChartLayout, more: { readonly model?: MaterialModel; readonly tilt?: number } = {}) =>
    engrave(drawOf(layout), {
      grid: layout.grid,
      model: more.model ?? model,
      settings: (more.model ?? model).settings,
      seed,
      pixelUm: 25_400 / SURFACE_DPI,
      marginMm: 3,
      ...(more.tilt === undefined ? {} : { tilt: more.tilt }),
    });
  const flatbed = CAMERAS['flatbed-300']!.options;
  const phone = CAMERAS['phone-straight']!.options;
  const scan = (
    surface: Surface,
    camera: CameraOptions = flatbed,
    faults: readonly CaptureFault[] = [],
  ): CaptureImage => {
    const { width, height, rgb } = captureSurface(surface, { ...spoilCamera(camera, { faults, surface }), seed });
    return { width, height, rgb, bits: 8 };
  };
  const read = (image: CaptureImage): readonly ReadCapture[] =>
    readCaptures([{ name: 'simulation', image }], { layouts: [tone], camera: 'known' });
  const learn = (image: CaptureImage) => fitCaptures(read(image), { camera: 'known', date: DATE, origin: 'simulated' });

  progress('burning and learning without a fault', 0);
  const clean = burn(tone);
  const learned = learn(scan(clean));
  const strip = layoutStripFor(learned.profile, shared);
  const found: PlantedFault[] = [{ fault: 'none', planted: 'nothing', said: describe(learned), code: null }];
  const plant = (fault: string, planted: string, tell: () => string) => {
    if (only.length > 0 && !only.includes(fault)) return;
    progress(`planting ${fault}`);
    found.push({ fault, planted, ...tellOf(tell) });
  };
  plant('tilt', `the piece leaves focus by ${1000 * TILT} µm a mm from its middle line on`, () =>
    describe(learn(scan(burn(tone, { tilt: TILT })))),
  );
  plant(
    'dirty-lens',
    `${Math.round(100 * (1 - DIRTY_LENS.power))} % less power in a spot ${Math.round(100 * (DIRTY_LENS.spot - 1))} % wider; a control strip`,
    () =>
      checkCapture(scan(burn(strip, { model: dirtyLens(model) })), {
        layouts: [strip],
        profile: learned.profile,
        camera: 'known',
      }).sentences.join(' '),
  );
  plant('mirrored', 'the piece burned from behind', () => describe(learn(scan(mirrorSurface(clean)))));
  plant('clipped', 'the scanner set so bright that the lightest places are cut off', () =>
    describe(learn(scan(clean, flatbed, ['clipped']))),
  );
  plant('glare', 'a phone with a lamp mirrored in the piece', () => describe(learn(scan(clean, phone, ['glare']))));
  return { model, seed, chart: tone.hash, strip: strip.hash, faults: found };
}

function drawOf(layout: ChartLayout) {
  return drawChart(layout, (coverage, grid) => applyScreen(coverage, { ...SCREEN.options, name: SCREEN.name, grid }));
}

/** A strip burned through the profile that was learned. */
function layoutStripFor({ points, direction }: Profile, shared: Omit<ChartOptions, 'widthMm'>): ChartLayout {
  return layoutChart('check', { ...shared, direction, expected: points });
}

function describe({ report, scatter, warnings }: Learned): string {
  const said = [
    `learned; a tone left out is predicted to ${report.leaveOneOut.toFixed(2)} L*.`,
    ...(scatter?.sentences ?? [`Equal patches differ by ${report.repeatability.toFixed(2)} L*.`]),
    ...warnings.map(({ text }) => text),
  ];
  return said.join(' ');
}

function tellOf(tell: () => string): Pick<PlantedFault, 'said' | 'code'> {
  try {
    return { said: tell(), code: null };
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    return { said: error.message, code: error.code };
  }
}
