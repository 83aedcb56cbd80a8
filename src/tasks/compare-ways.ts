import { AppError } from '../errors.ts';
import { type ComparedWay, compareWays, type JobRequest, type JobSpec, resolveJob } from '../job/index.ts';
import { settleNotices } from '../notices.ts';
import { readPhoto } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import type { ScanSettings } from './time-bitmap.ts';

/** Screens that are compared where none are named: one of each family. */
const SCREENS = ['floyd-steinberg', 'blue-noise', 'clustered-dot', 'line'];
/**
 * Line spacings that are compared where none are named, times the job's own. Assumed: a step that is seen in the time
 * each way.
 */
const SPACINGS = [0.8, 1, 1.25, 1.6];
/** Most ways that are compared, a count. Assumed: more would keep a shop waiting. */
const MOST_WAYS = 60;

export interface CompareWaysRequest {
  readonly path: string;
  readonly job: JobRequest;
  /** Absent: the job's own, and one of each family. */
  readonly screens?: readonly string[];
  /** Line spacings, mm; absent: about the job's own. */
  readonly spacingsMm?: readonly number[];
  /** A direction here leaves the other one out. */
  readonly settings?: ScanSettings;
}

export interface ComparedWaysRecord {
  /** The job as it would be made by default. */
  readonly base: JobSpec;
  readonly ways: readonly ComparedWay[];
}

/**
 * What a photo costs in burn time against how right it will look, over screens, line spacings and scan directions.
 * @throws AppError those of `resolveJob` and `readPhoto`; option-invalid for too many combinations
 */
export async function comparePhotoWays(
  { path, job, settings, ...asked }: CompareWaysRequest,
  { shop, refused, warn, progress }: TaskContext,
): Promise<ComparedWaysRecord> {
  const known = { shop, refused: refused() };
  const base = resolveJob(job, known);
  for (const { text } of settleNotices(base.warnings, base.atRest).speaking) warn(text);
  // The job's own screen as the job takes it: the automatic one may have options that its name alone does not.
  const screens = asked.screens ?? [job.screen, ...SCREENS.filter((name) => name !== base.screen.name)];
  const spacings =
    asked.spacingsMm ?? SPACINGS.map((times) => Number((times * base.grid.lineSpacingMm).toPrecision(3)));
  const scans = settings?.scan === undefined ? (['one-way', 'two-way'] as const) : [settings.scan];
  if (screens.length * spacings.length > MOST_WAYS) {
    throw new AppError(
      'option-invalid',
      `found ${screens.length} screens and ${spacings.length} spacings, needed at most ${MOST_WAYS} combinations`,
    );
  }
  const specs = spacings.flatMap((lineSpacingMm) =>
    screens.map((screen) => {
      const own = screen === undefined ? {} : { screen };
      const spec = resolveJob({ ...job, ...own, lineSpacingMm, pitchMm: base.grid.pitchMm }, known);
      return { ...spec, settings: { ...spec.settings, ...settings } } satisfies JobSpec;
    }),
  );
  return { base, ways: await compareWays(await readPhoto(path), { specs, scans, progress }) };
}
