import { type ProgramFacts, typeSettings } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import { formatAmount, formatMoney, type Quote, type QuoteLine } from '../../price/index.ts';
import {
  escapeHtml,
  renderAtRest,
  renderCautions,
  renderHandling,
  renderRows,
  roundTo,
  sayBytes,
  sayDuration,
  wrapPage,
} from '../page/html.ts';
import { listSettings, renderTyped, type TypedRow } from '../page/typed-rows.ts';
import { sayExposure } from '../request/uncertainty.ts';
import { lyingSize } from './ticket.ts';
import type { Ticket, TicketPictures } from './types.ts';

/** The ticket to print: one A4 sheet that hangs beside the machine. Self-contained HTML. */
export function renderTicketPage(ticket: Ticket, pictures: TicketPictures): string {
  const { piece, grid, machine, material, profile, prediction, time } = ticket;
  const warnings = ticket.warnings.map((text) => `<li>${escapeHtml(text)}</li>`).join('');
  const shape = pictureShape(piece);
  // A ticket is one sheet: the pictures give way to the warnings, a line or two each.
  const pictureMm = Math.max(22, 42 - 4 * Math.max(0, ticket.warnings.length - 1));
  const body = `
<header>
  <div><h1>${escapeHtml(ticket.name)}</h1>
  <p class="soft">${escapeHtml(material.title)} · ${mm(piece.widthMm)} × ${mm(piece.heightMm)} mm · ${escapeHtml(machine.title)}</p>${
    ticket.text
      ? `
  <p class="words">${escapeHtml(ticket.text)}</p>`
      : ''
  }</div>
  <p class="clock">${sayDuration(time.seconds)}<span class="soft">${sayDuration(time.interval.lowS)} … ${sayDuration(time.interval.highS)}, ${time.passes} ${time.passes === 1 ? 'pass' : 'passes'}</span></p>
</header>
${warnings && `<section class="warnings"><h2>Read before burning</h2><ul>${warnings}</ul></section>`}${renderAtRest(ticket)}
<section class="pictures ${shape}" style="--tall: ${pictureMm}mm">
  <figure><img src="${pictures.photo}" alt="The photo as cropped"><figcaption>Photo as cropped</figcaption></figure>
  <figure><img src="${pictures.proof}" alt="Proof of the engraved piece"><figcaption>Proof: what the piece will look like</figcaption></figure>
  <figure><img src="${pictures.detail}" alt="Detail of the dots"><figcaption>${escapeHtml(pictures.detailCaption)}</figcaption></figure>
</section>
<section class="columns">
  <div>
    <h2>To type in</h2>
    <table class="settings">${renderTyped(typedRows(ticket))}</table>
    <p class="never">${ticket.program ? 'Read the head of the program first. Let it go once round the piece without power, then go on.' : 'Import it at its own size, black fires. Never let the software dither, scale or smooth it.'}</p>
    <h2>How it was made</h2>
    <table class="made">${renderRows(madeRows(ticket))}</table>
  </div>
  <div>
    <h2>Where the piece lies</h2>
    <div class="lies">${ticket.around ? '' : drawField(ticket)}<p>${escapeHtml(ticket.around ? ticket.around.note : ticket.placement.note)}${ticket.round ? `<br><b>${escapeHtml(ticket.round.note)}</b>` : ''}${ticket.evenness ? `<br><b>${escapeHtml(ticket.evenness.note)}</b>` : ''}${ticket.heat ? `<br>${escapeHtml(ticket.heat.note)}` : ''}${ticket.twoWay ? `<br>${escapeHtml(ticket.twoWay.note)}` : ''}${ticket.strip ? `<br>${escapeHtml(ticket.strip.note)}` : ''}</p></div>
    <h2>What to expect</h2>
    <table>${renderRows([
      [
        'Predicted error',
        `mean ${roundTo(prediction.meanDeltaL, 2)}, worst ${roundTo(prediction.worstDeltaL, 1)} ΔL* seen from ${roundTo(piece.viewingDistanceMm, 0)} mm`,
      ],
      ...(ticket.uncertainty
        ? [
            [
              'Shape of the tones',
              `known to ± ${roundTo(ticket.uncertainty.meanL, 1)} L* on average, ± ${roundTo(ticket.uncertainty.worstL, 1)} at worst (95 %): whether even steps come out even`,
            ] as const,
            ['How light the whole is', sayExposure(ticket.uncertainty.exposure)] as const,
          ]
        : []),
      [
        'Range of the material',
        `L* ${roundTo(profile.bareL, 1)} bare … ${roundTo(profile.fullL, 1)} full, marks ${profile.direction}`,
      ],
      [
        'Cut off',
        `${percent(ticket.tone.clippedDark)} at the dark end, ${percent(ticket.tone.clippedLight)} at the light end${ticket.tone.aim.lostDeltaL >= 0.05 ? `; on average ${roundTo(ticket.tone.aim.lostDeltaL, 1)} L* of the aim are lost` : ''}`,
      ],
      [
        'Dose',
        `${roundTo(ticket.optics.doseJPerCm2, 2)} J/cm² mean of a solid${ticket.optics.peakFluenceJPerCm2 === null ? '' : `, peak fluence ${roundTo(ticket.optics.peakFluenceJPerCm2, 2)} J/cm²`}`,
      ],
      ...(ticket.subject
        ? [['Subject', `${ticket.subject.note} ${percent(ticket.subject.photoLost)} of the photo is cut off.`] as const]
        : []),
      ...(ticket.price ? [['Price of one', sayPrice(ticket.price)] as const] : []),
    ])}</table>
  </div>
</section>
<section class="columns">
  <div><h2>Tone curve: ${escapeHtml(profile.title)} (${escapeHtml(profile.origin)}${profile.curve === 'predicted' ? ', predicted for this screen and grid' : ''})</h2>${drawCurve(ticket, pictures)}</div>
  <div><h2>Coverage of the dots (mean ${percent(ticket.coverage.mean)})</h2>${drawHistogram(ticket.coverage.histogram)}</div>
</section>
${renderHandling(ticket.handling)}
<section>
  <h2>Cautions</h2>
  ${renderCautions(ticket.cautions)}
</section>
<section class="fine">
  <p><b>Time</b> 95 % between ${sayDuration(time.interval.lowS)} and ${sayDuration(time.interval.highS)}, ${time.interval.basis === 'fitted' ? 'fitted to stopwatch readings' : 'by assumed uncertainties of the machine'}. ${escapeHtml(time.formula)}</p>
  ${ticket.assumptions.length > 0 ? `<p><b>Assumed, not measured</b> ${ticket.assumptions.map(escapeHtml).join(' ')}</p>` : ''}
  <p>Photo ${escapeHtml(ticket.photo.file)} ${ticket.photo.sha256.slice(0, 12)} · bitmap ${escapeHtml(ticket.bitmap.file)} ${ticket.bitmap.sha256.slice(0, 12)} · profile ${escapeHtml(profile.name)} ${profile.sha256.slice(0, 12)} · Tonewright ${escapeHtml(ticket.version)} · grid from ${grid.origin}</p>
</section>`;
  return wrapPage({ title: `Ticket: ${ticket.name}`, style: `${STYLE}${shrinkPrint(ticket)}`, body });
}

/**
 * More lines to read than these make the whole sheet smaller; so many more fill what a hundredth of size gives;
 * characters of a line, and the least size as a share. Assumed, by printing: smaller letters are not read.
 */
const LINES = { free: 6, perHundredth: 0.75, longest: 105, least: 0.72 } as const;

/** A ticket is one sheet however much there is to warn of: print becomes smaller by the lines that are too many. */
function shrinkPrint({ warnings, strip, machine, orientation, handling, seen }: Ticket): string {
  const steps = Math.max(handling?.before.length ?? 0, handling?.after.length ?? 0);
  const more = (strip ? 4 : 0) + (machine.control ? 5 : 0) + (orientation ? 2 : 0) + (seen ? 4 : 0) + 2 * steps;
  const lines = warnings.reduce((sum, text) => sum + Math.ceil(text.length / LINES.longest), more);
  const size = 1 - Math.max(0, lines - LINES.free) / LINES.perHundredth / 100;
  return size < 1 ? `@media print { body { zoom: ${Math.max(LINES.least, size).toFixed(3)}; } }\n` : '';
}

/** What one piece costs as an order of its own, and of what. */
function sayPrice(price: Quote): string {
  const [piece] = price.pieces;
  const parts = [...price.lines, ...piece!.lines].reduce(
    (sums, { kind, amountMinor }) => sums.set(kind, (sums.get(kind) ?? 0) + amountMinor),
    new Map<string, number>(),
  );
  const { tax } = price;
  const named = [...parts]
    .filter(([, amountMinor]) => amountMinor !== 0)
    .map(([kind, amountMinor]) => `${PRICE_WORDS[kind as QuoteLine['kind']]} ${formatAmount(amountMinor, price)}`);
  const taxed = `${tax.name} ${formatAmount(tax.amountMinor, price)}${tax.included ? ' within' : ''}`;
  return `${formatMoney(price.grossMinor, price)}: ${[...named, taxed].join(', ')}`;
}

const PRICE_WORDS: Readonly<Record<QuoteLine['kind'], string>> = {
  setup: 'set-up',
  handling: 'handling',
  machine: 'machine',
  blank: 'blank',
  discount: 'discount',
  minimum: 'to the least price',
};

/** Nothing but what is typed or switched, in the units of the control software. */
function typedRows({ bitmap, grid, settings, machine, program }: Ticket): readonly TypedRow[] {
  if (program) return programRows({ bitmap, grid, settings, machine }, program);
  return [
    { label: 'Bitmap', typed: bitmap.file, aside: `${bitmap.width} × ${bitmap.height} dots` },
    ...listSettings(settings, grid, machine.control),
  ];
}

/** What a program says by itself; pulses alone are set at the machine. */
function programRows(
  { bitmap, grid, settings, machine }: Pick<Ticket, 'bitmap' | 'grid' | 'settings' | 'machine'>,
  { blocks, bytes, words, feed, power, powerW, runUpMm }: ProgramFacts,
): readonly TypedRow[] {
  const pulses = typeSettings(settings, machine.control).filter(({ key }) => key === 'rateKHz' || key === 'pulseNs');
  return [
    {
      label: 'Program',
      typed: bitmap.file,
      aside: `${bitmap.width} × ${bitmap.height} dots in ${blocks} blocks, ${sayBytes(bytes)}`,
    },
    {
      label: 'It says',
      typed: `F${roundTo(feed, 3)} (${roundTo(settings.speedMmPerS, 3)} mm/s), S${power} (${roundTo(powerW, 3)} W), ${settings.passes} × ${settings.scan === 'one-way' ? 'one way only' : 'there and back'}, dots ${roundTo(grid.pitchMm, 5)} × ${roundTo(grid.lineSpacingMm, 5)} mm`,
      isWords: true,
    },
    {
      label: '0, 0',
      typed: words.zero === 'field' ? 'where the field has it' : 'set by hand at the piece, see the head',
      isWords: true,
    },
    { label: 'Keep free', typed: `${roundTo(runUpMm, 2)} mm`, aside: 'to the left and right of the piece' },
    ...pulses.map(({ label, value, unit }) => ({ label, typed: `${value} ${unit}` })),
  ];
}

/** How it was made: nothing of it is typed. */
function madeRows(ticket: Ticket): [string, string][] {
  const { bitmap, screen, machine, profile, tone, optics } = ticket;
  const options = Object.entries(screen.options).map(([key, value]) => `${spellOut(key)} ${value}`);
  return [
    [
      'Screen',
      `${screen.name}${options.length > 0 ? ` (${options.join(', ')})` : ''}${bitmap.levels > 2 ? `, ${bitmap.levels} levels` : ''}${saySearch(screen)}`,
    ],
    ...sayChoice(screen),
    ...(ticket.power ? [['Power per dot', ticket.power.note] as [string, string]] : []),
    ['Tone', `${tone.mode}, ${sayAim(tone)}${tone.metered ? `. ${tone.metered.note}` : ''}`],
    ...sayCutOut(ticket.frame),
    ...sayLettering(ticket.lettering),
    ...sayByHand(ticket),
    ['Machine, profile', `${machine.name}, ${profile.name} (${profile.date})`],
    [
      'Spot',
      `${roundTo(optics.spotDiameterUm, 1)} µm (${optics.spotOrigin}), in focus within ±${roundTo(optics.defocusToleranceMm, 2)} mm`,
    ],
  ];
}

const SETTING_WORDS: Readonly<Record<keyof BurnSettings, string>> = {
  powerW: 'power',
  speedMmPerS: 'speed',
  rateKHz: 'pulse rate',
  pulseNs: 'pulse duration',
  passes: 'passes',
  scan: 'scan lines',
};

/** What of the settings is the shop's own, and no profile's; and how the piece is laid and looked at. */
function sayByHand({ setByHand, orientation, seen }: Ticket): [string, string][] {
  const rows: [string, string][] = [];
  if (seen) rows.push([seen.seen === 'through' ? 'Seen through' : 'Seen at its face', seen.note]);
  if (setByHand) rows.push(['Set by hand', setByHand.map((key) => SETTING_WORDS[key]).join(', ')]);
  if (orientation) {
    const { mirrored, turnedDeg } = orientation;
    const turn = turnedDeg === 0 ? [] : [`turned by ${turnedDeg}° clockwise`];
    rows.push(['Bitmap lies', [...(mirrored ? ['mirrored'] : []), ...turn].join(', ')]);
  }
  return rows;
}

const BACKDROP_WORDS = { soften: 'softened', fade: 'fades out', bare: 'left bare' } as const;

/** What of the photo is left off on purpose. */
function sayCutOut({ backdrop, outline }: Ticket['frame']): [string, string][] {
  const rows: [string, string][] = [];
  if (backdrop) rows.push(['Backdrop', BACKDROP_WORDS[backdrop]]);
  if (outline) {
    const soft = outline.vignetteMm > 0 ? `, fading out over ${roundTo(outline.vignetteMm, 2)} mm` : '';
    rows.push(['Outline', `${outline.outline}${soft}`]);
  }
  return rows;
}

/** Why this screen, and what its runs are worth. */
function sayChoice({ reason, runs = [] }: Ticket['screen']): [string, string][] {
  const [none, kept] = runs;
  const worth =
    none && kept
      ? `runs of ${kept.run} dots let the beam follow up to ${roundTo(kept.speedMmPerS, 0)} mm/s instead of ${roundTo(none.speedMmPerS, 0)}: ${roundTo(none.seconds / 60, 1)} → ${roundTo(kept.seconds / 60, 1)} min, for a mean error of ${roundTo(kept.meanDeltaL, 2)} instead of ${roundTo(none.meanDeltaL, 2)} ΔL*`
      : '';
  const rows: [string, string][] = [];
  if (reason) rows.push(['Why this screen', reason]);
  if (worth) rows.push(['Runs', worth]);
  return rows;
}

/** What stands on the piece, for whoever reads it over before it is burned. */
function sayLettering(lettering: Ticket['lettering']): [string, string][] {
  const { caption, artwork } = lettering ?? {};
  const rows: [string, string][] = [];
  if (caption) {
    const words = caption.lines
      .map(({ text, heightMm }) => `“${text}”, capitals ${roundTo(heightMm, 2)} mm`)
      .join('; ');
    rows.push(['Words on it', `${words}; ${caption.font}, ${caption.ink}, ${SAID_PLACE[caption.place]}`]);
  }
  if (artwork) {
    const { file, widthMm, heightMm, xMm, yMm, ink } = artwork;
    const size = `${roundTo(widthMm, 2)} × ${roundTo(heightMm, 2)} mm`;
    rows.push([
      'Drawing on it',
      `${file}, ${size}, ${roundTo(xMm, 2)} mm right and ${roundTo(yMm, 2)} mm down, ${ink}`,
    ]);
  }
  return rows;
}

const SAID_PLACE: Readonly<Record<NonNullable<NonNullable<Ticket['lettering']>['caption']>['place'], string>> = {
  below: 'below the picture',
  band: 'on a band over the picture',
  picture: 'on the picture',
  edge: 'on the bare edge',
};

function saySearch({ search }: Ticket['screen']): string {
  if (!search) return '';
  return `; ${search.swaps} pairs of dots swapped and ${search.toggles} dots toggled in up to ${search.sweeps} sweeps`;
}

function sayAim({ range, aim }: Ticket['tone']): string {
  if (range === 'absolute') return 'true lightness, cut off at the material’s range';
  const steps = aim.scale === 'density' ? ', in equal steps of density' : '';
  if (aim.follows.length === 0) return `fitted to the material’s range${steps}`;
  return `aimed at the range of ${aim.follows.join(', ')}: L* ${roundTo(aim.darkestL, 1)} … ${roundTo(aim.lightestL, 1)}${steps}`;
}

/** The piece in the machine's field, to scale. */
function drawField(ticket: Ticket): string {
  const { machine, piece, placement, strip } = ticket;
  const [width, height] = machine.fieldMm;
  const [lyingWidth, lyingHeight] = lyingSize(piece, ticket.orientation);
  const unit = Math.max(width, height) / 100;
  const r = roundTo(piece.cornerRadiusMm, 3);
  return `<svg viewBox="${-unit} ${-unit} ${width + 2 * unit} ${height + 2 * unit}" role="img" aria-label="Piece in the field of the machine">
<rect width="${width}" height="${height}" fill="#f3f5f6" stroke="#59636a" stroke-width="${unit}"/>
<path d="M${width / 2} 0V${height}M0 ${height / 2}H${width}" stroke="#c9d0d4" stroke-width="${unit / 2}" stroke-dasharray="${2 * unit} ${2 * unit}"/>
<rect x="${roundTo(placement.xMm, 4)}" y="${roundTo(placement.yMm, 4)}" width="${roundTo(lyingWidth, 4)}" height="${roundTo(lyingHeight, 4)}" rx="${r}" fill="#cfe0e6" stroke="#14556b" stroke-width="${unit}"/>${
    strip
      ? `
<rect x="${roundTo(placement.xMm + strip.xMm, 4)}" y="${roundTo(placement.yMm + strip.yMm, 4)}" width="${roundTo(strip.widthMm, 4)}" height="${roundTo(strip.heightMm, 4)}" fill="#f1d9cf" stroke="#8c2a10" stroke-width="${unit / 2}"/>`
      : ''
  }
<circle cx="${roundTo(placement.xMm, 4)}" cy="${roundTo(placement.yMm, 4)}" r="${2 * unit}" fill="#8c2a10"/></svg>`;
}

function drawCurve({ profile }: Ticket, { curve, points }: TicketPictures): string {
  const x = (coverage: number) => roundTo(24 + 268 * coverage, 2);
  const y = (lightness: number) => roundTo(80 - 0.74 * lightness, 2);
  const line = curve.map(({ coverage, lightness }) => `${x(coverage)},${y(lightness)}`).join(' ');
  const marks = points
    .map(({ coverage, lightness, spread }) => {
      const bar =
        spread > 0
          ? `<path d="M${x(coverage)} ${y(lightness - 2 * spread)}V${y(lightness + 2 * spread)}" stroke="#14556b" stroke-width=".8"/>`
          : '';
      return `${bar}<circle cx="${x(coverage)}" cy="${y(lightness)}" r="1.7" fill="#14556b"/>`;
    })
    .join('');
  const ticks = [0, 25, 50, 75, 100]
    .map(
      (tick) =>
        `<path d="M24 ${y(tick)}H292" stroke="#e3e7e9" stroke-width=".6"/><text x="20" y="${Number(y(tick)) + 2.5}" text-anchor="end">${tick}</text><text x="${x(tick / 100)}" y="91" text-anchor="${tick === 100 ? 'end' : 'middle'}">${tick} %</text>`,
    )
    .join('');
  const label = `Lightness against coverage, from ${roundTo(profile.bareL, 1)} to ${roundTo(profile.fullL, 1)} L*`;
  return `<svg viewBox="0 0 300 95" role="img" aria-label="${label}">${ticks}<polyline points="${line}" fill="none" stroke="#14556b" stroke-width="1.4"/>${marks}<text x="26" y="7">L*</text></svg>`;
}

function drawHistogram(histogram: readonly number[]): string {
  const top = Math.max(...histogram, 1e-9);
  const bars = histogram
    .map((share, bin) => {
      const height = (70 * share) / top;
      return `<rect x="${24 + bin * 26.8}" y="${roundTo(80 - height, 2)}" width="25.2" height="${roundTo(height, 2)}" fill="#7fa3b0"/><text x="${36.6 + bin * 26.8}" y="${roundTo(77 - height, 2)}" text-anchor="middle">${share >= 0.005 ? Math.round(100 * share) : ''}</text>`;
    })
    .join('');
  return `<svg viewBox="0 0 300 95" role="img" aria-label="Share of the dots by coverage, percent">${bars}<path d="M24 80H292" stroke="#59636a" stroke-width=".8"/><text x="24" y="91">bare</text><text x="292" y="91" text-anchor="end">solid</text><text x="158" y="91" text-anchor="middle">share of the piece, %</text></svg>`;
}

const mm = (value: number) => roundTo(value, 2);
const percent = (share: number) => `${roundTo(100 * share, share < 0.1 ? 1 : 0)} %`;
const spellOut = (key: string) => key.replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`);
const pictureShape = ({ widthMm, heightMm }: Ticket['piece']) => (widthMm >= heightMm ? 'wide' : 'tall');

const STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 2mm; }
header p { margin: .6mm 0 0; }
.words { font-size: 10pt; white-space: pre-line; overflow-wrap: anywhere; }
.clock { font-size: 15pt; font-weight: 650; white-space: nowrap; text-align: right; line-height: 1.15; }
.clock span { display: block; font-size: 8.4pt; font-weight: 400; }
.warnings { border: .4mm solid var(--loud); padding: 1.2mm 2.5mm; margin-bottom: 2mm; }
@media print { .warnings { line-height: 1.2; } .warnings li { margin: 0; } .columns td, .columns th { line-height: 1.22; padding-top: .15mm; padding-bottom: .15mm; } }
.warnings h2 { color: var(--loud); }
section { margin-bottom: 2.2mm; break-inside: avoid; }
.pictures { display: grid; gap: 3mm; grid-template-columns: 1fr 1.5fr 1fr; align-items: start; }
.pictures.tall { grid-template-columns: 1fr 1fr 1.4fr; }
figure { margin: 0; }
figure img { width: 100%; object-fit: contain; object-position: left top; }
@media print { figure img { max-height: var(--tall); } }
@media screen { figure img { max-height: 80mm; } }
.columns svg { max-height: 20mm; }
figcaption { color: var(--soft); font-size: 8.2pt; margin-top: .8mm; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; }
.never { font-weight: 650; border-top: .2mm solid var(--rule); padding-top: .8mm; }
.made td, .made th { font-size: 7.4pt; line-height: 1.22; }
.lies { display: grid; grid-template-columns: 20mm 1fr; gap: 3mm; margin-bottom: 1.2mm; }
.cautions { columns: 2; column-gap: 6mm; font-size: 7.1pt; line-height: 1.25; }
.cautions li { break-inside: avoid; }
.fine { font-size: 6.6pt; line-height: 1.25; color: var(--soft); overflow-wrap: anywhere; border-top: .2mm solid var(--rule); padding-top: 1.2mm; margin: 0; }
.fine p { margin: 0 0 .6mm; }
@media screen and (max-width: 720px) { .pictures, .pictures.tall, .columns, .lies { grid-template-columns: 1fr; } .cautions { columns: 1; } }
`;
