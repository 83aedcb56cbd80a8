import { type DriftHistory, listVerified, readHistory, readProfile, type VerifiedScreens } from '../job/index.ts';
import { type FoundRecord, type Profile, type Shop, tellMarkDiametersUm, toneCurveOf } from '../material/index.ts';

export interface ShownProfile {
  readonly profile: Profile;
  readonly from: FoundRecord['from'];
  /** All checks of it, oldest first; absent where none was kept. */
  readonly history?: DriftHistory;
  /** What verification charts said of it, by screen. */
  readonly verified: VerifiedScreens;
  /** The same with levels of power. */
  readonly verifiedLevels: VerifiedScreens;
  /** Widths of what one dot changes, µm. */
  readonly marksUm: { readonly x: number; readonly y: number };
}

/**
 * A profile with what later checks said of it.
 * @param nameOrPath a profile of the shop, or the path of its file
 * @throws AppError name-unknown, path-*, file-invalid
 */
export function showProfile(nameOrPath: string, shop: Shop): ShownProfile {
  const { from } = shop.read('profiles', nameOrPath);
  const profile = readProfile(nameOrPath, shop);
  const history = readHistory(profile.name, shop);
  const { xUm, yUm } = tellMarkDiametersUm(profile);
  return {
    profile,
    from,
    ...(history ? { history } : {}),
    verified: listVerified(history),
    verifiedLevels: listVerified(history, 'levels'),
    marksUm: { x: xUm, y: yUm },
  };
}

/** Steps of a curve that is drawn, a count. Assumed: straight between them to less than a pixel. */
const STEPS = 64;

export interface CurvePoint {
  readonly coverage: number;
  readonly lightness: number;
}

/** The curve that pictures go through, fine enough to draw. */
export function sampleCurve(points: Profile['points']): readonly CurvePoint[] {
  const curve = toneCurveOf({ points });
  const end = points.at(-1)!.coverage;
  return Array.from({ length: STEPS + 1 }, (_, at) => {
    const coverage = (end * at) / STEPS;
    return { coverage, lightness: curve.lightnessAt(coverage) };
  });
}
