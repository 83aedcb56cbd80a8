import type { Corner, Correction, Origin } from '../../plate/index.ts';
import { roundTo } from '../page/html.ts';

/** Words that the pages of jigs and of plates share. */

const CORNERS: Readonly<Record<Corner, string>> = {
  'top-left': 'upper left',
  'top-right': 'upper right',
  'bottom-left': 'lower left',
  'bottom-right': 'lower right',
};

export const sayCorner = (corner: Corner) => CORNERS[corner];

/** Where 0, 0 is and how y counts. */
export function sayOrigin({ at, yAxis }: Origin, stop: Corner): string {
  const where = {
    stop: `the machine’s stop, where the ${sayCorner(stop)} corner of the jig lies`,
    'field-corner': `the ${yAxis === 'down' ? 'upper' : 'lower'} left corner of the machine’s field`,
    'field-centre': 'the middle of the machine’s field',
  }[at];
  return `0, 0 is ${where} (the red point); x counts to the right, y ${yAxis === 'down' ? 'down' : 'up'}.`;
}

/** What is corrected, and what that asks of the control software; empty when nothing is. */
export function sayCorrection({ offsetXMm, offsetYMm, turnDeg }: Correction, offIfNotTurnedMm: number): string[] {
  if (offsetXMm === 0 && offsetYMm === 0 && turnDeg === 0) return [];
  const came = [
    ...(offsetXMm === 0 ? [] : [sayShift(offsetXMm, 'too far right', 'too far left')]),
    ...(offsetYMm === 0 ? [] : [sayShift(offsetYMm, 'too far down', 'too far up')]),
    ...(turnDeg === 0
      ? []
      : [`turned by ${roundTo(Math.abs(turnDeg), 4)}° ${turnDeg > 0 ? 'clockwise' : 'anticlockwise'}`]),
  ];
  const lines = [`All places are corrected for marks that came out ${came.join(' and ')}.`];
  if (turnDeg !== 0) {
    lines.push(
      `Turn each bitmap by ${roundTo(Math.abs(turnDeg), 4)}° ${turnDeg > 0 ? 'anticlockwise' : 'clockwise'} only in software that turns the scan lines themselves, as a galvo head can. Software that redraws the pixels would destroy the dots: there leave the bitmap as it is and set it by its centre; its corners are then off by up to ${roundTo(offIfNotTurnedMm, 3)} mm. Less with one bitmap for each piece; none once the stop is square.`,
    );
  }
  return lines;
}

const sayShift = (mm: number, more: string, less: string) => `${roundTo(Math.abs(mm), 4)} mm ${mm < 0 ? less : more}`;

/** Look of the pages of jigs and plates, beside what every page has. */
export const PLATE_STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 2mm; }
header p { margin: .6mm 0 0; }
.clock { font-size: 15pt; font-weight: 650; white-space: nowrap; text-align: right; line-height: 1.15; }
.clock span { display: block; font-size: 8.4pt; font-weight: 400; }
.warnings { border: .4mm solid var(--loud); padding: 1.2mm 2.5mm; margin-bottom: 2.5mm; }
.warnings h2 { color: var(--loud); }
section { margin-bottom: 2.8mm; }
section.whole { break-inside: avoid; }
h2 { break-after: avoid; }
svg.layout { max-height: 92mm; margin: 0 auto; }
svg.layout text { fill: var(--ink); font-weight: 600; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; align-items: start; }
.settings td { font-weight: 600; }
.list th { border-bottom: .2mm solid var(--rule); padding-right: 2.5mm; vertical-align: bottom; }
.list td { padding-right: 2.5mm; border-bottom: .1mm solid #e8ecee; }
.list tr { break-inside: avoid; }
.list .number { text-align: right; }
ol { margin: 0; padding-left: 5mm; }
ol li { margin: 0 0 .9mm; }
code { font-size: 8pt; background: #f3f5f6; padding: .3mm 1mm; overflow-wrap: anywhere; }
.cautions { columns: 2; column-gap: 6mm; font-size: 7.1pt; line-height: 1.25; }
.cautions li { break-inside: avoid; }
.fine { font-size: 6.8pt; line-height: 1.3; color: var(--soft); overflow-wrap: anywhere; border-top: .2mm solid var(--rule); padding-top: 1.2mm; margin: 0; }
.fine p { margin: 0 0 .6mm; }
@media screen and (max-width: 720px) { .columns { grid-template-columns: 1fr; } .cautions { columns: 1; } header { display: block; } .clock { text-align: left; margin-top: 2mm; } }
`;

/** A table with numbers to the right, from cells that are HTML already. */
export function drawList(head: readonly string[], rows: readonly (readonly (string | number)[])[]): string {
  const numeric = head.map((_, at) => rows.length > 0 && rows.every((row) => typeof row[at] === 'number'));
  const kind = (at: number) => (numeric[at] ? ' class="number"' : '');
  return `<div class="scroll"><table class="list"><thead><tr>${head.map((cell, at) => `<th scope="col"${kind(at)}>${cell}</th>`).join('')}</tr></thead><tbody>${rows
    .map((row) => `<tr>${row.map((cell, at) => `<td${kind(at)}>${cell}</td>`).join('')}</tr>`)
    .join('')}</tbody></table></div>`;
}
