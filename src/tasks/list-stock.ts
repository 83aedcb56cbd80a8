import { findCloseNames } from '../close-names.ts';
import { AppError } from '../errors.ts';
import { findMaterial, readMachine, renderScreensPage } from '../job/index.ts';
import {
  type FoundRecord,
  findMark,
  type Material,
  type Palette,
  parseMaterial,
  parsePalette,
  type Shop,
} from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { writeFilesAtomic } from '../plane/index.ts';
import { type Jig, type Pocket, parseJig } from '../plate/index.ts';
import { fillOptions, SCREEN_NAMES, SCREENS, type ScreenName, type ScreenRecord } from '../screens/index.ts';
import { SOURCES } from '../sources.ts';
import { listRecords } from './listing.ts';

export interface ListedMaterial extends Pick<FoundRecord, 'from' | 'path'> {
  readonly material: Material;
  /** Names of the machines that leave a known mark on it, and how it looks. */
  readonly markedBy: readonly { readonly machine: string; readonly direction: 'lighter' | 'darker' }[];
}

/** All materials of a shop that can be read, and a notice for each that cannot. */
export function listMaterials(shop: Shop): {
  readonly materials: readonly ListedMaterial[];
  readonly notices: readonly Notice[];
} {
  const machines = listRecords(shop, { kind: 'machines', read: (name) => readMachine(name, shop) });
  const { records, notices } = listRecords(shop, {
    kind: 'materials',
    read: (name) => {
      const { json, path } = shop.read('materials', name);
      return parseMaterial(json, path);
    },
  });
  const materials = records.map(({ value: material, from, path }) => ({
    material,
    from,
    path,
    markedBy: machines.records.flatMap(({ name, value: { wavelengthNm } }) => {
      const mark = findMark(material, wavelengthNm);
      return mark ? [{ machine: name, direction: mark.direction }] : [];
    }),
  }));
  return { materials, notices: [...machines.notices, ...notices] };
}

interface Step {
  readonly text: string;
  readonly source: string;
}

export interface ShownMaterial {
  readonly material: Material;
  readonly before: readonly Step[];
  readonly after: readonly Step[];
  /** Each with the whole reference that it comes from. */
  readonly cautions: readonly Step[];
}

/** One material, by name, title or alias. @throws AppError name-unknown, path-*, file-invalid */
export function showMaterial(asked: string, shop: Shop): ShownMaterial {
  const material = findMaterial(asked, shop)!;
  const withSource = (steps: Material['cautions'] = []) =>
    steps.map(({ text, source }) => ({ text, source: SOURCES[source] }));
  const { before, after, cautions } = material;
  return { material, before: withSource(before), after: withSource(after), cautions: withSource(cautions) };
}

/** All palettes of a shop that can be read, and a notice for each that cannot. */
export function listPalettes(shop: Shop) {
  return listRecords<Palette>(shop, { kind: 'palettes', read: (name) => showPalette(name, shop) });
}

/** @throws AppError name-unknown, path-*, file-invalid */
export function showPalette(nameOrPath: string, shop: Shop): Palette {
  const { json, path } = shop.read('palettes', nameOrPath);
  return parsePalette(json, path);
}

export interface ListedJig {
  readonly name: string;
  readonly title: string;
  readonly widthMm: number;
  readonly heightMm: number;
  /** Pockets of one size, the most first. */
  readonly pockets: readonly ({ readonly count: number } & Pick<Pocket, 'widthMm' | 'heightMm' | 'round'>)[];
}

/** All jigs of a shop that can be read, and a notice for each that cannot. */
export function listJigs(shop: Shop) {
  return listRecords<ListedJig>(shop, {
    kind: 'jigs',
    read: (name) => {
      const { json, path } = shop.read('jigs', name);
      const { title, widthMm, heightMm, pockets } = parseJig(json, path);
      const sizes = new Map<string, ListedJig['pockets'][number]>();
      for (const pocket of pockets) {
        const round = pocket.round ? { round: true as const } : {};
        const key = `${pocket.widthMm}x${pocket.heightMm}${pocket.round ? ' round' : ''}`;
        const count = (sizes.get(key)?.count ?? 0) + 1;
        sizes.set(key, { count, widthMm: pocket.widthMm, heightMm: pocket.heightMm, ...round });
      }
      return { name, title, widthMm, heightMm, pockets: [...sizes.values()].sort((a, b) => b.count - a.count) };
    },
  });
}

/** A jig with where each of its pockets lies, and the file it is from. */
export interface ShownJig {
  readonly jig: Jig;
  readonly from: string;
  readonly path: string;
}

/**
 * One jig.
 * @param nameOrPath a jig of the shop, or the path of its file
 * @throws AppError name-unknown, path-*, file-invalid
 */
export function showJig(nameOrPath: string, shop: Shop): ShownJig {
  const { json, path, from } = shop.read('jigs', nameOrPath);
  return { jig: parseJig(json, path), from, path };
}

/** An option of a screen, and what it is when nothing is said. */
export interface ScreenOptionRow {
  readonly name: string;
  readonly value: string | number;
}

export interface ShownScreen extends ListedScreen {
  readonly options: readonly ScreenOptionRow[];
  /** Share of the tone's error that is passed on: 1 keeps the tone, less loses some on purpose. */
  readonly weightSum: number;
  readonly source: string;
}

/** One screen: what it is good for, its options with what they are when nothing is said, and where it comes from. */
export function showScreen(name: string): ShownScreen {
  const found = SCREEN_NAMES.find((one) => one === name);
  if (!found) {
    const close = findCloseNames(name, SCREEN_NAMES);
    const hint = close.length > 0 ? `did you mean ${close.join(' or ')}?` : `there are ${SCREEN_NAMES.join(', ')}`;
    throw new AppError('name-unknown', `found no screen "${name}"; ${hint}`, {
      asked: name,
      names: SCREEN_NAMES,
    });
  }
  const { title, family, uses, goodFor, defaults, weightSum, source } = SCREENS[found];
  const filled = fillOptions({}, defaults);
  const options = uses.map((option) => ({ name: option, value: filled[option] }));
  return { name: found, title, family, uses, goodFor, options, weightSum, source: SOURCES[source] };
}

export interface ListedScreen extends Pick<ScreenRecord, 'title' | 'family' | 'uses'> {
  readonly name: ScreenName;
  readonly goodFor: string;
}

/** All screens, with what each is good for. */
export function listScreens(): readonly ListedScreen[] {
  return SCREEN_NAMES.map((name) => {
    const { title, family, uses, goodFor } = SCREENS[name];
    return { name, title, family, uses, goodFor };
  });
}

/** Writes a page with a picture of each screen. @throws AppError result-exists, path-* */
export async function writeScreensPage(path: string, { force = false } = {}): Promise<void> {
  await writeFilesAtomic([{ path, bytes: await renderScreensPage() }], { force });
}
