import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import {
  ASSUMED_ROTARY,
  estimateInterval,
  estimateTime,
  findExtents,
  fitMotion,
  type Machine,
  type Motion,
  parseMachine,
  suggestSavings,
  tracePath,
  withoutRotary,
} from '../../src/machine/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';

const read = (name: string): Machine =>
  parseMachine(JSON.parse(readFileSync(`shared/machines/${name}.json`, 'utf8')), name);
const galvo = read('galvo-355-f210');
const gantry = read('gantry-450');
const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
const own = { rotarySpeedDegPerS: 90, rotaryAccelerationDegPerS2: 900, rotarySettleMs: 45 };
const solid = (width: number, height: number): Dots =>
  createDots(width, height, 2, new Uint8Array(width * height).fill(1));

/** Steps an axis through its turn in small times: half of the way faster and faster, half slower and slower. */
function stepTurn(degrees: number, { rotarySpeedDegPerS: most, rotaryAccelerationDegPerS2: gain }: typeof own): number {
  const stepS = 1e-6;
  let [at, speed, seconds] = [0, 0, 0];
  while (at < degrees / 2) {
    speed = Math.min(most, speed + gain * stepS);
    at += speed * stepS;
    seconds += stepS;
  }
  return 2 * seconds;
}

test.each([0.05, 0.5, 12, 200])(
  'a turn by %d degrees takes what its law takes in small steps, and its rest',
  (degrees) => {
    const settings = { ...galvo.defaults, scan: 'two-way' as const, passes: 1 };
    const motion: Motion = { ...galvo.motion, ...own, jobOverheadS: 0 };
    // Two lines there and back: once a turn, once back.
    const { parts } = estimateTime(solid(20, 2), { motion, settings, grid, turn: { degreesPerLine: degrees } });
    expect(parts.movingS).toBeCloseTo(2 * (stepTurn(degrees, own) + 0.045), 3);
  },
);

test('the spot goes back along the line meanwhile, and the slower of both counts', () => {
  const settings = { ...gantry.defaults, scan: 'one-way' as const, passes: 1 };
  const quick: Motion = { ...gantry.motion, ...own, rotaryAccelerationDegPerS2: 1e6, rotarySettleMs: 0 };
  const long = solid(2000, 50);
  const flat = estimateTime(long, { motion: quick, settings, grid });
  const turned = estimateTime(long, { motion: quick, settings, grid, turn: { degreesPerLine: 0.04 } });
  expect(turned.seconds).toBeCloseTo(flat.seconds, 6);
  const slow = { ...quick, rotarySettleMs: 3000 };
  const waiting = estimateTime(long, { motion: slow, settings, grid, turn: { degreesPerLine: 0.04 } });
  expect(waiting.parts.movingS).toBeGreaterThan(50 * 3);
});

test('bare lines are turned past at once', () => {
  const dots = solid(20, 101);
  for (let y = 1; y < 100; y++) dots.data.fill(0, y * 20, (y + 1) * 20);
  const settings = { ...galvo.defaults, scan: 'two-way' as const, passes: 1 };
  const motion: Motion = { ...galvo.motion, ...own };
  const { parts } = estimateTime(dots, { motion, settings, grid, turn: { degreesPerLine: 0.5 } });
  expect(parts.movingS).toBeCloseTo(2 * (stepTurn(50, own) + 0.045), 3);
});

test('what is not said of a rotary is assumed, said and allowed for in the interval', () => {
  const settings = galvo.defaults;
  const dots = solid(100, 400);
  const turn = { degreesPerLine: 0.04 };
  const timed = estimateTime(dots, { motion: galvo.motion, settings, grid, turn });
  expect(timed.inputs).toMatchObject({ ...ASSUMED_ROTARY, degreesPerLine: 0.04 });
  expect(timed.formula).toContain('rotary');
  const path = tracePath(findExtents(dots), { scan: settings.scan, bare: galvo.motion.bare });
  const { lowS, highS } = estimateInterval(path, { motion: galvo.motion, settings, grid, turn });
  // The rest alone may be half or twice as long.
  expect(highS - timed.seconds).toBeGreaterThan(400 * 0.019);
  expect(timed.seconds - lowS).toBeGreaterThan(400 * 0.009);
});

test('a quarter turn saves nothing where a rotary turns, a wider spacing turns further', () => {
  const dots = solid(100, 400);
  const options = { machine: galvo, settings: galvo.defaults, grid, supportedLineSpacingMm: 0.1 };
  const savings = suggestSavings(dots, { ...options, turn: { degreesPerLine: 0.04 } });
  expect(savings.some(({ kind }) => kind === 'turn')).toBe(false);
  const wider = savings.find(({ kind }) => kind === 'spacing')!;
  const half = estimateTime(solid(100, 200), {
    ...{ motion: galvo.motion, settings: galvo.defaults, turn: { degreesPerLine: 0.08 } },
    grid: { pitchMm: 0.05, lineSpacingMm: 0.1 },
  });
  expect(wider.seconds).toBeCloseTo(half.seconds, 6);
});

test.each([galvo, gantry])('stopwatch readings of turned pieces tell the rest of a rotary: $name', (machine) => {
  const truth: Motion = { ...machine.motion, ...own, rotarySettleMs: 63, rotaryAccelerationDegPerS2: 1500 };
  const random = createRandom(7);
  const speed = machine.defaults.speedMmPerS;
  const job = (height: number, degreesPerLine: number | undefined, change: object = {}) => ({
    dots: solid(600, height),
    settings: { ...machine.defaults, ...change },
    turn: degreesPerLine === undefined ? undefined : { degreesPerLine },
  });
  const jobs = [
    job(1500, 0.042),
    job(900, 0.042, { speedMmPerS: speed / 2 }),
    job(1200, 0.08, { scan: 'two-way' }),
    job(1500, undefined),
    job(1200, undefined, { speedMmPerS: speed / 2 }),
    job(1800, undefined, { scan: 'two-way' }),
  ];
  const secondsOf = ({ dots, settings, turn }: ReturnType<typeof job>, motion: Motion) =>
    estimateTime(dots, { motion, settings, grid, turn }).seconds;
  const readings = jobs.map((one) => ({
    ...{ extents: findExtents(one.dots), grid, settings: one.settings, stepS: 0.1 },
    ...(one.turn ? { turn: one.turn } : {}),
    seconds: Math.round(10 * (secondsOf(one, truth) + 0.3 * (random.nextUnit() - 0.5))) / 10,
  }));
  const fit = fitMotion(readings, { motion: machine.motion });
  const settle = fit.parameters.find(({ name }) => name === 'rotarySettleS')!;
  expect(settle.determined).not.toBe('no');
  for (const unseen of [job(2600, 0.055), job(700, 0.12, { scan: 'two-way' }), job(1000, undefined, { passes: 2 })]) {
    const share = secondsOf(unseen, fit.motion) / secondsOf(unseen, truth);
    expect(Math.abs(share - 1)).toBeLessThan(0.02);
  }
  // The file keeps what was found, and reads it again; one without its rotary still is a machine.
  const fitted = {
    ...machine,
    motion: fit.motion,
    motionUncertainty: { kind: 'fitted' as const, date: '2026-01-01', ...fit.uncertainty },
  };
  const again = parseMachine(JSON.parse(JSON.stringify(fitted)), 'again');
  const flat = withoutRotary(again);
  expect(flat.motion.rotarySettleMs).toBeUndefined();
  expect(parseMachine(JSON.parse(JSON.stringify(flat)), 'flat').motionUncertainty).toMatchObject({ kind: 'fitted' });
  // A rotary that was described after the fit of the rest.
  const later = { ...flat, motion: { ...flat.motion, ...own } };
  expect(parseMachine(JSON.parse(JSON.stringify(later)), 'later').motion.rotarySettleMs).toBe(45);
});
