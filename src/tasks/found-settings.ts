import type { DoseReading } from '../job/index.ts';
import type { Shop } from '../material/index.ts';
import { parseRecord } from '../schema.ts';
import { type Listed, listRecords } from './listing.ts';
import { nameOfTitle } from './names.ts';
import { DOSE } from './settings-file.ts';

/** Settings that a dose chart found for a material on a machine; its file is one that `--settings` takes. */
export interface FoundSettings {
  readonly machine: string;
  readonly material: string;
  readonly settings: DoseReading['recommended']['settings'];
  readonly path: string;
}

/** What the lists of all machines hold, and a notice for each file that cannot be read. */
export function listFoundSettings(shop: Shop): Listed<FoundSettings> {
  return listRecords(shop, {
    kind: 'settings',
    read: (name) => {
      const { json, path } = shop.read('settings', name);
      const { machine = '', material = '', recommended } = parseRecord(DOSE, { json, what: `settings ${path}` });
      return { machine, material, settings: recommended.settings, path };
    },
  });
}

/** What the list of one machine holds, by material. */
export const findSettingsOf = (name: string, { records }: Listed<FoundSettings>): readonly FoundSettings[] =>
  records.map(({ value }) => value).filter(({ machine }) => machine === name);

/** Keeps what a dose chart told in the machine's list; undefined where it is not known what was burned on what. */
export async function keepFoundSettings(reading: DoseReading, shop: Shop): Promise<string | undefined> {
  const [machine, material] = [reading.machine, reading.material].map((title) => nameOfTitle(title ?? ''));
  if (machine === undefined || material === undefined || shop.shopDir === undefined) return undefined;
  return shop.write('settings', `${machine}.${material}`, reading, { force: true });
}
