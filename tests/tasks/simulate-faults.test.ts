import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { writeFaults } from '../../src/cli/commands/simulate.ts';
import { CAMERAS, parseMaterialModel, spoilCamera } from '../../src/simulation/index.ts';
import { simulateFaults } from '../../src/tasks/index.ts';
import { runCli, useFolder } from '../cli/run-cli.ts';

const folderFor = useFolder();

describe('planted faults', () => {
  test('each is told by its own name, and what has none is learned', async () => {
    const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/kraft-card.json', 'utf8')));
    const size = { widthMm: 60, heightMm: 45 };
    const only = ['dirty-lens', 'mirrored', 'clipped'];
    const record = await simulateFaults(model, { seed: 1, progress: () => undefined, only, size });
    const { faults } = record;
    const of = (name: string) => faults.find(({ fault }) => fault === name)!;
    expect(faults.map(({ fault }) => fault)).toEqual(['none', ...only]);
    expect(of('none')).toMatchObject({ code: null, said: expect.stringMatching(/^learned/) });
    expect(of('dirty-lens').said).toMatch(/drifting|Learn the material again/);
    expect(of('dirty-lens').said).toMatch(/lens/);
    expect(of('mirrored').code).toBe('chart-mirrored');
    expect(of('clipped').code).toBe('capture-clipped');
    expect(writeFaults(record)).toContain('refused (capture-clipped)');
  });

  test('a clipped capture comes past the sensor’s top whatever the piece reflects', () => {
    const camera = CAMERAS['flatbed-300']!.options;
    for (const light of [0.1, 0.8]) {
      const rgb = new Float32Array(3000).fill(light);
      expect(spoilCamera(camera, { faults: ['clipped'], surface: { rgb } }).exposure * light).toBeCloseTo(1.6, 5);
    }
    expect(spoilCamera(camera, { faults: [], surface: { rgb: new Float32Array(3) } })).toBe(camera);
  });

  test('a fault is asked for where it happens', async () => {
    const cwd = folderFor();
    const surface = join(cwd, 'piece.npy');
    const cases: readonly (readonly [readonly string[], string])[] = [
      [['engrave', 'a.png', '--material-model', 'slate', '--out', 'a.npy', '--faults', 'clipped'], 'simulate capture'],
      [['capture', surface, '--camera', 'flatbed-300', '--out', 'a.png', '--faults', 'tilt'], 'simulate engrave'],
      [['capture', surface, '--camera', 'flatbed-300', '--out', 'a.png', '--faults', 'glare'], 'needed a phone'],
      [
        ['capture', surface, '--camera', 'flatbed-300', '--out', 'a.png', '--faults', 'rust'],
        'tilt, dirty-lens, mirrored, clipped, glare',
      ],
    ];
    for (const [argv, text] of cases) {
      const { status, stderr } = await runCli(['simulate', ...argv], { cwd });
      expect(stderr).toContain(text);
      expect(status).toBe(2);
    }
  });
});
