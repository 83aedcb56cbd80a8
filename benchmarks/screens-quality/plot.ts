export interface Curve {
  readonly label: string;
  readonly points: readonly (readonly [x: number, y: number])[];
}

export interface PlotOptions {
  readonly title: string;
  readonly x: { readonly label: string; readonly max: number };
  readonly y: { readonly label: string; readonly min: number; readonly max: number };
  /** Dashed lines across, each with a label. */
  readonly marks?: readonly { readonly x?: number; readonly y?: number; readonly label: string }[];
}

const SIZE = { width: 640, height: 360, left: 56, right: 170, top: 36, bottom: 44 } as const;
/** Told apart by colour and by dash. */
const STROKES = ['#1b6ca8', '#c8553d', '#2f855a', '#7b4fa3', '#b7791f', '#444444', '#d53f8c', '#2c7a7b'] as const;

/** Curves as an SVG picture that stands alone. */
export function drawPlot(curves: readonly Curve[], { title, x, y, marks = [] }: PlotOptions): string {
  const { width, height, left, right, top, bottom } = SIZE;
  const toX = (value: number) => left + (value / x.max) * (width - left - right);
  const toY = (value: number) =>
    top + (1 - (Math.min(y.max, Math.max(y.min, value)) - y.min) / (y.max - y.min)) * (height - top - bottom);
  const f = (value: number) => value.toFixed(1);
  const ticks = (from: number, to: number) => Array.from({ length: 6 }, (_, i) => from + ((to - from) * i) / 5);
  const parts = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="12">`,
    `<rect width="${width}" height="${height}" fill="#fff"/><text x="${left}" y="20" font-size="14">${title}</text>`,
    ...ticks(0, x.max).map(
      (tick) =>
        `<line x1="${f(toX(tick))}" x2="${f(toX(tick))}" y1="${top}" y2="${height - bottom}" stroke="#ddd"/><text x="${f(toX(tick))}" y="${height - bottom + 16}" text-anchor="middle">${Number(tick.toFixed(2))}</text>`,
    ),
    ...ticks(y.min, y.max).map(
      (tick) =>
        `<line x1="${left}" x2="${width - right}" y1="${f(toY(tick))}" y2="${f(toY(tick))}" stroke="#ddd"/><text x="${left - 6}" y="${f(toY(tick) + 4)}" text-anchor="end">${Number(tick.toFixed(2))}</text>`,
    ),
    `<text x="${f((left + width - right) / 2)}" y="${height - 8}" text-anchor="middle">${x.label}</text>`,
    `<text transform="translate(14 ${f((top + height - bottom) / 2)}) rotate(-90)" text-anchor="middle">${y.label}</text>`,
    ...marks.map((mark) => {
      const across = mark.y === undefined;
      const at = across ? toX(mark.x ?? 0) : toY(mark.y ?? 0);
      const line = across
        ? `x1="${f(at)}" x2="${f(at)}" y1="${top}" y2="${height - bottom}"`
        : `x1="${left}" x2="${width - right}" y1="${f(at)}" y2="${f(at)}"`;
      const place = across ? `x="${f(at + 3)}" y="${top + 11}"` : `x="${left + 4}" y="${f(at - 3)}"`;
      return `<line ${line} stroke="#888" stroke-dasharray="4 3"/><text ${place} fill="#666">${mark.label}</text>`;
    }),
    ...curves.flatMap(({ label, points }, i) => {
      const stroke = STROKES[i % STROKES.length]!;
      const dash = i % 2 === 0 ? '' : ' stroke-dasharray="6 2"';
      const line = points.map(([a, b]) => `${f(toX(a))},${f(toY(b))}`).join(' ');
      const at = top + 8 + 18 * i;
      const from = width - right + 12;
      return [
        `<polyline points="${line}" fill="none" stroke="${stroke}" stroke-width="1.8"${dash}/>`,
        `<line x1="${from}" x2="${from + 22}" y1="${at}" y2="${at}" stroke="${stroke}" stroke-width="2"${dash}/><text x="${from + 28}" y="${at + 4}">${label}</text>`,
      ];
    }),
    '</svg>',
  ];
  return parts.join('\n');
}
