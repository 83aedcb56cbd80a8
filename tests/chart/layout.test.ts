import { describe, expect, test } from 'vitest';
import { EXAMPLE, KINDS, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import { type ChartOptions, layoutChart, type Patch, spaceCoverages } from '../../src/chart/index.ts';
import type { AppError } from '../../src/errors.ts';

const count = (patches: readonly Patch[], role: string) => patches.filter((patch) => patch.role === role).length;

describe.each(KINDS)('a %s chart', (kind) => {
  const layout = LAYOUTS[kind];

  test('keeps its patches apart from one another, from its tags, its letters and its edge', () => {
    const boxes = [
      ...layout.patches.map((patch) => [patch.xDots, patch.yDots, patch.widthDots, patch.heightDots] as const),
      ...layout.tags.map((tag) => [tag.xDots, tag.yDots, tag.cellDotsX * 10, tag.cellDotsY * 10] as const),
      ...layout.labels.map(
        (label) => [label.xDots, label.yDots, label.text.length * 6 * label.pointDotsX, 7 * label.pointDotsY] as const,
      ),
    ];
    for (const [i, [x, y, width, height]] of boxes.entries()) {
      expect(x >= 0 && y >= 0 && x + width <= layout.widthDots && y + height <= layout.heightDots).toBe(true);
      for (const [ox, oy, ow, oh] of boxes.slice(i + 1)) {
        expect(x < ox + ow && ox < x + width && y < oy + oh && oy < y + height).toBe(false);
      }
    }
  });

  test('names every patch once and says where it lies in dots and in mm', () => {
    expect(new Set(layout.patches.map(({ id }) => id)).size).toBe(layout.patches.length);
    layout.patches.forEach((patch, order) => {
      expect(patch.order).toBe(order);
      expect(patch.xMm).toBeCloseTo(patch.xDots * 0.05, 6);
      expect(patch.heightMm).toBeCloseTo(patch.heightDots * 0.05, 6);
    });
  });

  test('is the same for the same options, and plain JSON', () => {
    expect(layoutChart(kind, EXAMPLE)).toEqual(layout);
    expect(JSON.parse(JSON.stringify(layout))).toEqual(layout);
  });
});

describe('a tone chart', () => {
  const { patches } = LAYOUTS.tone;

  test('fits a card and holds references, steps, clusters and lines', () => {
    expect([LAYOUTS.tone.widthMm, LAYOUTS.tone.heightMm]).toEqual([85.6, 54]);
    expect(count(patches, 'bare')).toBeGreaterThanOrEqual(8);
    expect(count(patches, 'solid')).toBeGreaterThanOrEqual(4);
    expect(count(patches, 'cluster')).toBe(16);
    expect(count(patches, 'line-x')).toBe(count(patches, 'line-y'));
    expect(new Set(patches.filter(({ role }) => role === 'step').map(({ coverage }) => coverage)).size).toBe(15);
  });

  test('puts three replicates of a tone into three quadrants', () => {
    const quadrantOf = ({ xMm, yMm }: Patch) => (xMm > 42.8 - 2.7 ? 1 : 0) + (yMm > 27 - 2.7 ? 2 : 0);
    const groups = new Map<string, Patch[]>();
    for (const patch of patches.filter(({ role }) => role === 'step')) {
      groups.set(patch.group, [...(groups.get(patch.group) ?? []), patch]);
    }
    const spread = [...groups.values()].filter((group) => new Set(group.map(quadrantOf)).size >= 3).length;
    expect(spread).toBeGreaterThanOrEqual(13);
  });

  test('puts bare references into every corner and the middle', () => {
    const bares = patches.filter(({ role }) => role === 'bare');
    for (const [x, y] of [
      [0, 0],
      [85.6, 0],
      [0, 54],
      [85.6, 54],
      [42.8, 27],
    ] as const) {
      expect(Math.min(...bares.map((bare) => Math.hypot(bare.xMm + 2.7 - x, bare.yMm + 2.7 - y)))).toBeLessThan(16);
    }
  });

  test('puts tones elsewhere for another seed', () => {
    const other = layoutChart('tone', { ...EXAMPLE, seed: 2 });
    expect(other.patches.map(({ group }) => group)).not.toEqual(patches.map(({ group }) => group));
    expect(other.patches.map(({ group }) => group).sort()).toEqual(patches.map(({ group }) => group).sort());
  });

  test('takes dots that are not square', () => {
    const layout = layoutChart('tone', { ...EXAMPLE, grid: { pitchMm: 0.025, lineSpacingMm: 0.05 } });
    const patch = layout.patches[0]!;
    expect(patch.widthDots / patch.heightDots).toBeCloseTo(2, 1);
    expect(layout.widthDots).toBe(3424);
  });
});

describe('steps', () => {
  test('rise strictly between bare and solid and are denser where the curve is steep', () => {
    const steep = spaceCoverages(9, [
      { coverage: 0, lightness: 90 },
      { coverage: 0.2, lightness: 40 },
      { coverage: 1, lightness: 20 },
    ]);
    for (let i = 1; i < steep.length; i++) expect(steep[i]!).toBeGreaterThan(steep[i - 1]!);
    expect(steep.filter((coverage) => coverage < 0.2).length).toBeGreaterThanOrEqual(4);
    expect(
      spaceCoverages(3, [
        { coverage: 0, lightness: 50 },
        { coverage: 1, lightness: 50 },
      ]),
    ).toEqual([0.25, 0.5, 0.75]);
  });

  test('of a second chart go where the first left the curve badly known, and still leave no stretch without one', () => {
    const curve = [0, 0.2, 0.4, 0.6, 0.8, 1].map((coverage) => ({ coverage, lightness: 20 + 60 * coverage }));
    const alike = spaceCoverages(
      12,
      curve.map((point) => ({ ...point, halfWidth: 1 })),
    );
    const doubtful = spaceCoverages(
      12,
      curve.map((point) => ({ ...point, halfWidth: point.coverage === 0.6 ? 6 : 1 })),
    );
    const within = (coverages: readonly number[]) => coverages.filter((coverage) => coverage > 0.4 && coverage < 0.8);
    expect(within(alike)).toHaveLength(5);
    expect(within(doubtful).length).toBeGreaterThanOrEqual(7);
    const gaps = [0, ...doubtful, 1].map((coverage, at, all) => coverage - (all[at - 1] ?? 0));
    expect(Math.max(...gaps)).toBeLessThan(0.2);
    // Doubt that is the same everywhere asks for nothing else than steps that follow lightness.
    expect(alike).toEqual([...alike].sort((a, b) => a - b));
  });

  test('of a verify chart are none of those of the tone chart', () => {
    const tones = (kind: 'tone' | 'verify') =>
      new Set(LAYOUTS[kind].patches.filter(({ role }) => role === 'step').map(({ coverage }) => coverage));
    for (const coverage of tones('verify')) expect(tones('tone').has(coverage)).toBe(false);
  });
});

describe('other charts', () => {
  test('a strip carries seven patches on 60 × 8 mm', () => {
    expect([LAYOUTS.check.widthMm, LAYOUTS.check.heightMm, LAYOUTS.check.patches.length]).toEqual([60, 8, 7]);
    expect(LAYOUTS.check.patches.map(({ role }) => role)).toEqual(['bare', ...new Array(5).fill('control'), 'solid']);
  });

  test('a dose chart keeps rows and columns in order, each cell with its settings', () => {
    const cells = LAYOUTS.dose.patches.filter(({ role }) => role === 'dose');
    expect(cells.map(({ settings }) => [settings!.powerW, settings!.speedMmPerS]).slice(0, 6)).toEqual([
      [5, 200],
      [10, 200],
      [15, 200],
      [20, 200],
      [25, 200],
      [5, 400],
    ]);
  });

  test('a verify chart takes tones that a profile asks for', () => {
    const tones = [0.1, 0.3, 0.6].map((coverage) => ({ coverage, aimLightness: 90 - 60 * coverage }));
    const { patches } = layoutChart('verify', { ...EXAMPLE, tones });
    expect(patches.find(({ coverage }) => coverage === 0.3)?.aimLightness).toBe(72);
  });
});

describe('options that cannot be met', () => {
  const refuse = (kind: 'tone' | 'dose', options: Partial<ChartOptions>) => {
    try {
      layoutChart(kind, { ...EXAMPLE, ...options });
    } catch (error) {
      return error as AppError;
    }
    return undefined;
  };

  test('a chart too small for its patches says how many fit and how many are needed', () => {
    const error = refuse('tone', { widthMm: 40, heightMm: 25 });
    expect(error?.code).toBe('option-invalid');
    expect(error?.message).toMatch(/found room for \d+ patches .* needed \d+/);
  });

  test('a chart of more dots than a computer holds is refused in words, before it is drawn', () => {
    const huge = { ...EXAMPLE, widthMm: 400, heightMm: 400, grid: { pitchMm: 0.001, lineSpacingMm: 0.001 } };
    for (const kind of KINDS) {
      expect(() => layoutChart(kind, huge), kind).toThrow(
        /400000 × 400000 dots .* at most 500 million: a smaller chart/,
      );
    }
    const just = { ...EXAMPLE, widthMm: 400, heightMm: 400, grid: { pitchMm: 0.02, lineSpacingMm: 0.02 } };
    expect(layoutChart('tone', just).widthDots).toBe(20_000);
  });

  test('a chart too small for its tags is refused', () => {
    expect(refuse('tone', { widthMm: 1, heightMm: 1 })?.code).toBe('option-invalid');
    expect(refuse('tone', { grid: { pitchMm: 0.4, lineSpacingMm: 0.4 } })?.code).toBe('option-invalid');
  });

  test('a dose chart without two settings is refused', () => {
    expect(refuse('dose', { columns: EXAMPLE.rows! })?.code).toBe('option-invalid');
    expect(refuse('dose', { columns: { setting: 'powerW', values: [0, 1] } })?.message).toContain('found 0');
    expect(refuse('dose', { columns: { setting: 'powerW', values: new Array(60).fill(1) } })?.message).toContain(
      'room',
    );
  });

  test('numbers out of range are refused', () => {
    expect(refuse('tone', { replicates: 0 })?.message).toContain('replicates: found 0');
    expect(refuse('tone', { steps: 2.5 })?.message).toContain('steps: found 2.5');
  });
});
