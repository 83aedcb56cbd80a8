import { describe, expect, test } from 'vitest';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import {
  assumeResponse,
  type DotField,
  type FitOptions,
  type FitPattern,
  type FitReading,
  fitProfile,
  fitToneCurve,
  mixYuleNielsen,
  parseProfile,
  predictMeanStrength,
  type ResponseModel,
} from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { createPlane, ONE, type Plane } from '../../src/plane/index.ts';

const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
const BARE_L = 30;
const FULL_L = 80;

/** A screen of scattered thresholds, 8 × 8: enough to be a screen, and small. */
const RANKS = Array.from({ length: 64 }, (_, i) => (i * 29 + (i >> 3) * 13) % 64);
function screenScattered(coverage: Plane<'coverage'>): DotField {
  const { width, height } = coverage;
  const data = new Uint8Array(width * height);
  for (let i = 0; i < data.length; i++) {
    const rank = RANKS[((Math.floor(i / width) % 8) << 3) + ((i % width) % 8)]!;
    data[i] = coverage.data[i] / ONE > (rank + 0.5) / 64 ? 1 : 0;
  }
  return { width, height, levels: 2, data };
}

function period(
  width: number,
  height: number,
  fires: (x: number, y: number) => boolean,
  featureDots: number,
): FitPattern {
  const data = Uint8Array.from({ length: width * height }, (_, i) => Number(fires(i % width, Math.floor(i / width))));
  return { dots: { width, height, levels: 2, data }, edge: 'repeat', featureDots };
}

const PATTERNS: ReadonlyMap<string, { pattern: FitPattern; coverage: number }> = new Map(
  [1, 2, 4].flatMap((dots): [string, { pattern: FitPattern; coverage: number }][] => [
    [
      `checker-${dots}`,
      {
        pattern: period(2 * dots, 2 * dots, (x, y) => (Math.floor(x / dots) + Math.floor(y / dots)) % 2 === 0, dots),
        coverage: 0.5,
      },
    ],
    [`squares-${dots}`, { pattern: period(2 * dots, 2 * dots, (x, y) => x < dots && y < dots, dots), coverage: 0.25 }],
    [`x-${dots}`, { pattern: period(1, 2 * dots, (_x, y) => y < dots, dots), coverage: 0.5 }],
    [`y-${dots}`, { pattern: period(2 * dots, 1, (x) => x < dots, dots), coverage: 0.5 }],
  ]),
);
const STEPS = [0.08, 0.2, 0.35, 0.5, 0.65, 0.8];

function screenConstant(coverage: number, side: number): DotField {
  const plane = createPlane('coverage', side, side);
  plane.data.fill(Math.round(coverage * ONE));
  return screenScattered(plane);
}

function patternOf(group: string): FitPattern {
  const exact = PATTERNS.get(group);
  if (exact) return exact.pattern;
  return { dots: screenConstant(Number(group.slice(5)), 64), edge: 'bare', featureDots: 1 };
}

interface Truth {
  readonly response: ResponseModel;
  readonly bareL?: number;
  readonly fullL?: number;
  readonly noise?: number;
  /** Bends strengths away from the model. */
  readonly bend?: (strength: number, coverage: number) => number;
}

/** Readings of a surface whose response is known, with replicates and seeded noise in relative luminance. */
function readSurface({ response, bareL = BARE_L, fullL = FULL_L, noise = 0, bend = (s) => s }: Truth): FitReading[] {
  const random = createRandom(7);
  const [bare, full] = [reflectanceOfLightness(bareL), reflectanceOfLightness(fullL)];
  const shake = () => 1 + noise * (random.nextUnit() + random.nextUnit() + random.nextUnit() - 1.5) * 2;
  const readings: FitReading[] = [];
  const add = (
    role: FitReading['role'],
    group: string,
    facts: { coverage: number; strength: number; count: number },
  ) => {
    const { coverage, strength, count } = facts;
    const light = mixYuleNielsen(strength, { bare, full, n: response.yuleNielsenN }) / bare;
    for (let i = 0; i < count; i++) {
      readings.push({ id: `${group}/${i}`, role, group, coverage, relativeLuminance: light * shake() });
    }
  };
  add('bare', 'bare', { coverage: 0, strength: 0, count: 6 });
  add('solid', 'solid', { coverage: 1, strength: 1, count: 4 });
  for (const coverage of STEPS) {
    const options = { samplesX: 6, samplesY: 6, edge: 'repeat' } as const;
    const strength = predictMeanStrength(response, screenConstant(coverage, 8), options);
    add('step', `step-${coverage}`, { coverage, strength: bend(strength, coverage), count: 3 });
  }
  for (const [group, { pattern, coverage }] of PATTERNS) {
    const strength = predictMeanStrength(response, pattern.dots, { samplesX: 16, samplesY: 16, edge: 'repeat' });
    add('pattern', group, { coverage, strength, count: 2 });
  }
  return readings;
}

const optionsOf = (more: Partial<FitOptions> = {}): FitOptions => ({
  facts: {
    schema: 'tonewright-profile/1',
    name: 'test',
    title: 'Test',
    material: 'slate',
    machine: 'bench',
    grid,
    settings: { powerW: 10, speedMmPerS: 500, passes: 1, scan: 'two-way' },
    screen: { name: 'bayer', options: {} },
    bare: [BARE_L, 0, 0],
    full: [FULL_L, 0, 0],
    origin: 'simulated',
    date: '2026-01-01',
    note: '',
  },
  patternOf,
  halftone: screenScattered,
  drawnDirection: 'lighter',
  ...more,
});

const response = assumeResponse(
  { markDiameterXUm: 64, markDiameterYUm: 52, steepness: 7, drive: 1.9, yuleNielsenN: 1 },
  grid,
);

describe('a profile fitted to readings of a known surface', () => {
  const { profile, report } = fitProfile(readSurface({ response, noise: 0.004 }), optionsOf());

  test('has its mark widths within 4 %, inside their intervals', () => {
    expect(Math.abs(report.markX.value / 64 - 1)).toBeLessThan(0.04);
    expect(Math.abs(report.markY.value / 52 - 1)).toBeLessThan(0.04);
    expect(report.markX.low).toBeLessThan(64);
    expect(report.markX.high).toBeGreaterThan(64);
    expect(report.markX.determined && report.markY.determined).toBe(true);
  });

  test('is unsure of dark tones and of the scatter of light when the camera’s curve was estimated, and says so', () => {
    const unsure = fitProfile(readSurface({ response, noise: 0.004 }), optionsOf({ cameraError: 3 })).report;
    const halfOf = ({ low, high }: { readonly low: number; readonly high: number }) => (high - low) / 2;
    // The mark is lighter: bare is the dark end.
    expect(halfOf(unsure.curve[0]!)).toBeGreaterThan(5.8);
    expect(halfOf(unsure.curve.at(-1)!)).toBeCloseTo(halfOf(report.curve.at(-1)!), 1);
    expect(unsure.yuleNielsenN.determined).toBe(false);
    expect(unsure.warnings.map(({ code }) => code)).toContain('camera-contrast-unsure');
    expect(report.warnings.map(({ code }) => code)).not.toContain('camera-contrast-unsure');
  });

  test('has a strictly monotone curve from bare to half a percent below solid, which its own parser takes', () => {
    const { points } = profile;
    expect(points[0]!.coverage).toBe(0);
    expect(points[0]!.lightness).toBeCloseTo(BARE_L, 0);
    expect(points.at(-1)!.lightness).toBeLessThan(report.curve.at(-1)!.lightness);
    expect(points.at(-1)!.lightness).toBeGreaterThan(FULL_L - 1);
    expect(parseProfile(JSON.parse(JSON.stringify(profile)), 'test')).toEqual(profile);
  });

  test('says how repeatable a patch is, and predicts tones that it has not seen about as well', () => {
    expect(report.repeatability).toBeGreaterThan(0.02);
    expect(report.repeatability).toBeLessThan(0.6);
    expect(report.leaveOneOut).toBeLessThan(0.8);
    expect(report.modelRms).toBeLessThan(0.5);
  });

  test('has a band around the curve that every reading without noise would lie in', () => {
    for (const { low, lightness, high } of report.curve) {
      expect(low).toBeLessThanOrEqual(lightness);
      expect(high).toBeGreaterThanOrEqual(lightness);
    }
    expect(profile.fit?.band).toHaveLength(report.curve.length);
  });
});

test('the direction is found from the readings, and said to be wrong where it was told wrong', () => {
  const { profile, report } = fitProfile(
    readSurface({ response, bareL: 80, fullL: 30 }),
    optionsOf({ facts: { ...optionsOf().facts, bare: [80, 0, 0], full: [30, 0, 0] } }),
  );
  expect(profile.direction).toBe('darker');
  expect(report.warnings.map(({ text }) => text).join()).toContain('The profile follows the readings');
});

test('a reading that differs from its replicates is left out and named, the same way every time', () => {
  const readings = readSurface({ response, noise: 0.002 }).map((reading) =>
    reading.id === 'step-0.35/1' ? { ...reading, relativeLuminance: reading.relativeLuminance * 1.5 } : reading,
  );
  const { report } = fitProfile(readings, optionsOf());
  expect(report.outliers.map(({ id }) => id)).toEqual(['step-0.35/1']);
  expect(report.rows.find(({ group }) => group === 'step-0.35')!.count).toBe(2);
  expect(fitProfile(readings, optionsOf()).report).toEqual(report);
});

test('a material that overburns gives its longest stretch, and says so', () => {
  // Above 0.65 the tones fall again, far beyond what the replicates differ by.
  const { profile, report } = fitProfile(
    readSurface({ response, noise: 0.002, bend: (s, coverage) => (coverage > 0.6 ? 0.92 : Math.min(1.25, 1.5 * s)) }),
    optionsOf(),
  );
  expect(report.usable.to).toBeLessThan(0.8);
  expect(profile.points.at(-1)!.coverage).toBeLessThan(0.8);
  expect(report.warnings.map(({ text }) => text).join()).toContain('overburns');
});

test('a chart without tones is refused', () => {
  const readings = readSurface({ response }).filter(({ role }) => role !== 'step');
  expect(() => fitProfile(readings, optionsOf())).toThrow(
    expect.objectContaining({ code: 'profile-unusable', message: expect.stringContaining('found 0 tones') }),
  );
});

describe('the tone curve', () => {
  const wanted = Array.from({ length: 21 }, (_, i) => ({ coverage: i / 20, predicted: 20 + 60 * Math.sqrt(i / 20) }));
  const modelAt = (coverage: number) => 20 + 60 * Math.sqrt(coverage);
  const measure = (off: (coverage: number) => number) =>
    [0, 0.1, 0.25, 0.4, 0.6, 0.8, 1].map((coverage) => {
      const predicted = modelAt(coverage);
      return { coverage, lightness: predicted + off(coverage), error: 0.15, predicted };
    });

  test('is the model’s where the readings agree with it, between the tones too', () => {
    const { points, leaveOneOut } = fitToneCurve(
      measure(() => 0),
      wanted,
    );
    for (const { coverage, lightness } of points) expect(lightness).toBeCloseTo(modelAt(coverage), 1);
    expect(leaveOneOut).toBeLessThan(0.05);
  });

  test('is the readings’ where the model is wrong', () => {
    const off = (coverage: number) => 5 * Math.sin(Math.PI * coverage);
    const { points, modelRms } = fitToneCurve(measure(off), wanted);
    for (const { coverage, lightness } of points) {
      expect(Math.abs(lightness - modelAt(coverage) - off(coverage))).toBeLessThan(0.7);
    }
    expect(modelRms).toBeGreaterThan(2);
  });

  test('has a band that is wider between tones than on them', () => {
    const sparse = measure((coverage) => 4 * Math.sin(7 * coverage)).filter(
      ({ coverage }) => coverage < 0.3 || coverage > 0.7,
    );
    const { points } = fitToneCurve(sparse, wanted);
    const halfAt = (coverage: number) => {
      const point = points.reduce((a, b) =>
        Math.abs(b.coverage - coverage) < Math.abs(a.coverage - coverage) ? b : a,
      );
      return (point.high - point.low) / 2;
    };
    expect(halfAt(0.5)).toBeGreaterThan(2 * halfAt(0.1));
  });

  test('never goes back, however the readings scatter', () => {
    const random = createRandom(3);
    for (let round = 0; round < 20; round++) {
      const { points } = fitToneCurve(
        measure(() => 0.6 * (random.nextUnit() - 0.5)),
        wanted,
      );
      for (let i = 1; i < points.length; i++) expect(points[i]!.lightness).toBeGreaterThan(points[i - 1]!.lightness);
    }
  });
});
