import type { CommandRecord } from '../command.ts';
import { CHART_RECORDS } from './chart.record.ts';
import { MACHINE_RECORDS } from './machine.record.ts';
import { ORDER_RECORDS } from './order.record.ts';
import { PAGE_RECORDS } from './page.record.ts';
import { PHOTO_RECORDS } from './photo.record.ts';
import { SHOP_RECORDS } from './shop.record.ts';
import { SIMULATE_RECORDS } from './simulate.record.ts';

/** Every command, in the order of `--help`. Each is a record; its code in the file of its name is loaded on demand. */
export const COMMANDS: readonly CommandRecord[] = [
  ...PHOTO_RECORDS,
  ...ORDER_RECORDS,
  ...CHART_RECORDS,
  ...PAGE_RECORDS,
  ...MACHINE_RECORDS,
  ...SHOP_RECORDS,
  ...SIMULATE_RECORDS,
];

/** What each group of commands is for, in the order of `--help`. */
export const GROUPS: Readonly<Record<string, string>> = {
  chart: 'Draw a chart to burn: spot, dose, tone, verify or check, with a page that says what to do.',
  machine: 'Your machines: list them, show one, or describe a new one.',
  material: 'Materials: list them, show one, or add your own.',
  profile: 'What was learned: list the profiles, show one, or compare two.',
  screen: 'Screens: list them with what each is good for, or show one.',
  palette: 'Palettes of several marks: list them, or show one.',
  jig: 'Jigs: list them, show one, or describe a new one.',
  price: 'Your prices: show the list, or write one.',
  warning: 'Warnings: list those that may rest, put one to rest in this shop, or let it speak again.',
  simulate: 'Virtual engraver and scanner: try the whole loop without a laser; see what planted faults look like.',
};
