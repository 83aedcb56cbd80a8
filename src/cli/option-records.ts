import { DEFAULT_OPTIONS, JOB_DEFAULTS, SCREEN_NAMES, SCREEN_OPTIONS } from '../tasks/index.ts';
import type { OptionRecord } from './command.ts';

// Options that several commands take, each with the same words.

export const MACHINE: OptionRecord = {
  flags: '--machine <name>',
  help: 'machine: a name (see `machine list`) or a JSON file',
};

export const PROFILE: OptionRecord = {
  flags: '--profile <name>',
  help: 'profile: a name (see `profile list`) or a JSON file',
};

export const DIRECTION: OptionRecord = {
  flags: '--direction <way>',
  help: 'how the mark looks beside the bare surface (default: as known of the material)',
  choices: ['lighter', 'darker'],
};

export const SETTINGS_FILE: OptionRecord = {
  flags: '--settings <file>',
  help: 'settings that a dose chart recommends, as `learn` wrote them; options below go over it',
};

export const FORCE: OptionRecord = { flags: '--force', help: 'replace results that exist' };

export const OUT_FOLDER: OptionRecord = {
  flags: '--out <dir>',
  help: 'folder for the results; made when it is not there',
  required: true,
};

export const VIEWED_FROM: OptionRecord = {
  flags: '--viewed-from <length>',
  help: `distance from which the piece is looked at, mm (default: ${JOB_DEFAULTS.viewingDistanceMm})`,
};

/** What a jig of equal pockets is cut by: `plate --grid` and `jig new`. */
export const JIG_OPTIONS: readonly OptionRecord[] = [
  { flags: '--gap <length>', help: 'between two pockets, mm (default: 10)' },
  { flags: '--margin <length>', help: 'nothing is burned nearer than this to the edge of the field, mm (default: 2)' },
  { flags: '--rim <length>', help: 'board around the outermost pockets, mm (default: 12)' },
  { flags: '--clearance <length>', help: 'what a pocket is cut larger than its piece, mm (default: 0.2)' },
  { flags: '--kerf <length>', help: 'width of the cut that the drawing allows for, mm (default: 0)' },
  {
    flags: '--stop <corner>',
    help: 'corner into which board and pieces are pushed (default: top-left)',
    choices: ['top-left', 'top-right', 'bottom-left', 'bottom-right'],
  },
  {
    flags: '--origin <point>',
    help: 'what the control software calls 0, 0 (default: stop)',
    choices: ['stop', 'field-corner', 'field-centre'],
  },
  { flags: '--y-axis <way>', help: 'how the control software counts y (default: down)', choices: ['down', 'up'] },
];

/** Of each of its pockets. */
export const POCKET: OptionRecord = {
  flags: '--pocket <size>',
  help: 'size of the piece that a pocket takes, such as 85.6x54, ID-1, or ⌀90 (d90) for round pockets, mm',
};

/** Every screen, for help texts. */
export const SCREENS = SCREEN_NAMES.join(', ');

/** The range of a number of the screens in words, such as `1 to 32`. */
export function rangeOf(name: keyof typeof SCREEN_OPTIONS): string {
  const rule = SCREEN_OPTIONS[name];
  return 'min' in rule ? `${rule.min} to ${rule.max}` : rule.values.join(' or ');
}

/** An option of the screens that takes one of some words. */
export function wordsOf(name: keyof typeof SCREEN_OPTIONS): Pick<OptionRecord, 'choices'> {
  const rule = SCREEN_OPTIONS[name];
  return 'values' in rule ? { choices: rule.values } : {};
}

/** What a screen does where nothing is said. */
export { DEFAULT_OPTIONS as SCREEN_DEFAULTS };
