import { CHART_KIND_NAMES, CHART_KINDS, type ChartKind, type ChartKindRecord } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import { meanBandHalf, readHistory, readMachine, recommendStartSpacingMm, startSettings } from '../job/index.ts';
import { controlOf, type Machine, readTyped, typeSetting } from '../machine/index.ts';
import {
  type Beneath,
  type FoundRecord,
  findMark,
  type Material,
  type Profile,
  parseMaterial,
  type Seen,
  type Shop,
} from '../material/index.ts';
import type { Notice } from '../notices.ts';
import type { BurnSettings } from '../optics/index.ts';
import { DOT_FORMAT_NAMES, DOT_FORMATS, type DotFormat } from '../plane/index.ts';
import { SCREEN_NAMES, SCREENS, type ScreenName } from '../screens/index.ts';
import { type FoundSettings, findSettingsOf, listFoundSettings } from './found-settings.ts';
import { type Listed, listProfiles, listRecords } from './listing.ts';

/** What there is to choose from. */
export interface ShopRecord {
  readonly machines: readonly OfferedMachine[];
  /** The one to offer first before the others. */
  readonly profiles: readonly OfferedProfile[];
  readonly materials: readonly OfferedMaterial[];
  readonly screens: readonly { readonly name: ScreenName; readonly title: string }[];
  /** Kinds of charts, in the order in which a new material is learned. */
  readonly charts: readonly OfferedChart[];
  /** What of the shop folder cannot be read. */
  readonly notices: readonly Notice[];
}

export interface OfferedMaterial {
  readonly name: string;
  readonly title: string;
  /** Names of the machines that leave a known mark on it. */
  readonly markedBy: readonly string[];
  /** Of stock that is looked through: how it usually is, and over what its marks are known, the usual first. */
  readonly sides?: { readonly usual: Seen; readonly beneath: readonly Beneath[] };
}

/** A kind of chart, without what draws it. */
export interface OfferedChart extends Omit<ChartKindRecord, 'plan' | 'arrange'> {
  readonly kind: ChartKind;
}

export interface OfferedMachine extends Pick<Machine, 'name' | 'title' | 'fieldMm' | 'wavelengthNm' | 'levels'> {
  /** What can be set of its pulses. */
  readonly pulses: { readonly rate: boolean; readonly duration: boolean };
  /** Whether the shop has a map of how even its field is. */
  readonly isFieldMeasured: boolean;
  /** How its control software counts; W, mm/s and kHz where that is not known. */
  readonly units: OfferedUnits;
  /** What a chart, or a photo without a profile, starts with on the recommended grid. */
  readonly start: BurnSettings;
  /** What dose charts found on it, by material. */
  readonly found: readonly FoundSettings[];
  /**
   * Files that dots can be written to, as messages call them, the default first; none where there is nothing to choose,
   * since it reads no programs.
   */
  readonly formats: readonly { readonly name: DotFormat; readonly title: string }[];
}

/** A unit of the control software, and what one of it is in W or mm/s. */
export interface OfferedUnits {
  readonly power: { readonly unit: string; readonly factor: number };
  readonly speed: { readonly unit: string; readonly factor: number };
}

export interface OfferedProfile {
  readonly profile: Profile;
  readonly from: FoundRecord['from'];
  /**
   * Half the band in which 95 % of patches burned later should lie, ΔL*, mean over the curve; absent without a measure.
   */
  readonly bandL?: number;
  /** Of a profile of the shop that was learned from a burned piece: when a strip should tell whether it still holds. */
  readonly checkDue?: string;
}

/**
 * Days after which a profile is checked again. Assumed: a month; lens, cleaning, humidity and batches move a material
 * within weeks (common practice, no source).
 */
const CHECK_DAYS = 30;
const MS_PER_DAY = 86_400_000;

/** Machines, profiles, materials and screens of a shop; one broken file hides no other. */
export function describeShop(shop: Shop): ShopRecord {
  const settings = listFoundSettings(shop);
  const machines = listRecords(shop, { kind: 'machines', read: (name) => offerMachine(name, shop, settings) });
  const profiles = listProfiles(shop);
  const materials = listRecords(shop, {
    kind: 'materials',
    read: (name) => {
      const { json, path } = shop.read('materials', name);
      const material = parseMaterial(json, path);
      const markedBy = machines.records
        .filter(({ value: { wavelengthNm } }) => findMark(material, wavelengthNm) !== undefined)
        .map((machine) => machine.name);
      return { name, title: material.title, markedBy, ...offerSides(material) };
    },
  });
  return {
    machines: machines.records.map(({ value }) => value),
    profiles: profiles.records.map(({ value, from }) => offerProfile(value, from, shop)),
    materials: materials.records.map(({ value }) => value),
    screens: SCREEN_NAMES.map((name) => ({ name, title: SCREENS[name].title })),
    charts: CHART_KIND_NAMES.map(offerChart),
    notices: [machines, profiles, materials, settings].flatMap(({ notices }) => notices),
  };
}

/** How stock that is looked through may be looked at. */
function offerSides({ clear, seen, marks }: Material): Pick<OfferedMaterial, 'sides'> {
  if (!clear) return {};
  const beneath = [...new Set(marks.flatMap((mark) => mark.beneath ?? []))];
  return { sides: { usual: seen ?? 'face', beneath } };
}

function offerChart(kind: ChartKind): OfferedChart {
  const { plan: _, arrange: _arrange, ...record } = CHART_KINDS[kind];
  return { kind, ...record };
}

function offerMachine(name: string, shop: Shop, settings: Listed<FoundSettings>): OfferedMachine {
  const machine = readMachine(name, shop);
  const spacing = recommendStartSpacingMm(machine);
  const start = startSettings(machine, { grid: { pitchMm: spacing, lineSpacingMm: spacing } });
  const { title, fieldMm, wavelengthNm, levels } = machine;
  const pulses = { rate: machine.rateKHz !== undefined, duration: machine.pulseNs !== undefined };
  const control = controlOf(machine);
  const unitOf = (key: 'powerW' | 'speedMmPerS') => ({
    unit: typeSetting(key, 1, control).unit,
    factor: readTyped(key, 1, control),
  });
  const units = { power: unitOf('powerW'), speed: unitOf('speedMmPerS') };
  const names = machine.program ? DOT_FORMAT_NAMES : [];
  const formats = names.map((format) => ({ name: format, title: DOT_FORMATS[format].title }));
  const isFieldMeasured = shop.list('evenness').some((map) => map.name === name);
  const found = findSettingsOf(name, settings);
  return { name, title, fieldMm, wavelengthNm, levels, pulses, isFieldMeasured, units, start, found, formats };
}

export function offerProfile(profile: Profile, from: FoundRecord['from'], shop: Shop): OfferedProfile {
  const bandL = meanBandHalf(profile);
  const checkDue = from === 'shop' && profile.origin === 'measured' ? findCheckDue(profile, shop) : undefined;
  return { profile, from, ...(bandL === undefined ? {} : { bandL }), ...(checkDue ? { checkDue } : {}) };
}

/** ISO date of the next check, from the last one, or from when the profile was learned. */
function findCheckDue({ name, date }: Profile, shop: Shop): string | undefined {
  const last = [date, ...listChecks(name, shop)].reduce((a, b) => (a < b ? b : a));
  const due = Date.parse(last) + CHECK_DAYS * MS_PER_DAY;
  return Number.isNaN(due) ? undefined : new Date(due).toISOString().slice(0, 10);
}

/** Dates of a profile's checks; a history that cannot be read is told of where it is asked for. */
function listChecks(name: string, shop: Shop): readonly string[] {
  try {
    return (readHistory(name, shop)?.entries ?? []).map(({ date }) => date);
  } catch (error) {
    if (error instanceof AppError) return [];
    throw error;
  }
}
