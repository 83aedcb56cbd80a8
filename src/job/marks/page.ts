import { type KnownControl, listSwitches } from '../../machine/index.ts';
import {
  escapeHtml,
  renderAtRest,
  renderCautions,
  renderHandling,
  renderRows,
  roundTo,
  sayDuration,
  wrapPage,
} from '../page/html.ts';
import { saySettings } from '../page/typed-rows.ts';
import { sayOrientation } from '../prepare/ticket.ts';
import type { MarkBurn, MarksTicket } from './types.ts';

/** The ticket of a job of several marks to print: what to burn first, second and so on, with what settings. */
export function renderMarksPage(
  ticket: MarksTicket,
  pictures: { readonly photo: string; readonly proof: string },
): string {
  const { piece, grid, machine, material, palette, prediction, placement, seen } = ticket;
  const warnings = ticket.warnings.map((text) => `<li>${escapeHtml(text)}</li>`).join('');
  const body = `
<header>
  <div><h1>${escapeHtml(ticket.name)}</h1>
  <p class="soft">${escapeHtml(material.title)} · ${roundTo(piece.widthMm, 2)} × ${roundTo(piece.heightMm, 2)} mm · ${escapeHtml(machine.title)}</p></div>
  <p class="clock">${sayDuration(ticket.seconds)}<span class="soft">${ticket.burns.length} burns, without what lies between them</span></p>
</header>
${warnings && `<section class="warnings"><h2>Read before burning</h2><ul>${warnings}</ul></section>`}${renderAtRest(ticket)}
<section class="pictures">
  <figure><img src="${pictures.photo}" alt="The photo as cropped"><figcaption>Photo as cropped</figcaption></figure>
  <figure><img src="${pictures.proof}" alt="Proof of the engraved piece"><figcaption>Proof: what the piece will look like</figcaption></figure>
</section>
<section><h2>To burn in this order, without moving the piece</h2>
<table class="burns"><thead><tr><th></th><th>Mark</th><th>Bitmap</th><th>Settings</th><th>Dots</th><th>Time</th></tr></thead><tbody>
${ticket.burns.map((burn) => renderBurn(burn, machine.control)).join('\n')}
</tbody></table></section>
<section><table>${renderRows([
    ...(machine.control ? listSwitches(machine.control).map((text): [string, string] => ['Switch on', text]) : []),
    ...(seen ? [[seen.seen === 'through' ? 'Seen through' : 'Seen at its face', seen.note] as [string, string]] : []),
    ['Dots', `${grid.width} × ${grid.height}, pitch ${grid.pitchMm} mm, line spacing ${grid.lineSpacingMm} mm`],
    [
      'Where the piece lies',
      `centred in the field: upper left corner ${roundTo(placement.xMm, 3)} mm right and ${roundTo(placement.yMm, 3)} mm down from the field’s.${sayOrientation(ticket.orientation)}`,
    ],
    ['Palette', `${palette.title} (${palette.origin}, ${palette.date})`],
    ['Separated by', ticket.by === 'colour' ? 'colour' : 'lightness'],
    ['Stays bare', `${roundTo(100 * ticket.bare, 1)} % of the dots`],
    [
      'Predicted error',
      `mean ${roundTo(prediction.meanDeltaE, 2)}, 95 % below ${roundTo(prediction.p95DeltaE, 1)} ΔE from what the palette can show`,
    ],
  ])}</table></section>
${renderHandling(ticket.handling)}
<section><h2>Assumed</h2><ul>${ticket.assumptions.map((text) => `<li>${escapeHtml(text)}</li>`).join('')}</ul></section>
<section><h2>Cautions</h2>${renderCautions(ticket.cautions)}</section>`;
  return wrapPage({ title: `${ticket.name}: ticket`, style: STYLE, body });
}

function renderBurn(
  { order, title, colour, settings, doseJPerCm2, file, firing, time }: MarkBurn,
  control: KnownControl | undefined,
): string {
  const said = `${saySettings(settings, control)}, ${roundTo(doseJPerCm2, 2)} J/cm²`;
  const swatch = `<span class="swatch" style="background: lab(${colour.map((value) => roundTo(value, 1)).join(' ')})"></span>`;
  return `<tr><td>${order}</td><td>${swatch}${escapeHtml(title)}</td><td>${escapeHtml(file)}</td><td>${said}</td><td>${roundTo(100 * firing, 1)} %</td><td>${sayDuration(time.seconds)}</td></tr>`;
}

const STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; margin-bottom: 3mm; }
.clock { font-size: 14pt; text-align: right; white-space: nowrap; }
.clock span { display: block; font-size: 8pt; }
.warnings { border-left: 1mm solid var(--loud); padding: 1mm 2mm; margin-bottom: 3mm; }
.warnings h2 { color: var(--loud); }
.pictures { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; margin-bottom: 3mm; }
figure { margin: 0; }
figure img { max-height: 80mm; margin: 0 auto; }
@media print { figure img { max-height: 48mm; } section { margin-bottom: 2mm; } li { margin: 0; line-height: 1.25; } }
figcaption { text-align: center; color: var(--soft); }
section { margin-bottom: 3mm; }
.burns th { border-bottom: .2mm solid var(--rule); }
.burns td { padding: .8mm 3mm .8mm 0; border-bottom: .2mm solid var(--rule); }
.burns td:nth-child(2), .burns td:nth-child(n + 5) { white-space: nowrap; }
.swatch { display: inline-block; width: 3.5mm; height: 3.5mm; margin-right: 1.5mm; vertical-align: -.5mm; border: .1mm solid var(--soft); }
.cautions { columns: 2; column-gap: 6mm; font-size: 7.1pt; line-height: 1.25; }
.cautions li { break-inside: avoid; }
@media screen and (max-width: 720px) { .pictures { grid-template-columns: 1fr; } .cautions { columns: 1; } }
`;
