import { type Located, placeOnCapture } from '../chart/index.ts';
import { type Profile, toneCurveOf } from '../material/index.ts';
import { encodeJpeg, type Photo, readColour } from '../plane/index.ts';
import { type Check, DRIFT_LIMITS, type DriftVerdict } from './check.ts';
import type { DriftEntry, DriftHistory } from './check-history.ts';
import { escapeHtml, roundTo, wrapPage } from './html.ts';

/** Long side of the capture on the page, pixels. */
const CAPTURE_PX = 1200;

/** The capture, small, with what was found drawn over it: tags, and every patch with its name. An SVG element. */
export async function drawFound(photo: Photo, located: Located): Promise<string> {
  const scale = Math.min(1, CAPTURE_PX / Math.max(photo.width, photo.height));
  const width = Math.max(1, Math.round(photo.width * scale));
  const height = Math.max(1, Math.round(photo.height * scale));
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const jpeg = await encodeJpeg(readColour(photo, { crop, width, height }), { quality: 80 });
  const { layout, map } = located;
  const point = (xMm: number, yMm: number) =>
    placeOnCapture(map, xMm, yMm)
      .map((value) => roundTo(value * scale, 1))
      .join(',');
  const frames = layout.patches.map(({ id, xMm, yMm, widthMm, heightMm }) => {
    const [left, top, right, bottom] = [xMm, yMm, xMm + widthMm, yMm + heightMm];
    const outline = [point(left, top), point(right, top), point(right, bottom), point(left, bottom)].join(' ');
    const [x, y] = point(xMm + widthMm / 2, yMm + heightMm / 2).split(',');
    return `<polygon points="${outline}"/><text x="${x}" y="${Number(y) + 4}">${id}</text>`;
  });
  const tags = located.tags.map(
    ({ corners }) =>
      `<polygon class="tag" points="${corners.map(([x, y]) => `${roundTo(x * scale, 1)},${roundTo(y * scale, 1)}`).join(' ')}"/>`,
  );
  return `<svg class="found" viewBox="0 0 ${width} ${height}" role="img" aria-label="The capture with what was found in it"><image href="data:image/jpeg;base64,${jpeg.toString('base64')}" width="${width}" height="${height}"/>${frames.join('')}${tags.join('')}</svg>`;
}

export interface CheckPageFacts {
  readonly check: Check;
  readonly profile: Profile;
  /** ISO date. */
  readonly date: string;
  readonly captureName: string;
  /** From `drawFound`. */
  readonly found: string;
  /** Absent without a shop folder. */
  readonly history?: DriftHistory;
}

const VERDICTS: Readonly<Record<DriftVerdict, string>> = {
  holds: 'Holds',
  drifting: 'Drifting',
  'learn-again': 'Learn again',
};

/** What a check found: verdict, curve, patches, the capture with its overlay, and the profile's history. */
export function renderCheckPage({ check, profile, date, captureName, found, history }: CheckPageFacts): string {
  const { verdict, sentences, warnings, rejected } = check;
  const lines = check.patches.map(({ ids, role, coverage, expected, lightness, delta }) => [
    ids.join(' '),
    role === 'tone' ? `${roundTo(100 * coverage, 2)} %` : role,
    roundTo(expected, 1),
    roundTo(lightness, 1),
    signed(delta),
    roundTo(Math.abs(delta) / check.unit, 1),
  ]);
  const head = ['patches', 'coverage', 'L* expected', 'L* read', 'ΔL*', 'units'];
  const notes = [
    ...warnings,
    ...rejected.map(({ id, detail }) => `${id} was left out: ${detail}`),
    ...(check.curve === 'predicted'
      ? ['The expected tones are predicted for the chart’s screen and grid, which are not the profile’s own.']
      : []),
  ];
  const body = `
<header>
  <div><h1>Check of ${escapeHtml(profile.title)}</h1>
  <p class="soft">${escapeHtml(profile.name)} · ${check.chart.kind} chart ${check.chart.hash} · ${escapeHtml(captureName)} · ${date}</p></div>
  <p class="clock ${verdict}">${VERDICTS[verdict]}</p>
</header>
<section>${sentences.map((text) => `<p>${escapeHtml(text)}</p>`).join('')}</section>
<section class="columns">
  <div><h2>Lightness against coverage: the profile’s curve and what was read</h2>${drawCurve(check, profile)}</div>
  <div><h2>Patches</h2><table class="grid"><tr>${head.map((cell) => `<th scope="col">${cell}</th>`).join('')}</tr>${lines
    .map((line) => `<tr>${line.map((cell) => `<td>${escapeHtml(cell)}</td>`).join('')}</tr>`)
    .join('')}</table>
  <p class="soft">One unit is ${roundTo(check.unit, 2)} ΔL*, ${check.unit > profile.repeatability ? 'the least that two captures of one piece differ by' : 'the repeatability of the profile'}. ${check.basis === 'relative' ? 'L* is relative to the profile’s bare surface.' : ''}</p></div>
</section>
${history ? `<section><h2>History of this profile</h2>${drawHistory(history)}</section>` : ''}
${notes.length > 0 ? `<section><h2>To know</h2><ul>${notes.map((text) => `<li>${escapeHtml(text)}</li>`).join('')}</ul></section>` : ''}
<section><h2>What was found in the capture</h2>${found}</section>`;
  return wrapPage({ title: `Check: ${profile.name}`, style: STYLE, body });
}

function drawCurve(check: Check, profile: Profile): string {
  const curve = toneCurveOf(profile);
  const x = (coverage: number) => roundTo(24 + 268 * coverage, 2);
  const y = (lightness: number) => roundTo(150 - 1.4 * lightness, 2);
  const line = Array.from({ length: 101 }, (_, i) => `${x(i / 100)},${y(curve.lightnessAt(i / 100))}`).join(' ');
  const points = check.patches
    .map(
      ({ coverage, expected, lightness }) =>
        `<path d="M${x(coverage)} ${y(expected)}V${y(lightness)}" stroke="#8c2a10" stroke-width="1"/><circle cx="${x(coverage)}" cy="${y(lightness)}" r="2.4" fill="#8c2a10"/>`,
    )
    .join('');
  const ticks = [0, 25, 50, 75, 100]
    .map(
      (tick) =>
        `<path d="M24 ${y(tick)}H292" stroke="#e3e7e9" stroke-width=".6"/><text x="20" y="${Number(y(tick)) + 2.5}" text-anchor="end">${tick}</text><text x="${x(tick / 100)}" y="162" text-anchor="${tick === 100 ? 'end' : 'middle'}">${tick} %</text>`,
    )
    .join('');
  const own =
    check.curve === 'measured' ? `<polyline points="${line}" fill="none" stroke="#14556b" stroke-width="1.4"/>` : '';
  return `<svg viewBox="0 0 300 166" role="img" aria-label="Lightness against coverage">${ticks}${own}${points}<text x="26" y="9">L*</text></svg>`;
}

const SERIES = [
  { key: 'bareDelta', label: 'bare', colour: '#59636a' },
  { key: 'midShift', label: 'midtones (stronger is up)', colour: '#14556b' },
  { key: 'solidDelta', label: 'solid', colour: '#8c2a10' },
] as const;

/** Bare, midtones and solid over the checks, with the limits of two and three units. */
function drawHistory({ entries }: DriftHistory): string {
  const unit = entries.at(-1)!.unit;
  const shown = entries.slice(-40);
  const reach = Math.max(4 * unit, ...shown.flatMap((entry) => SERIES.map(({ key }) => Math.abs(entry[key])))) * 1.1;
  const x = (at: number) => roundTo(shown.length === 1 ? 310 : 40 + (540 * at) / (shown.length - 1), 2);
  const y = (delta: number) => roundTo(70 - (60 * delta) / reach, 2);
  const limits = [2, 3]
    .flatMap((times) => [times * unit, -times * unit])
    .map(
      (limit) =>
        `<path d="M40 ${y(limit)}H580" stroke="#8c2a10" stroke-opacity=".35" stroke-width=".7" stroke-dasharray="3 3"/><text x="584" y="${Number(y(limit)) + 2.5}">${signed(limit)}</text>`,
    )
    .join('');
  const series = SERIES.map(({ key, colour }) => {
    const line = shown.map((entry, at) => `${x(at)},${y(entry[key])}`).join(' ');
    const dots = shown
      .map(
        (entry, at) =>
          `<circle cx="${x(at)}" cy="${y(entry[key])}" r="2.2" fill="${colour}">${titleOf(entry)}</circle>`,
      )
      .join('');
    return `<polyline points="${line}" fill="none" stroke="${colour}" stroke-width="1.2"/>${dots}`;
  }).join('');
  const key = SERIES.map(
    ({ label, colour }, at) =>
      `<circle cx="${44 + 150 * at}" cy="150" r="2.6" fill="${colour}"/><text x="${50 + 150 * at}" y="153">${label}</text>`,
  ).join('');
  const dates =
    shown.length === 1
      ? `<text x="310" y="140" text-anchor="middle">${shown[0]!.date}</text>`
      : `<text x="40" y="140">${shown[0]!.date}</text><text x="580" y="140" text-anchor="end">${shown.at(-1)!.date}</text>`;
  return `<svg viewBox="0 0 620 158" role="img" aria-label="Drift of bare, midtones and solid over time"><path d="M40 ${y(0)}H580" stroke="#59636a" stroke-width=".8"/><text x="36" y="${Number(y(0)) + 2.5}" text-anchor="end">0</text><text x="36" y="12" text-anchor="end">ΔL*</text>${limits}${series}${dates}${key}</svg>
<p class="soft">${entries.length} ${entries.length === 1 ? 'check' : 'checks'}; dashed: two and three units, ${DRIFT_LIMITS.holdsWorst} units on one patch is where a profile stops holding.</p>`;
}

function titleOf({ date, verdict, meanDelta, worstDelta }: DriftEntry): string {
  return `<title>${date}: ${verdict}, mean ${roundTo(meanDelta, 2)}, worst ${roundTo(worstDelta, 1)}</title>`;
}

const signed = (value: number) => `${value < 0 ? '−' : '+'}${roundTo(Math.abs(value), 1)}`;

const STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 2mm; }
header p { margin: .6mm 0 0; }
.clock { font-size: 15pt; font-weight: 650; white-space: nowrap; text-align: right; line-height: 1.15; }
.clock.drifting, .clock.learn-again { color: var(--loud); }
section { margin-bottom: 2.6mm; break-inside: avoid; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; align-items: start; }
.grid th { border-bottom: .2mm solid var(--rule); }
.grid td { padding-right: 3mm; border-bottom: .1mm solid #e8ecee; }
svg.found { max-height: 130mm; }
svg.found polygon { fill: none; stroke: #d2412a; stroke-width: 1.5; }
svg.found polygon.tag { stroke: #1f9ad6; stroke-width: 2.5; }
svg.found text { font-size: 12px; font-weight: 650; fill: #d2412a; stroke: #fff; stroke-width: 3px; paint-order: stroke; text-anchor: middle; }
@media screen and (max-width: 720px) { .columns { grid-template-columns: 1fr; } }
`;
