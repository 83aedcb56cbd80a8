import { overlayFindings, placeOnCapture } from '../../chart/index.ts';
import type { BandPoint, FitRow, FittedDose, FittedNumber, Profile } from '../../material/index.ts';
import { encodeJpeg } from '../../plane/index.ts';
import { escapeHtml, roundTo, wrapPage } from '../page/html.ts';
import { listKnown, meanBandHalf, measureSpan } from '../request/uncertainty.ts';
import { sayHeadroom } from './headroom.ts';
import { type Learned, type ReadCapture, SAY_SIDE } from './learn.ts';
import { nameScatterCause, type ScatterAnalysis } from './scatter.ts';

/**
 * Quality of the captures on the page, 0 … 100 in percent. Assumed: outlines stay sharp, a scan takes a few hundred
 * kilobytes.
 */
const JPEG_QUALITY = 72;

/** From which side clear stock was looked at, and over what; nothing for other stock. */
function sayLookedAt({ seen, beneath }: Profile): string {
  if (!seen && !beneath) return '';
  return ` · <b>looked at ${SAY_SIDE[seen ?? 'face']}${beneath ? `, over a ${beneath} ground` : ''}</b>`;
}

/** The spacing that the measured solid supports, beside the burned one. */
export function saySpacing({ recommendedSpacingMm, profile: { grid } }: Learned): string {
  const burned = roundTo(grid.lineSpacingMm, 4);
  return recommendedSpacingMm === grid.lineSpacingMm
    ? `${burned} mm, as burned`
    : `${roundTo(recommendedSpacingMm, 3)} mm with these settings (burned here: ${burned} mm)`;
}

export interface ProfilePageFacts {
  readonly learned: Learned;
  /** Spot diameter of the machine, µm; absent when the shop has no record of it. */
  readonly spotDiameterUm?: number;
  /** Captures with what was found drawn on them, data URIs in the order of `learned.captures`. */
  readonly pictures: readonly string[];
}

/** A capture with what was found drawn on it: JPEG as a data URI. */
export async function drawFindings({ image, located, readings }: ReadCapture): Promise<string> {
  const jpeg = await encodeJpeg(overlayFindings(image, located, readings), { quality: JPEG_QUALITY });
  return `data:image/jpeg;base64,${jpeg.toString('base64')}`;
}

/** What was learned and what to distrust, for a person: self-contained HTML that prints on A4. */
export function renderProfilePage({ learned, spotDiameterUm, pictures }: ProfilePageFacts): string {
  const { profile, report, layout, captures, warnings, scatter } = learned;
  const { grid, settings } = profile;
  const span = measureSpan(profile);
  const range = Math.abs(profile.full[0] - profile.bare[0]);
  const steps = report.rows.filter(({ role }) => role === 'step');
  const burn = [
    `${roundTo(settings.powerW, 2)} W`,
    `${roundTo(settings.speedMmPerS, 1)} mm/s`,
    ...(settings.rateKHz === undefined ? [] : [`${roundTo(settings.rateKHz, 1)} kHz`]),
    ...(settings.pulseNs === undefined ? [] : [`${roundTo(settings.pulseNs, 1)} ns`]),
    `${settings.passes} ${settings.passes === 1 ? 'pass' : 'passes'}`,
    settings.scan,
  ].join(' · ');
  const body = `
<header>
  ${writeHeading(profile)} · learned ${profile.date} from chart ${layout.hash} · screen ${escapeHtml(profile.screen.name)} · pitch ${roundTo(grid.pitchMm, 4)} mm, line spacing ${roundTo(grid.lineSpacingMm, 4)} mm${sayLookedAt(profile)}<br>${burn}</p>
</header>
<section class="key">
  <div><b>${roundTo(profile.bare[0], 1)} → ${roundTo(profile.full[0], 1)}</b><span>L* from bare to solid, ${profile.direction}</span></div>
  <div><b>± ${roundTo(report.repeatability, 2)}</b><span>L* between equal patches</span></div>
  <div><b>${roundTo(report.leaveOneOut, 2)}</b><span>L* error of a tone left out</span></div>
  <div><b>${span.tones}</b><span>tones apart by three times the scatter, from ${roundTo(100 * span.from, 1)} to ${roundTo(100 * span.to, 1)} % of dots</span></div>
</section>
<p class="verdict"><b>${escapeHtml(judgeLearned(learned))}</b></p>
<section class="${warnings.length > 0 ? 'loud' : ''}">
  <h2>What to distrust</h2>
  ${warnings.length > 0 ? `<ul>${warnings.map(({ text }) => `<li>${escapeHtml(text)}</li>`).join('')}</ul>` : '<p>Nothing in these readings speaks against the profile.</p>'}
  <p class="soft">The figures say how well the profile describes this chart. Only a verification chart, burned through the profile, says how well the next picture will match. ${profile.points.at(-1)!.coverage < 1 ? `In hand for the day when the lens is dirty: ${sayHeadroom(profile)}.` : ''}</p>
</section>
<section>
  <h2>How well it is known</h2>
  <table class="known">${listKnown(profile)
    .map(
      ({ label, value, meaning }) =>
        `<tr><th>${label}</th><td>${escapeHtml(value)}<br><span class="soft">${meaning}</span></td></tr>`,
    )
    .join('')}</table>
</section>
<section>
  <h2>Tone curve</h2>
  ${drawCurve({ ...report, points: profile.points })}
  <p class="soft">Line: the curve that pictures go through. Band: where 95 % of patches burned later should lie, were the whole as light as read. Dots: readings, with the scatter of their replicates. Dashed: the response model alone.</p>
</section>
${showLevels(learned)}
<div class="two">
<section>
  <h2>What one dot does</h2>
  <table>
  ${rowOf('mark width along the scan', sayNumber(report.markX, 1, 'µm'))}
  ${rowOf('mark width across the scan', sayNumber(report.markY, 1, 'µm'))}
  ${rowOf('spot diameter (1/e²)', spotDiameterUm === undefined ? 'machine not on record' : `${roundTo(spotDiameterUm, 1)} µm; the mark is ${roundTo(Math.sqrt(report.markX.value * report.markY.value) / spotDiameterUm, 2)} of it`)}
  ${rowOf('line spacing recommended', saySpacing(learned))}
  ${rowOf('solid with a quarter more dose', `${learned.gainByMoreDoseL.toFixed(1)} L* stronger, by the model`)}
  ${rowOf('steepness', sayNumber(report.steepness, 1, report.steepness.value > 6 ? '(threshold-like)' : '(gradual)'))}
  ${rowOf('dose of one dot over half dose', sayNumber(report.drive, 2, ''))}
  ${rowOf('fading at the solid’s dose', sayNumber(report.fading, 2, ''))}
  ${rowOf('light scatter, Yule-Nielsen n', sayNumber(report.yuleNielsenN, 2, ''))}
  ${rowOf('model against all patches', `${roundTo(report.modelRms, 2)} L* root mean square`)}
  </table>
  <p class="soft">In brackets: 95 % intervals. “Not determined”: the readings do not tell it, a wide assumption stands in.</p>
</section>
<section>
  <h2>Measured minus model</h2>
  ${drawResiduals(report.rows)}
  <p class="soft">Left: steps by coverage. Right: clusters and lines, in the order of the table below.</p>
</section>
</div>
${scatter ? showScatter(scatter, layout) : ''}
<section>
  <h2>${captures.length === 1 ? 'Capture' : 'Captures'}</h2>
  ${captures.map((capture, at) => showCapture(capture, pictures[at]!, at)).join('\n')}
</section>
${showOutliers(learned)}
<section>
  <h2>All tones</h2>
  <div class="scroll"><table class="tones"><tr><th>patches</th><th>coverage</th><th>count</th><th>L* read</th><th>scatter</th><th>model</th><th>difference</th></tr>
  ${[...report.rows]
    .sort((a, b) => roleOrder(a) - roleOrder(b) || a.coverage - b.coverage)
    .map((row) => toneRow(row))
    .join('\n  ')}
  ${(report.levels?.rows ?? []).map((row) => toneRow(row)).join('\n  ')}
  </table></div>
  ${report.outliers.length > 0 ? `<p>Left out because they differ from their replicates: ${report.outliers.map(({ id, deltaL }) => `${escapeHtml(id)} by ${deltaL.toFixed(1)} L*`).join(', ')}.</p>` : ''}
  <p class="soft">${steps.length} tones between bare and solid over ${roundTo(range, 1)} L*.</p>
</section>`;
  return wrapPage({ title: titleOf(profile), style: STYLE, body });
}

/** Half a band up to which tones are well known, and up to which they serve, ΔL*. Assumed: seen side by side. */
const VERDICT = { good: 1.5, usable: 3.5 } as const;

/** The reading in a sentence: whether photos may go through the profile, and what to do otherwise. */
export function judgeLearned({ profile, warnings }: Pick<Learned, 'profile' | 'warnings'>): string {
  const half = meanBandHalf(profile);
  const known = half === undefined ? '' : `, tones known to ± ${roundTo(half, 1)} L*`;
  if (half === undefined || half > VERDICT.usable) {
    return `Not good enough for faces${known}: read what to distrust, then burn or photograph the chart again.`;
  }
  const few = warnings.length === 1 ? 'one thing to distrust' : `${warnings.length} things to distrust`;
  if (half > VERDICT.good || warnings.length > 0) {
    return `Usable with care${known}${warnings.length > 0 ? `; ${few} below` : '; a second chart makes it better'}. Burn one piece and look at it before an order.`;
  }
  return `Good${known}: photos may go through it. A verification chart says how well they will match.`;
}

type Called = Pick<Profile, 'name' | 'title'>;

const titleOf = ({ name }: Called) => `Profile ${name}`;
const writeHeading = ({ name, title }: Called) =>
  `<h1>${escapeHtml(title)}</h1>\n  <p class="soft">Profile <b>${escapeHtml(name)}</b>`;

/** The page of a profile that is called otherwise now: its two names, where `renderProfilePage` writes them. */
export function retitleProfilePage(page: string, { from, to }: { readonly from: Called; readonly to: Called }): string {
  const put = (html: string, before: string, after: string) => html.replace(before, () => after);
  const retitled = put(page, `<title>${escapeHtml(titleOf(from))}`, `<title>${escapeHtml(titleOf(to))}`);
  return put(retitled, writeHeading(from), writeHeading(to));
}

const ROLES: readonly FitRow['role'][] = ['bare', 'step', 'solid', 'pattern'];
const roleOrder = ({ role }: FitRow) => ROLES.indexOf(role);
const rowOf = (name: string, value: string) => `<tr><th>${name}</th><td>${escapeHtml(value)}</td></tr>`;

function sayNumber({ value, low, high, determined }: FittedNumber, decimals: number, unit: string): string {
  const text = `${value.toFixed(decimals)}${unit && ` ${unit}`} [${low.toFixed(decimals)} … ${high.toFixed(decimals)}]`;
  return determined ? text : `${text} – not determined`;
}

function showCapture({ name, image, located, readings }: ReadCapture, picture: string, at: number): string {
  const { camera } = readings;
  const curve =
    camera.kind === 'srgb'
      ? 'values taken as sRGB'
      : `camera curve estimated: contrast ${roundTo(camera.contrast, 2)}, exponent ${roundTo(camera.gamma, 2)}, known to ± ${roundTo(camera.errorLightness, 1)} L*`;
  const { width, height } = image;
  return `<figure><svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${escapeHtml(name)} with what was found drawn on it"><image id="capture-${at}" href="${picture}" width="${width}" height="${height}"/></svg>
  <figcaption class="soft">${escapeHtml(name)}: ${located.tags.length} of ${located.layout.tags.length} tags, ${roundTo(located.pxPerMm * 25.4, 0)} pixels per inch, ${readings.readings.length} patches read, ${readings.rejected.length} left out; ${curve}. Light on the chart differed by a factor of ${roundTo(readings.unevenness, 2)} and was levelled; references then agree to ${roundTo(100 * readings.disagreement, 1)} %.</figcaption></figure>`;
}

/** Patches pictured of each kind at most, a count. Assumed: enough to see why, on one line of the page. */
const PICTURED_MAX = 8;
/**
 * Tones whose patches are pictured because the model explains them worst, a count. Assumed: the fourth worst tells no
 * more.
 */
const WORST_TONES = 3;
/**
 * What of its surroundings a picture shows beside a patch, shares of its side. Assumed: the gap and the edge of the
 * next patch.
 */
const AROUND = 0.35;

interface OutlierPatch {
  readonly id: string;
  readonly capture: number;
  readonly why: string;
}

/** Patches that were left out, and those of the tones that the model explains worst, cut out of the captures. */
function showOutliers({ captures, report }: Learned): string {
  const left = captures.flatMap(({ readings }, capture) =>
    readings.rejected.map(({ id, reason }): OutlierPatch => ({ id, capture, why: reason })),
  );
  const outliers = report.outliers.flatMap(({ id, deltaL }): OutlierPatch[] =>
    left.some((one) => one.id === id) ? [] : [{ id, capture: 0, why: `${deltaL.toFixed(1)} L* off its like` }],
  );
  const offOf = (row: FitRow) => row.lightness - row.predicted;
  const worst = [...report.rows].sort((a, b) => Math.abs(offOf(b)) - Math.abs(offOf(a))).slice(0, WORST_TONES);
  const far = worst.flatMap((row): OutlierPatch[] => {
    const reading = captures[0]!.readings.readings.find(({ group }) => group === row.group);
    return reading ? [{ id: reading.id, capture: 0, why: `${row.group}: ${offOf(row).toFixed(1)} L*` }] : [];
  });
  const listed = [...left, ...outliers];
  const more = listed.length > PICTURED_MAX ? ` The first ${PICTURED_MAX} of ${listed.length}.` : '';
  const row = (patches: readonly OutlierPatch[]) =>
    `<div class="outliers">${patches.map((patch) => showPatch(patch, captures[patch.capture]!)).join('')}</div>`;
  return `<section>
  <h2>Patches to look at</h2>
  ${listed.length > 0 ? `<p class="soft">Left out, as the capture shows them.${more}</p>${row(listed.slice(0, PICTURED_MAX))}` : ''}
  <p class="soft">One each of the tones that the model explains worst: measured minus model.</p>${row(far)}
</section>`;
}

function showPatch({ id, capture, why }: OutlierPatch, { located }: ReadCapture): string {
  const patch = located.layout.patches.find((one) => one.id === id);
  if (!patch) return '';
  const { xMm, yMm, widthMm, heightMm } = patch;
  const corners = [-AROUND, 1 + AROUND].flatMap((u) =>
    [-AROUND, 1 + AROUND].map((v) => placeOnCapture(located.map, xMm + u * widthMm, yMm + v * heightMm)),
  );
  const [xs, ys] = [corners.map(([x]) => x), corners.map(([, y]) => y)];
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  const box = [left, top, Math.max(...xs) - left, Math.max(...ys) - top].map((value) => value.toFixed(1)).join(' ');
  return `<figure><svg viewBox="${box}" role="img" aria-label="Patch ${escapeHtml(id)}"><use href="#capture-${capture}"/></svg><figcaption>${escapeHtml(id)}<br>${escapeHtml(why)}</figcaption></figure>`;
}

/** Where the differences between equal patches come from, and where on the piece marks are weaker and stronger. */
function showScatter(scatter: ScatterAnalysis, { widthMm, heightMm }: Learned['layout']): string {
  const { parts, sentences, map, mapColumns, mapRows, mostL } = scatter;
  const reach = Math.max(0.5, mostL);
  const width = 300;
  const height = Math.round((width * heightMm) / widthMm);
  const cells = map
    .map((value, at) => {
      const x = ((at % mapColumns) * width) / mapColumns;
      const y = (Math.floor(at / mapColumns) * height) / mapRows;
      return `<rect x="${x.toFixed(1)}" y="${y.toFixed(1)}" width="${(width / mapColumns).toFixed(1)}" height="${(height / mapRows).toFixed(1)}" class="off" fill-opacity="${((0.85 * value) / reach).toFixed(2)}"><title>${value.toFixed(2)} L*</title></rect>`;
    })
    .join('');
  const rows = parts.map(({ cause, share, deviationL, ratio }) => {
    const chance = ratio === undefined ? '' : `, ${ratio.toFixed(1)} times what chance gives`;
    const said =
      share === null
        ? 'not told by one capture'
        : `${Math.round(100 * share)} % (± ${deviationL!.toFixed(2)} L*)${chance}`;
    return rowOf(nameScatterCause(cause), said);
  });
  return `<div class="two">
<section>
  <h2>Why equal patches differ</h2>
  <table>${rows.join('')}</table>
  ${sentences.map((text) => `<p class="soft">${escapeHtml(text)}</p>`).join('')}
</section>
<section>
  <h2>Where tones come out otherwise</h2>
  <svg viewBox="0 0 ${width} ${height}" class="map" role="img" aria-label="How far tones are off over the piece">${cells}<rect width="${width}" height="${height}" class="outline"/></svg>
  <p class="soft">The chart from above: the smooth part of the differences, the darker the farther off, up to ${mostL.toFixed(1)} L*.</p>
</section>
</div>`;
}

/**
 * Size of a plot and its margins, CSS pixels. Assumed: two beside each other on a printed page, with room for numbers.
 */
const PLOT = { width: 520, height: 230, left: 30, right: 14, top: 8, bottom: 24 } as const;

interface Axes {
  readonly x: (value: number) => string;
  readonly y: (value: number) => string;
}

function scaleAxes(width: number, height: number, [low, high]: readonly [number, number]): Axes {
  const { left, right, top, bottom } = PLOT;
  return {
    x: (value) => (left + value * (width - left - right)).toFixed(1),
    y: (value) => (top + ((high - value) / (high - low)) * (height - top - bottom)).toFixed(1),
  };
}

interface DrawnCurve {
  readonly curve: readonly BandPoint[];
  readonly rows: readonly (Omit<FitRow, 'role'> & { readonly role?: FitRow['role'] })[];
  readonly points: Learned['profile']['points'];
  /** What runs from left to right. */
  readonly shown?: string;
}

const toneRow = (row: Omit<FitRow, 'role'>) =>
  `<tr><td>${escapeHtml(row.group)}</td><td>${roundTo(row.coverage, 3)}</td><td>${row.count}</td><td>${row.lightness.toFixed(2)}</td><td>${row.count > 1 ? row.spread.toFixed(2) : '–'}</td><td>${row.predicted.toFixed(2)}</td><td>${(row.lightness - row.predicted).toFixed(2)}</td></tr>`;

/** What the chart told of levels of power: their curve, and the dose that arrives of each. */
function showLevels({ profile, report }: Learned): string {
  const { levels } = report;
  if (!levels) return '';
  const { count, curve, rows, doses, leaveOneOut } = levels;
  const points = profile.levels?.points ?? curve.map(({ coverage, lightness }) => ({ coverage, lightness, spread: 0 }));
  return `<section>
  <h2>Power per dot: ${count} levels</h2>
  ${drawCurve({ curve, rows, points, shown: 'mean level, of full power' })}
  <p class="soft">${profile.levels ? 'As above, for dots that have levels of power: pictures with levels go through this line.' : 'Not used: see what to distrust.'} A tone left out is missed by ${roundTo(leaveOneOut, 2)} L*.</p>
  ${drawDoses(doses)}
  <p class="soft">What arrives of each level: its dose as a share of the full one, with its 95 % interval were the response model true. Dashed: in proportion. Control software, driver and source are all in it.</p>
</section>`;
}

function drawDoses(doses: readonly FittedDose[]): string {
  const { width, height, left, right, top, bottom } = PLOT;
  const { x, y } = scaleAxes(width, height, [0, 1]);
  const ticks = [0, 0.2, 0.4, 0.6, 0.8, 1].map(
    (share) =>
      `<line x1="${left}" x2="${width - right}" y1="${y(share)}" y2="${y(share)}" class="grid"/><text x="${left - 4}" y="${Number(y(share)) + 3}" text-anchor="end">${Math.round(100 * share)}</text><line x1="${x(share)}" x2="${x(share)}" y1="${top}" y2="${height - bottom}" class="grid"/><text x="${x(share)}" y="${height - bottom + 10}" text-anchor="middle">${Math.round(100 * share)} %</text>`,
  );
  return `<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="Dose by level">
${ticks.join('')}
<text x="${width - right}" y="${height - 3}" text-anchor="end">level, of full power</text><text x="${left + 4}" y="${top + 12}">dose, % of full</text>
<path d="M${x(0)} ${y(0)}L${x(1)} ${y(1)}" class="model"/>
<path d="${doses.map(({ level, dose }, at) => `${at ? 'L' : 'M'}${x(level)} ${y(dose)}`).join('')}" class="curve"/>
${doses.map(({ level, dose, low, high }) => `<line x1="${x(level)}" x2="${x(level)}" y1="${y(low)}" y2="${y(high)}" class="bar"/><circle cx="${x(level)}" cy="${y(dose)}" r="2" class="dot"/>`).join('')}
</svg>`;
}

function drawCurve({ curve, rows, points, shown = 'dots that fire' }: DrawnCurve): string {
  const { width, height, left, right, top, bottom } = PLOT;
  const all = [...curve.flatMap(({ low, high }) => [low, high]), ...rows.map((row) => row.lightness)];
  const low = Math.max(0, 10 * Math.floor(Math.min(...all) / 10));
  const high = Math.min(100, 10 * Math.ceil(Math.max(...all) / 10));
  const { x, y } = scaleAxes(width, height, [low, high]);
  const path = (line: readonly { readonly coverage: number; readonly lightness: number }[]) =>
    line.map(({ coverage, lightness }, at) => `${at ? 'L' : 'M'}${x(coverage)} ${y(lightness)}`).join('');
  const band = (line: readonly BandPoint[]) =>
    [
      ...line.map(({ coverage, low: below }) => `${x(coverage)},${y(below)}`),
      ...[...line].reverse().map(({ coverage, high: above }) => `${x(coverage)},${y(above)}`),
    ].join(' ');
  const steps = rows.filter(({ role }) => role !== 'pattern').sort((a, b) => a.coverage - b.coverage);
  const ticks = [];
  for (let lightness = low; lightness <= high; lightness += 10) {
    ticks.push(
      `<line x1="${left}" x2="${width - right}" y1="${y(lightness)}" y2="${y(lightness)}" class="grid"/><text x="${left - 4}" y="${Number(y(lightness)) + 3}" text-anchor="end">${lightness}</text>`,
    );
  }
  for (let percent = 0; percent <= 100; percent += 20) {
    ticks.push(
      `<line x1="${x(percent / 100)}" x2="${x(percent / 100)}" y1="${top}" y2="${height - bottom}" class="grid"/><text x="${x(percent / 100)}" y="${height - bottom + 10}" text-anchor="middle">${percent} %</text>`,
    );
  }
  return `<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="Lightness against coverage">
${ticks.join('')}
<text x="${width - right}" y="${height - 3}" text-anchor="end">${shown}</text><text x="2" y="${top + 4}">L*</text>
<polygon points="${band(curve)}" class="band"/>
<path d="${path(steps.map(({ coverage, predicted }) => ({ coverage, lightness: predicted })))}" class="model"/>
<path d="${path(points)}" class="curve"/>
${steps.map(({ coverage, lightness, spread }) => `<line x1="${x(coverage)}" x2="${x(coverage)}" y1="${y(lightness - spread)}" y2="${y(lightness + spread)}" class="bar"/><circle cx="${x(coverage)}" cy="${y(lightness)}" r="2" class="dot"/>`).join('')}
</svg>`;
}

function drawResiduals(rows: readonly FitRow[]): string {
  const [width, height] = [320, 170];
  const { left, right } = PLOT;
  const off = (row: FitRow) => row.lightness - row.predicted;
  const most = Math.max(1, Math.ceil(Math.max(...rows.map((row) => Math.abs(off(row))))));
  const { x, y } = scaleAxes(width, height, [-most, most]);
  const steps = rows.filter(({ role }) => role !== 'pattern');
  const patterns = rows.filter(({ role }) => role === 'pattern').sort((a, b) => a.coverage - b.coverage);
  const dot = (at: number, row: FitRow, kind: string) =>
    `<circle cx="${x(at)}" cy="${y(off(row))}" r="2" class="${kind}"><title>${escapeHtml(row.group)} ${off(row).toFixed(2)}</title></circle>`;
  return `<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="Measured minus model, L*">
${[-most, 0, most].map((value) => `<line x1="${left}" x2="${width - right}" y1="${y(value)}" y2="${y(value)}" class="grid"/><text x="${left - 4}" y="${Number(y(value)) + 3}" text-anchor="end">${value > 0 ? '+' : ''}${value}</text>`).join('')}
<line x1="${x(0.5)}" x2="${x(0.5)}" y1="${y(most)}" y2="${y(-most)}" class="grid"/>
<text x="${x(0.25)}" y="${height - 8}" text-anchor="middle">steps</text><text x="${x(0.75)}" y="${height - 8}" text-anchor="middle">clusters and lines</text>
${steps.map((row) => dot(0.03 + 0.44 * row.coverage, row, 'dot')).join('')}
${patterns.map((row, at) => dot(0.53 + (0.44 * (at + 0.5)) / patterns.length, row, 'other')).join('')}
</svg>`;
}

const STYLE = `
section { margin: 0 0 4mm; }
.verdict { font-size: 11pt; border-left: 1mm solid var(--accent); padding-left: 2.5mm; }
header { margin: 0 0 3mm; }
.key { display: grid; grid-template-columns: repeat(4, 1fr); gap: 3mm; border-top: 1px solid var(--rule); border-bottom: 1px solid var(--rule); padding: 2mm 0; }
.key b { display: block; font-size: 13pt; font-weight: 650; }
.key span { color: var(--soft); }
.loud { border-left: 2px solid var(--loud); padding-left: 3mm; }
.loud h2 { color: var(--loud); }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; }
.grid { stroke: var(--rule); stroke-width: .6; }
.band { fill: var(--accent); fill-opacity: .18; stroke: var(--accent); stroke-opacity: .35; stroke-width: .5; }
.curve { fill: none; stroke: var(--accent); stroke-width: 1.4; }
.model { fill: none; stroke: var(--soft); stroke-width: .8; stroke-dasharray: 3 2; }
.dot { fill: var(--ink); }
.other { fill: var(--loud); }
.bar { stroke: var(--ink); stroke-width: .8; }
.map { max-height: 46mm; }
.off { fill: var(--loud); }
.outline { fill: none; stroke: var(--rule); }
figure { margin: 0 0 3mm; break-inside: avoid; }
.outliers { display: flex; flex-wrap: wrap; gap: 3mm; }
.outliers figure { width: 19mm; }
.outliers svg { width: 19mm; height: 19mm; }
.outliers figcaption { color: var(--soft); font-size: 7.5pt; overflow-wrap: anywhere; }
.tones th, .tones td { text-align: right; padding-right: 4mm; }
.tones th:first-child, .tones td:first-child { text-align: left; }
@media screen and (max-width: 720px) { .two, .key { grid-template-columns: 1fr; } .tones { display: block; overflow-x: auto; } }
`;
