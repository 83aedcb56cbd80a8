import { describe, expect, test } from 'vitest';
import { runCli } from './run-cli.ts';

const optics = (...rest: string[]) => runCli(['optics', '--machine', 'galvo-355-f210', ...rest]);

describe('tonewright optics', () => {
  test('describes a machine with its own settings, with units, and says what is assumed', async () => {
    const { status, stdout, stderr } = await optics();
    expect([status, stderr]).toEqual([0, '']);
    // 4·1.5·0.355 µm·150/(π·3.25) = 31.29 µm.
    expect(stdout).toMatch(/spot diameter +31\.29 µm/);
    // 2 W/(1100 mm/s·0.022 mm) = 0.0826 J/mm²: the settings and the grid that a first chart has.
    expect(stdout).toMatch(/dose +8\.264 J\/cm²/);
    expect(stdout).toMatch(/recommended spacing +0\.022 mm/);
    expect(stdout).toMatch(/Assumed, not measured\n {2}beam and lens/);
    expect(stdout).not.toMatch(/Round piece/);
  });

  test('takes settings from options and gives one JSON document', async () => {
    const { stdout } = await optics(
      ...'--power 4 --speed 800 --rate 40 --spacing 25um --pitch 0.02 --passes 3 --mark 30um --cylinder 7cm --json'.split(
        ' ',
      ),
    );
    const report = JSON.parse(stdout);
    expect(report).toMatchObject({
      machine: 'galvo-355-f210',
      settings: { powerW: 4, speedMmPerS: 800, rateKHz: 40, passes: 3 },
      lineSpacingMm: 0.025,
      pitchMm: 0.02,
      markDiameterUm: 30,
      pulsePitchUm: 20,
      pulseEnergyUJ: 100,
      cylinderDiameterMm: 70,
    });
    // 3·4 W/(800 mm/s·0.025 mm) = 0.6 J/mm².
    expect(report.doseJPerCm2).toBeCloseTo(60, 9);
    // zR = π·15.646²/(1.5·0.355) µm = 1.44428 mm; 2√(1.44428·68.55572).
    expect(report.cylinderWidthMm).toBeCloseTo(19.901, 3);
  });

  test('says on stderr, and in the JSON, where a setting is in doubt', async () => {
    const { status, stdout, stderr } = await optics(
      '--spacing',
      '0.04',
      '--pitch',
      '0.02',
      '--speed',
      '1000',
      '--json',
    );
    expect(status).toBe(0);
    expect(stderr).toMatch(/^warning: lines 40 µm apart leave stripes/);
    expect(JSON.parse(stdout).warnings[0]).toMatchObject({ about: 'lineSpacingMm' });
  });

  test('refuses settings beyond the machine, and lines that no solid comes of', async () => {
    const beyond = await optics('--power', '60');
    expect([beyond.status, beyond.stderr]).toEqual([2, expect.stringMatching(/power of 60 W, needed 0.1 to 8 W/)]);
    const wide = await optics('--spacing', '20');
    expect([wide.status, wide.stderr]).toEqual([
      2,
      expect.stringMatching(/--spacing: found 20 mm.*"20um" was meant\?/),
    ]);
  });

  test('its own examples run without a warning', async () => {
    const { COMMANDS } = await import('../../src/cli/commands/index.ts');
    const { examples } = COMMANDS.find(({ name }) => name === 'optics')!;
    for (const example of examples) {
      const { status, stderr } = await runCli(example.split(' '));
      expect([example, status, stderr]).toEqual([example, 0, '']);
    }
  });

  test('leaves pulses out for a continuous beam and says so when a rate is given', async () => {
    const { stdout, stderr } = await runCli(['optics', '--machine', 'gantry-450', '--rate', '20']);
    expect(stdout).not.toMatch(/pulse/i);
    expect(stderr).toMatch(/continuous beam/);
  });

  test.each([
    [['--power', '0'], /--power: found "0"/],
    [['--speed', 'fast'], /--speed: found "fast"/],
    [['--passes', '1.5'], /--passes: found "1.5"/],
    [['--spacing', '0'], /--spacing: found "0"/],
    [['--cylinder', '70kg'], /--cylinder: found "70kg"/],
    [['--colour', 'red'], /unknown option/],
  ])('%j is wrong usage', async (options, message) => {
    const { status, stdout, stderr } = await optics(...options);
    expect([status, stdout]).toEqual([2, '']);
    expect(stderr).toMatch(message);
  });

  test('an unknown machine is named with those that exist', async () => {
    const { status, stderr } = await runCli(['optics', '--machine', 'steam-engine']);
    expect(status).toBe(2);
    expect(stderr).toMatch(/steam-engine.*galvo-355-f210/);
  });
});
