import { describe, expect, test } from 'vitest';
import { parseSimulationErrors, resolveChart, sayExpectedError } from '../../src/job/index.ts';
import { readJson } from '../../src/material/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const SIMULATED = parseSimulationErrors(readJson('shared/simulation-errors.json'), 'simulation-errors.json');
const expectFor = (more: { material?: string; direction?: 'lighter' | 'darker'; kind?: 'tone' | 'spot' }) =>
  resolveChart(
    { kind: 'tone', machine: 'galvo-1064-f160', ...more },
    { shop: SHOP, refused: REFUSED, simulated: SIMULATED },
  ).expectedError;

describe('the error to expect of a tone chart', () => {
  test('is that of the same class of material where it was simulated', () => {
    const rows = SIMULATED.rows.filter(({ materials }) => materials.includes('slate'));
    const found = expectFor({ material: 'slate', direction: 'lighter' })!;
    expect(found.basis).toBe('class');
    expect(found.flatbed.worstDelta).toBe(rows.find(({ camera }) => camera.startsWith('flatbed'))!.worstDelta);
    expect(sayExpectedError(found)).toContain('stock of this kind (slate)');
  });

  test('is the largest of all with this direction where only that is known', () => {
    const found = expectFor({ direction: 'darker' })!;
    expect(found.basis).toBe('direction');
    const rows = SIMULATED.rows.filter(({ direction, camera }) => direction === 'darker' && camera.startsWith('phone'));
    expect(found.phone.worstDelta).toBe(Math.max(...rows.map(({ worstDelta }) => worstDelta)));
  });

  test('is not promised for other charts', () => {
    expect(expectFor({ direction: 'darker', kind: 'spot' })).toBeUndefined();
  });

  test('rests on both directions and both kinds of camera, within what the project is held to', () => {
    for (const direction of ['lighter', 'darker'] as const) {
      for (const [kind, mean, worst] of [
        ['flatbed', 1, 3],
        ['phone', 1.5, 4],
      ] as const) {
        const rows = SIMULATED.rows.filter((row) => row.direction === direction && row.camera.startsWith(kind));
        expect(rows.length).toBeGreaterThan(2);
        for (const row of rows) {
          expect(row.meanDelta, `${row.model} ${row.camera}`).toBeLessThanOrEqual(mean);
          expect(row.worstDelta, `${row.model} ${row.camera}`).toBeLessThanOrEqual(worst);
        }
      }
    }
  });

  test('a broken table is told by its field', () => {
    expect(() => parseSimulationErrors({ ...SIMULATED, rows: [{ model: 'x' }] }, 'table')).toThrow(/rows\.0\./);
  });
});
