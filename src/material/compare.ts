import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { levelsOfScreen } from './level-road.ts';
import type { Profile, ScreenChoice } from './types.ts';

/** A laser with one lens, as far as a comparison needs to know it. */
export interface MachineFacts {
  readonly name: string;
  readonly wavelengthNm: number;
  readonly focalLengthMm: number;
}

export interface JobFacts {
  readonly machine: MachineFacts;
  /** The machine that the profile was learned on, when its record is at hand: tells a lens from a laser. */
  readonly learnedOn?: MachineFacts;
  readonly grid: DotGrid;
  readonly screen: ScreenChoice;
  /** Settings that will be typed in, where they are not the profile's own. */
  readonly settings?: BurnSettings;
  /** How the other side is spoken of; of a job when absent. */
  readonly words?: DifferenceWords;
}

/** What stands before the other side's value, and before a setting that it changed. */
export interface DifferenceWords {
  readonly uses: string;
  readonly now: string;
}

const OF_A_JOB: DifferenceWords = { uses: 'this job uses', now: 'now' };

export interface SettingsWarning {
  readonly field: 'machine' | 'lens' | 'pitch' | 'lineSpacing' | 'screen' | 'settings';
  readonly message: string;
}

/** Names what differs between the job and what the profile was learned with; empty when it may be trusted. */
export function compareSettings(profile: Profile, job: JobFacts): readonly SettingsWarning[] {
  const { uses, now } = job.words ?? OF_A_JOB;
  const warnings: SettingsWarning[] = [];
  const warn = (field: SettingsWarning['field'], what: string) => warnings.push(warnLearned(profile, field, what));

  if (profile.machine !== job.machine.name) {
    const { learnedOn, machine } = job;
    if (learnedOn && learnedOn.wavelengthNm !== machine.wavelengthNm) {
      warn(
        'machine',
        `on another machine: ${profile.machine} (${learnedOn.wavelengthNm} nm); ${uses} ${machine.name} (${machine.wavelengthNm} nm)`,
      );
    } else if (learnedOn && learnedOn.focalLengthMm !== machine.focalLengthMm) {
      warn(
        'lens',
        `with another lens: ${learnedOn.focalLengthMm} mm (${profile.machine}); ${uses} ${machine.focalLengthMm} mm (${machine.name})`,
      );
    } else warn('machine', `on another machine: ${profile.machine}; ${uses} ${machine.name}`);
  }
  warnings.push(...compareHalftone(profile, job));
  const changed = job.settings ? listChanges(profile.settings, job.settings, now) : [];
  if (changed.length > 0) warn('settings', `with other settings: ${changed.join(', ')}`);
  return warnings;
}

/** Names in which screen and grid differ from the profile's, so that its own curve is not that of the job. */
export function compareHalftone(
  profile: Profile,
  job: Pick<JobFacts, 'grid' | 'screen' | 'words'>,
): readonly SettingsWarning[] {
  const { uses } = job.words ?? OF_A_JOB;
  const warnings: SettingsWarning[] = [];
  const warn = (field: SettingsWarning['field'], what: string) => warnings.push(warnLearned(profile, field, what));
  if (differs(profile.grid.pitchMm, job.grid.pitchMm)) {
    warn('pitch', `at another pitch: ${sayMm(profile.grid.pitchMm)} mm; ${uses} ${sayMm(job.grid.pitchMm)} mm`);
  }
  if (differs(profile.grid.lineSpacingMm, job.grid.lineSpacingMm)) {
    warn(
      'lineSpacing',
      `at another line spacing: ${sayMm(profile.grid.lineSpacingMm)} mm; ${uses} ${sayMm(job.grid.lineSpacingMm)} mm`,
    );
  }
  const screen = describeScreen(profile.screen);
  if (profile.screen.name !== job.screen.name) {
    warn('screen', `with another screen: ${profile.screen.name}; ${uses} ${job.screen.name}`);
  } else if (levelsOfScreen(profile.screen) !== levelsOfScreen(job.screen)) {
    warn('screen', `with ${sayLevels(profile.screen)}; ${uses} ${sayLevels(job.screen)}`);
  } else if (screen !== describeScreen(job.screen) && !countsMarks(profile, job)) {
    warn('screen', `with other screen options: ${screen}; ${uses} ${describeScreen(job.screen)}`);
  }
  return warnings;
}

/** Levels of power that a screen's dots have, in words. */
function sayLevels(screen: ScreenChoice): string {
  const levels = levelsOfScreen(screen);
  return levels === 2 ? 'dots that fire or not' : `${levels} power levels per dot`;
}

const warnLearned = ({ name }: Profile, field: SettingsWarning['field'], what: string): SettingsWarning => ({
  field,
  message: `The profile "${name}" was learned ${what}`,
});

/**
 * Whether the job counts the marks where the profile's screen counted dots, all else of the screen being equal. The
 * table that counts them was fitted to that very chart, so nothing needs a warning, but the curve is another one.
 */
export function countsMarks(profile: Pick<Profile, 'screen'>, { screen }: Pick<JobFacts, 'screen'>): boolean {
  const { errorOf, ...options } = screen.options;
  if (errorOf !== 'marks' || profile.screen.options.errorOf !== undefined) return false;
  return describeScreen({ ...screen, options }) === describeScreen(profile.screen);
}

/** Lengths within a thousandth are one length typed in two units. */
function differs(a: number, b: number): boolean {
  return Math.abs(a - b) > 0.001 * Math.max(a, b);
}

/** To the four digits in which `differs` may find a difference: a rotary's steps have no round pitch. */
const sayMm = (mm: number) => Number(mm.toPrecision(4));

function describeScreen({ name, options }: ScreenChoice): string {
  const sorted = Object.keys(options).sort();
  return [name, ...sorted.map((key) => `${key} ${options[key]}`)].join(', ');
}

const SETTINGS: readonly { readonly key: keyof BurnSettings; readonly label: string; readonly unit: string }[] = [
  { key: 'powerW', label: 'power', unit: ' W' },
  { key: 'speedMmPerS', label: 'speed', unit: ' mm/s' },
  { key: 'rateKHz', label: 'pulse rate', unit: ' kHz' },
  { key: 'pulseNs', label: 'pulse duration', unit: ' ns' },
  { key: 'passes', label: 'passes', unit: '' },
  { key: 'scan', label: 'scan', unit: '' },
];

function listChanges(learned: BurnSettings, used: BurnSettings, now: string): string[] {
  const show = (value: string | number | undefined, unit: string) =>
    value === undefined ? 'not given' : `${value}${unit}`;
  return SETTINGS.filter(({ key }) => {
    const [a, b] = [learned[key], used[key]];
    return typeof a === 'number' && typeof b === 'number' ? differs(a, b) : a !== b;
  }).map(({ key, label, unit }) => `${label} ${show(learned[key], unit)}, ${now} ${show(used[key], unit)}`);
}
