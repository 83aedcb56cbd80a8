import { type Jig, sketchJig } from '../../plate/index.ts';
import { formatMoney } from '../../price/index.ts';
import { escapeHtml, renderCautions, roundTo, sayDuration, wrapPage } from '../page/html.ts';
import { listSettings, renderTyped } from '../page/typed-rows.ts';
import type { PlateBurn, PlatePiece, PlatesRecord, PlateTicket } from './ticket.ts';
import type { BitmapTime } from './time.ts';
import { drawList, PLATE_STYLE, sayCorner, sayCorrection, sayOrigin } from './words.ts';

export interface PlatePageFacts {
  readonly jig: Jig;
  /** Pictures of the pieces in their sequence, as data URIs. */
  readonly pictures: readonly string[];
}

/** Tables of so many rows are kept on one page. Assumed: a printed page holds two such tables. */
const MOST_ROWS = 16;

/** The ticket of a plate to print: layout to scale, what to do in which sequence, where every bitmap goes. */
export function renderPlatePage(ticket: PlateTicket, { jig, pictures }: PlatePageFacts): string {
  const { machine, material, pieces, burns, time, price } = ticket;
  const copies = pieces.length === 1 ? '1 piece' : `${pieces.length} pieces`;
  const sketch = sketchJig(jig, {
    fieldMm: machine.fieldMm,
    pieces: [
      ...pieces.map((piece) => ({ ...piece.place, label: labelOf(piece), picture: pictures[piece.number - 1]! })),
      ...(ticket.strip ? [{ ...ticket.strip.place, label: 'control strip' }] : []),
    ],
    marks: [],
  });
  const off = Math.max(...burns.map(({ control }) => control.offIfNotTurnedMm));
  const corrected = sayCorrection(ticket.correction, off);
  const body = `
<header>
  <div><h1>Plate ${ticket.number} of ${ticket.of}</h1>
  <p class="soft">${escapeHtml(material.title)} · ${copies} · ${escapeHtml(machine.title)}</p>
  <p>Jig <b>${escapeHtml(`${ticket.jig.name} ${ticket.jig.mark}`)}</b></p></div>
  <p class="clock">${sayDuration(time.seconds)}<span class="soft">${sayRange(time)}</span><span class="soft">${burns.length === 1 ? '1 bitmap' : `${burns.length} bitmaps`}${price ? ` · ${escapeHtml(formatMoney(price.amountMinor, price))}` : ''}</span></p>
</header>
${ticket.warnings.length > 0 ? `<section class="warnings"><h2>Read before burning</h2><ul>${list(ticket.warnings)}</ul></section>` : ''}
<section class="whole">${sketch}
  <p class="soft">To scale. Thick red corner: where the jig meets the machine’s stop; thin red corners: where each piece is pushed to; dashed: the field. The pictures show the dots from afar and are no proof.</p>
</section>
<section class="columns">
  <div class="whole">
    <h2>Sequence</h2>
    <ol>${stepsOf(ticket, jig)
      .map((step) => `<li>${step}</li>`)
      .join('')}</ol>
  </div>
  <div class="whole">
    <h2>Where 0, 0 is</h2>
    <p>${escapeHtml(sayOrigin(ticket.origin, jig.stop))}</p>
    ${corrected.map((line) => `<p>${escapeHtml(line)}</p>`).join('')}
    ${sameSettings(burns) ? `<h2>To type in for every bitmap</h2><table class="settings">${renderTyped(listSettings(burns[0]!.settings, burns[0]!.grid, machine.control))}</table>` : ''}
  </div>
</section>
<section${burns.length <= MOST_ROWS ? ' class="whole"' : ''}>
  <h2>Bitmaps: import each at its own size, black fires; never scale it, never let the software dither, sharpen or turn its pixels</h2>
  ${drawList(
    [
      '',
      'file',
      'dots',
      'corner x, mm',
      'corner y, mm',
      'centre x, mm',
      'centre y, mm',
      ...(ticket.correction.turnDeg === 0 ? [] : ['turn, ° clockwise']),
      'pieces',
      'time',
    ],
    burns.map((burn) => [
      burn.sequence,
      escapeHtml(burn.file),
      `${burn.widthDots} × ${burn.heightDots}`,
      Number(roundTo(burn.control.corner.xMm, 4)),
      Number(roundTo(burn.control.corner.yMm, 4)),
      Number(roundTo(burn.control.centre.xMm, 4)),
      Number(roundTo(burn.control.centre.yMm, 4)),
      ...(ticket.correction.turnDeg === 0 ? [] : [burn.control.angleDeg]),
      [...burn.pieces.map(String), ...(burn.strip ? ['strip'] : [])].join(', '),
      sayDuration(burn.time.seconds),
    ]),
  )}
  ${sameSettings(burns) ? '' : `<div class="columns">${burns.map((burn) => `<div><h2>Bitmap ${burn.sequence}: ${escapeHtml(burn.profile.title)}</h2><table class="settings">${renderTyped(listSettings(burn.settings, burn.grid, machine.control))}</table></div>`).join('')}</div>`}
</section>
<section${pieces.length <= MOST_ROWS ? ' class="whole"' : ''}>
  <h2>Pieces, by pocket</h2>
  ${drawList(
    [
      '',
      'pocket',
      'piece',
      'copy',
      ...(pieces.some(({ text }) => text) ? ['text'] : []),
      'size, mm',
      'corner x, mm',
      'corner y, mm',
      'bitmap',
      'first dot x',
      'y',
    ],
    pieces.map((piece) => [
      piece.number,
      escapeHtml(piece.pocket),
      `${escapeHtml(piece.name)}${piece.turned ? ' ↻' : ''}`,
      `${piece.copy} of ${piece.count}`,
      ...(pieces.some(({ text }) => text) ? [escapeHtml(piece.text ?? '')] : []),
      `${roundTo(piece.place.widthMm, 3)} × ${roundTo(piece.place.heightMm, 3)}`,
      Number(roundTo(piece.control.corner.xMm, 4)),
      Number(roundTo(piece.control.corner.yMm, 4)),
      piece.burn,
      piece.xDots,
      piece.yDots,
    ]),
  )}
  <p class="soft">${sayRounding(pieces)}</p>
</section>
${ticket.notes.length > 0 ? `<section class="whole"><h2>Why it is so</h2><ul>${list(ticket.notes)}</ul></section>` : ''}
<section class="whole">
  <h2>Cautions</h2>
  ${renderCautions(ticket.cautions)}
</section>
<section class="fine">
  <p><b>Time</b> ${sayTime(ticket)}</p>
  ${ticket.assumptions.length > 0 ? `<p><b>Assumed, not measured</b> ${ticket.assumptions.map(escapeHtml).join(' ')}</p>` : ''}
  <p>${burns.map(({ file, sha256 }) => `${escapeHtml(file)} ${sha256.slice(0, 12)}`).join(' · ')} · Tonewright ${escapeHtml(ticket.version)}</p>
</section>`;
  return wrapPage({ title: `Plate ${ticket.number} of ${ticket.of}`, style: PLATE_STYLE, body });
}

const sayRange = ({ interval }: BitmapTime) => `${sayDuration(interval.lowS)} … ${sayDuration(interval.highS)}`;
const labelOf = ({ number, name, turned }: PlatePiece) => `${number} ${name}${turned ? ' ↻' : ''}`;

function stepsOf(ticket: PlateTicket, jig: Jig): string[] {
  const { burns, pieces, strip } = ticket;
  const stops = [...new Set(pieces.map(({ pocket }) => jig.pockets.find(({ name }) => name === pocket)!.stop))];
  const [stop] = stops;
  const where = stops.length === 1 ? `the ${sayCorner(stop!)} corner of its pocket` : 'the marked corner of its pocket';
  return [
    `Push the jig <b>${escapeHtml(`${ticket.jig.name} ${ticket.jig.mark}`)}</b> with its ${sayCorner(jig.stop)} corner into the machine’s stop. Check the mark that is engraved on it: another jig puts every piece elsewhere.`,
    `Lay in ${pieces.length === 1 ? 'the piece' : `pieces 1 to ${pieces.length}`}, each pushed into ${where}${pieces.some(({ turned }) => turned) ? '; ↻: turned by a quarter, clockwise' : ''}.`,
    ...(strip
      ? [
          `Lay a piece of scrap of the same stock into the pocket ${escapeHtml(strip.pocket)}: the control strip goes there.`,
        ]
      : []),
    'Focus on the surface of the pieces.',
    ...burns.map(
      ({ file, control, time }) =>
        `Import <b>${escapeHtml(file)}</b>, set its upper left corner to <b>${roundTo(control.corner.xMm, 4)}, ${roundTo(control.corner.yMm, 4)}</b> mm (or its centre to ${roundTo(control.centre.xMm, 4)}, ${roundTo(control.centre.yMm, 4)}), type in its settings and burn: ${sayDuration(time.seconds)}.`,
    ),
    jig.notch ? 'Take the pieces out by the notches.' : 'Push the pieces out from below.',
    ...(strip
      ? [
          `Read the strip when it is cold: <code>tonewright check strip.png --chart ${escapeHtml(strip.layout)} --profile ${escapeHtml(burns[strip.burn - 1]!.profile.name)}</code>`,
        ]
      : []),
  ];
}

function sameSettings(burns: readonly PlateBurn[]): boolean {
  return new Set(burns.map(({ settings, grid }) => JSON.stringify(listSettings(settings, grid, undefined)))).size === 1;
}

function sayRounding(pieces: readonly PlatePiece[]): string {
  const most = Math.max(...pieces.flatMap(({ off }) => [Math.abs(off.xMm), Math.abs(off.yMm)]));
  return most === 0
    ? 'Corner: upper left of the piece as it lies, as typed into the control software. Every piece lies exactly on whole dots.'
    : `Corner: upper left of the piece as it lies, as typed into the control software. Pieces lie on whole dots, which moves them by up to ${roundTo(1000 * most, 1)} µm; nothing is resampled.`;
}

function sayTime({ time, burns }: PlateTicket): string {
  const how = `${burns.length === 1 ? 'One bitmap' : `${burns.length} bitmaps one after the other`}, computed from the dots by the machine’s motion`;
  const sure = `95 % within ${sayRange(time)}, ${time.interval.basis === 'fitted' ? 'fitted to stopwatch readings' : 'by assumed uncertainties of the machine'}.`;
  if (time.secondsApart === null) return `${how}; each piece is a bitmap of its own. ${sure}`;
  const apart = time.secondsApart;
  const better = apart < time.seconds * 0.98 ? ', which would be faster' : '';
  return `${how}. Every piece as a bitmap of its own would take ${sayDuration(apart)}${better}: scan lines over the whole plate cross the bare ways between the pieces, separate bitmaps start anew each time. ${sure}`;
}

/** All plates on one page: how many, why, how long, which files. */
export function renderPlatesPage(
  record: PlatesRecord,
  { jigOf }: { readonly jigOf: (ticket: PlateTicket) => Jig },
): string {
  const { plates, batches, notes } = record;
  const total = sumPrice(plates);
  const cards = plates.map((ticket) => {
    const sketch = sketchJig(jigOf(ticket), {
      fieldMm: ticket.machine.fieldMm,
      pieces: ticket.pieces.map((piece) => ({ ...piece.place, label: labelOf(piece) })),
      marks: [],
    });
    return `<article><h2><a href="${ticket.name}.ticket.html">Plate ${ticket.number}</a> · ${sayDuration(ticket.time.seconds)}${ticket.price ? ` · ${escapeHtml(formatMoney(ticket.price.amountMinor, ticket.price))}` : ''}</h2>
${sketch}<p class="soft">${escapeHtml(ticket.material.title)} · ${escapeHtml(ticket.machine.name)} · jig ${escapeHtml(`${ticket.jig.name} ${ticket.jig.mark}`)} · ${ticket.burns.map(({ file }) => escapeHtml(file)).join(', ')}</p></article>`;
  });
  const body = `
<header>
  <div><h1>${plates.length === 1 ? '1 plate' : `${plates.length} plates`}</h1>
  <p class="soft">${batches.reduce((sum, { pieces }) => sum + pieces, 0)} pieces${total === '' ? '' : ` · ${escapeHtml(total)}`}</p></div>
  <p class="clock">${sayDuration(record.time.seconds)}<span class="soft">${sayRange(record.time)}, machine time</span></p>
</header>
<section><ul>${list([...batches.map(({ machine, material, explanation }) => `${material} on ${machine}: ${explanation}`), ...notes])}</ul></section>
<section class="cards">${cards.join('\n')}</section>`;
  return wrapPage({ title: 'Plates', style: `${PLATE_STYLE}${CARDS_STYLE}`, body });
}

function sumPrice(plates: readonly PlateTicket[]): string {
  const prices = plates.map(({ price }) => price);
  const [first] = prices;
  if (!first || prices.some((price) => price?.currency !== first.currency)) return '';
  return `${formatMoney(
    prices.reduce((sum, price) => sum + price!.amountMinor, 0),
    first,
  )} for the pieces, without what is charged once an order`;
}

const list = (texts: readonly string[]) => texts.map((text) => `<li>${escapeHtml(text)}</li>`).join('');

const CARDS_STYLE = `
.cards { display: grid; grid-template-columns: 1fr 1fr; gap: 5mm; }
.cards article { break-inside: avoid; }
.cards svg.layout { max-height: 80mm; margin: 0 0 1mm; }
a { color: var(--accent); }
@media screen and (max-width: 720px) { .cards { grid-template-columns: 1fr; } }
`;
