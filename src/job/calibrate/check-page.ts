import { type Profile, toneCurveOf } from '../../material/index.ts';
import { escapeHtml, roundTo, wrapPage } from '../page/html.ts';
import type { DriftEntry, DriftHistory } from '../request/history.ts';
import type { Adjustment } from './adjust.ts';
import { type Check, DRIFT_LIMITS, type DriftVerdict } from './check.ts';
import { sayPrint, type Verification } from './verification.ts';

export interface CheckPageFacts {
  readonly check: Check;
  readonly profile: Profile;
  /** ISO date. */
  readonly date: string;
  readonly captureName: string;
  /** The capture with what was found in it, data URI: from `drawFindings`. */
  readonly found: string;
  /** Absent without a shop folder. */
  readonly history?: DriftHistory;
  /** The profile of the day, or why there is none. */
  readonly adjustment?: Adjustment;
  readonly notAdjusted?: string;
}

const VERDICTS: Readonly<Record<DriftVerdict, string>> = {
  holds: 'Holds',
  drifting: 'Drifting',
  'learn-again': 'Learn again',
};

const RESULTS = { pass: 'Passes', warn: 'On the edge', fail: 'Fails' } as const;

/** What a check found: verdict, curve, patches, the capture with its overlay, and the profile's history. */
export function renderCheckPage(facts: CheckPageFacts): string {
  const { check, profile, date, captureName, found, history, adjustment, notAdjusted } = facts;
  const { verdict, sentences, warnings, readings, verification } = check;
  const lines = check.patches.map(({ ids, role, coverage, expected, lightness, delta }) => [
    ids.length > 4 ? `${ids.length} patches` : ids.join(' '),
    role === 'tone' ? `${roundTo(100 * coverage, 2)} %` : role,
    expected.toFixed(1),
    lightness.toFixed(1),
    `${delta < 0 ? '−' : '+'}${Math.abs(delta).toFixed(2)}`,
    (Math.abs(delta) / check.unit).toFixed(1),
  ]);
  const head = ['patches', 'coverage', 'L* expected', 'L* read', 'ΔL*', 'units'];
  const notes = [
    ...warnings.map(({ text }) => text),
    ...readings.rejected.map(({ id, detail }) => `${id} was left out: ${detail}`),
    ...(check.curve === 'predicted'
      ? ['The expected tones are predicted for the chart’s screen and grid, which are not the profile’s own.']
      : []),
  ];
  const body = `
<header>
  <div><h1>Check of ${escapeHtml(profile.title)}</h1>
  <p class="soft">${escapeHtml(profile.name)} · ${check.chart.kind} chart ${check.chart.hash} · ${escapeHtml(captureName)} · ${date}</p></div>
  <p class="clock ${verification?.result ?? verdict}">${verification ? RESULTS[verification.result] : VERDICTS[verdict]}</p>
</header>
${verification ? writeVerification(verification, { profile, check, history }) : ''}<section>${verification ? '<h2>Drift</h2>' : ''}${sentences.map((text) => `<p>${escapeHtml(text)}</p>`).join('')}</section>
<section class="columns">
  <div><h2>Lightness against coverage: the profile’s curve and what was read</h2>${drawCurve(check, profile)}</div>
  <div><h2>Patches</h2><div class="scroll"><table class="grid"><tr>${head.map((cell) => `<th scope="col">${cell}</th>`).join('')}</tr>${lines
    .map((line) => `<tr>${line.map((cell) => `<td>${escapeHtml(cell)}</td>`).join('')}</tr>`)
    .join('')}</table></div>
  <p class="soft">One unit is ${roundTo(check.unit, 2)} ΔL*, ${check.unit > profile.repeatability ? 'the least that two captures of one piece differ by' : 'the repeatability of the profile'}. ${check.basis === 'relative' ? 'L* is relative to the profile’s bare surface.' : ''}</p></div>
</section>
${adjustment ? `<section><h2>Adjusted to the day: ${escapeHtml(adjustment.profile.name)}</h2>${adjustment.sentences.map((text) => `<p>${escapeHtml(text)}</p>`).join('')}</section>` : ''}${notAdjusted === undefined ? '' : `<section><h2>Not adjusted</h2><p>${escapeHtml(notAdjusted)}</p></section>`}
${history ? `<section><h2>History of this profile</h2>${drawHistory(history)}</section>` : ''}
${notes.length > 0 ? `<section><h2>To know</h2><ul>${notes.map((text) => `<li>${escapeHtml(text)}</li>`).join('')}</ul></section>` : ''}
<section><h2>What was found in the capture</h2><img src="${found}" alt="The capture with what was found in it"></section>`;
  return wrapPage({ title: `Check: ${profile.name}`, style: STYLE, body });
}

interface VerificationFacts {
  readonly profile: Profile;
  readonly check: Check;
  readonly history: DriftHistory | undefined;
}

/** Print error with its histogram, beside the fit error and the limits. */
function writeVerification(verification: Verification, { profile, check, history }: VerificationFacts): string {
  const said = [...sayPrint(verification, { profile, history })];
  const { limits } = verification;
  return `<section class="columns"><div><h2>Print error and fit error</h2>${said.map((text) => `<p>${escapeHtml(text)}</p>`).join('')}
<p class="soft">Limits of this profile: passes up to mean ${roundTo(limits.passMean, 2)} and worst ${roundTo(limits.passWorst, 2)}, is worth a warning up to ${roundTo(limits.warnMean, 2)} and ${roundTo(limits.warnWorst, 2)} ΔL*.</p></div>
<div><h2>Patches by how far they are off, ΔL*</h2>${drawHistogram(check)}</div></section>
`;
}

/** Counts of the tones' patches in half steps of L*, read less aimed. */
function drawHistogram({ patches }: Check): string {
  const deltas = patches.filter(({ role }) => role === 'tone').flatMap((patch) => patch.deltas);
  const reach = Math.max(2, Math.ceil(Math.max(...deltas.map(Math.abs))));
  const bins = new Array<number>(4 * reach).fill(0);
  for (const delta of deltas) bins[Math.min(bins.length - 1, Math.floor((delta + reach) * 2))]!++;
  const most = Math.max(...bins);
  const width = 268 / bins.length;
  const bars = bins
    .map((count, bin) => {
      const height = (70 * count) / most;
      return `<rect x="${roundTo(24 + bin * width, 2)}" y="${roundTo(84 - height, 2)}" width="${roundTo(width * 0.92, 2)}" height="${roundTo(height, 2)}" fill="#7fa3b0"/>`;
    })
    .join('');
  const ticks = [-reach, 0, reach]
    .map(
      (tick) =>
        `<text x="${roundTo(24 + (268 * (tick + reach)) / (2 * reach), 2)}" y="95" text-anchor="${tick === 0 ? 'middle' : tick < 0 ? 'start' : 'end'}">${tick > 0 ? '+' : tick < 0 ? '−' : ''}${Math.abs(tick)}</text>`,
    )
    .join('');
  return `<svg viewBox="0 0 300 100" role="img" aria-label="Patches by how far they are off">${bars}<path d="M24 84H292M158 84V10" stroke="#59636a" stroke-width=".6"/>${ticks}<text x="24" y="10">${most} patches</text></svg>`;
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
.clock.drifting, .clock.learn-again, .clock.warn, .clock.fail { color: var(--loud); }
section { margin-bottom: 2.6mm; break-inside: avoid; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; align-items: start; }
.grid th { border-bottom: .2mm solid var(--rule); }
.grid td { padding-right: 3mm; border-bottom: .1mm solid #e8ecee; white-space: nowrap; }
@media screen and (max-width: 720px) { .columns { grid-template-columns: 1fr; } }
`;
