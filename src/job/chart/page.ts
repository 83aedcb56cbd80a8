import { CHART_KINDS, type ChartLayout, type Patch } from '../../chart/index.ts';
import { controlOf, type KnownControl, saySetting, typeSetting } from '../../machine/index.ts';
import { computeArealDoseJPerCm2 } from '../../optics/index.ts';
import { type Dots, encodeColour, meanOver } from '../../plane/index.ts';
import { escapeHtml, renderCautions, renderHandling, roundTo, sayDuration, wrapPage } from '../page/html.ts';
import { listSettings, renderTyped, type TypedRow } from '../page/typed-rows.ts';
import { mergeCautions } from '../prepare/cautions.ts';
import { describeSetting } from './dose-axes.ts';
import { sayExpectedError } from './expected-error.ts';
import type { ChartCost, ChartSpec } from './types.ts';

/**
 * Long side of the chart's picture on the page, pixels. Assumed: sharp when printed over a page's width, a file of
 * little size.
 */
const PICTURE_PX = 1100;

/** The chart as it stands in the file, black where the beam fires, as a picture for the page: PNG as a data URI. */
export async function drawChartPicture(dots: Dots): Promise<string> {
  const scale = Math.min(1, PICTURE_PX / Math.max(dots.width, dots.height));
  const width = Math.max(1, Math.round(dots.width * scale));
  const height = Math.max(1, Math.round(dots.height * scale));
  const { data } = meanOver(dots, { width, height });
  const rgb = new Uint8Array(3 * width * height);
  for (let i = 0; i < data.length; i++) rgb.fill(Math.round(255 * (1 - data[i])), 3 * i, 3 * i + 3);
  const png = await encodeColour({ width, height, rgb }, { format: 'png', compression: 9 });
  return `data:image/png;base64,${png.toString('base64')}`;
}

export interface ChartPageFacts {
  readonly spec: ChartSpec;
  readonly layout: ChartLayout;
  readonly cost: ChartCost;
  /** Data URI. */
  readonly picture: string;
  /** Names of the files beside the page. */
  readonly files: readonly string[];
  /** What to know of the chart as a program, or why there is none. */
  readonly programNotes?: readonly string[];
}

/** What to do with a chart, in plain words: settings, burning, capture and what comes next. Self-contained HTML. */
export function renderChartPage(facts: ChartPageFacts): string {
  const { spec, layout, cost, picture, files, programNotes = [] } = facts;
  const { machine, material, assumptions } = spec;
  const warnings = [...spec.warnings, ...programNotes];
  const kind = CHART_KINDS[layout.kind];
  const title = `${kind.title} ${layout.hash}`;
  const surface = material?.title ?? (layout.material || `a material that marks ${layout.direction}`);
  const body = `
<header>
  <div><h1>${escapeHtml(title)}</h1>
  <p class="soft">${escapeHtml(surface)} · ${mm(layout.widthMm)} × ${mm(layout.heightMm)} mm · ${escapeHtml(machine.title)}</p>
  <p>${kind.purpose}</p>
  ${spec.expectedError ? `<p class="soft">${escapeHtml(sayExpectedError(spec.expectedError))}</p>` : ''}</div>
  <p class="clock">${sayDuration(cost.seconds)}${cost.programSeconds === undefined ? '' : `<span class="soft">${sayDuration(cost.programSeconds)} as a program, each cell by itself</span>`}<span class="soft">${roundTo(cost.areaCm2, 1)} cm² of material</span></p>
</header>
${warnings.length > 0 ? `<section class="warnings"><h2>Read before burning</h2><ul>${list(warnings)}</ul></section>` : ''}
<section>
  ${drawNamedChart(layout, { picture, control: controlOf(machine) })}
  <p class="soft">${layout.seen === 'through' ? 'As it will be seen through the stock, black for what fires; in the file left and right have changed places' : 'As in the file: black fires'}. The names stand on this page only${layout.labels.length > 0 ? '; the piece carries letters and numbers at its edge' : ''}.</p>
</section>
<section class="columns">
  <div>
    <h2>1. Type in</h2>
    <table class="settings">${renderTyped(settingRows(spec, layout))}</table>
  </div>
  <div>
    <h2>2. Burn</h2>
    <ul>${list(burnSteps(layout, { files, inOne: spec.powerPerDot !== undefined, side: spec.side }))}</ul>
  </div>
</section>
<section class="columns">
  <div>
    <h2>3. Scan or photograph</h2>
    <ul>${list(captureSteps(spec, layout))}</ul>
  </div>
  <div>
    <h2>4. Read it</h2>
    ${readSteps(layout, spec)}
  </div>
</section>
${tableOf(layout, controlOf(machine))}
${renderHandling(material && { before: material.before ?? [], after: material.after ?? [] })}
<section>
  <h2>Cautions</h2>
  ${renderCautions(mergeCautions([...(material?.cautions ?? []), ...machine.cautions]))}
</section>
<section class="fine">
  <p><b>Time</b> ${escapeHtml(cost.formula)}</p>
  ${assumptions.length > 0 ? `<p><b>Assumed, not measured</b> ${assumptions.map(escapeHtml).join(' ')}</p>` : ''}
  <p>Layout ${layout.hash}, seed ${layout.seed}, ${layout.patches.length} patches, ${layout.widthDots} × ${layout.heightDots} dots, grid ${spec.gridOrigin}</p>
</section>`;
  return wrapPage({ title, style: STYLE, body });
}

/** The chart's picture with the name of every patch on it. */
function drawNamedChart(
  layout: ChartLayout,
  { picture, control }: { readonly picture: string; readonly control: KnownControl | undefined },
): string {
  const names = layout.patches
    .map((patch) => {
      const size = Math.min(1.6, patch.heightMm * 0.42, patch.widthMm / (0.62 * patch.id.length));
      const x = roundTo(patch.xMm + patch.widthMm / 2, 3);
      const y = roundTo(patch.yMm + patch.heightMm / 2 + size * 0.36, 3);
      return `<text x="${x}" y="${y}" style="font-size:${roundTo(size, 2)}px;stroke-width:${roundTo(size * 0.28, 2)}px"><title>${escapeHtml(describePatch(patch, control))}</title>${patch.id}</text>`;
    })
    .join('');
  return `<svg class="chart" viewBox="0 0 ${layout.widthMm} ${layout.heightMm}" role="img" aria-label="The chart with the names of its patches"><image href="${picture}" width="${layout.widthMm}" height="${layout.heightMm}" preserveAspectRatio="none"/>${names}</svg>`;
}

/** A patch in words: `C7: checker of 2 × 2 dots, 50 %`. */
function describePatch(
  { id, pattern, coverage, aimLightness, settings }: Patch,
  control: KnownControl | undefined,
): string {
  const percent = `${roundTo(100 * coverage, 2)} %`;
  const what = {
    bare: 'bare',
    solid: 'solid',
    screened: `screened, ${percent}`,
    checker: `checker of ${'dots' in pattern ? pattern.dots : 0} dots, ${percent}`,
    squares: `squares of ${'dots' in pattern ? pattern.dots : 0} dots, ${percent}`,
    'lines-x': `lines along x, ${percent}`,
    'lines-y': `lines along y, ${percent}`,
    vernier: `columns, every other line moved, ${percent}`,
    level: `all dots at level ${'level' in pattern ? pattern.level : 0}, ${percent} of the power`,
    levels: `levels mixed, ${percent} of the power in the mean`,
  }[pattern.kind];
  const aim = aimLightness === undefined ? '' : `, aims at L* ${roundTo(aimLightness, 1)}`;
  const own = settings
    ? (['powerW', 'speedMmPerS'] as const).map((key) => `, ${saySetting(key, settings[key], control)}`).join('')
    : '';
  return `${id}: ${what}${aim}${own}`;
}

function settingRows(
  { machine, doseJPerCm2, usualDoseJPerCm2, profile, powerPerDot }: ChartSpec,
  layout: ChartLayout,
): readonly TypedRow[] {
  const { settings, grid, screen } = layout;
  const dots = layout.levels?.count ?? Number(screen.options.levels ?? 2);
  const dose = powerPerDot ? undefined : layout.patches.find((patch) => patch.settings);
  const usual = `${profile ? `${profile.name} was learned with` : `${machine.name} starts with`} ${Number(usualDoseJPerCm2.toPrecision(3))} J/cm²`;
  return [
    dose
      ? { label: 'Whole chart', typed: `${mm(layout.widthMm)} × ${mm(layout.heightMm)} mm`, aside: 'at its own size' }
      : { label: 'Bitmap', typed: 'chart.png', aside: `${layout.widthDots} × ${layout.heightDots} dots` },
    ...listSettings(settings, grid, controlOf(machine)),
    ...(dots > 2
      ? [
          {
            label: 'Power per dot',
            typed: `on (greyscale): black fires with the power above, white not at all, ${dots} levels from white to black`,
            isWords: true,
          },
        ]
      : []),
    ...(powerPerDot
      ? [
          {
            label: 'Power per dot',
            typed: 'on (greyscale): black fires with the power above, each grey with its share of it',
            isWords: true,
          },
        ]
      : []),
    ...(dose ? [{ label: 'Cells', typed: 'each with its own settings, see the table below', isWords: true }] : []),
    {
      label: 'Dose of a solid',
      typed: `${Number(doseJPerCm2.toPrecision(3))} J/cm² (${usual}); screen ${screen.name}`,
      isWords: true,
    },
  ];
}

const BURN_PROGRAM =
  'Burn chart.nc: the controller of this machine reads it. Its first lines say what full power means, where 0, 0 is and how much room the lines need; it goes once round the chart without power and pauses.';

function burnSteps(
  layout: ChartLayout,
  {
    files,
    inOne,
    side,
  }: { readonly files: readonly string[]; readonly inOne: boolean; readonly side: ChartSpec['side'] },
): string[] {
  const isTable = CHART_KINDS[layout.kind].isTable && !inOne && !layout.field;
  const own = isTable
    ? [
        files.includes('chart.nc')
          ? `${BURN_PROGRAM} It carries speed and power of each cell.`
          : 'Import chart.svg at its own size: every cell is a bitmap of its own, named as here. Give each the settings of the table (chart.csv holds the same); the rest burns with the settings on the left.',
        'chart.png shows the whole chart with all cells alike: for the eye, not for burning.',
      ]
    : [
        ...(files.includes('chart.nc') ? [`${BURN_PROGRAM} Or, through other software:`] : []),
        'Import chart.png at its own size. Never let the software dither, scale or smooth it, nor turn or convert it: every dot counts.',
        ...(layout.field ? burnField(layout.field) : []),
        ...(inOne
          ? [
              'Burn the whole bitmap once, as greys with a power for each: the cells differ in nothing else, so there is nothing more to type.',
            ]
          : []),
      ];
  return [
    'Use the stock, the lens and the settings that customers’ pieces will have; clean the lens first.',
    ...(side?.seen === 'through'
      ? [
          'Lay the face towards the beam that will be the back of a piece. The bitmap is mirrored already; do not mirror it once more.',
        ]
      : []),
    ...(layout.ramp
      ? leanPiece(layout, layout.ramp)
      : ['Focus on the surface, and lay the piece flat over its whole area.']),
    ...own,
    'Black fires. If the piece comes out as a negative, turn the polarity in the software and burn again.',
    'Let it cool and clean it as you would a customer’s piece before you take its picture.',
  ];
}

/** How a piece is laid on a slope. */
function leanPiece({ heightMm }: ChartLayout, { riseMm }: NonNullable<ChartLayout['ramp']>): string[] {
  return [
    `Focus on the surface while the piece lies flat, as you always do. Then put a stack of ${mm(riseMm)} mm under the upper edge of the chart, which is ${mm(heightMm)} mm from its lower edge, and lower the table (or raise the head) by ${mm(riseMm / 2)} mm: the middle of the chart then lies where the whole piece lay, its upper edge nearer to the lens.`,
    'Measure the stack with a caliper: the heights that are read are as right as it is. Another rise than this asks for a chart of its own.',
    'Where the tags at the upper or the lower edge come out too faint to be found, draw the chart with less rise.',
  ];
}

/** Where the grid of the control software goes, and how large it must be. */
function burnField({ xMm, yMm, widthMm, heightMm }: NonNullable<ChartLayout['field']>): string[] {
  const half = (value: number) => mm(value / 2);
  return [
    `Let your software make its own grid of settings, ${mm(widthMm)} × ${mm(heightMm)} mm from the left edge of its first cell to the right edge of its last one, without letters, and burn it into the empty field: its upper left corner ${mm(xMm)} mm right and ${mm(yMm)} mm down from the chart’s, its middle ${mm(xMm + Number(half(widthMm)))} and ${mm(yMm + Number(half(heightMm)))} mm.`,
    'Write down its settings from left to right and from top to bottom, and the gap between two cells: the reading asks for them.',
  ];
}

/** Through which side a chart on clear stock is taken, and over what. */
function sideSteps({ seen, beneath }: NonNullable<ChartSpec['side']>): string[] {
  const ground = beneath === undefined ? '' : ` with matt ${beneath === 'dark' ? 'black' : 'white'} card behind it`;
  return seen === 'through'
    ? [
        `Turn the piece over, so that the burned face is away from the scanner or camera, and take the picture through the stock${ground}: letters then read as usual. The profile is of pieces that are looked at so.`,
      ]
    : [
        `Take the picture of the burned face${ground}. A piece that is burned from behind has other tones: draw the chart as seen through for those, or take this one through the stock; the marks tell which.`,
      ];
}

function captureSteps({ material, machine, side }: ChartSpec, layout: ChartLayout): string[] {
  const words = `${material?.name ?? ''} ${material?.title ?? ''}`.toLowerCase();
  const shiny = /metal|steel|brass|alumin|copper|titan/.test(words);
  const glass = /glass|acrylic|mirror/.test(words);
  return [
    'Best: a flatbed scanner at 600 dpi (300 is enough for a tone chart), in colour, saved as PNG or TIFF, with automatic tone, sharpening and dust removal off.',
    'Or a photo: no flash, matt light from two sides (a cloudy window and a white card opposite), no lamp mirrored in the surface; the camera straight above and sharp; no filters, no “beautify”, no HDR.',
    'The whole chart in the frame with its corner marks, filling most of it, and nothing lying on it. Any turn of the piece is fine.',
    ...(CHART_KINDS[layout.kind].gives === 'profile'
      ? []
      : [
          'Only a scanner, or a camera that saves plain sRGB: this chart has no patches from which a phone’s own contrast curve could be found.',
        ]),
    ...(shiny
      ? [
          'Brushed or bright metal: turn the piece until no part of it glares. With brushed metal, let the brush marks point at the lamps, not across them.',
        ]
      : []),
    ...(side ? sideSteps(side) : []),
    ...(glass && !side
      ? [
          'Clear stock: put black card behind it (or under it on the scanner). Burned from the back it is seen mirrored: say so when it is read.',
        ]
      : []),
    'Send the original file, never a screenshot or one from a messenger, which are scaled and softened.',
    `Keep the piece: a later check on ${machine.name} compares with it.`,
  ];
}

function readSteps(layout: ChartLayout, { profile }: ChartSpec): string {
  const kept =
    'With a shop folder the layout is kept there and need not be named; on the page, drop the scan under “Take its picture”.';
  const { gives } = CHART_KINDS[layout.kind];
  const command =
    gives === 'drift'
      ? `tonewright check scan.png --chart chart.json --profile ${profile?.name ?? 'NAME'}`
      : gives === 'profile'
        ? 'tonewright learn scan.png --chart chart.json --out profile.json'
        : `tonewright learn scan.png --chart chart.json${layout.field ? ' --columns power=10%:60%:6 --rows speed=500:2000:4 --cell-gap 1' : ''} --out ${layout.kind}.json`;
  const camera =
    'From a phone whose contrast curve is unknown say that the camera is unknown; when the corner marks are not found, give the corners by hand.';
  return `<p><code>${escapeHtml(command)}</code></p><p>${kept} ${gives === 'profile' ? camera : 'When the corner marks are not found, give the corners by hand.'}</p>`;
}

function tableOf(layout: ChartLayout, control: KnownControl | undefined): string {
  const cells = layout.patches.filter((patch) => patch.settings);
  if (cells.length > 0) {
    const keys = (['powerW', 'speedMmPerS', 'rateKHz', 'pulseNs', 'passes', 'lineSpacingMm'] as const).filter(
      (key) => cells[0]!.settings![key] !== undefined,
    );
    const typed = (key: (typeof keys)[number], value: number) =>
      key === 'lineSpacingMm' ? { ...describeSetting(key), value } : typeSetting(key, value, control);
    const head = ['Cell', ...keys.map((key) => withUnit(typed(key, 1))), 'dose, J/cm²'];
    const lines = cells.map(({ id, settings }) => [
      id,
      ...keys.map((key) => String(typed(key, settings![key]!).value)),
      computeArealDoseJPerCm2(settings!).toPrecision(3),
    ]);
    return drawTable('Settings of the cells', head, lines);
  }
  const aimed = layout.patches.filter((patch) => patch.aimLightness !== undefined);
  if (aimed.length === 0) return '';
  const seen = new Map(aimed.map((patch) => [patch.group, patch]));
  const lines = [...seen.values()]
    .sort((a, b) => a.coverage - b.coverage)
    .map((patch) => [
      aimed
        .filter(({ group }) => group === patch.group)
        .map(({ id }) => id)
        .join(' '),
      `${roundTo(100 * patch.coverage, 2)} %`,
      roundTo(patch.aimLightness!, 1),
    ]);
  return drawTable('What the patches aim at', ['Patches', 'coverage', 'L*'], lines);
}

function drawTable(title: string, head: readonly string[], lines: readonly (readonly string[])[]): string {
  const half = Math.ceil(lines.length / 2);
  const part = (some: readonly (readonly string[])[]) =>
    `<table class="grid"><tr>${head.map((cell) => `<th scope="col">${escapeHtml(cell)}</th>`).join('')}</tr>${some
      .map((line) => `<tr>${line.map((cell) => `<td>${escapeHtml(cell)}</td>`).join('')}</tr>`)
      .join('')}</table>`;
  return `<section><h2>${title}</h2><div class="columns">${part(lines.slice(0, half))}${lines.length > half ? part(lines.slice(half)) : ''}</div></section>`;
}

const withUnit = ({ label, unit }: { readonly label: string; readonly unit: string }) =>
  unit === '' ? label : `${label}, ${unit}`;
const list = (texts: readonly string[]) => texts.map((text) => `<li>${escapeHtml(text)}</li>`).join('');
const mm = (value: number) => roundTo(value, 2);

const STYLE = `
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid var(--accent); padding-bottom: 1.5mm; margin-bottom: 2mm; }
header p { margin: .6mm 0 0; }
.clock { font-size: 15pt; font-weight: 650; white-space: nowrap; text-align: right; line-height: 1.15; }
.clock span { display: block; font-size: 8.4pt; font-weight: 400; }
.warnings { border: .4mm solid var(--loud); padding: 1.5mm 2.5mm; margin-bottom: 2.5mm; }
.warnings h2 { color: var(--loud); }
section { margin-bottom: 2.6mm; break-inside: avoid; }
svg.chart { border: .2mm solid var(--rule); max-height: 120mm; margin: 0 auto 1mm; }
svg.chart text { fill: #8c2a10; stroke: #fff; paint-order: stroke; text-anchor: middle; font-weight: 650; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; align-items: start; }
.grid th { border-bottom: .2mm solid var(--rule); white-space: normal; }
.grid td { padding-right: 3mm; border-bottom: .1mm solid #e8ecee; }
code { font-size: 8pt; background: #f3f5f6; padding: .4mm 1mm; overflow-wrap: anywhere; }
.cautions { columns: 2; column-gap: 6mm; font-size: 7.1pt; line-height: 1.25; }
.cautions li { break-inside: avoid; }
.fine { font-size: 6.6pt; line-height: 1.25; color: var(--soft); overflow-wrap: anywhere; border-top: .2mm solid var(--rule); padding-top: 1.2mm; margin: 0; }
.fine p { margin: 0 0 .6mm; }
@media screen and (max-width: 720px) { .columns { grid-template-columns: 1fr; } .cautions { columns: 1; } header { display: block; } .clock { text-align: left; margin-top: 2mm; } }
`;
