import { type KnownControl, listSwitches, sayTyped, typeSettings } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import { roundTo } from './html.ts';

/** Millimetres in an inch, mm. Exact: by definition. */
const INCH_MM = 25.4;

/** Settings in the order in which they are typed in, in the units of the control software. */
export function listSettings(
  settings: BurnSettings,
  grid: DotGrid,
  control: KnownControl | undefined,
): [string, string][] {
  return [
    ...typeSettings(settings, control).map((typed): [string, string] => [typed.label, sayTyped(typed)]),
    ['Scan lines', settings.scan === 'one-way' ? 'one way only' : 'there and back'],
    ['Pitch × line spacing', sayGrid(grid)],
    ...(control ? listSwitches(control).map((text): [string, string] => ['Switch on', text]) : []),
  ];
}

export function sayGrid({ pitchMm, lineSpacingMm }: DotGrid): string {
  return `${roundTo(pitchMm, 5)} × ${roundTo(lineSpacingMm, 5)} mm (${roundTo(INCH_MM / pitchMm, 1)} × ${roundTo(INCH_MM / lineSpacingMm, 1)} per inch)`;
}

/** Settings of one burn in a line: `45 % (3.6 W at the work), 1200 mm/s, 40 kHz, 1 pass, one way only`. */
export function saySettings(settings: BurnSettings, control: KnownControl | undefined): string {
  return [
    ...typeSettings(settings, control).map((typed) =>
      typed.key === 'passes' ? `${typed.value} ${typed.value === 1 ? 'pass' : 'passes'}` : sayTyped(typed),
    ),
    settings.scan === 'one-way' ? 'one way only' : 'there and back',
  ].join(', ');
}
