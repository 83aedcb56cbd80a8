import * as v from 'valibot';
import type { DoseReading } from '../job/index.ts';
import type { Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { GRID_FIELDS, SETTINGS_FIELDS } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import { listRecords } from './listing.ts';
import { nameOfTitle } from './names.ts';

/** Settings that a dose chart found for a material on a machine; its file is one that `--settings` takes. */
export interface FoundSettings {
  readonly material: string;
  readonly settings: DoseReading['recommended']['settings'];
  readonly path: string;
}

const FOUND = v.object({
  schema: v.literal('tonewright-dose/1'),
  machine: v.string(),
  material: v.string(),
  recommended: v.object({
    settings: v.object({ ...SETTINGS_FIELDS, lineSpacingMm: GRID_FIELDS.lineSpacingMm }),
  }),
});

/** What a machine's own list holds, by material, and a notice for each file that cannot be read. */
export function listFoundSettings(
  machine: string,
  shop: Shop,
): { readonly found: readonly FoundSettings[]; readonly notices: readonly Notice[] } {
  const { records, notices } = listRecords(shop, {
    kind: 'settings',
    read: (name) => {
      const { json, path } = shop.read('settings', name);
      return { ...parseRecord(FOUND, { json, what: `settings ${path}` }), path };
    },
  });
  const own = records.map(({ value }) => value).filter((record) => record.machine === machine);
  const found = own.map(({ material, recommended: { settings }, path }) => ({ material, settings, path }));
  return { found, notices };
}

/** Keeps what a dose chart told in the machine's list; undefined where it is not known what was burned on what. */
export async function keepFoundSettings(reading: DoseReading, shop: Shop): Promise<string | undefined> {
  const [machine, material] = [reading.machine, reading.material].map((title) => nameOfTitle(title ?? ''));
  if (machine === undefined || material === undefined || shop.shopDir === undefined) return undefined;
  return shop.write('settings', `${machine}.${material}`, reading, { force: true });
}
