import type { PhotoSettings, ShopFacts } from '../../protocol.ts';
import type { SelectGroup } from '../parts/parts.tsx';
import { without } from '../photo/without.ts';
import { listMaterials } from '../shop-context.ts';

/**
 * One of the things that stand side by side: `now`, `photo`, or what is changed and to what, with a colon between
 * (`profile:slate`, `screen:bayer`, `tone:plain`, `other:ID`). An earlier state carries its wish.
 */
export interface Take {
  readonly what: string;
  readonly wish?: PhotoSettings;
}

/** As many panes as a window shows large enough to judge, counts. Assumed: four cards on a common screen. */
export const PANES = { least: 2, most: 4 } as const;
/** Earlier states that are offered, the newest first, a count. Assumed: what a person still remembers. */
const MOST_EARLIER = 8;
const STORE = 'tonewright-compare';

/** What a job would be if that were taken; undefined for what is no change of this job. */
export function settingsOfTake({ what, wish: earlier }: Take, wish: PhotoSettings): PhotoSettings | undefined {
  if (earlier) return earlier;
  if (what === 'now') return wish;
  const [kind, value = ''] = splitTake(what);
  switch (kind) {
    case 'profile':
      return { ...without(wish, 'profile', 'material'), profile: value };
    case 'material':
      return { ...without(wish, 'profile', 'material'), material: value };
    case 'screen':
      return value === '' ? without(wish, 'screen') : { ...wish, screen: value };
    case 'tone':
      return { ...wish, tone: value as PhotoSettings['tone'], toneValues: {} };
    case 'range':
      return { ...wish, range: value as PhotoSettings['range'] };
    case 'backdrop':
      return value === 'keep'
        ? without(wish, 'backdrop')
        : { ...wish, backdrop: value as NonNullable<PhotoSettings['backdrop']> };
    default:
      return undefined;
  }
}

/** Its kind, and to what. */
export function splitTake(what: string): readonly [kind: string, value?: string] {
  const at = what.indexOf(':');
  return at < 0 ? [what] : [what.slice(0, at), what.slice(at + 1)];
}

/** A photo with what is asked of it, of a job or of a piece of an order. */
export interface Compared {
  readonly id: string;
  readonly name: string;
  /** Where the server has its photo and draws it. */
  readonly path: string;
  readonly photo: { readonly width: number; readonly height: number };
  readonly wish: PhotoSettings;
}

export interface Offers {
  readonly wish: PhotoSettings;
  /** Photos that may stand beside this one, as they are asked for themselves. */
  readonly others: readonly Compared[];
  readonly shop: ShopFacts;
  /** Earlier states, the newest first. */
  readonly earlier: readonly PhotoSettings[];
}

/** What can stand beside it. */
export function listTakes({ wish, others, shop, earlier }: Offers): readonly SelectGroup[] {
  const measured = (here: boolean) =>
    shop.profiles
      .filter(({ machine, name }) => (machine === wish.machine) === here && name !== wish.profile)
      .map(({ name, title }) => ({ value: `profile:${name}`, label: title }));
  const changes = (kind: string, now: string, choices: readonly (readonly [value: string, label: string])[]) =>
    choices.filter(([value]) => value !== now).map(([value, label]) => ({ value: `${kind}:${value}`, label }));
  return [
    {
      label: '',
      choices: [
        { value: 'now', label: 'As it stands now' },
        { value: 'photo', label: 'The photo, before engraving' },
      ],
    },
    { label: 'Another material', choices: [...measured(true), ...measured(false)] },
    {
      label: 'A material not learned yet',
      choices: listMaterials(shop, wish.machine)
        .filter(({ value, disabled }) => value !== wish.material && !disabled)
        .map(({ value, label }) => ({ value: `material:${value}`, label })),
    },
    {
      label: 'Other tones',
      choices: [
        ...changes('tone', Object.keys(wish.toneValues).length > 0 ? '' : wish.tone, [
          ['auto', 'Tones suited to the photo'],
          ['plain', 'Tones as they are'],
        ]),
        ...changes('range', wish.range, [
          ['scale', 'Lightness fit to the material'],
          ['absolute', 'Lightness as in the photo'],
        ]),
        ...changes('backdrop', wish.backdrop ?? 'keep', [
          ['keep', 'Backdrop kept'],
          ['soften', 'Backdrop softer'],
          ['fade', 'Backdrop fades'],
          ['bare', 'Backdrop bare'],
        ]),
      ],
    },
    {
      label: 'Another screen',
      choices: changes('screen', wish.screen ?? '', [
        ['', 'The screen of the profile'],
        ...shop.screens.map(({ name, title }) => [name, title] as const),
      ]),
    },
    {
      label: 'As it was before',
      choices: earlier
        .slice(0, MOST_EARLIER)
        .map((_, at) => ({ value: `earlier:${at}`, label: at === 0 ? 'One step back' : `${at + 1} steps back` })),
    },
    {
      label: 'Another photo',
      choices: others.map(({ id, name }) => ({ value: `other:${id}`, label: name })),
    },
  ];
}

/** The take of a choice in the list. */
export function takeOf(what: string, earlier: readonly PhotoSettings[]): Take {
  const [kind, value] = splitTake(what);
  const wish = kind === 'earlier' ? earlier[Number(value)] : undefined;
  return wish ? { what, wish } : { what };
}

/** To begin with: as it stands, beside the next material of the machine, or the other tones. */
export function firstTakes({ wish, shop }: Pick<Offers, 'wish' | 'shop'>): readonly Take[] {
  const next = shop.profiles.find(({ machine, name }) => machine === wish.machine && name !== wish.profile);
  const other = next ? `profile:${next.name}` : `tone:${wish.tone === 'auto' ? 'plain' : 'auto'}`;
  return [{ what: 'now' }, { what: other }];
}

/** What was compared last, of this photo; what is offered no more is left out. */
export function readTakes(path: string, offers: Offers): readonly Take[] {
  const known = new Set(listTakes(offers).flatMap(({ choices }) => choices.map(({ value }) => value)));
  try {
    const kept = JSON.parse(localStorage.getItem(`${STORE} ${path}`) ?? '') as Take[];
    const there = kept.filter(({ what, wish }) => wish !== undefined || known.has(what));
    if (there.length >= PANES.least) return there.slice(0, PANES.most);
  } catch {
    // Nothing kept, or nothing that can be read.
  }
  return firstTakes(offers);
}

export function keepTakes(path: string, takes: readonly Take[]): void {
  try {
    localStorage.setItem(`${STORE} ${path}`, JSON.stringify(takes));
  } catch {
    // A browser that keeps nothing: the window itself still has them.
  }
}

/** The photo is gone, and with it what it was compared with. */
export function forgetTakes(path: string): void {
  localStorage.removeItem(`${STORE} ${path}`);
}
