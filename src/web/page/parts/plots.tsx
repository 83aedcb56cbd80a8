import * as Plot from '@observablehq/plot';
import { useEffect, useRef } from 'preact/hooks';
import type { BandPointJson, ComparisonView, CurvePoint, DriftPoint, TonePatch } from '../../protocol.ts';
import { numbers } from '../numbers.ts';

/** Height of a plot, CSS pixels. Assumed: two fit on a screen. */
const HEIGHT = 300;

/**
 * A chart of the plotting library in the page, as wide as there is room. `label` says what is to be seen, for who
 * cannot.
 */
function Chart({
  label,
  height = HEIGHT,
  draw,
}: {
  readonly label: string;
  readonly height?: number;
  readonly draw: (size: { readonly width: number; readonly height: number }) => Plot.PlotOptions;
}) {
  const box = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const room = box.current;
    if (!room) return;
    const fill = () => {
      const width = Math.max(280, Math.round(room.clientWidth));
      const options = draw({ width, height });
      const say = (at: number) => numbers.say(at);
      const plot = Plot.plot({
        width,
        height,
        marginLeft: 44,
        marginBottom: 40,
        ...options,
        x: { tickFormat: say, ...options.x },
        y: { tickFormat: say, ...options.y },
      });
      // The page's policy lets no style in but its own sheet, which has these rules.
      for (const style of plot.querySelectorAll('style')) style.remove();
      // The whole is one picture with one name; names of its parts would be read beside it.
      for (const part of plot.querySelectorAll('[aria-label]')) part.removeAttribute('aria-label');
      plot.setAttribute('class', 'plot');
      plot.setAttribute('role', 'img');
      plot.setAttribute('aria-label', label);
      room.replaceChildren(plot);
    };
    const watch = new ResizeObserver(fill);
    watch.observe(room);
    return () => watch.disconnect();
  });
  return <div ref={box} class="plot-box" style={{ minHeight: `${height}px` }} />;
}

const coverageAxis = { label: 'dots that fire, %', domain: [0, 100], grid: true, ticks: 5 } as const;
const percent = <T extends CurvePoint>(points: readonly T[]) =>
  points.map((point) => ({ ...point, x: 100 * point.coverage }));

/** Lightness against coverage: band, curve, readings with their scatter. */
export function ToneCurveChart({
  points,
  band = [],
  patches = [],
}: {
  readonly points: readonly CurvePoint[];
  readonly band?: readonly BandPointJson[];
  readonly patches?: readonly TonePatch[];
}) {
  const read = percent(patches.filter(({ role }) => role !== 'pattern'));
  return (
    <Chart
      label={`Tone curve from L* ${Math.round(points[0]!.lightness)} bare to ${Math.round(points.at(-1)!.lightness)} at full tone`}
      draw={() => ({
        x: coverageAxis,
        y: { label: 'L*', grid: true, ticks: 6 },
        marks: [
          Plot.areaY(percent(band), { x: 'x', y1: 'low', y2: 'high', fill: 'var(--accent)', fillOpacity: 0.18 }),
          Plot.line(percent(points), { x: 'x', y: 'lightness', stroke: 'var(--accent)', strokeWidth: 2 }),
          Plot.ruleX(read, {
            x: 'x',
            y1: (d: TonePatch) => d.lightness - d.spread,
            y2: (d: TonePatch) => d.lightness + d.spread,
            stroke: 'var(--ink)',
          }),
          Plot.dot(read, { x: 'x', y: 'lightness', r: 3, fill: 'var(--ink)' }),
        ],
      })}
    />
  );
}

/** Read less what the model says, by coverage; clusters and lines apart in their own sign. */
export function ResidualChart({ patches }: { readonly patches: readonly TonePatch[] }) {
  const rest = percent(patches).map((patch) => ({ ...patch, off: patch.lightness - patch.predicted }));
  const worst = rest.reduce((most, { off }) => Math.max(most, Math.abs(off)), 0);
  return (
    <Chart
      label={`Measured minus model: at most ${numbers.say(worst, 1, 'fixed')} L*`}
      height={220}
      draw={() => ({
        x: coverageAxis,
        y: { label: 'ΔL*', grid: true, ticks: 5 },
        marks: [
          Plot.ruleY([0], { stroke: 'var(--edge)' }),
          Plot.dot(rest, {
            x: 'x',
            y: 'off',
            r: 4,
            symbol: (d: TonePatch) => (d.role === 'pattern' ? 'square' : 'circle'),
            stroke: (d: TonePatch) => (d.role === 'pattern' ? 'var(--loud)' : 'var(--accent)'),
            strokeWidth: 2,
          }),
        ],
      })}
    />
  );
}

/** How far each check was from the profile, over time. */
export function DriftChart({ history }: { readonly history: readonly DriftPoint[] }) {
  const entries = history.map((entry, at) => ({ ...entry, at: at + 1 }));
  const unit = history.at(-1)?.unit ?? 0.5;
  return (
    <Chart
      label={`Drift in ${history.length} checks, the last on average ${numbers.say(history.at(-1)?.meanDelta ?? 0, 1, 'fixed')} L*`}
      height={220}
      draw={() => ({
        x: {
          label: null,
          type: 'point',
          domain: entries.map(({ at }) => at),
          tickFormat: (at: number) => numbers.sayDay(entries[at - 1]?.date ?? ''),
        },
        y: { label: 'mean ΔL*', grid: true, zero: true, ticks: 4 },
        marks: [
          Plot.ruleY([1.5 * unit], { stroke: 'var(--edge)', strokeDasharray: '4 3' }),
          Plot.ruleY([4 * unit], { stroke: 'var(--loud)', strokeDasharray: '4 3' }),
          Plot.line(entries, { x: 'at', y: 'meanDelta', stroke: 'var(--accent)', strokeWidth: 2 }),
          Plot.dot(entries, { x: 'at', y: 'meanDelta', r: 5, fill: 'var(--accent)' }),
        ],
      })}
    />
  );
}

/** Two curves over each other. */
export function CompareChart({ comparison: { a, b } }: { readonly comparison: ComparisonView }) {
  return (
    <Chart
      label={`Tone curves of ${a.title} and ${b.title}`}
      draw={() => ({
        x: coverageAxis,
        y: { label: 'L*', grid: true, ticks: 6 },
        marks: [
          Plot.line(percent(a.points), { x: 'x', y: 'lightness', stroke: 'var(--accent)', strokeWidth: 2.5 }),
          Plot.line(percent(b.points), {
            x: 'x',
            y: 'lightness',
            stroke: 'var(--loud)',
            strokeWidth: 2.5,
            strokeDasharray: '6 4',
          }),
        ],
      })}
    />
  );
}
