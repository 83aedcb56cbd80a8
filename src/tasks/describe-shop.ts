import { meanBandHalf, readMachine, recommendStartSpacingMm, startSettings } from '../job/index.ts';
import type { Machine } from '../machine/index.ts';
import { type FoundRecord, findMark, type Profile, parseMaterial, type Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import type { BurnSettings } from '../optics/index.ts';
import { SCREEN_NAMES, type ScreenName } from '../screens/index.ts';
import { listProfiles, listRecords } from './listing.ts';

/** What there is to choose from. */
export interface ShopRecord {
  readonly machines: readonly OfferedMachine[];
  /** The one to offer first before the others. */
  readonly profiles: readonly OfferedProfile[];
  readonly materials: readonly {
    readonly name: string;
    readonly title: string;
    /** Names of the machines that leave a known mark on it. */
    readonly markedBy: readonly string[];
  }[];
  readonly screens: readonly ScreenName[];
  /** What of the shop folder cannot be read. */
  readonly notices: readonly Notice[];
}

export interface OfferedMachine extends Pick<Machine, 'name' | 'title' | 'fieldMm' | 'wavelengthNm'> {
  /** What can be set of its pulses. */
  readonly pulses: { readonly rate: boolean; readonly duration: boolean };
  /** What a chart, or a photo without a profile, starts with on the recommended grid. */
  readonly start: BurnSettings;
}

export interface OfferedProfile {
  readonly profile: Profile;
  readonly from: FoundRecord['from'];
  /**
   * Half the band in which 95 % of patches burned later should lie, ΔL*, mean over the curve; absent without a measure.
   */
  readonly bandL?: number;
}

/** Machines, profiles, materials and screens of a shop; one broken file hides no other. */
export function describeShop(shop: Shop): ShopRecord {
  const machines = listRecords(shop, { kind: 'machines', read: (name) => offerMachine(name, shop) });
  const profiles = listProfiles(shop);
  const materials = listRecords(shop, {
    kind: 'materials',
    read: (name) => {
      const { json, path } = shop.read('materials', name);
      const material = parseMaterial(json, path);
      const markedBy = machines.records
        .filter(({ value: { wavelengthNm } }) => findMark(material, wavelengthNm) !== undefined)
        .map((machine) => machine.name);
      return { name, title: material.title, markedBy };
    },
  });
  return {
    machines: machines.records.map(({ value }) => value),
    profiles: profiles.records.map(({ value, from }) => offerProfile(value, from)),
    materials: materials.records.map(({ value }) => value),
    screens: SCREEN_NAMES,
    notices: [machines, profiles, materials].flatMap(({ notices }) => notices),
  };
}

function offerMachine(name: string, shop: Shop): OfferedMachine {
  const machine = readMachine(name, shop);
  const spacing = recommendStartSpacingMm(machine);
  const start = startSettings(machine, { grid: { pitchMm: spacing, lineSpacingMm: spacing } });
  const { title, fieldMm, wavelengthNm } = machine;
  const pulses = { rate: machine.rateKHz !== undefined, duration: machine.pulseNs !== undefined };
  return { name, title, fieldMm, wavelengthNm, pulses, start };
}

export function offerProfile(profile: Profile, from: FoundRecord['from']): OfferedProfile {
  const bandL = meanBandHalf(profile);
  return { profile, from, ...(bandL === undefined ? {} : { bandL }) };
}
