import { describe, expect, test } from 'vitest';
import { type JobRequest, makeDots, resolveJob, takePicture } from '../../src/job/index.ts';
import { invertAtPlace } from '../../src/job/prepare/evenness.ts';
import { bendPlane, blendEnds, roundMask } from '../../src/job/prepare/round.ts';
import { correctPiece, tabulateCoverage } from '../../src/job/prepare/run.ts';
import {
  computeChordMm,
  computeCylinderWidthMm,
  placeOnPaper,
  placeOnRound,
  unrollCone,
} from '../../src/optics/index.ts';
import { createPlane, ONE, readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const resolve = (request: Partial<JobRequest>) =>
  resolveJob({ size: '40x20', profile: 'glass-tumbler', subject: 'none', tone: 'plain', ...request } as JobRequest, {
    shop: SHOP,
    refused: REFUSED,
  });

describe('a place on a cylinder', () => {
  test.each([0, 1, 10, 20, 30])('%i mm off the middle of 73 mm, by the circle', (offMm) => {
    const { arcMm, depthMm, dose, slantDeg } = placeOnRound(offMm, { diameterMm: 73 });
    const angle = arcMm / 36.5;
    expect(36.5 * Math.sin(angle)).toBeCloseTo(offMm, 12);
    expect(36.5 * (1 - Math.cos(angle))).toBeCloseTo(depthMm, 12);
    expect(dose).toBeCloseTo(Math.cos(angle), 12);
    expect(slantDeg).toBeCloseTo((180 * angle) / Math.PI, 12);
    expect(computeChordMm(2 * arcMm, { diameterMm: 73 })).toBeCloseTo(2 * offMm, 12);
    if (offMm > 0) expect(computeCylinderWidthMm({ diameterMm: 73, depthMm })).toBeCloseTo(2 * offMm, 9);
  });

  test.each([1, 10, 20])('with rays from a point, %i mm off: ends on the circle, in line with the point', (offMm) => {
    const lying = { diameterMm: 73, pupilMm: 160 };
    const { arcMm, depthMm, dose } = placeOnRound(offMm, lying);
    const xMm = 36.5 * Math.sin(arcMm / 36.5);
    expect(xMm / offMm).toBeCloseTo((160 + depthMm) / 160, 12);
    expect(computeChordMm(2 * arcMm, lying)).toBeCloseTo(2 * offMm, 9);
    // How much more surface a small square of dots has: along the circle, and along the axis.
    const step = 1e-4;
    const across = (placeOnRound(offMm + step, lying).arcMm - placeOnRound(offMm - step, lying).arcMm) / (2 * step);
    expect(dose).toBeCloseTo(1 / (across * (1 + depthMm / 160)), 6);
    expect(dose).toBeLessThan(placeOnRound(offMm, { diameterMm: 73 }).dose);
  });
});

describe('a cone, unrolled', () => {
  test('lengths on paper are those on the cone, along it and around it at every height', () => {
    const [upper, lower, heightMm] = [73, 65, 90];
    const cone = unrollCone([upper, lower], heightMm);
    expect(Math.sin((cone.slantDeg * Math.PI) / 180)).toBeCloseTo((upper - lower) / 2 / heightMm, 12);
    const apart = (a: { xMm: number; yMm: number }, b: { xMm: number; yMm: number }) =>
      Math.hypot(a.xMm - b.xMm, a.yMm - b.yMm);
    for (const aroundMm of [0, 30, 100]) {
      const ends = [-45, 45].map((downMm) => placeOnPaper(cone, { aroundMm, downMm }));
      expect(apart(ends[0]!, ends[1]!)).toBeCloseTo(heightMm, 9);
    }
    for (const [downMm, diameter] of [
      [-45, upper],
      [0, 69],
      [45, lower],
    ] as const) {
      const step = 1e-3;
      const [a, b] = [0, step].map((more) => placeOnPaper(cone, { aroundMm: 40 + more, downMm }));
      expect(apart(a!, b!) / step).toBeCloseTo(diameter / 69, 5);
    }
  });

  test('curves its lines up at the sides where the tip lies below, and down where it lies above', () => {
    const sag = (upper: number, lower: number) =>
      placeOnPaper(unrollCone([upper, lower], 90), { aroundMm: 60, downMm: 0 }).yMm;
    expect(sag(73, 65)).toBeGreaterThan(1);
    expect(sag(65, 73)).toBeLessThan(-1);
    expect(sag(70, 70)).toBe(0);
  });
});

describe('a picture around a cylinder', () => {
  test('stripes that are even on the surface lie closer at the sides of the bitmap, and keep their light', () => {
    const round = { diameterMm: 40, arcMm: 40 };
    const plane = createPlane('luminance', 4000, 1);
    for (let x = 0; x < 4000; x++) plane.data[x] = Math.floor(x / 100) % 2 === 0 ? ONE : 0;
    const bent = bendPlane(plane, { round, width: 3366 });
    const edges = [...bent.data].flatMap((value, x) =>
      x > 0 && value > ONE / 2 !== bent.data[x - 1]! > ONE / 2 ? [x] : [],
    );
    expect(edges).toHaveLength(39);
    const chordMm = computeChordMm(40, round);
    edges.forEach((x, k) => {
      const { arcMm } = placeOnRound((x / 3366 - 0.5) * chordMm, round);
      expect(Math.abs(arcMm - (k + 1 - 20))).toBeLessThan(0.02);
    });
  });

  test('the crop has the shape of the surface, and the bitmap that of the plane of focus', async () => {
    const spec = resolve({ size: '30x10', round: { diameterMm: 36, toneErrorL: 20 } });
    const lying = { diameterMm: 36, pupilMm: spec.machine.focalLengthMm };
    expect(spec.size.widthMm).toBeCloseTo(computeChordMm(30, lying), 9);
    const { frame, light } = await takePicture(() => readPhoto('images/photos/cup.png'), {
      spec,
      withThumbnail: false,
    });
    expect(frame.crop.width / frame.crop.height).toBeCloseTo(3, 1);
    expect(light.width).toBe(Math.round(spec.size.widthMm / 0.025));
  });

  test('a whole turn: what lies beyond its end fades into its beginning', () => {
    const plane = createPlane('luminance', 14, 1, Uint16Array.from([...Array(10).fill(1000), ...Array(4).fill(9000)]));
    const { data, width } = blendEnds(plane, { width: 10, overlapMm: 4, pitchMm: 1 });
    expect(width).toBe(10);
    expect([...data]).toEqual([8000, 6000, 4000, 2000, 1000, 1000, 1000, 1000, 1000, 1000]);
  });
});

describe('a round piece that lies still', () => {
  test('asks for more coverage towards its sides, for the same tones', () => {
    const spec = resolve({ round: { diameterMm: 73, toneErrorL: 20 } });
    const { table } = tabulateCoverage(spec);
    const frame = { width: 81, height: 3, ...spec.size, place: { x: 0, y: 0, width: 81, height: 3 } };
    const correction = correctPiece(spec, { table, frame })!;
    const toned = createPlane('luminance', 81, 3);
    toned.data.fill(Math.round(0.25 * ONE));
    const { data } = invertAtPlace(toned, { correction, frame });
    const row = [...data.subarray(81, 162)];
    for (let x = 41; x < 81; x++) {
      expect(row[x]!).toBeGreaterThanOrEqual(row[x - 1]! - 30);
      expect(Math.abs(row[x]! - row[80 - x]!)).toBeLessThan(30);
    }
    expect(row[80]! / row[40]!).toBeGreaterThan(1.02);
    expect(Math.abs(row[40]! - table.coverage[toned.data[0]!]!)).toBeLessThan(30);
  });

  test('beyond the usable width fades out over the feather and is bare, and the job says so', async () => {
    const spec = resolve({ round: { diameterMm: 40, toneErrorL: 1 }, size: '40x10' });
    const { round } = spec;
    expect(round!.usableArcMm).toBeLessThan(38);
    expect(spec.warnings.map(({ code }) => code)).toContain('round-feathered');
    const picture = await takePicture(() => readPhoto('images/photos/cup.png'), { spec, withThumbnail: false });
    const mask = roundMask(picture.frame, round!)!;
    const { width, widthMm } = picture.frame;
    const arcAt = (x: number) => Math.abs(placeOnRound(((x + 0.5) / width - 0.5) * widthMm, round!).arcMm);
    for (let x = 0; x < width; x++) {
      const beyond = arcAt(x) - round!.usableArcMm / 2;
      if (beyond <= 0) expect(mask.data[x]).toBe(255);
      if (beyond >= round!.featherMm) expect(mask.data[x]).toBe(0);
    }
    const { dots } = makeDots(picture, { spec });
    const firing = (from: number, to: number) => {
      let sum = 0;
      for (let i = 0; i < dots.data.length; i++) if (i % width >= from && i % width < to) sum += dots.data[i]!;
      return sum;
    };
    const first = Array.from({ length: width }, (_, x) => x).find((x) => mask.data[x]! > 0)!;
    expect(firing(0, first)).toBe(0);
    expect(firing(first, width - first)).toBeGreaterThan(100);
  });

  test('a larger allowed error and a deeper focus, as a chart told it, make more of it usable', () => {
    const usable = (round: Partial<JobRequest['round']>, shop = SHOP) =>
      resolveJob(
        { size: '40x20', profile: 'glass-tumbler', subject: 'none', round: { diameterMm: 73, ...round } },
        { shop, refused: REFUSED },
      ).round!;
    const depthOfFocus = { valueMm: 8, lowMm: 6, highMm: 10 };
    const reading = { schema: 'tonewright-focus/1', chart: 'c', machine: 'galvo-355-f210', material: 'clear-glass' };
    const measured = (of: object) => ({
      ...SHOP,
      list: (kind: Parameters<typeof SHOP.list>[0]) =>
        kind === 'focus'
          ? [{ name: 'galvo-355-f210.clear-glass', path: 'f.json', from: 'shop' as const }]
          : SHOP.list(kind),
      read: (kind: Parameters<typeof SHOP.read>[0], name: string) =>
        kind === 'focus'
          ? { name, path: 'f.json', from: 'shop' as const, json: { ...reading, depthOfFocus, ...of } }
          : SHOP.read(kind, name),
    });
    const plain = usable({});
    expect(plain.focus.origin).toBe('optics');
    expect(plain.boundBy).toBe('focus');
    expect(usable({ toneErrorL: 0.5 }).usableArcMm).toBeLessThan(plain.usableArcMm);
    const deep = usable({}, measured({}));
    expect(deep.focus).toMatchObject({ origin: 'chart', depthMm: 8 });
    expect(deep.usableArcMm).toBeGreaterThan(1.5 * plain.usableArcMm);
    expect(usable({ focusReading: 'none' }, measured({}))).toEqual(plain);
    const loose = measured({ depthOfFocus: { valueMm: 8, lowMm: 1, highMm: 15 } });
    expect(() => usable({}, loose)).toThrow(/which carries no width/);
    expect(() => usable({}, measured({ machine: 'gantry-450' }))).toThrow(/needed that of galvo-355-f210/);
  });
});

describe('a piece that a rotary turns', () => {
  test('is burned along its axis, and its lines lie whole steps apart, which close a whole turn', () => {
    const { around, grid, size, orientation } = resolve({
      size: '229.3x20',
      around: { diametersMm: [73, 73], stepsPerTurn: 28_800 },
    });
    expect(orientation).toEqual({ mirrored: false, turnedDeg: 90 });
    const { turn, line } = around!.steps!;
    expect(turn % line).toBe(0);
    expect(grid.lineSpacingMm).toBeCloseTo((line * Math.PI * 73) / turn, 12);
    expect(Math.abs(grid.lineSpacingMm / 0.025 - 1)).toBeLessThan(0.1);
    expect(around!.gapMm).toBeCloseTo(0, 9);
    expect(size.widthMm).toBeCloseTo(Math.PI * 73, 9);
    // Where no number of steps near the spacing divides a turn, the last line is off by steps, not by half a line.
    const rest = resolve({ size: '229.3x20', around: { diametersMm: [73, 73], stepsPerTurn: 25_600 } });
    expect(rest.around!.steps!.line).toBe(3);
    expect(rest.around!.gapMm).toBeCloseTo((Math.PI * 73) / 25_600, 9);
  });

  test('may be larger around than the field, but not along its axis', () => {
    expect(() => resolve({ size: '300x100', around: { diametersMm: [100, 100] } })).not.toThrow();
    expect(() => resolve({ size: '100x300', around: { diametersMm: [100, 100] } })).toThrow(
      expect.objectContaining({ code: 'size-exceeds-field' }),
    );
  });

  test('as a cone gets fewer dots where its lines lie closer; as a tube it is as flat', () => {
    const coverages = (diametersMm: readonly [number, number]) => {
      const spec = resolve({ size: '40x60', around: { diametersMm } });
      const { table } = tabulateCoverage(spec);
      const frame = { width: 3, height: 61, ...spec.size, place: { x: 0, y: 0, width: 3, height: 61 } };
      const correction = correctPiece(spec, { table, frame });
      if (!correction) return undefined;
      const toned = createPlane('luminance', 3, 61);
      toned.data.fill(Math.round(0.25 * ONE));
      const { data } = invertAtPlace(toned, { correction, frame });
      return [data[1]!, data[1 + 3 * 30]!, data[1 + 3 * 60]!] as const;
    };
    expect(coverages([73, 73])).toBeUndefined();
    const [upper, middle, lower] = coverages([73, 65])!;
    expect(upper).toBeGreaterThan(middle);
    expect(middle).toBeGreaterThan(lower);
    const [top, , bottom] = coverages([65, 73])!;
    expect(top).toBeLessThan(bottom);
  });

  test('the photo of a cone is cropped to its unrolled shape', async () => {
    const spec = resolve({ size: '30x15', around: { diametersMm: [20, 15] } });
    const { frame, light } = await takePicture(() => readPhoto('images/photos/cup.png'), {
      spec,
      withThumbnail: false,
    });
    // Corners and crest of the ring's part, by its radii ρ = R/sin α.
    const rho = [10, 7.5].map((radius) => radius / (2.5 / 15));
    const angle = 15 / ((rho[0]! + rho[1]!) / 2);
    const shape = (2 * rho[0]! * Math.sin(angle)) / (rho[0]! - rho[1]! * Math.cos(angle));
    expect(frame.crop.width / frame.crop.height).toBeCloseTo(shape, 1);
    expect([light.width, light.height]).toEqual([1200, 600]);
  });
});

test.each([
  ['sides steeper than 60 degrees', { size: '80x20', round: { diameterMm: 73 } }, 'option-invalid', /most 76\.4 mm/],
  [
    'no learned response',
    { profile: undefined, material: 'slate', machine: 'galvo-355-f210', round: { diameterMm: 73 } },
    'profile-unusable',
    /only a learned response/,
  ],
  [
    'a profile of another machine',
    { machine: 'galvo-1064-f160', round: { diameterMm: 73 } },
    'profile-unusable',
    /learned with galvo-1064-f160/,
  ],
  ['a quarter turn at rest', { rotateDeg: 90, round: { diameterMm: 73 } }, 'option-invalid', /needed 0 or 180/],
  ['lines around it', { rotateDeg: 180, around: { diametersMm: [73, 73] } }, 'option-invalid', /needed 90 or 270/],
  ['bare edges', { fit: 'contain', round: { diameterMm: 73 } }, 'option-invalid', /needed cover/],
  ['both ways', { round: { diameterMm: 73 }, around: { diametersMm: [73, 73] } }, 'option-invalid', /one of the two/],
  ['more than a turn', { size: '260x20', around: { diametersMm: [73, 73] } }, 'option-invalid', /measures 229\.34 mm/],
  ['a seam that does not meet', { around: { diametersMm: [73, 73], overlapMm: 5 } }, 'option-invalid', /all around/],
  ['coarse steps', { around: { diametersMm: [73, 73], stepsPerTurn: 3200 } }, 'option-invalid', /0\.0717 mm/],
  ['too steep a cone', { around: { diametersMm: [73, 40] } }, 'option-invalid', /30 degrees/],
  ['a place in the field', { around: { diametersMm: [73, 73] }, at: '20,20' }, 'option-invalid', /needed none/],
] as const)('a round piece is refused with %s', (_, request, code, message) => {
  expect(() => resolve(request as unknown as Partial<JobRequest>)).toThrow(
    expect.objectContaining({ code, message: expect.stringMatching(message) }),
  );
});
