import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { parseProfile } from '../../src/material/index.ts';
import { burnInto } from '../tasks/burned.ts';
import { runCli, useFolder } from './run-cli.ts';

const folderFor = useFolder();
/** A small chart on birch and its scan, in a new folder. */
async function burnChart(): Promise<string> {
  const folder = folderFor();
  await burnInto(folder);
  return folder;
}

describe('learn', () => {
  test('writes a profile that prepare can read, and its report, and replaces neither unasked', async () => {
    const cwd = await burnChart();
    const argv = [
      'learn',
      'scan.png',
      '--chart',
      'chart.json',
      '--out',
      'birch.json',
      '--name',
      'birch-test',
      '--json',
    ];
    const { status, stdout } = await runCli(argv, { cwd });
    expect(status).toBe(0);
    const said = JSON.parse(stdout);
    expect(said.files).toEqual([join(cwd, 'birch.json'), join(cwd, 'birch.html')]);
    expect(said.report.markX.value).toBeGreaterThan(0);
    const profile = parseProfile(JSON.parse(readFileSync(join(cwd, 'birch.json'), 'utf8')), 'birch.json');
    expect(profile).toMatchObject({
      name: 'birch-test',
      direction: 'darker',
      machine: 'gantry-10600',
      origin: 'measured',
    });
    expect(readFileSync(join(cwd, 'birch.html'), 'utf8')).toContain('spot diameter (1/e²)</th><td>');
    const again = await runCli(['learn', 'scan.png', '--chart', 'chart.json', '--out', 'birch.json'], { cwd });
    expect(again.status).toBe(1);
    expect(again.stderr).toContain('--force');
  });

  test('says what is missing before it reads a picture', async () => {
    const cwd = folderFor();
    const cases: readonly (readonly [readonly string[], number, string])[] = [
      [['scan.png', '--out', 'birch.json'], 1, 'needed the layout (chart.json)'],
      [['scan.png', '--out', 'birch.txt'], 2, 'ends in .json'],
      [['scan.png', '--out', 'birch.json', '--corners', '1,2 3,4'], 2, 'eight numbers'],
      [['a.png', 'b.png', '--out', 'x.json', '--corners', '0,0 9,0 9,9 0,9'], 2, 'needed one'],
      [['scan.png', '--out', 'birch.json', '--chart', 'none.json'], 1, 'found nothing'],
      [
        ['scan.png', '--out', 'x.json', '--reference', 'table'],
        2,
        'needed paper, scanner, or the L* of a neutral card',
      ],
      [['scan.png', '--out', 'x.json', '--reference', '50,0'], 2, 'with its tolerance'],
      [['scan.png', '--out', 'x.json', '--reference-at', '1,2,3,4'], 2, 'found no field to look for'],
      [['scan.png', '--out', 'x.json', '--reference', 'paper', '--reference-at', '1,2'], 2, 'needed x,y,width,height'],
      [['a.png', 'b.png', '--out', 'x.json', '--reference', 'paper', '--reference-at', '1,2,3,4'], 2, 'needed one'],
      [['scan.png'], 2, '--out'],
    ];
    for (const [argv, wanted, text] of cases) {
      const { status, stderr } = await runCli(['learn', ...argv], { cwd });
      expect(stderr).toContain(text);
      expect(status).toBe(wanted);
    }
  });
});
