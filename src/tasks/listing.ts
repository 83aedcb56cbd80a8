import type { ChartLayout } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { parseChartLayout, readProfile } from '../job/index.ts';
import type { FoundRecord, Profile, RecordKind, Shop } from '../material/index.ts';
import { type Notice, notice } from '../notices.ts';

export interface Listed<T> {
  readonly records: readonly (FoundRecord & { readonly value: T })[];
  /** The records that cannot be read: one broken file must not hide the others. */
  readonly notices: readonly Notice[];
}

/** All records of one kind that can be read, and a notice for each that cannot. */
export function listRecords<T>(
  shop: Shop,
  { kind, read }: { readonly kind: RecordKind; readonly read: (name: string) => T },
): Listed<T> {
  const notices: Notice[] = [];
  const records = shop.list(kind).flatMap((found) => {
    try {
      return [{ ...found, value: read(found.name) }];
    } catch (error) {
      if (!(error instanceof AppError)) throw error;
      notices.push(notice('record-broken', { path: found.path, fault: error.message }));
      return [];
    }
  });
  return { records, notices };
}

/**
 * All profiles, the one to offer first before the others: measured before simulated before assumed, then the newest.
 * What was measured on a shop's own machine beats every example.
 */
export function listProfiles(shop: Shop): Listed<Profile> {
  const { records, notices } = listRecords(shop, { kind: 'profiles', read: (name) => readProfile(name, shop) });
  return { records: [...records].sort((a, b) => compareForOffer(a.value, b.value)), notices };
}

const ORIGINS: readonly Profile['origin'][] = ['measured', 'simulated', 'assumed'];

function compareForOffer(a: Profile, b: Profile): number {
  const byOrigin = ORIGINS.indexOf(a.origin) - ORIGINS.indexOf(b.origin);
  if (byOrigin !== 0) return byOrigin;
  // Examples have one date for all, or one that says nothing; people look for them by name.
  if (a.origin !== 'assumed' && a.date !== b.date) return a.date < b.date ? 1 : -1;
  return a.name < b.name ? -1 : 1;
}

/** All charts whose layouts the shop keeps, and a notice for each that cannot be read. */
export function listLayouts(shop: Shop): {
  readonly layouts: readonly ChartLayout[];
  readonly notices: readonly Notice[];
} {
  const { records, notices } = listRecords(shop, { kind: 'charts', read: (name) => readLayout(name, shop) });
  return { layouts: records.map(({ value }) => value), notices };
}

/**
 * @param nameOrPath a chart of the shop, or the path of its file
 * @throws AppError name-unknown, path-*, file-invalid
 */
export function readLayout(nameOrPath: string, shop: Shop): ChartLayout {
  const { json, path } = shop.read('charts', nameOrPath);
  return parseChartLayout(json, path);
}

/**
 * Layouts that a capture may show: the one that was named, else all that the shop keeps.
 * @param chart a chart of the shop, or the path of its file
 * @throws AppError name-unknown, file-invalid for the one that was named; path-missing when there is none at all
 */
export function readLayouts(
  chart: string | undefined,
  shop: Shop,
): { readonly layouts: readonly ChartLayout[]; readonly notices: readonly Notice[] } {
  if (chart !== undefined) return { layouts: [readLayout(chart, shop)], notices: [] };
  const { layouts, notices } = listLayouts(shop);
  if (layouts.length > 0) return { layouts, notices };
  throw new AppError(
    'path-missing',
    `found no ${shop.shopDir === undefined ? 'shop folder to look for charts in' : 'chart in the shop folder'}, needed the layout (chart.json) that was written with the chart or the strip: draw the chart first, or name that file`,
    { shop: shop.shopDir ?? null },
  );
}
