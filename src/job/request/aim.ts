import { AppError } from '../../errors.ts';
import { type AimCurve, type Profile, parseProfile, type Shop, toneCurveOf } from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import { roundTo } from '../page/html.ts';

/**
 * Ends of two ranges that differ by less than this are the same to the eye, ΔL*. Assumed: less is not seen side by
 * side.
 */
const SAME_L = 0.5;

/**
 * Aim curve from words: `lightness`, `density`, and names of profiles, with commas between. One profile: its range.
 * Several: the range that all of them reach, so that pieces of different stock look like one set.
 * @throws AppError name-unknown, path-*, file-invalid; profile-unusable when the profiles have no lightness in common
 */
export function parseAim(text: string, shop: Shop): AimCurve {
  const words = wordsOf(text);
  const scales = words.filter(isScale);
  if (words.length === 0 || scales.length > 1) {
    throw new AppError(
      'option-invalid',
      `aim: found "${text}", needed lightness, density, or names of profiles with commas between`,
    );
  }
  const profiles = readNamed(text, shop);
  if (profiles.length === 0) return { scale: scales[0]! };
  const ends = profiles.map(endsOf);
  const darkest = Math.max(...ends.map((end) => end.darkest));
  const lightest = Math.min(...ends.map((end) => end.lightest));
  if (!(lightest - darkest > SAME_L)) {
    throw new AppError(
      'profile-unusable',
      `aim: found no lightness that all of ${profiles.map(({ name }) => name).join(', ')} reach, needed ranges that overlap`,
      { darkest, lightest },
    );
  }
  const scale = scales[0] ?? profiles[0]!.aim?.scale ?? 'lightness';
  return { scale, darkest: round3(darkest), lightest: round3(lightest), follows: profiles.map(({ name }) => name) };
}

/** Range that a profile shows: its own, and no more of it than its own aim asks for. */
function endsOf({ points, aim }: Profile): { readonly darkest: number; readonly lightest: number } {
  const { darkest, lightest } = toneCurveOf({ points });
  return {
    darkest: Math.max(darkest, aim?.darkest ?? darkest),
    lightest: Math.min(lightest, aim?.lightest ?? lightest),
  };
}

/** What a person should know when an aim goes beyond what a profile reaches; undefined when it does not. */
export function warnOfAim(aim: AimCurve, { points, name }: Pick<Profile, 'points' | 'name'>): Notice | undefined {
  const own = toneCurveOf({ points });
  const { darkest = own.darkest, lightest = own.lightest, follows = [] } = aim;
  const beyond = [
    ...(darkest < own.darkest - SAME_L
      ? [`darker than L* ${roundTo(own.darkest, 1)} (it asks for ${roundTo(darkest, 1)})`]
      : []),
    ...(lightest > own.lightest + SAME_L
      ? [`lighter than L* ${roundTo(own.lightest, 1)} (it asks for ${roundTo(lightest, 1)})`]
      : []),
  ];
  if (beyond.length === 0) return undefined;
  const said = `The aim${follows.length > 0 ? ` (${follows.join(', ')})` : ''} goes beyond what ${name} reaches: ${beyond.join(' and ')} is cut off. Name all profiles of the set in the aim to stay within what they have in common.`;
  return notice('aim-beyond', { said, follows: [...follows, name] });
}

/**
 * What a person should know when an aim joins profiles whose captures share no reference: pieces that are to match may
 * then be lighter or darker than one another. Profiles that were computed and not measured say so elsewhere.
 * @param asked the aim in words, where it was asked for so: it may name profiles by their files, which the shop does
 * not know
 */
export function warnOfExposures(
  aim: AimCurve,
  { shop, profile, asked }: { readonly shop: Shop; readonly profile?: Profile; readonly asked?: string | undefined },
): Notice | undefined {
  const followed = asked === undefined ? readKept(aim, { shop, profile }) : readNamed(asked, shop);
  // One profile may be named twice, and by its file as well as by its name.
  const all = new Map([...(profile ? [profile] : []), ...followed].map((each) => [JSON.stringify(each), each]));
  const measured = [...all.values()].filter(({ fit }) => fit !== undefined);
  if (measured.length < 2) return undefined;
  const [first] = measured;
  const shared = measured.every(
    ({ exposure }) => exposure?.basis === 'reference' && exposure.lightness === first!.exposure?.lightness,
  );
  if (shared) return undefined;
  return notice('exposures-unshared', { profiles: measured.map(({ name }) => name) });
}

/** The profiles that an aim's words name. @throws AppError name-unknown, path-*, file-invalid */
function readNamed(text: string, shop: Shop): readonly Profile[] {
  return wordsOf(text)
    .filter((word) => !isScale(word))
    .map((name) => {
      const { json, path } = shop.read('profiles', name);
      return parseProfile(json, path);
    });
}

/** The profiles that an aim follows; one that a profile keeps outlives the others. */
function readKept(
  { follows = [] }: AimCurve,
  { shop, profile }: { readonly shop: Shop; readonly profile: Profile | undefined },
): readonly Profile[] {
  return follows
    .filter((name) => name !== profile?.name)
    .flatMap((name) => {
      try {
        return readNamed(name, shop);
      } catch (error) {
        if (error instanceof AppError) return [];
        throw error;
      }
    });
}

const isScale = (word: string): word is AimCurve['scale'] => word === 'lightness' || word === 'density';

function wordsOf(text: string): readonly string[] {
  return text
    .split(',')
    .map((word) => word.trim())
    .filter((word) => word !== '');
}

const round3 = (value: number) => Math.round(value * 1000) / 1000;
