import { dirname, join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { acquireLock, type Lock } from '../batch/index.ts';
import type { ChartLayout } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import {
  type Adjustment,
  addToHistory,
  adjustProfile,
  type CaptureReference,
  type Check,
  checkLocated,
  type DriftHistory,
  drawFindings,
  findOwnProfile,
  listVerified,
  readHistory,
  readProfile,
  renderCheckPage,
  sayPrint,
  type VerifiedScreens,
} from '../job/index.ts';
import { formatJson } from '../json.ts';
import type { Profile, Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { explainWriteError, makeFolder, writeFilesAtomic } from '../plane/index.ts';
import { gatherNotices, listFoundFiles, type OpenedCaptures } from './captures.ts';
import type { TaskContext } from './context.ts';
import { listProfiles } from './listing.ts';

export interface CheckRequest {
  readonly camera: 'known' | 'unknown';
  /** What tells how light the strip is; counts where the profile was learned with one, too. */
  readonly reference?: CaptureReference;
  /** How the material really marks, where that is not what the strip was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** Absent: the profile that the strip was drawn through. */
  readonly profile?: string;
  /**
   * Adjusts the profile by the strip: `must` fails where that cannot be, `may` says why. Without a file of its own the
   * adjusted profile goes into the shop.
   */
  readonly adjust?: 'must' | 'may';
  readonly files: {
    readonly page?: string;
    readonly adjusted?: string;
    /** Folder for the capture with what was found drawn on it. */
    readonly found?: string;
  };
  /** `true` replaces results that exist. */
  readonly force?: boolean;
}

/** What a strip or a verification chart says of a profile. */
export interface CheckRecord {
  readonly kind: 'checked';
  readonly check: Check;
  readonly profile: Profile;
  /** All checks of the profile with this one; absent without a shop folder to keep them in. */
  readonly history?: DriftHistory;
  readonly historyPath?: string;
  readonly verified: VerifiedScreens;
  /** The print error and what it says of predictions, in words; empty but for a verification chart. */
  readonly ofPrint: readonly string[];
  /** The profile of the day, where one was asked for and the strip tells it; else why not. */
  readonly adjustment?: Adjustment;
  readonly notAdjusted?: string;
  readonly notices: readonly Notice[];
  /** Files that were written, the history not among them. */
  readonly files: readonly string[];
}

/**
 * Compares one located capture with a profile, and keeps the reading in the profile's history.
 * @throws AppError option-invalid for several captures; name-unknown when no profile fits the strip; those of
 * `checkLocated`; history-busy
 */
export async function checkLocatedStrip(
  { located, sha256, notices }: OpenedCaptures,
  { camera, reference, direction, profile: asked, adjust, files, force = false }: CheckRequest,
  context: TaskContext,
): Promise<CheckRecord> {
  const { shop, clock, progress } = context;
  if (located.length !== 1) {
    throw new AppError('option-invalid', `found ${located.length} captures, needed one: a strip is checked by itself`);
  }
  const capture = located[0]!;
  const profile = asked === undefined ? findProfileOf(capture.located.layout, shop) : readProfile(asked, shop);
  const check = checkLocated(capture, {
    profile,
    camera,
    ...(reference ? { reference } : {}),
    ...(direction ? { direction } : {}),
  });
  const { readings } = check;
  const date = clock.today();
  // A verification chart asks how well a prediction held; it is no reading of the day unless somebody says so.
  const isAsked = adjust === 'must' || (adjust === 'may' && check.verification === undefined);
  const made = isAsked ? tryAdjusting(profile, { check, date, adjust }) : {};
  const adjustedPath = made.adjustment && (files.adjusted ?? pathInShop(made.adjustment, shop));
  const wantsPicture = files.page !== undefined || files.found !== undefined;
  if (wantsPicture) progress('drawing the page');
  const pictures = wantsPicture ? [await drawFindings({ ...capture, readings })] : [];
  const { shopDir } = shop;
  const historyPath = shopDir === undefined ? undefined : join(shopDir, 'history', `${profile.name}.json`);
  const write = async (history: DriftHistory | undefined): Promise<readonly string[]> => {
    const page =
      files.page === undefined
        ? []
        : [
            {
              path: files.page,
              bytes: renderCheckPage({
                check,
                profile,
                date,
                captureName: capture.name,
                found: pictures[0]!,
                ...made,
                ...(history ? { history } : {}),
              }),
            },
          ];
    const adjusted =
      adjustedPath === undefined
        ? []
        : [{ path: adjustedPath, bytes: formatJson(made.adjustment!.profile, 'profile') }];
    const own = [...listFoundFiles(pictures, files.found), ...page, ...adjusted];
    if (own.length > 0) await writeFilesAtomic(own, { force });
    if (historyPath !== undefined) {
      await writeFilesAtomic([{ path: historyPath, bytes: formatJson(history, 'history') }], {
        force: true,
        isOwnRecord: true,
      });
    }
    return own.map(({ path }) => path);
  };
  const { history, written } =
    historyPath === undefined
      ? { history: undefined, written: await write(undefined) }
      : await lockHistory(historyPath, async () => {
          const before = readHistory(profile.name, shop);
          const kept = addToHistory(before, { check, date, captureSha256: sha256[0]! });
          return { history: kept, written: await write(kept) };
        });
  const verified = listVerified(history, check.verification?.levels === undefined ? 'dots' : 'levels');
  return {
    kind: 'checked',
    check,
    profile,
    ...(history ? { history } : {}),
    ...(historyPath === undefined ? {} : { historyPath }),
    verified,
    ...made,
    ofPrint: check.verification ? sayPrint(check.verification, { profile, history }) : [],
    notices: gatherNotices([{ readings }], [...notices, ...check.warnings]),
    files: written,
  };
}

function tryAdjusting(
  profile: Profile,
  { adjust, ...by }: { readonly check: Check; readonly date: string; readonly adjust: 'must' | 'may' },
): Pick<CheckRecord, 'adjustment' | 'notAdjusted'> {
  try {
    return { adjustment: adjustProfile(profile, by) };
  } catch (error) {
    if (adjust === 'must' || !(error instanceof AppError)) throw error;
    return { notAdjusted: error.message };
  }
}

/** @throws AppError path-missing without a shop folder */
function pathInShop({ profile: { name } }: Adjustment, { shopDir }: Shop): string {
  if (shopDir !== undefined) return join(shopDir, 'profiles', `${name}.json`);
  throw new AppError('path-missing', 'found no shop folder, needed one for the adjusted profile, or a file for it');
}

/** @throws AppError name-unknown */
function findProfileOf(layout: ChartLayout, shop: Shop): Profile {
  const own = findOwnProfile(
    layout,
    listProfiles(shop).records.map(({ value }) => value),
  );
  if (own) return own;
  throw new AppError(
    'name-unknown',
    `found no profile that this ${layout.kind} chart (${layout.hash}, ${layout.material === '' ? 'no material' : layout.material} on ${layout.machine}) was drawn through, needed the one to compare it with`,
    { chart: layout.hash, material: layout.material, machine: layout.machine },
  );
}

/** Longest wait for another check of the same profile. Assumed: it holds its history for the writing of two files. */
const LONGEST_WAIT_MS = 20_000;
/** Tries lie between this and twice this apart. Assumed: two that wait then do not meet again and again. */
const RETRY_MS = 20;

/** One process at a time reads, adds to and writes a history: what another adds meanwhile is not lost. */
async function lockHistory<T>(path: string, work: () => Promise<T>): Promise<T> {
  const folder = dirname(path);
  await makeFolder(folder).catch((error) => {
    throw explainWriteError(error, folder);
  });
  const lock = await waitForLock(`${path}.lock`);
  try {
    return await work();
  } finally {
    await lock.release();
  }
}

async function waitForLock(path: string): Promise<Lock> {
  for (let waited = 0; ; ) {
    try {
      return await acquireLock(path);
    } catch (error) {
      if (!(error instanceof AppError) || error.code !== 'order-busy') throw error;
      if (waited >= LONGEST_WAIT_MS) {
        throw new AppError(
          'history-busy',
          `${path}: found another check at work on this history for ${LONGEST_WAIT_MS / 1000} s, needed its end`,
          error.details,
        );
      }
      const pause = RETRY_MS * (1 + Math.random());
      await wait(pause);
      waited += pause;
    }
  }
}
