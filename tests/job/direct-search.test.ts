import { describe, expect, test } from 'vitest';
import { type JobRequest, makeChart, prepareJob, resolveChart, resolveJob } from '../../src/job/index.ts';
import { readPhoto } from '../../src/plane/index.ts';
import { type SearchBands, searchBand } from '../../src/screens/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const REQUEST: JobRequest = { size: '16x11', profile: 'anodised-black', screen: 'direct-search' };
const KNOWN = { shop: SHOP, refused: REFUSED };

const prepare = (
  request: JobRequest,
  more: { searchBands?: SearchBands; progress?: (stage: string, share?: number) => void } = {},
) =>
  prepareJob(() => readPhoto('images/photos/cat.png'), {
    spec: resolveJob(request, KNOWN),
    name: 'cat',
    photoFile: 'cat.png',
    version: '0',
    only: 'everything',
    ...more,
  });

describe('a job with direct-search', () => {
  test('says on its ticket what was searched, and comes nearer to the wanted tone than error diffusion', async () => {
    const { ticket } = await prepare({ ...REQUEST, viewingDistanceMm: 250 });
    expect(ticket!.screen).toMatchObject({ options: { response: 'table', viewingDistanceMm: 250 } });
    expect(ticket!.screen.search!.swaps).toBeGreaterThan(1000);
    const diffused = await prepare({ ...REQUEST, screen: 'floyd-steinberg', viewingDistanceMm: 250 });
    expect(diffused.ticket!.screen.search).toBeUndefined();
    expect(ticket!.prediction.meanDeltaL).toBeLessThan(0.7 * diffused.ticket!.prediction.meanDeltaL);
  });

  test('gives the same bytes with a searcher of bands from outside, and tells how far it is', async () => {
    const told: number[] = [];
    const planes: boolean[] = [];
    const outside = await prepare(REQUEST, {
      searchBands: async (plan, bands, done) => {
        planes.push(plan.dots.buffer instanceof SharedArrayBuffer && plan.wanted.buffer instanceof SharedArrayBuffer);
        const results = [...bands].reverse().map((band) => {
          const result = searchBand(plan, band);
          done();
          return result;
        });
        return results.reverse();
      },
      progress: (stage, share) => {
        if (stage === 'searching') told.push(share!);
      },
    });
    const inside = await prepare(REQUEST);
    outside.files.forEach(({ bytes }, i) => {
      expect(Buffer.from(bytes as Uint8Array).equals(Buffer.from(inside.files[i]!.bytes as Uint8Array))).toBe(true);
    });
    expect(planes).toEqual([true, true]);
    expect(told.at(-1)).toBe(1);
    expect(told).toEqual([...told].sort((a, b) => a - b));
  });

  test('may take the linear part of the response, and a strip beside the piece', async () => {
    const screenOptions = { response: 'linear' } as const;
    const linear = await prepare({ ...REQUEST, screenOptions, strip: 'apart' });
    expect(linear.ticket!.screen.options).toMatchObject({ response: 'linear' });
    const table = await prepare({ ...REQUEST, strip: 'apart' });
    expect(table.files.map(({ name }) => name)).toContain('cat.strip.png');
  });

  test('has tone charts that do without a table, which is not known before they are burned, and checks that use it', async () => {
    const machine = { machine: 'galvo-355-f210', size: '60x40', screen: 'direct-search' } as const;
    const tone = resolveChart({ kind: 'tone', material: 'anodised-black', ...machine }, KNOWN);
    const { layout, dots } = await makeChart(tone);
    expect(layout.screen).toEqual({ name: 'direct-search', options: { response: 'linear', viewingDistanceMm: 300 } });
    expect(dots.data.includes(1)).toBe(true);
    const check = resolveChart({ kind: 'check', profile: 'anodised-black', ...machine }, KNOWN);
    expect((await makeChart(check)).layout.screen.options).toMatchObject({ response: 'table' });
  });
});
