import { formatMoney, type Quote } from '../../price/index.ts';
import { escapeHtml, roundTo, wrapPage } from '../page/html.ts';
import type { OrderPageOptions } from './page.ts';
import type { DonePiece, OrderRecord } from './record.ts';

/**
 * The sheet of an order for whoever ordered it: every piece as it will look, with size, count and price, and a place to
 * say yes. Nothing of the workshop stands on it: no machine, no profile, no time, no warning. Self-contained HTML.
 * @param shopTitle name of the shop, as its price list has it
 */
export function renderCustomerPage(
  order: OrderRecord,
  { title, proofs, shopTitle }: OrderPageOptions & { readonly shopTitle?: string },
): string {
  const { pieces, totals, quote } = order;
  const done = pieces.filter((piece): piece is DonePiece => piece.status === 'done');
  const missing = pieces.filter(({ status }) => status === 'failed').map(({ photo }) => photo);
  const prices = new Map(quote?.pieces.map((piece) => [piece.id, piece]));
  const cards = done.map((piece) => renderPiece(piece, { proof: proofs.get(piece.name), quote, prices }));
  const count = totals.copies === 1 ? '1 piece' : `${totals.copies} pieces`;
  const body = `
<header>
  <div>${shopTitle ? `<p class="soft">${escapeHtml(shopTitle)}</p>` : ''}<h1>${escapeHtml(title)}</h1></div>
  <p class="count">${count}</p>
</header>
<p class="lead">This is how your pieces will look. Please look at each of them: the crop, the names, the size.</p>
<main>${cards.join('')}
</main>
${missing.length > 0 ? `<p class="missing">Not shown yet, and we will ask you about ${missing.length === 1 ? 'it' : 'them'}: ${missing.map(escapeHtml).join(', ')}.</p>` : ''}
${quote ? `<section class="sums"><h2>Price</h2>${renderSums(quote)}</section>` : ''}
<section class="yes">
  <p>I have looked at ${done.length === 1 ? 'it' : 'all of them'}, and would like ${done.length === 1 ? 'it' : 'them'} as shown here.</p>
  <p class="lines"><span>Date</span><span>Name and signature</span></p>
</section>
<p class="fine">A picture on paper or on a screen is as near as ink and light come to an engraved piece; the material has a grain and a shine of its own.</p>`;
  return wrapPage({ title, style: STYLE, body });
}

interface PieceFacts {
  readonly proof: string | undefined;
  readonly quote: Quote | null;
  readonly prices: ReadonlyMap<string, Quote['pieces'][number]>;
}

function renderPiece(
  { name, text, count, widthMm, heightMm, materialTitle, seen }: DonePiece,
  facts: PieceFacts,
): string {
  const { proof, quote, prices } = facts;
  const price = prices.get(name);
  const each = price && quote ? formatMoney(price.eachMinor, quote) : undefined;
  const all = price && quote && count > 1 ? `, together ${formatMoney(price.amountMinor, quote)}` : '';
  return `
<article>
  <div class="picture">${proof ? `<img src="${proof}" alt="${escapeHtml(name)} as it will look">` : ''}</div>
  <h2><span>${escapeHtml(name)}</span>${count > 1 ? `<b>${count} ×</b>` : ''}</h2>
  ${text ? `<p class="text">${escapeHtml(text)}</p>` : ''}
  <p>${escapeHtml(materialTitle)}, ${roundTo(widthMm, 1)} × ${roundTo(heightMm, 1)} mm</p>
  ${seen ? `<p>${saySeenToCustomer(seen)}</p>` : ''}
  ${each ? `<p class="price">${escapeHtml(`${each}${count > 1 ? ' each' : ''}${all}`)}</p>` : ''}
  <p class="tick"><i></i> as shown <i></i> please change</p>
</article>`;
}

/** How a piece of clear stock is looked at, for whoever will hang it up. */
function saySeenToCustomer({ seen, beneath }: NonNullable<DonePiece['seen']>): string {
  const side = seen === 'through' ? 'Engraved on the back, smooth in front' : 'Engraved on the front';
  return `${side}${beneath ? `; shown with ${beneath === 'dark' ? 'something dark' : 'something white'} behind it` : ''}.`;
}

/** What the pieces cost together, what comes once an order, and the tax. */
function renderSums(quote: Quote): string {
  const pieces = quote.pieces.reduce((sum, { amountMinor }) => sum + amountMinor, 0);
  const tax = `${quote.tax.included ? 'of which ' : ''}${quote.tax.name} ${roundTo(quote.tax.percent, 2)} %`;
  const rows: readonly (readonly [string, number])[] = [
    ['Pieces', pieces],
    ...quote.lines.map(({ label, amountMinor }) => [label, amountMinor] as const),
    [tax, quote.tax.amountMinor],
    ...(quote.roundingMinor === 0 ? [] : [['Rounding', quote.roundingMinor] as const]),
  ];
  const money = (minor: number) => escapeHtml(formatMoney(minor, quote));
  const lines = rows.map(
    ([head, minor]) => `<tr><th scope="row">${escapeHtml(head)}</th><td>${money(minor)}</td></tr>`,
  );
  return `<table>${lines.join('')}<tr class="total"><th scope="row">To pay</th><td>${money(quote.grossMinor)}</td></tr></table>`;
}

const STYLE = `
header { display: flex; justify-content: space-between; align-items: end; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 2mm; margin-bottom: 3mm; }
header p { margin: 0; }
body { font-size: 10pt; }
.count { font-size: 12pt; font-weight: 650; white-space: nowrap; }
.lead { margin-bottom: 4mm; }
main { display: grid; grid-template-columns: repeat(2, 1fr); gap: 6mm 7mm; margin-bottom: 5mm; }
main:has(article:only-child) { grid-template-columns: 1fr; }
article { break-inside: avoid; min-width: 0; }
article p { margin: 0 0 .8mm; overflow-wrap: anywhere; }
article h2 { display: flex; justify-content: space-between; gap: 2mm; font-size: 11pt; color: var(--ink); overflow-wrap: anywhere; margin: 0 0 .8mm; }
.picture { height: 62mm; display: flex; align-items: center; justify-content: center; background: #eceff0; margin-bottom: 2mm; }
.picture img { max-height: 58mm; max-width: 94%; }
.text { font-style: italic; white-space: pre-line; }
.price { font-weight: 650; font-variant-numeric: tabular-nums; }
.tick i { display: inline-block; width: 3.4mm; height: 3.4mm; border: .25mm solid var(--soft); vertical-align: -.6mm; margin: 0 1mm 0 3mm; }
.tick i:first-child { margin-left: 0; }
.tick { color: var(--soft); }
.missing { border-left: .8mm solid var(--accent); padding-left: 3mm; }
.sums { margin: 0 0 5mm auto; width: 80mm; break-inside: avoid; }
.sums td { text-align: right; }
.total th, .total td { border-top: .3mm solid var(--ink); font-weight: 650; color: var(--ink); }
.yes { break-inside: avoid; margin-bottom: 3mm; }
.lines { display: grid; grid-template-columns: 1fr 2fr; gap: 8mm; margin-top: 14mm; }
.lines span { border-top: .25mm solid var(--ink); padding-top: .8mm; color: var(--soft); font-size: 8pt; }
.fine { font-size: 7.5pt; color: var(--soft); margin: 0; }
@media screen and (max-width: 560px) { main { grid-template-columns: 1fr; } .sums { width: auto; } }
`;
