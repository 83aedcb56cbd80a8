import type { NOTICES, NoticeCode } from '../../../notices.ts';
import type { NoticeJson, PhotoSettings, PredictionJson, ShopFacts } from '../../protocol.ts';
import { saySide, type Unit } from '../measure.ts';
import { without } from '../photo/without.ts';
import { type GroupId, tidyDeg, withCrop } from '../stage/wish.ts';

/** What mends a notice, by one click: another wish, which can be taken back, or the place where it is mended. */
export type Mend = { readonly label: string } & (
  | { readonly wish: PhotoSettings }
  /** The group of controls to open; `painting` with the brush in hand. */
  | { readonly open: GroupId; readonly painting?: true }
  /** Another screen of the page. */
  | { readonly go: string }
);

export interface MendFacts {
  readonly wish: PhotoSettings;
  readonly facts: Pick<PredictionJson, 'zoom' | 'turnDeg'> | undefined;
  readonly shop: ShopFacts;
  readonly unit: Unit;
}

type DataOf<C extends NoticeCode> = Parameters<(typeof NOTICES)[C]['say']>[0];
type Mender<C extends NoticeCode> = (data: DataOf<C>, facts: MendFacts) => Mend | undefined;

/** Smallest side that a piece is made at, mm. Assumed: less is no picture. */
const LEAST_SIDE_MM = 5;

const GUESSED: (data: unknown, facts: MendFacts) => Mend = (_data, { wish, shop }) => {
  const { machine } = wish;
  const own = shop.profiles.find(({ name }) => name === wish.profile);
  const material = own?.material ?? wish.material;
  const learned = shop.profiles.filter(
    (one) => one.machine === machine && one.material === material && one.origin === 'measured',
  );
  const measured = learned.find(({ seen = 'face' }) => seen === (wish.seen ?? 'face')) ?? learned[0];
  if (!measured) return drawChart('tone', wish, shop);
  return { label: `Take “${measured.title}”`, wish: throughProfile(wish, measured.name) };
};

/** What the page does about each notice; null where only a person can. */
const MENDS: { readonly [C in NoticeCode]: Mender<C> | null } = {
  'round-feathered': ({ usableArcMm }, { wish, unit }) => {
    const widthMm = roundDown(usableArcMm);
    if (widthMm < LEAST_SIDE_MM) return { label: 'Change the size', open: 'piece' };
    return { label: `Make it ${saySide(widthMm, unit)}`, wish: { ...wish, widthMm } };
  },
  'two-way-speed': ({ speedMmPerS }, { wish, shop }) => drawVernier(speedMmPerS, wish, shop),
  'two-way-vague': ({ speedMmPerS }, { wish, shop }) => drawVernier(speedMmPerS, wish, shop),
  'program-too-dense': () => ({ label: 'Change the speed', open: 'dots' }),
  'program-power-rounded': (_data, facts) => asPicture(facts),
  'program-levels-merged': (_data, facts) => asPicture(facts),
  'camera-flash': null,
  'camera-zoomed': null,
  'camera-processed': null,
  'camera-sharpened': null,
  'smoke-taken': null,
  'references-disagree': null,
  'direction-read': null,
  'direction-doubt': null,
  'patches-left-out': null,
  'patch-left-out': null,
  'clusters-missing': null,
  'clusters-unexplained': null,
  'curve-under-disturbance': null,
  'curve-badly-known': null,
  'capture-darkish': null,
  'capture-repeated': null,
  'exposures-unshared': null,
  'text-guessed': null,
  'captures-disagree': null,
  'direction-fitted': null,
  'lightness-turns-back': (_data, { wish, shop }) => drawChart('dose', wish, shop),
  'range-small': (_data, { wish, shop }) => drawChart('dose', wish, shop),
  'mark-width-unsure': null,
  'steepness-unsure': null,
  'drive-unsure': null,
  'light-scatter-unsure': null,
  'mark-fades': (_data, { wish, shop }) => drawChart('dose', wish, shop),
  'model-poor': null,
  'tone-left-out-poor': (_data, { wish, shop }) => drawChart('tone', wish, shop),
  'camera-contrast-unsure': null,
  'patches-scatter': null,
  'fit-unsettled': (_data, { wish, shop }) => drawChart('tone', wish, shop),
  'far-from-model': null,
  'caption-too-fine': ({ what, finestMm, markMm }, { wish, unit }) => {
    const times = markMm / finestMm;
    const { caption, artwork } = wish;
    if (what.startsWith('the drawing') && artwork?.widthMm !== undefined) {
      const widthMm = roundUp(times * artwork.widthMm);
      return { label: `Make it ${saySide(widthMm, unit)}`, wish: { ...wish, artwork: { ...artwork, widthMm } } };
    }
    if (!what.startsWith('the drawing') && caption?.heightMm !== undefined) {
      const heightMm = roundUp(times * caption.heightMm);
      const label = `Make the letters ${saySide(heightMm, unit)}`;
      return { label, wish: { ...wish, caption: { ...caption, heightMm } } };
    }
    return { label: 'Change the words', open: 'words' };
  },
  'caption-shrunk': () => ({ label: 'Change the words', open: 'words' }),
  'artwork-pale': (_data, { wish }) => ({ label: 'Leave the drawing out', wish: without(wish, 'artwork') }),
  'artwork-cut': () => ({ label: 'Move the drawing', open: 'words' }),
  'tone-guessed': GUESSED,
  'profile-assumed': GUESSED,
  'profile-simulated': GUESSED,
  'palette-assumed': (_data, { wish, shop }) => drawChart('dose', wish, shop),
  'material-unrecorded': () => ({ label: 'Write it down', go: '/shop/new/material' }),
  'profile-of-another': (_data, { wish }) => ({ label: 'Take its own material', wish: without(wish, 'material') }),
  'job-differs': ({ field }, { wish, shop }) => {
    if (field === 'settings' && wish.settings) {
      return { label: 'Take the learned settings', wish: without(wish, 'settings') };
    }
    const machine = shop.profiles.find(({ name }) => name === wish.profile)?.machine;
    const learnedOn = shop.machines.find(({ name }) => name === machine);
    if ((field === 'machine' || field === 'lens') && learnedOn) {
      return { label: `Take “${learnedOn.title}”`, wish: { ...without(wish, 'settings'), machine: learnedOn.name } };
    }
    return { label: 'Look at the settings', open: 'dots' };
  },
  'side-differs': ({ seen }, { wish, shop }) => drawChart('tone', wish, shop, { seen }),
  'beneath-differs': ({ learned }, { wish }) => ({
    label: `Lay it over a ${learned} ground`,
    wish: without(wish, 'beneath'),
  }),
  'chart-side': null,
  'curve-predicted': (_data, facts) => ownScreen(facts),
  'screen-untested': (_data, facts) => ownScreen(facts),
  'screen-deaf': (_data, facts) => ownScreen(facts),
  'runs-short': (_data, { wish }) => ({ label: 'Let the program choose', wish: { ...wish, screen: 'auto' } }),
  'levels-unstated': (_data, { wish }) => ({ label: 'Fire fully, or not', wish: without(wish, 'levels') }),
  'levels-unmeasured': (_data, { wish, shop }) => drawChart('tone', wish, shop),
  'levels-unlearned': (_data, { wish, shop }) => drawChart('dose', wish, shop),
  'levels-steep': null,
  'dose-strong': (_data, facts) => usualSettings(facts),
  // More dose is a person's own step, never a click's.
  'dose-faint': () => ({ label: 'Look at the settings', open: 'dots' }),
  'solid-uneven': (_data, { wish, shop }) => drawChart('tone', wish, shop),
  'aim-beyond': (_data, { wish }) => ({ label: 'Fit it to the material', wish: { ...wish, range: 'scale' } }),
  'photo-small': ({ times }, { wish, unit }) => {
    const { widthMm, heightMm } = wish;
    const wide = roundDown(widthMm / times);
    const high = Math.floor((100 * heightMm * wide) / widthMm) / 100;
    if (Math.min(wide, high) < LEAST_SIDE_MM) return { label: 'Change the size', open: 'piece' };
    const cornerRadiusMm = Math.min(wish.cornerRadiusMm, Math.min(wide, high) / 2);
    const smaller = { ...wish, widthMm: wide, heightMm: high, cornerRadiusMm };
    return { label: `Make it ${saySide(wide, unit)}`, wish: smaller };
  },
  'tones-unsure': (_data, { wish, shop }) => drawChart('tone', wish, shop),
  'optics-doubt': () => ({ label: 'Look at the settings', open: 'dots' }),
  'setting-beyond': (_data, facts) => usualSettings(facts),
  'record-broken': null,
  'chart-differs': null,
  'photo-turned': (_data, { wish }) => ({ label: 'Turn it back', wish: { ...wish, turnDeg: 0 } }),
  'photo-maybe-turned': ({ turnDeg }, { wish }) => ({ label: 'Turn it', wish: { ...wish, turnDeg } }),
  'subject-cut': (_data, facts) => allInSight(facts),
  'subject-lost': (_data, facts) => allInSight(facts),
  'print-seen': ({ turnDeg, focus, zoom = 1 }, { wish, facts }) => {
    if (turnDeg !== 0) {
      const stands = facts?.turnDeg ?? wish.turnDeg ?? 0;
      return { label: 'Straighten it', wish: { ...wish, turnDeg: tidyDeg(stands + turnDeg) } };
    }
    return focus
      ? { label: 'Leave the rest out', wish: withCrop({ ...wish, fit: 'cover' }, { focus, zoom }) }
      : undefined;
  },
  'print-glare': null,
  'bars-left-out': (_data, { wish }) => ({
    label: 'Keep them',
    wish: { ...without(wish, 'zoom'), focus: { x: 0.5, y: 0.5 } },
  }),
  'bars-seen': ({ focus, zoom }, { wish }) => ({
    label: 'Leave them out',
    wish: withCrop({ ...wish, fit: 'cover' }, { focus, zoom }),
  }),
  'backdrop-kept': () => ({ label: 'Paint the subject', open: 'crop', painting: true }),
  'backdrop-unsure': () => ({ label: 'Paint the subject', open: 'crop', painting: true }),
  'piece-turned': null,
};

/** What mends it; undefined where only a person can. */
export function mendOf({ code, data }: Pick<NoticeJson, 'code' | 'data'>, facts: MendFacts): Mend | undefined {
  return (MENDS[code] as Mender<never> | null)?.(data as never, facts);
}

/** The screen for materials, with a chart of a kind ready to be drawn for what is in hand. */
function drawChart(
  kind: 'tone' | 'dose',
  { machine, profile, material, seen: asked }: PhotoSettings,
  shop: ShopFacts,
  { seen = asked }: { readonly seen?: PhotoSettings['seen'] } = {},
): Mend {
  const stuff = shop.profiles.find(({ name }) => name === profile)?.material ?? material ?? '';
  const side = seen === undefined ? '' : `/${seen}`;
  return { label: `Draw a ${kind} chart`, go: `/material/draw/${kind}/${machine}/${stuff}${side}` };
}

/** The spot chart, its lines there and back at the job's own speed: it has the vernier that tells their offset. */
function drawVernier(speedMmPerS: number, { machine, profile, material }: PhotoSettings, shop: ShopFacts): Mend {
  const stuff = shop.profiles.find(({ name }) => name === profile)?.material ?? material ?? '';
  return { label: 'Draw a spot chart', go: `/material/draw/spot/${machine}/${stuff}/two-way-${speedMmPerS}` };
}

function throughProfile(wish: PhotoSettings, profile: string): PhotoSettings {
  return { ...without(wish, 'profile', 'material'), profile };
}

/** Where settings were set by hand, they are given up; else they are looked at. */
function usualSettings({ wish }: MendFacts): Mend {
  return wish.settings
    ? { label: 'Take the usual settings', wish: without(wish, 'settings') }
    : { label: 'Look at the settings', open: 'dots' };
}

function ownScreen({ wish }: MendFacts): Mend {
  return wish.screen === undefined
    ? { label: 'Look at the dots', open: 'dots' }
    : { label: 'Take its own screen', wish: without(wish, 'screen') };
}

/** A picture of the dots, which tells every power apart, instead of a program. */
const asPicture = ({ wish }: MendFacts): Mend => ({ label: 'Write a picture', wish: without(wish, 'format') });

/** A crop by hand is given up first; what does not fit even so is shown whole. */
function allInSight({ wish }: MendFacts): Mend {
  return wish.focus || wish.zoom !== undefined
    ? { label: 'Follow the subject', wish: without(wish, 'focus', 'zoom') }
    : { label: 'Show the photo whole', wish: { ...wish, fit: 'contain' } };
}

/** Down to whole millimetres, and to tenths where those are much. */
const roundDown = (mm: number) => (mm >= 20 ? Math.floor(mm) : Math.floor(10 * mm) / 10);
const roundUp = (mm: number) => Math.ceil(10 * mm) / 10;
