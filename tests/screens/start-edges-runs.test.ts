import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { createPlane, type Dots, ONE, type Plane, sha256 } from '../../src/plane/index.ts';
import { clusterSides } from '../../src/screens/clusters.ts';
import { diffuseFixed } from '../../src/screens/diffusion.ts';
import { createEdgeEnhancement } from '../../src/screens/edge-enhancement.ts';
import { applyScreen, SCREEN_NAMES, SCREENS } from '../../src/screens/index.ts';
import { FLOYD_STEINBERG } from '../../src/screens/kernels.ts';
import { listWarmUpRows } from '../../src/screens/warm-up-rows.ts';
import { constantPlane, drawDots, meanOfDots, mixedPlane } from './planes.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const TALL = { pitchMm: 0.02, lineSpacingMm: 0.04 };
const diffusions = SCREEN_NAMES.filter((name) => SCREENS[name].family === 'diffusion' && SCREENS[name].weightSum === 1);
const runners = SCREEN_NAMES.filter((name) => SCREENS[name].uses.includes('run'));

/** Share that fires in some rows, of the share asked for. */
function relativeMean({ data, width }: Dots, [from, to]: readonly [number, number], asked: number): number {
  let sum = 0;
  for (let i = from * width; i < to * width; i++) sum += data[i]!;
  return sum / ((to - from) * width) / asked;
}

describe('the start of error diffusion', () => {
  test.each(diffusions)('%s: the first 16 rows of a light sky have the tone of the rest, within a tenth', (name) => {
    for (const share of [0.01, 0.02, 0.05]) {
      const dots = applyScreen(constantPlane(share, 1024, 96), { name, grid: GRID });
      expect(Math.abs(relativeMean(dots, [0, 16], share) - 1), `${share}`).toBeLessThanOrEqual(0.1);
    }
  });

  test('begun with nothing owed the first rows of 2 % stay bare, as published', () => {
    const dots = diffuseFixed(constantPlane(0.02, 1024, 96), {
      kernel: FLOYD_STEINBERG,
      scan: 'serpentine',
      levels: 2,
    });
    expect(relativeMean(dots, [0, 8], 0.02)).toBeLessThan(0.1);
  });

  test('the rows before the first are the mirror image, bare and solid where that is, and the same each time', () => {
    const plane = mixedPlane(60, 5);
    const rows = listWarmUpRows(plane);
    expect(rows.length % 2).toBe(0);
    expect(rows.at(-1)).toEqual(plane.data.subarray(0, 60));
    expect(rows.at(-2)).toEqual(plane.data.subarray(60, 120));
    const top = plane.data.subarray(((rows.length - 1) % 5) * 60, ((rows.length - 1) % 5) * 60 + 60);
    rows[0]!.forEach((value, x) => {
      if (top[x] === 0 || top[x] === ONE) expect(value).toBe(top[x]);
      else expect(value > 0 && value < ONE).toBe(true);
    });
    expect(listWarmUpRows(plane)).toEqual(rows);
  });
});

describe('edge-aware thresholds', () => {
  test('lift a dot by what it is above the mean of the 25 around it, cut off at the border', () => {
    const plane = createPlane('coverage', 5, 5);
    plane.data[12] = 2500;
    const modulationOf = createEdgeEnhancement(plane, 2);
    const rows = [0, 1, 2, 3, 4].map((y) => [...modulationOf(y)]);
    expect(rows[2]).toEqual(
      [-333, -250, 4800, -250, -333].map((value, i) =>
        i === 2 ? value : Math.round((-2 * 2500) / [15, 20, 25, 20, 15][i]!),
      ),
    );
    expect(rows[0]![0]).toBe(Math.round((-2 * 2500) / 9));
  });

  test('leave an even tone as it is, bit for bit', () => {
    const plane = constantPlane(0.37, 90);
    const plain = applyScreen(plane, { name: 'stucki', grid: GRID });
    expect(applyScreen(plane, { name: 'stucki', grid: GRID, edges: 3 }).data).toEqual(plain.data);
  });

  test.each(runners.filter((name) => SCREENS[name].weightSum === 1))(
    '%s keeps the tone of a picture at any strength',
    (name) => {
      const plane = mixedPlane(256, 256);
      const asked = plane.data.reduce((sum, value) => sum + value, 0) / plane.data.length / ONE;
      for (const edges of [0.5, 2, 4]) {
        const mean = meanOfDots(applyScreen(plane, { name, grid: GRID, edges }));
        expect(Math.abs(mean - asked), `${edges}`).toBeLessThanOrEqual(0.005);
      }
    },
  );

  test('make a step steeper, the more the stronger', () => {
    const contrasts = [0, 1, 3].map((edges) =>
      contrastAtStep(applyScreen(stepPlane(), { name: 'floyd-steinberg', grid: GRID, edges })),
    );
    expect(contrasts[1]).toBeGreaterThan(contrasts[0]! + 0.02);
    expect(contrasts[2]).toBeGreaterThan(contrasts[1]! + 0.02);
  });
});

function stepPlane(): Plane<'coverage'> {
  const plane = createPlane('coverage', 200, 200);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = Math.round((i % 200 < 100 ? 0.35 : 0.65) * ONE);
  return plane;
}

/** Firing shares of the two dots after a step less those of the two before it. */
function contrastAtStep({ data, width, height }: Dots): number {
  let sum = 0;
  for (let y = 0; y < height; y++) {
    const at = y * width + 100;
    sum += data[at]! + data[at + 1]! - data[at - 1]! - data[at - 2]!;
  }
  return sum / (2 * height);
}

/** Lengths of the runs along each row, those at the row's ends left out. */
function innerRuns({ data, width, height }: Dots): number[] {
  const runs: number[] = [];
  for (let y = 0; y < height; y++) {
    let from = 0;
    for (let x = 1; x < width; x++) {
      if (data[y * width + x] === data[y * width + x - 1]) continue;
      if (from > 0) runs.push(x - from);
      from = x;
    }
  }
  return runs;
}

describe.each(runners)('%s in runs', (name) => {
  test('keeps the beam on and off for at least so many dots', () => {
    for (const run of [2, 3, 7]) {
      for (const share of [0.2, 0.3, 0.5, 0.8]) {
        const runs = innerRuns(applyScreen(constantPlane(share, 200), { name, grid: GRID, run }));
        expect(runs.length).toBeGreaterThan(0);
        expect(Math.min(...runs), `${run} at ${share}`).toBeGreaterThanOrEqual(run);
      }
    }
  });

  test('keeps bare and solid exactly, and begins no run that they would cut', () => {
    const plane = constantPlane(0.5, 120);
    for (let i = 0; i < plane.data.length; i++) if (i % 17 === 0) plane.data[i] = 0;
    const dots = applyScreen(plane, { name, grid: GRID, run: 4 });
    expect(dots.data.findIndex((bit, i) => bit === 1 && plane.data[i] === 0)).toBe(-1);
    const lengths = drawDots(dots).flatMap((row) => row.match(/#+/g) ?? []);
    expect(lengths.length).toBeGreaterThan(100);
    expect(Math.min(...lengths.map((text) => text.length))).toBeGreaterThanOrEqual(4);
  });
});

test.each(runners.filter((name) => SCREENS[name].weightSum === 1))(
  '%s in runs keeps the tone of even planes',
  (name) => {
    for (const share of [0.03, 0.125, 0.25, 0.4, 0.5, 0.6, 0.753, 0.875, 0.97]) {
      const mean = meanOfDots(applyScreen(constantPlane(share, 256), { name, grid: GRID, run: 3 }));
      expect(Math.abs(mean - share), `${share}`).toBeLessThanOrEqual(0.01);
    }
  },
);

test('runs and edges are for two levels', () => {
  for (const given of [{ run: 2 }, { edges: 1 }]) {
    expect(() => applyScreen(constantPlane(0.5, 8), { name: 'burkes', grid: GRID, levels: 3, ...given })).toThrow(
      AppError,
    );
  }
});

describe('blue noise for wide marks', () => {
  test('keeps the tone, is another pattern, and is spread evenly for its own mark', () => {
    const plane = constantPlane(0.2, 128);
    const [own, wide] = [0, 2].map((dotSize) => applyScreen(plane, { name: 'blue-noise', grid: GRID, dotSize }));
    expect(Math.abs(meanOfDots(wide!) - 0.2)).toBeLessThan(1e-4);
    expect(drawDots(wide!)).not.toEqual(drawDots(own!));
  });

  test('a wider mark has no filter', () => {
    const screen = () => applyScreen(constantPlane(0.2, 8), { name: 'blue-noise', grid: GRID, dotSize: 4 });
    expect(screen).toThrow('mark diameter for blue noise, dots: found 4, needed a number 0 … 3');
  });
});

/** Of the default mask, so that it is the same on every engine, and the one that the folder of kept files may hold. */
test('the mask of 128 dots is the one it has always been', () => {
  const flat = constantPlane(0.37, 128);
  const { data } = applyScreen(flat, { name: 'blue-noise', grid: GRID });
  expect(sha256(data).slice(0, 16)).toBe('1d26903601b73e7c');
});

describe('green noise', () => {
  test.each([
    [1, GRID, [1, 1]],
    [4, GRID, [2, 2]],
    [9, GRID, [3, 3]],
    [2, TALL, [2, 1]],
    [8, TALL, [4, 2]],
    [6, GRID, [2, 3]],
  ] as const)('clusters of %i dots are as square on the work as they can be', (dots, grid, sides) => {
    const { width, height } = clusterSides(dots, grid);
    expect([width, height]).toEqual(sides);
  });

  test.each([2, 4, 9])('on an even tone no cluster is smaller than %i dots, and no hole', (cluster) => {
    for (const share of [0.02, 0.2, 0.5, 0.8, 0.98]) {
      const dots = applyScreen(constantPlane(share, 192), { name: 'green-noise', grid: GRID, cluster });
      const inner = areaSizes(dots);
      expect(inner.length).toBeGreaterThan(0);
      expect(Math.min(...inner), `${share}`).toBeGreaterThanOrEqual(cluster);
    }
  });

  test('of one dot is blue noise', () => {
    const plane = constantPlane(0.3, 64);
    const green = applyScreen(plane, { name: 'green-noise', grid: GRID, cluster: 1 });
    expect(drawDots(green)).toEqual(drawDots(applyScreen(plane, { name: 'blue-noise', grid: GRID, size: 64 })));
  });
});

/** Dots of every connected area (by sides) of firing or of bare dots that does not touch the border. */
function areaSizes({ data, width, height }: Dots): number[] {
  const seen = new Uint8Array(data.length);
  const sizes: number[] = [];
  for (let from = 0; from < data.length; from++) {
    if (seen[from]) continue;
    const queue = [from];
    seen[from] = 1;
    let touches = false;
    for (let head = 0; head < queue.length; head++) {
      const at = queue[head]!;
      const [x, y] = [at % width, Math.floor(at / width)];
      if (x === 0 || y === 0 || x === width - 1 || y === height - 1) touches = true;
      for (const next of [x > 0 ? at - 1 : at, x < width - 1 ? at + 1 : at, at - width, at + width]) {
        if (next < 0 || next >= data.length || seen[next] || data[next] !== data[from]) continue;
        seen[next] = 1;
        queue.push(next);
      }
    }
    if (!touches) sizes.push(queue.length);
  }
  return sizes;
}
