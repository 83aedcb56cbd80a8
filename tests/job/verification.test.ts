import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import {
  chooseLimits,
  listVerified,
  parseHistory,
  readProfile,
  resolveJob,
  sayPrediction,
  sayVerification,
  verifyTones,
} from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const PROFILE = readProfile('anodised-black', SHOP);
const OWN = { profile: { ...PROFILE, repeatability: 0.2 }, screen: 'floyd-steinberg', curve: 'measured' } as const;
const tone = (...deltas: number[]) => ({
  role: 'tone' as const,
  delta: deltas.reduce((sum, delta) => sum + delta, 0) / deltas.length,
  deltas,
});

describe('the print error', () => {
  test('mean, worst, worst tenth and best nine tenths are those of single patches', () => {
    const tones = [tone(1, 1), tone(-1, -1), tone(2, -2), tone(0, 0), tone(4, 0)];
    const { count, meanDelta, worstDelta, worstTenth, bestNineTenths } = verifyTones(tones, OWN);
    expect(count).toBe(10);
    expect(meanDelta).toBeCloseTo(12 / 10, 9);
    expect(worstDelta).toBe(4);
    expect(worstTenth).toBe(4);
    expect(bestNineTenths).toBeCloseTo(8 / 9, 9);
  });

  test('bare and solid do not count', () => {
    const ends = [
      { role: 'bare' as const, delta: 9, deltas: [9] },
      { role: 'solid' as const, delta: 9, deltas: [9] },
    ];
    expect(verifyTones([...ends, tone(1, 1)], OWN).worstDelta).toBe(1);
  });

  test('a shift of all is bias, tones off to either side are shape, unequal replicates are scatter', () => {
    const bias = verifyTones([tone(1, 1), tone(1, 1), tone(1, 1)], OWN);
    expect([bias.bias, bias.shape, bias.scatter]).toEqual([1, 0, 0]);
    const shape = verifyTones([tone(1, 1), tone(-1, -1)], OWN);
    expect([shape.bias, shape.shape, shape.scatter]).toEqual([0, 1, 0]);
    const scatter = verifyTones([tone(1, -1), tone(-1, 1)], OWN);
    expect(scatter.bias).toBe(0);
    expect(scatter.shape).toBe(0);
    expect(scatter.scatter).toBeCloseTo(Math.SQRT2, 9);
  });

  test('replicates that only scatter leave no shape behind on average', () => {
    const random = createRandom(7);
    const gauss = () => Math.sqrt(-2 * Math.log(1 - random.nextUnit())) * Math.cos(2 * Math.PI * random.nextUnit());
    const found = verifyTones(
      Array.from({ length: 2000 }, () => tone(gauss(), gauss())),
      OWN,
    );
    expect(found.scatter).toBeCloseTo(1, 1);
    expect(found.shape).toBeLessThan(0.2);
  });

  test('limits are the profile’s own, else follow its repeatability', () => {
    const off = [tone(1.8, 1.8), tone(1.2, 1.2)];
    expect(verifyTones(off, OWN).result).toBe('warn');
    expect(verifyTones(off, { ...OWN, profile: { ...PROFILE, repeatability: 2 } }).result).toBe('pass');
    const strict = { passMean: 0.1, passWorst: 0.2, warnMean: 0.3, warnWorst: 0.4 };
    expect(verifyTones(off, { ...OWN, profile: { ...PROFILE, limits: strict } })).toMatchObject({
      limits: strict,
      result: 'fail',
    });
    expect(verifyTones([tone(0.5), tone(-3.5)], OWN).result).toBe('warn');
    expect(chooseLimits(0)).toEqual({ passMean: 1, passWorst: 3, warnMean: 2, warnWorst: 5 });
    expect(chooseLimits(2).passMean).toBe(3);
  });

  test('print error and fit error are named apart', () => {
    const said = sayVerification(verifyTones([tone(3, 3), tone(2.8, 2.8)], OWN), PROFILE).join('\n');
    expect(said).toMatch(/^Print error: .*fails/);
    expect(said).toMatch(/Most of it is bias: everything is lighter than aimed by 2.9/);
    expect(said).toMatch(/^Fit error: not known/m);
  });
});

describe('a profile’s verified screens', () => {
  const entry = (screen: string, curve: 'measured' | 'predicted', meanDelta: number, result: string, date: string) => ({
    date,
    chart: '0123456789',
    capture: `${screen}${date}`,
    meanDelta,
    worstDelta: 2,
    bareDelta: 0,
    solidDelta: 0,
    midShift: 0,
    basis: 'absolute',
    unit: 1,
    verdict: 'holds',
    cause: 'none',
    verification: {
      screen,
      curve,
      count: 28,
      meanDelta,
      worstDelta: 2,
      worstTenth: 2,
      bestNineTenths: 1,
      bias: 0,
      shape: 0,
      scatter: 0,
      result,
    },
  });
  const history = (...entries: object[]) =>
    parseHistory({ schema: 'tonewright-history/1', profile: PROFILE.name, entries }, 'history.json');
  const own = entry(PROFILE.screen.name, 'measured', 0.6, 'pass', '2026-11-01');

  test('a failed prediction marks the profile for its own screen only, a later pass lifts the mark', () => {
    const failed = history(own, entry('blue-noise', 'predicted', 6, 'fail', '2026-11-02'));
    expect(listVerified(failed).ownOnly).toBe(true);
    const said = sayPrediction(listVerified(failed), PROFILE).join(' ');
    expect(said).toMatch(/Its own screen .*: mean 0.6/);
    expect(said).toMatch(/blue-noise: mean 6/);
    expect(said).toMatch(/This screen only/);
    const mended = history(...failed.entries, entry('blue-noise', 'predicted', 0.8, 'pass', '2026-11-03'));
    expect(listVerified(mended).ownOnly).toBe(false);
    expect(listVerified(undefined)).toEqual({ own: undefined, others: [], ownOnly: false });
    expect(sayPrediction(listVerified(history(own)), PROFILE)).toEqual([]);
  });

  const folder = mkdtempSync(join(tmpdir(), 'tonewright-verified-'));
  afterAll(() => rmSync(folder, { recursive: true }));

  test('a job with another screen is warned of it, a job with the profile’s own is not', () => {
    mkdirSync(join(folder, 'history'));
    const failed = history(own, entry('blue-noise', 'predicted', 6, 'fail', '2026-11-02'));
    writeFileSync(join(folder, 'history', `${PROFILE.name}.json`), JSON.stringify(failed));
    const shop = openShop({ shopDir: folder, builtIn: ['shared/shop', 'shared'] });
    const warningsOf = (more: object) =>
      resolveJob({ size: '20x15', profile: PROFILE.name, ...more }, { shop, refused: REFUSED })
        .warnings.map(({ text }) => text)
        .join(' ');
    expect(warningsOf({ screen: 'blue-noise' })).toMatch(/THIS SCREEN ONLY/);
    expect(warningsOf({})).not.toMatch(/THIS SCREEN ONLY/);
  });
});
