import type { ChartLayout, DoseCell } from '../../chart/index.ts';
import type { Machine } from '../../machine/index.ts';
import { computeArealDoseJPerCm2 } from '../../optics/index.ts';
import { type DotGrid, type Dots, encodeDots } from '../../plane/index.ts';
import { escapeHtml, roundTo } from '../page/html.ts';

export interface DoseParts {
  readonly layout: ChartLayout;
  /** What burns with the chart's own settings: tags, letters, references. */
  readonly rest: Dots;
  readonly cells: readonly DoseCell[];
}

/** A dose chart as one drawing in mm: every cell a bitmap of its own in a group that bears its name and settings. */
export function drawDoseSvg({ layout, rest, cells }: DoseParts): string {
  const { widthMm, heightMm } = layout;
  const groups = cells.map(({ id, xMm, yMm, widthMm: width, heightMm: height, dots, grid, settings }) => {
    const title = Object.entries(settings)
      .map(([key, value]) => `${key} ${value}`)
      .join(', ');
    return drawGroup(id, { title, image: drawImage({ xMm, yMm, width, height, dots, grid }) });
  });
  const image = drawImage({ xMm: 0, yMm: 0, width: widthMm, height: heightMm, dots: rest, grid: layout.grid });
  const own = drawGroup('rest', { title: 'tags, letters and references, burned with the chart’s own settings', image });
  return `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="${widthMm}mm" height="${heightMm}mm" viewBox="0 0 ${widthMm} ${heightMm}">
<title>${layout.kind} ${layout.hash}</title>
${[own, ...groups].join('\n')}
</svg>
`;
}

function drawGroup(id: string, { title, image }: { readonly title: string; readonly image: string }): string {
  return `<g id="${id}"><title>${escapeHtml(`${id}: ${title}`)}</title>${image}</g>`;
}

interface Placed {
  readonly xMm: number;
  readonly yMm: number;
  readonly width: number;
  readonly height: number;
  readonly dots: Dots;
  readonly grid: DotGrid;
}

function drawImage({ xMm, yMm, width, height, dots, grid }: Placed): string {
  const data = encodeDots(dots, grid, { format: 'png' }).toString('base64');
  return `<image x="${xMm}" y="${yMm}" width="${width}" height="${height}" preserveAspectRatio="none" style="image-rendering:pixelated" href="data:image/png;base64,${data}"/>`;
}

/** The settings of every cell as comma-separated values (RFC 4180 lines), in the order of the burn. */
export function writeDoseTable({
  layout,
  cells,
  machine,
}: Pick<DoseParts, 'layout' | 'cells'> & { readonly machine: Machine }): string {
  const head = [
    'cell',
    'x_mm',
    'y_mm',
    'width_mm',
    'height_mm',
    'power_W',
    'power_percent',
    'speed_mm_per_s',
    'pulse_rate_kHz',
    'pulse_duration_ns',
    'passes',
    'line_spacing_mm',
    'pitch_mm',
    'dose_J_per_cm2',
  ];
  const own = { ...layout.settings, lineSpacingMm: layout.grid.lineSpacingMm };
  const places = [
    { id: 'rest', xMm: 0, yMm: 0, widthMm: layout.widthMm, heightMm: layout.heightMm, settings: own },
    ...cells,
  ];
  const rows = places.map(({ id, xMm, yMm, widthMm, heightMm, settings }) => [
    id,
    roundTo(xMm, 4),
    roundTo(yMm, 4),
    roundTo(widthMm, 4),
    roundTo(heightMm, 4),
    settings.powerW,
    roundTo((100 * settings.powerW) / machine.powerW.max, 2),
    settings.speedMmPerS,
    settings.rateKHz ?? '',
    settings.pulseNs ?? '',
    settings.passes,
    settings.lineSpacingMm,
    layout.grid.pitchMm,
    computeArealDoseJPerCm2(settings).toPrecision(4),
  ]);
  return `${[head, ...rows].map((row) => row.join(',')).join('\r\n')}\r\n`;
}
