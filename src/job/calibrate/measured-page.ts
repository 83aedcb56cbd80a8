import { type EvennessMap, type KnownControl, listEvenness, typeSetting } from '../../machine/index.ts';
import { escapeHtml, roundTo, wrapPage } from '../page/html.ts';
import { nextAfterDose, nextAfterFocus } from './next-step.ts';
import type { DoseReading } from './read-dose.ts';
import type { FocusReading, MeasuredMm } from './read-focus.ts';
import type { SpotReading } from './read-spot.ts';

export interface MeasuredPageFacts {
  readonly reading: DoseReading | FocusReading | SpotReading | EvennessMap;
  readonly captureName: string;
  /** The capture with what was found in it, data URI: from `drawFindings`. */
  readonly found: string;
  /** Control software of the machine that burned the chart: settings stand in its units. */
  readonly control?: KnownControl | undefined;
}

/** What a chart measured, for a person: curve or widths, table, and the capture with its overlay. */
export function renderMeasuredPage({ reading, captureName, found, control }: MeasuredPageFacts): string {
  const { title, next, body: own } = describeReading(reading, control);
  const notes =
    reading.notes.length > 0 ? `<ul>${reading.notes.map((text) => `<li>${escapeHtml(text)}</li>`).join('')}</ul>` : '';
  const body = `
<header><h1>${title}</h1><p class="soft">${escapeHtml(captureName)}</p></header>
<section>${notes}${next ? `<p><b>Next</b> ${next[0]}: <code>${escapeHtml(next[1])}</code></p>` : ''}</section>
${own}
<section><h2>What was found in the capture</h2><img src="${found}" alt="The capture with what was found in it"></section>`;
  return wrapPage({ title, style: STYLE, body });
}

interface DescribedReading {
  readonly title: string;
  readonly next?: readonly [words: string, command: string];
  readonly body: string;
}

function describeReading(reading: MeasuredPageFacts['reading'], control: KnownControl | undefined): DescribedReading {
  switch (reading.schema) {
    case 'tonewright-dose/1':
      return {
        title: `Dose chart ${reading.chart}`,
        next: [
          'a tone chart with these settings, where FILE.json is what was written beside this page',
          nextAfterDose(reading, 'FILE.json'),
        ],
        body: writeDoseBody(reading, control),
      };
    case 'tonewright-focus/1':
      return {
        title: `Focus chart ${reading.chart}`,
        next: ['a dose chart at the best focus', nextAfterFocus(reading)],
        body: writeFocusBody(reading),
      };
    case 'tonewright-spot/1':
      return { title: `Spot chart ${reading.chart}`, body: writeSpotBody(reading) };
    case 'tonewright-evenness/1':
      return {
        title: `Field of ${reading.machine}, chart ${reading.charts.join(', ')}`,
        body: writeFieldBody(reading),
      };
  }
}

function writeFocusBody(focus: FocusReading): string {
  const say = ({ valueMm, lowMm, highMm }: MeasuredMm) =>
    `${valueMm.toFixed(2)} mm (95 %: ${lowMm.toFixed(2)} … ${highMm.toFixed(2)})`;
  const { expected } = focus;
  const facts = [
    ['Best focus, above where it was set', say(focus.best)],
    ['Along the scan (lines that run down)', say(focus.bestX)],
    ['Across the scan (lines along it)', say(focus.bestY)],
    ['Astigmatism: the first above the second', say(focus.astigmatism)],
    ['Depth of focus, 2 Rayleigh ranges', say(focus.depthOfFocus)],
    ['By the optics of the machine', expected ? `${expected.depthOfFocusMm.toFixed(2)} mm` : 'not known'],
  ];
  return `<section class="columns"><div><h2>Marked share against height</h2>${drawHeights(focus)}</div><div><h2>What follows</h2>${drawFacts(facts)}</div></section>`;
}

/** What lines mark of the area, over height: as read, and as the fit has them. */
function drawHeights({ lines, riseMm, bestX, bestY }: FocusReading): string {
  const top = Math.max(0.1, ...lines.map(({ share }) => share)) * 1.1;
  const x = (heightMm: number) => roundTo(156 + (256 * heightMm) / riseMm, 2);
  const y = (share: number) => roundTo(140 - (130 * share) / top, 2);
  const colours = { x: '#14556b', y: '#8c2a10' } as const;
  const dots = lines
    .map(
      ({ id, along, dots: count, heightMm, share }) =>
        `<circle cx="${x(heightMm)}" cy="${y(share)}" r="${count === 1 ? 1.6 : 2.4}" fill="${colours[along]}"><title>${id}</title></circle>`,
    )
    .join('');
  const curves = (['x', 'y'] as const)
    .flatMap((along) =>
      [...new Set(lines.map(({ dots: count }) => count))].map((count) => {
        const own = lines.filter((one) => one.along === along && one.dots === count);
        const points = [...own]
          .sort((a, b) => a.heightMm - b.heightMm)
          .map(({ heightMm, expected }) => `${x(heightMm)},${y(expected)}`);
        return `<polyline points="${points.join(' ')}" fill="none" stroke="${colours[along]}" stroke-width=".9"/>`;
      }),
    )
    .join('');
  const best = [
    [bestX.valueMm, colours.y],
    [bestY.valueMm, colours.x],
  ] as const;
  const marks = best
    .map(([at, colour]) => `<path d="M${x(at)} 10V140" stroke="${colour}" stroke-width=".7" stroke-dasharray="3 3"/>`)
    .join('');
  const ends = [-0.5, 0, 0.5]
    .map(
      (share) =>
        `<text x="${x(share * riseMm)}" y="152" text-anchor="middle">${roundTo(share * riseMm, 2)}${share === 0.5 ? ' mm' : ''}</text>`,
    )
    .join('');
  return `<svg viewBox="0 0 300 156" role="img" aria-label="Marked share of the area against height"><path d="M28 140H284" stroke="#e3e7e9"/>${marks}${curves}${dots}${ends}<text x="30" y="8">marked share, up to ${Math.round(100 * top)} %</text></svg>
<p class="soft">Height above where the focus was set. Blue: lines along the scan; red: lines that run down; large: lines of two dots. Dashed: the best focus of each.</p>`;
}

const show = (value: number | null) =>
  value === null ? 'not bracketed by the chart' : `${value.toPrecision(3)} J/cm²`;

function writeDoseBody(dose: DoseReading, control: KnownControl | undefined): string {
  const { points, recommended, strongest, threshold } = dose;
  const facts = [
    ['Bare', `L* ${dose.bareLightness.toFixed(1)}, marks ${dose.direction}`],
    ['A tenth of the strongest', show(dose.usableFromJPerCm2)],
    ['Nine tenths', show(dose.usableToJPerCm2)],
    ['Enough', `${show(dose.enoughJPerCm2)}: beyond it more dose adds less than 3 %`],
    ['Overburns', dose.overburnsFromJPerCm2 === null ? 'not seen' : show(dose.overburnsFromJPerCm2)],
    ['Scatter', `${dose.scatter.toFixed(1)} ΔL* of cells around one curve over dose`],
    ...(threshold
      ? [
          [
            'Peak fluence threshold',
            `${threshold.thresholdJPerCm2.toPrecision(3)} J/cm², spot ${threshold.spotDiameterUm.toPrecision(3)} µm (Liu’s line)`,
          ],
        ]
      : []),
  ];
  const typed = (key: 'powerW' | 'speedMmPerS', value: number) => typeSetting(key, value, control);
  const unitOf = (key: 'powerW' | 'speedMmPerS') => typed(key, 1).unit;
  const head = [
    'cell',
    `power, ${unitOf('powerW')}`,
    `speed, ${unitOf('speedMmPerS')}`,
    'passes',
    'dose, J/cm²',
    'L*',
    'ΔL* from bare',
    '',
  ];
  const lines = points.map(({ id, settings, doseJPerCm2, lightness, contrast }) => [
    id,
    String(typed('powerW', settings.powerW).value),
    String(typed('speedMmPerS', settings.speedMmPerS).value),
    String(settings.passes),
    doseJPerCm2.toPrecision(3),
    lightness.toFixed(1),
    contrast.toFixed(1),
    id === recommended.id ? 'start here' : id === strongest.id ? 'strongest' : '',
  ]);
  return `<section class="columns"><div><h2>Contrast against dose</h2>${drawCharacteristic(dose)}</div><div><h2>What follows</h2>${drawFacts(facts)}</div></section>
<section><h2>Cells in order of dose</h2>${drawTable(head, lines)}</section>`;
}

/** The characteristic curve: contrast to bare over log dose. */
function drawCharacteristic({ points, curve, recommended, overburnsFromJPerCm2 }: DoseReading): string {
  const low = Math.log10(points[0]!.doseJPerCm2);
  const high = Math.log10(points.at(-1)!.doseJPerCm2);
  const top = Math.max(10, ...points.map(({ contrast }) => contrast)) * 1.08;
  const x = (doseJPerCm2: number) =>
    roundTo(28 + (256 * (Math.log10(doseJPerCm2) - low)) / Math.max(1e-9, high - low), 2);
  const y = (contrast: number) => roundTo(140 - (130 * contrast) / top, 2);
  const step = top > 50 ? 20 : 10;
  const levels = Array.from({ length: Math.floor(top / step) + 1 }, (_, at) => at * step);
  const grid = levels
    .map(
      (level) =>
        `<path d="M28 ${y(level)}H284" stroke="#e3e7e9" stroke-width=".6"/><text x="24" y="${Number(y(level)) + 2.5}" text-anchor="end">${level}</text>`,
    )
    .join('');
  const line = curve.map(({ doseJPerCm2, contrast }) => `${x(doseJPerCm2)},${y(contrast)}`).join(' ');
  const dots = points
    .map(
      ({ id, doseJPerCm2, contrast }) =>
        `<circle cx="${x(doseJPerCm2)}" cy="${y(contrast)}" r="${id === recommended.id ? 4 : 2.2}" fill="${id === recommended.id ? '#8c2a10' : '#14556b'}"><title>${id}</title></circle>`,
    )
    .join('');
  const turn =
    overburnsFromJPerCm2 === null
      ? ''
      : `<path d="M${x(overburnsFromJPerCm2)} 10V140" stroke="#8c2a10" stroke-width=".8" stroke-dasharray="3 3"/>`;
  const ends = `<text x="28" y="152">${points[0]!.doseJPerCm2.toPrecision(3)}</text><text x="284" y="152" text-anchor="end">${points.at(-1)!.doseJPerCm2.toPrecision(3)} J/cm²</text>`;
  return `<svg viewBox="0 0 300 156" role="img" aria-label="Contrast to bare against dose, logarithmic">${grid}${turn}<polyline points="${line}" fill="none" stroke="#14556b" stroke-width="1.3"/>${dots}${ends}<text x="30" y="8">ΔL* from bare</text></svg>
<p class="soft">Each dot a cell; the line rises with dose up to the strongest; large: start here${overburnsFromJPerCm2 === null ? '' : '; dashed: weaker again'}.</p>`;
}

function writeSpotBody(spot: SpotReading): string {
  const width = ({ valueUm, lowUm, highUm }: SpotReading['widthX']) =>
    `${valueUm.toFixed(1)} µm (95 %: ${lowUm.toFixed(1)} … ${highUm.toFixed(1)})`;
  const facts = [
    ['Column of dots, its width along the scan', width(spot.widthX)],
    ['Scan line, its width across', width(spot.widthY)],
    ...(spot.dotUm === null ? [] : [['One dot alone', `as a disc of ${spot.dotUm.toFixed(1)} µm`]]),
    ['Light scatter', `Yule-Nielsen n ${spot.yuleNielsenN.toFixed(2)}`],
    ['Line spacing', `${roundTo(spot.recommendedSpacingMm, 3)} mm recommended: a fifth less than a scan line is wide`],
  ];
  const lines = spot.ladders
    .slice()
    .sort((a, b) => (a.along < b.along ? -1 : a.along > b.along ? 1 : a.periodUm - b.periodUm))
    .map(({ ids, along, periodUm, share, expected }) => [
      ids.join(' '),
      along,
      roundTo(periodUm, 1),
      `${(100 * share).toFixed(1)} %`,
      `${(100 * expected).toFixed(1)} %`,
    ]);
  return `<section><h2>What follows</h2>${drawFacts(facts)}</section>
<section><h2>Ladders</h2>${drawTable(['patches', 'lines along', 'period, µm', 'marked', 'by these widths'], lines)}</section>`;
}

/** Columns and rows of places in the table of a field. Counts. Assumed: as many as a page shows side by side. */
const FIELD_PLACES = { columns: 5, rows: 5 } as const;

function writeFieldBody(map: EvennessMap): string {
  const places = listEvenness(map, FIELD_PLACES);
  const { columns } = FIELD_PLACES;
  const head = ['', ...places.slice(0, columns).map(({ xMm }) => `x ${roundTo(xMm, 0)} mm`)];
  const linesOf = (say: (place: (typeof places)[number]) => string) =>
    Array.from({ length: FIELD_PLACES.rows }, (_, row) => [
      `y ${roundTo(places[row * columns]!.yMm, 0)} mm`,
      ...places.slice(row * columns, (row + 1) * columns).map(say),
    ]);
  const percent = (factor: number) => roundTo(100 * factor, 1);
  return `<section><h2>Dose, % of where the profile was learned (± half its 95 % interval)</h2>${drawTable(
    head,
    linesOf(({ dose, doseReach }) => `${percent(dose)} ± ${percent(dose * (doseReach - 1))}`),
  )}</section>
<section><h2>Width of the spot, % of there</h2>${drawTable(
    head,
    linesOf(({ width, widthReach }) => `${percent(width)} ± ${percent(width * (widthReach - 1))}`),
  )}</section>`;
}

function drawFacts(facts: readonly (readonly string[])[]): string {
  return `<table>${facts.map(([head, cell]) => `<tr><th scope="row">${escapeHtml(head!)}</th><td>${escapeHtml(cell!)}</td></tr>`).join('')}</table>`;
}

function drawTable(head: readonly string[], lines: readonly (readonly string[])[]): string {
  return `<div class="scroll"><table class="grid"><tr>${head.map((cell) => `<th scope="col">${escapeHtml(cell)}</th>`).join('')}</tr>${lines
    .map((line) => `<tr>${line.map((cell) => `<td>${escapeHtml(cell)}</td>`).join('')}</tr>`)
    .join('')}</table></div>`;
}

const STYLE = `
header { border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 2mm; }
header p { margin: .6mm 0 0; }
section { margin-bottom: 2.6mm; break-inside: avoid; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; align-items: start; }
.grid th { border-bottom: .2mm solid var(--rule); }
.grid td { padding-right: 3mm; border-bottom: .1mm solid #e8ecee; white-space: nowrap; }
@media screen and (max-width: 720px) { .columns { grid-template-columns: 1fr; } }
`;
