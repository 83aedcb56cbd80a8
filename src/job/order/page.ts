import { formatMoney, type Quote } from '../../price/index.ts';
import { escapeHtml, renderCautions, roundTo, sayDuration, wrapPage } from '../page/html.ts';
import { type DonePiece, type OrderPieceRecord, type OrderRecord, sayReason, type TimeRange } from './record.ts';

export interface OrderPageOptions {
  /** What the order is called. */
  readonly title: string;
  /** Small pictures of the proofs by the name of the piece, as data URIs. */
  readonly proofs: ReadonlyMap<string, string>;
}

/**
 * The contact sheet of an order: every proof with its piece, time, price and warnings, what was not made and why, and
 * the sums. Self-contained HTML, to hang beside the machine; whoever ordered it gets a sheet of their own.
 */
export function renderOrderPage(order: OrderRecord, { title, proofs }: OrderPageOptions): string {
  const { pieces, totals, quote } = order;
  const failed = pieces.filter((piece) => piece.status === 'failed');
  const prices = new Map(quote?.pieces.map((piece) => [piece.id, piece]));
  const done = pieces.filter((piece): piece is DonePiece => piece.status === 'done');
  const shared = findShared(done);
  const cards = done.map((piece) =>
    renderPiece(piece, { proof: proofs.get(piece.name), shared, price: sayPrice(prices.get(piece.name), quote) }),
  );
  const body = `
<header>
  <div><h1>${escapeHtml(title)}</h1>
  <p class="soft">${totals.done} of ${totals.pieces} pieces ready · ${totals.copies} to burn</p></div>
  <p class="clock">${sayDuration(totals.seconds)}<small>${sayRange(totals.interval)}</small>${quote ? `<span>${escapeHtml(formatMoney(quote.grossMinor, quote))}</span>` : ''}</p>
</header>
${
  failed.length > 0
    ? `<section class="loud"><h2>Not made: ${failed.length}</h2><ul>${failed.map(renderFailed).join('')}</ul></section>`
    : ''
}${
  shared.length > 0
    ? `<section class="loud"><h2>Read before burning</h2><ol>${shared.map((text) => renderShared(text, done)).join('')}</ol></section>`
    : ''
}
<main>${cards.join('')}
</main>
<section class="sums">
  <div><h2>Time</h2>${renderMachines(order)}</div>
  ${quote ? `<div><h2>Price</h2>${renderQuote(quote)}</div>` : ''}
</section>
${order.cautions.length > 0 ? `<section><h2>Cautions</h2>${renderCautions(order.cautions)}</section>` : ''}
<p class="fine">A proof is a prediction from the profile of its material. Times are of the machine alone; 95 of 100 end between the two beside them. Tonewright ${escapeHtml(order.version)}</p>`;
  return wrapPage({ title: `Order: ${title}`, style: STYLE, body });
}

interface PieceExtras {
  readonly proof: string | undefined;
  /** Warnings that are said once, above the pieces. */
  readonly shared: readonly string[];
  readonly price: string | undefined;
}

function renderPiece(piece: DonePiece, { proof, shared, price }: PieceExtras): string {
  const { name, text, count, widthMm, heightMm, materialTitle, machine, seconds, interval, meanDeltaL, seen } = piece;
  const own = piece.warnings.filter((warning) => !shared.includes(warning));
  const numbers = shared.flatMap((warning, at) => (piece.warnings.includes(warning) ? [at + 1] : []));
  return `
<article>
  <div class="picture">${proof ? `<img src="${proof}" alt="Proof of ${escapeHtml(name)}">` : ''}</div>
  <h2><span>${escapeHtml(name)}</span><b>${count} ×</b></h2>
  ${text ? `<p class="text">${escapeHtml(text)}</p>` : ''}
  <p>${roundTo(widthMm, 2)} × ${roundTo(heightMm, 2)} mm, ${escapeHtml(materialTitle)}${seen?.seen === 'through' ? ', <b>burned from behind</b>' : ''}</p>
  <p class="soft">${escapeHtml(machine)} · <a href="${encodeURIComponent(piece.ticket.replace(/json$/, 'html'))}">ticket</a> · error ${roundTo(meanDeltaL, 1)} ΔL*</p>
  <p class="pay"><span>${sayDuration(seconds)}${count > 1 ? ` each, ${sayDuration(seconds * count)}` : ''}</span>${price ? `<span>${price}</span>` : ''}<small>${sayRange(interval)}${count > 1 ? ' each' : ''}</small></p>
  ${numbers.length > 0 ? `<p class="warn">Read before burning: ${numbers.join(', ')} above</p>` : ''}${own.map((warning) => `<p class="warn">${escapeHtml(warning)}</p>`).join('')}
</article>`;
}

/**
 * What more than one piece warns of, in the sequence of the order: said once with a number, and the number at each
 * piece.
 */
function findShared(done: readonly DonePiece[]): readonly string[] {
  const counts = new Map<string, number>();
  for (const { warnings } of done) for (const text of warnings) counts.set(text, (counts.get(text) ?? 0) + 1);
  return [...counts].filter(([, count]) => count > 1).map(([text]) => text);
}

function renderShared(text: string, done: readonly DonePiece[]): string {
  const count = done.filter(({ warnings }) => warnings.includes(text)).length;
  const whose = count === done.length ? 'all pieces' : `${count} pieces`;
  return `<li>${escapeHtml(text)} <span class="soft">(${whose})</span></li>`;
}

function sayRange({ lowS, highS }: TimeRange): string {
  return `${sayDuration(lowS)} … ${sayDuration(highS)}`;
}

function renderFailed(piece: OrderPieceRecord): string {
  if (piece.status !== 'failed') return '';
  const line = piece.line === null ? '' : ` (line ${piece.line})`;
  return `<li><b>${escapeHtml(piece.photo)}</b>${line}: ${escapeHtml(sayReason(piece))}</li>`;
}

function sayPrice(piece: Quote['pieces'][number] | undefined, quote: Quote | null): string | undefined {
  if (!piece || !quote) return undefined;
  const all = formatMoney(piece.amountMinor, quote);
  return escapeHtml(piece.count > 1 ? `${formatMoney(piece.eachMinor, quote)} each, ${all}` : all);
}

function renderMachines({ totals }: OrderRecord): string {
  const rows = totals.machines.map(
    ({ machine, copies, seconds, interval }) =>
      `<tr><th scope="row">${escapeHtml(machine)}</th><td>${copies} ${copies === 1 ? 'piece' : 'pieces'}</td><td class="right">${sayDuration(seconds)}</td><td class="right soft">${sayRange(interval)}</td></tr>`,
  );
  return `<table>${rows.join('')}</table>`;
}

function renderQuote(quote: Quote): string {
  const money = (minor: number) => escapeHtml(formatMoney(minor, quote));
  const pieces = quote.pieces.reduce((sum, { amountMinor }) => sum + amountMinor, 0);
  const rows: [string, number][] = [
    ['Pieces', pieces],
    ...quote.lines.map(({ label, amountMinor }): [string, number] => [label, amountMinor]),
    [
      `${quote.tax.included ? 'of which ' : ''}${quote.tax.name} ${roundTo(quote.tax.percent, 2)} %`,
      quote.tax.amountMinor,
    ],
    ...(quote.roundingMinor === 0 ? [] : [['Rounding', quote.roundingMinor] as [string, number]]),
  ];
  const lines = rows.map(
    ([head, minor]) => `<tr><th scope="row">${escapeHtml(head)}</th><td class="right">${money(minor)}</td></tr>`,
  );
  const warnings = quote.warnings.map((text) => `<p class="warn">${escapeHtml(text)}</p>`).join('');
  return `<table>${lines.join('')}<tr class="total"><th scope="row">To pay</th><td class="right">${money(quote.grossMinor)}</td></tr></table>${warnings}`;
}

const STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 3mm; }
header p { margin: .6mm 0 0; }
.clock { font-size: 15pt; font-weight: 650; white-space: nowrap; text-align: right; line-height: 1.15; }
.clock span, .clock small { display: block; }
.clock small, .pay small { font-size: 7.4pt; font-weight: 400; color: var(--soft); }
.pay small { flex-basis: 100%; }
.loud { border: .4mm solid var(--loud); padding: 1.5mm 3mm; margin-bottom: 3mm; break-inside: avoid; }
.loud ol { margin: 0; padding-left: 5mm; }
.loud h2, .warn { color: var(--loud); }
main { display: grid; grid-template-columns: repeat(3, 1fr); gap: 4mm; margin-bottom: 4mm; }
article { break-inside: avoid; min-width: 0; border: .2mm solid var(--rule); padding: 2mm; display: flex; flex-direction: column; }
article p { margin: 0 0 .6mm; overflow-wrap: anywhere; }
article h2 { display: flex; justify-content: space-between; gap: 2mm; font-size: 9.5pt; color: var(--ink); overflow-wrap: anywhere; margin: 0 0 .6mm; }
article h2 b { white-space: nowrap; color: var(--accent); }
.picture { height: 38mm; display: flex; align-items: center; justify-content: center; margin-bottom: 2mm; }
.picture img { max-height: 38mm; }
.text { font-style: italic; white-space: pre-line; }
.pay { display: flex; justify-content: space-between; flex-wrap: wrap; gap: 0 3mm; font-weight: 650; font-variant-numeric: tabular-nums; margin: .4mm 0 1mm; }
article p.warn { font-size: 7.2pt; line-height: 1.25; padding-left: 2mm; text-indent: -2mm; }
.sums { display: grid; grid-template-columns: 1fr 1fr; gap: 8mm; margin-bottom: 3mm; break-inside: avoid; }
.right { text-align: right; }
.sums td { padding-left: 4mm; }
.total th, .total td { border-top: .3mm solid var(--ink); font-weight: 650; color: var(--ink); }
.cautions { columns: 2; column-gap: 6mm; font-size: 7.1pt; line-height: 1.25; }
.cautions li { break-inside: avoid; }
.fine { font-size: 6.6pt; color: var(--soft); margin: 3mm 0 0; }
a { color: var(--accent); }
@media screen and (max-width: 720px) { main { grid-template-columns: 1fr 1fr; } .sums { grid-template-columns: 1fr; } .cautions { columns: 1; } }
@media screen and (max-width: 440px) { main { grid-template-columns: 1fr; } }
`;
