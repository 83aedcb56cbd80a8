import { type KnownControl, listSwitches, sayTyped, type TypedSetting, typeSettings } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import { escapeHtml, roundTo } from './html.ts';

/** Millimetres in an inch, mm. Exact: by definition. */
const INCH_MM = 25.4;

/** What is typed or chosen, and what it may be known as beside. */
export interface TypedRow {
  readonly label: string;
  readonly typed: string;
  readonly aside?: string;
  /** Words instead of a value: they need no large print. */
  readonly isWords?: boolean;
}

/** Settings in the order in which they are typed in, in the units of the control software. */
export function listSettings(
  settings: BurnSettings,
  grid: DotGrid,
  control: KnownControl | undefined,
): readonly TypedRow[] {
  return [
    ...typeSettings(settings, control).map(rowOf),
    { label: 'Scan lines', typed: settings.scan === 'one-way' ? 'one way only' : 'there and back' },
    {
      label: 'Pitch × line spacing',
      typed: `${roundTo(grid.pitchMm, 5)} × ${roundTo(grid.lineSpacingMm, 5)} mm`,
      aside: `${roundTo(INCH_MM / grid.pitchMm, 1)} × ${roundTo(INCH_MM / grid.lineSpacingMm, 1)} per inch`,
    },
    ...(control ? listSwitches(control).map((typed) => ({ label: 'Switch on', typed, isWords: true })) : []),
  ];
}

function rowOf({ label, value, unit, aside }: TypedSetting): TypedRow {
  return { label, typed: unit === '' ? String(value) : `${value} ${unit}`, ...(aside === undefined ? {} : { aside }) };
}

/** Rows of a table of what is typed in: values large, what they are known as beside small. */
export function renderTyped(rows: readonly TypedRow[]): string {
  return rows
    .map(({ label, typed, aside, isWords }) => {
      const value = isWords ? `<span>${escapeHtml(typed)}</span>` : `<b>${escapeHtml(typed)}</b>`;
      const beside = aside === undefined ? '' : ` <small>${escapeHtml(aside)}</small>`;
      return `<tr><th scope="row">${escapeHtml(label)}</th><td>${value}${beside}</td></tr>`;
    })
    .join('');
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
