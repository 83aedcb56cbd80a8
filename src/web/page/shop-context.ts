import { createContext } from 'preact';
import { useContext } from 'preact/hooks';
import type { ChartCard, JobCard, Named, OrderView, PhotoSettings, ShopFacts } from '../protocol.ts';
import type { Unit } from './measure.ts';
import { numbers } from './numbers.ts';
import type { Choice } from './parts/choice.ts';
import { edgeOf } from './photo/bare-edge.ts';
import { withTitles } from './titles.ts';

/** What every screen may ask of the page around it. */
export interface PageContext {
  readonly shop: ShopFacts;
  readonly unit: Unit;
  readonly setUnit: (unit: Unit) => void;
  readonly jobs: ReadonlyMap<string, JobCard>;
  readonly orders: ReadonlyMap<string, OrderView>;
  /** Choices of the last photo: the next customer is likely to want the same piece. */
  readonly lastSettings: PhotoSettings;
  readonly keepSettings: (wish: PhotoSettings) => void;
  readonly go: (route: string) => void;
}

export const ShopContext = createContext<PageContext | undefined>(undefined);

export function useShop(): PageContext {
  const found = useContext(ShopContext);
  if (!found) throw new Error('a screen was drawn outside the page');
  return found;
}

/** The server's sentences as people here would write them: records by their titles, numbers as the reader has them. */
export function useWords(): (text: string) => string {
  const shop = useContext(ShopContext)?.shop;
  return (text) => numbers.inText(shop ? withTitles(text, shop) : text);
}

/** What people call a record of the shop; its name where the shop has it no more. */
export function titleIn(list: readonly Named[], name: string): string {
  return list.find((one) => one.name === name)?.title ?? name;
}

/** A kind of chart in a word. */
export function sayChart({ charts }: ShopFacts, kind: ChartCard['kind']): string {
  return charts.find((one) => one.kind === kind)!.subject;
}

/** The materials, those that the machine leaves no known mark on out of reach and with the reason. */
export function listMaterials({ materials }: ShopFacts, machine: string): readonly Choice<string>[] {
  return materials.map(({ name, title, markedBy }) =>
    markedBy.includes(machine)
      ? { value: name, label: title }
      : { value: name, label: `${title}: no known mark with this machine`, disabled: true },
  );
}

/** What to begin with on another machine: the material in hand where it is marked there. */
export function materialFor({ materials }: ShopFacts, machine: string, material: string | undefined): string {
  const marked = materials.filter(({ markedBy }) => markedBy.includes(machine));
  return (marked.find(({ name }) => name === material) ?? marked[0] ?? materials[0])?.name ?? '';
}

/** A card through the first profile at hand: something to look at without a single choice. */
export function firstSettings(shop: ShopFacts): PhotoSettings {
  const profile =
    shop.profiles.find(({ origin, from }) => from === 'shop' && origin === 'measured') ??
    shop.profiles.find(({ name }) => name === 'anodised-black') ??
    shop.profiles[0];
  const machine = profile?.machine ?? shop.machines[0]?.name ?? '';
  const card = shop.pieces[0]!;
  const { widthMm, heightMm, cornerRadiusMm } = card;
  const material = shop.materials.length > 0 ? materialFor(shop, machine, undefined) : undefined;
  return {
    widthMm,
    heightMm,
    cornerRadiusMm,
    machine,
    ...(profile ? { profile: profile.name } : material === undefined ? {} : { material }),
    fit: 'cover',
    safeMarginMm: edgeOf(card),
    tone: 'auto',
    toneValues: {},
    range: 'scale',
  };
}
