import type { ChartLayout } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { formatJson } from '../../json.ts';
import { estimateTime, moveBackLines } from '../../machine/index.ts';
import { type CoverageTable, coverageTable, invertProfile, tellMarkDiametersUm } from '../../material/index.ts';
import { type Notice, notice, settleNotices } from '../../notices.ts';
import type { ViewingOptions } from '../../optics/index.ts';
import {
  adjustTone,
  type Frame,
  maskCoverage,
  placeOnPiece,
  resolutionWarning,
  type ToneOptions,
} from '../../photo/index.ts';
import {
  type Dots,
  lightnessOfLuminance,
  orientDots,
  type Photo,
  type Plane,
  releaseMemory,
} from '../../plane/index.ts';
import type { PriceList } from '../../price/index.ts';
import { applyScreen, planDirectSearch, SCREENS, type SearchBands, searchDotsInBands } from '../../screens/index.ts';
import { timingOf } from '../request/around.ts';
import { predictPoints } from '../request/curve.ts';
import { requestScreen } from '../request/screen.ts';
import type { JobSpec } from '../request/types.ts';
import { markable } from './choices.ts';
import { compareRuns } from './compare-runs.ts';
import { correctForPlace, curveInField, invertAtPlace, isPlaced, type PlaceCorrection } from './evenness.ts';
import { mendHeat, planHeat } from './heat.ts';
import { type LetteredFrame, letterCoverage, letterDots, maskLettering } from './lettering.ts';
import { type Picture, takePicture } from './picture.ts';
import { makeProof } from './proof.ts';
import { describeStrip, joinStrip, makeStrip } from './strip.ts';
import { writeTicket } from './ticket.ts';
import { renderTicketPage } from './ticket-page.ts';
import { chooseToneValues, facesOf } from './tone.ts';
import type { HalftoneResult, JobFile, Ticket } from './types.ts';
import { writeDots } from './write-dots.ts';

/**
 * From this size on it pays to give a photo's memory back at once. Assumed: 24 MB of colour; smaller ones are not felt.
 */
const LARGE_PIXELS = 8e6;

export interface PrepareOptions {
  readonly spec: JobSpec;
  /** Name of the job and of its files, without ending. */
  readonly name: string;
  /** Name of the photo's file, for the ticket. */
  readonly photoFile: string;
  /** Version of the program, for the ticket. */
  readonly version: string;
  /** `bitmap` leaves out proof and ticket files. */
  readonly only: 'everything' | 'bitmap';
  /** For the price on the ticket; none is written without. */
  readonly prices?: PriceList;
  /** Told what is being done, and how much of it where that is known, 0 … 1. */
  readonly progress?: (stage: string, share?: number) => void;
  /** Searches bands of `direct-search` on other threads; in this one when absent, with the same dots. */
  readonly searchBands?: SearchBands;
}

export interface Job {
  /** In the order in which they are to be written; the ticket's page, which says "done", last. */
  readonly files: readonly JobFile[];
  readonly width: number;
  readonly height: number;
  readonly seconds: number;
  readonly warnings: readonly string[];
  /** Absent when only the bitmap was asked for. */
  readonly ticket?: Ticket;
  /** Layout of the control strip, for the shop to keep; absent when none was asked for. */
  readonly stripLayout?: ChartLayout;
}

export interface MakeOptions {
  readonly spec: JobSpec;
  /** The tone, where it is known already; chosen from the picture otherwise. */
  readonly tone?: ToneOptions;
  /** The toned picture, where it is made already. */
  readonly toned?: Plane<'luminance'>;
  /** What of the piece may be marked, where that is known already; found from the picture otherwise. */
  readonly mask?: Plane<'mask'>;
  readonly progress?: (stage: string, share?: number) => void;
}

/**
 * Coverage below which single dots are dust on what should be bare, a share: an automatic tone leaves it bare. Assumed:
 * about one in a hundred is common practice, without a source.
 */
const DUST = 0.01;

/** What of a job its coverage is found by. */
export type CoverageRequest = Pick<
  JobSpec,
  | 'curve'
  | 'profile'
  | 'grid'
  | 'screen'
  | 'tone'
  | 'levels'
  | 'range'
  | 'aim'
  | 'place'
  | 'orientation'
  | 'round'
  | 'around'
>;

/** The tone curve of the job's screen and grid, and the coverage that gives each wanted lightness. */
export function tabulateCoverage(spec: CoverageRequest): Pick<HalftoneResult, 'points' | 'table'> {
  const home = homePoints(spec);
  const points = isPlaced(spec) ? curveInField(spec, { home }).points : home;
  const { range, aim } = spec;
  const bareBelow = spec.tone === 'auto' && spec.levels === 2 ? { bareBelow: DUST } : {};
  return { points, table: coverageTable({ points }, { range, ...(aim ? { aim } : {}), ...bareBelow }) };
}

const homePoints = (spec: CoverageRequest) => (spec.curve === 'predicted' ? predictPoints(spec) : spec.profile.points);

/** How a piece is corrected for its place; undefined where none is said. @throws AppError place-unusable */
export function correctPiece(
  spec: JobSpec,
  { table, frame }: { readonly table: CoverageTable; readonly frame: Pick<Frame, 'widthMm' | 'heightMm'> },
): PlaceCorrection | undefined {
  if (!isPlaced(spec)) return undefined;
  const home = homePoints(spec);
  return correctForPlace(spec, { home, table, curve: curveInField(spec, { home }), frame });
}

/** From linear light at the dots to the dots themselves: the same steps for the files of a job and for a look at it. */
export function makeDots(picture: Picture, options: MakeOptions): HalftoneResult {
  const stage = stageCoverage(picture, options);
  return finishDots(stage, applyScreen(stage.coverage, requestScreen(options.spec)), picture, options.spec);
}

/** The same with a search that tells how far it is, and may run on other threads. */
export async function searchDots(
  picture: Picture,
  options: MakeOptions & Pick<PrepareOptions, 'searchBands'>,
): Promise<HalftoneResult> {
  const { spec, searchBands, progress = () => undefined } = options;
  if (SCREENS[spec.screen.name].family !== 'search') return makeDots(picture, options);
  const stage = stageCoverage(picture, options);
  const plan = planDirectSearch(stage.coverage, { ...requestScreen(spec), isShared: searchBands !== undefined });
  const { dots, facts } = await searchDotsInBands(plan, {
    ...(searchBands ? { searchBands } : {}),
    progress: (share) => progress('searching', share),
  });
  return { ...finishDots(stage, dots, picture, spec), search: facts };
}

type CoverageStage = Omit<HalftoneResult, 'dots' | 'search' | 'time' | 'warnings'>;

function stageCoverage(picture: Picture, options: MakeOptions): CoverageStage {
  const { frame, light, opaque } = picture;
  const { spec, tone: known, progress = () => undefined } = options;
  progress('setting the tone');
  const tone = known ?? chooseToneValues(picture, spec);
  const toned = options.toned ?? adjustTone(light, tone, { grid: spec.grid, ...facesOf(picture) });
  const { points, table } = tabulateCoverage(spec);
  const mask = options.mask ?? markable(frame, opaque, spec);
  const correction = correctPiece(spec, { table, frame });
  const even = invertTone(toned, { frame, table, mask, ...(correction ? { correction } : {}) });
  const heat = planHeat(spec, points);
  const coverage = heat ? mendHeat(even, heat) : even;
  progress('screening');
  return {
    tone,
    toned,
    points,
    table,
    mask,
    coverage,
    ...(correction ? { correction } : {}),
    ...(heat ? { heat } : {}),
  };
}

/** Coverage of the whole piece; where the picture fills it, the mask needs no plane of its own. */
export function invertTone(
  toned: Plane<'luminance'>,
  { frame, table, mask, correction }: Pick<Picture, 'frame'> & Pick<HalftoneResult, 'table' | 'mask' | 'correction'>,
): Plane<'coverage'> {
  const { width, height, place } = frame;
  if (correction) {
    const placed = placeOnPiece(invertAtPlace(toned, { correction, frame }), frame);
    return mask ? maskCoverage(placed, mask) : placed;
  }
  const fills = place.width === width && place.height === height;
  if (fills) return invertProfile(toned, { table, ...(mask ? { mask } : {}) });
  const wanted = placeOnPiece(invertProfile(toned, { table }), frame);
  return mask ? maskCoverage(wanted, mask) : wanted;
}

function finishDots(
  screened: CoverageStage,
  picked: Dots,
  { frame, opaque, lettering, notices }: Picture,
  spec: JobSpec,
): HalftoneResult {
  refuseBlank(picked, { ...screened, opaque, spec });
  const { viewingDistanceMm } = spec;
  const { stage, dots } = lettering
    ? letter(screened, picked, { frame, lettering, viewingDistanceMm })
    : { stage: screened, dots: picked };
  const time = estimateTime(orientDots(dots, spec.orientation), timingOf(spec));
  const soft = warnOfSoftness(frame);
  const warnings = [...spec.warnings, ...notices, ...(soft ? [soft] : []), ...(lettering?.notices ?? [])];
  return { ...stage, dots, time, warnings };
}

/** A photo that has fewer pixels than its size can show, and how many times fewer. */
export function warnOfSoftness(frame: Frame): Notice | undefined {
  const said = resolutionWarning(frame);
  if (said === undefined) return undefined;
  const { pixelsHave: have, pixelsNeeded: needed } = frame;
  return notice('photo-small', { said, times: Math.max(needed.width / have.width, needed.height / have.height) });
}

/**
 * Words and drawings over what the screen made of the picture: they are never screened, and the picture knows nothing
 * of them.
 */
function letter(
  stage: CoverageStage,
  dots: Dots,
  lettered: LetteredFrame & ViewingOptions,
): { readonly stage: CoverageStage; readonly dots: Dots } {
  return {
    stage: {
      ...stage,
      judged: maskLettering(stage.mask, lettered),
      coverage: letterCoverage(stage.coverage, lettered),
    },
    dots: letterDots(dots, lettered),
  };
}

/**
 * A photo whose tones lie this close to the piece's bare surface, in the mean, may well give no dot, L*. Assumed: about
 * what is just seen.
 */
const BARE_PHOTO_L = 1;

/**
 * A bitmap without one dot burns nothing, and everything that is said about it (no error, no time) sounds well.
 * @throws AppError nothing-fires when the photo itself is not bare
 */
function refuseBlank(
  dots: Dots,
  { toned, opaque, spec }: CoverageStage & { readonly opaque: Plane<'mask'> | undefined; readonly spec: JobSpec },
): void {
  if (dots.data.some((value) => value > 0)) return;
  const { direction } = spec.profile;
  let sum = 0;
  let weight = 0;
  for (let i = 0; i < toned.data.length; i++) {
    const share = opaque ? opaque.data[i]! : 1;
    const lightness = lightnessOfLuminance(toned.data[i]!);
    sum += share * (direction === 'lighter' ? lightness : 100 - lightness);
    weight += share;
  }
  const mean = weight > 0 ? sum / weight : 0;
  if (mean <= BARE_PHOTO_L) return;
  const { pitchMm, lineSpacingMm } = spec.grid;
  throw new AppError(
    'nothing-fires',
    `found not one of ${dots.width} × ${dots.height} dots that fires, for a photo that is ${mean.toFixed(1)} L* from bare in the mean; dots lie ${pitchMm} × ${lineSpacingMm} mm apart, and the mark of one is about ${Math.round(1000 * markMm(spec))} µm wide. Needed a finer pitch and spacing, or a profile whose marks show`,
    { pitchMm, lineSpacingMm },
  );
}

function markMm({ profile, grid }: JobSpec): number {
  const { xUm, yUm } = tellMarkDiametersUm(profile, grid);
  return Math.sqrt(xUm * yUm) / 1000;
}

/** The road of a photo: from its pixels to the dots that burn, and everything that is said about them. */
export async function prepareJob(load: () => Promise<Photo>, options: PrepareOptions): Promise<Job> {
  const { spec, name, only, searchBands, progress = () => undefined } = options;

  progress('reading the photo');
  const picture = await takePicture(load, { spec, withThumbnail: only === 'everything' });
  if (picture.width * picture.height > LARGE_PIXELS) await releaseMemory();

  const made = await searchDots(picture, { spec, progress, ...(searchBands ? { searchBands } : {}) });
  const { dots } = made;
  const { grid, format, settings } = spec;
  const motion = { motion: spec.machine.motion, settings, grid };
  const lying = orientDots(dots, spec.orientation);
  const strip = spec.strip ? makeStrip(spec, lying) : undefined;
  const joined = strip && spec.strip === 'joined' ? joinStrip(lying, strip) : lying;
  const byDots = spec.twoWay?.movedDots ?? 0;
  const burned = moveBackLines(joined, { byDots, bare: motion.motion.bare });
  const time = burned === lying ? made.time : estimateTime(burned, timingOf(spec));
  const file = { spec, title: name, frame: picture.frame };
  const bitmap = writeDots(burned, { ...file, name: `${name}.${format}` });
  const stripFiles: JobFile[] = [];
  if (strip) {
    if (joined === lying) {
      stripFiles.push(writeDots(strip.dots, { ...file, name: `${name}.strip.${format}`, ...strip.offset }).file);
    }
    stripFiles.push({ name: `${name}.strip.json`, bytes: formatJson(strip.layout, 'layout of the strip') });
  }
  const warnings = [...made.warnings, ...bitmap.notices];
  const kept = strip ? { stripLayout: strip.layout } : {};
  const facts = { width: burned.width, height: burned.height, seconds: time.seconds, ...kept };
  if (only === 'bitmap') {
    const { speaking } = settleNotices(warnings, spec.atRest);
    return { ...facts, files: [bitmap.file, ...stripFiles], warnings: speaking.map(({ text }) => text) };
  }

  progress('proofing');
  const known = { ...options, ...made, warnings, time, burned, picture, frame: picture.frame };
  const proof = await makeProof(known);
  const { prediction } = proof;
  const { run } = spec.screen.options;
  const runs =
    run === undefined
      ? []
      : compareRuns({
          spec,
          picture,
          runs: [1, Number(run)],
          make: (other) => makeDots(picture, { spec: other, tone: made.tone }),
        });
  const ticket = writeTicket({
    ...known,
    prediction,
    runs,
    bitmapFile: bitmap.file.name,
    ...bitmap.describe(),
    ...(strip
      ? {
          strip: describeStrip(strip, {
            seconds: estimateTime(strip.dots, motion).seconds,
            files: stripFiles.map((file) => file.name),
          }),
        }
      : {}),
  });
  const files = [
    bitmap.file,
    ...stripFiles,
    { name: `${name}.proof.png`, bytes: proof.png },
    { name: `${name}.ticket.json`, bytes: formatJson(ticket, 'ticket') },
    { name: `${name}.ticket.html`, bytes: renderTicketPage(ticket, proof.pictures) },
  ];
  return { ...facts, files, warnings: ticket.warnings, ticket };
}
