import type { DoseReading } from './read-dose.ts';
import type { FocusReading } from './read-focus.ts';

/** A word of a command, quoted where a shell would take it apart. */
const quote = (word: string) => (/^[\w./@:+=-]+$/.test(word) ? word : `"${word.replaceAll('"', '')}"`);

/** The command after a focus chart: a dose chart, burned at the focus that was found. */
export function nextAfterFocus({ machine, material, direction }: FocusReading): string {
  const on = machine === undefined ? '' : ` --machine ${quote(machine)}`;
  const what = material === undefined ? '' : ` --material ${quote(material)}`;
  return `tonewright chart dose${on}${what} --direction ${direction} --out dose`;
}

/** The command after a dose chart: a tone chart with the settings that it recommends. */
export function nextAfterDose({ machine, material, direction }: DoseReading, settingsFile: string): string {
  const on = machine === undefined ? '' : ` --machine ${quote(machine)}`;
  const what = material === undefined ? '' : ` --material ${quote(material)}`;
  return `tonewright chart tone${on}${what} --direction ${direction} --settings ${quote(settingsFile)} --out chart`;
}

/** The command after a tone chart: a photo through the profile. */
export function nextAfterTone(profile: string): string {
  return `tonewright prepare PHOTO --size card --profile ${quote(profile)} --out out`;
}
