import { copyFileSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { runCli } from '../cli/run-cli.ts';

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-newcomer-'));
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

/** All that a person types, in its sequence; `tonewright` before it. */
const typed: string[] = [];

async function type(line: string, answers?: Readonly<Record<string, string>>): Promise<string> {
  typed.push(line, ...Object.values(answers ?? {}));
  const ask =
    answers && (async (asked: string) => answers[Object.keys(answers).find((key) => asked.includes(key))!] ?? '');
  const argv = line.match(/"[^"]*"|\S+/g)!.map((word) => word.replaceAll('"', ''));
  const { status, stdout, stderr } = await runCli(argv, { cwd, ...(ask ? { ask } : {}) });
  expect(status, `${line}\n${stderr}`).toBe(0);
  return stdout;
}

/** The next command as it was printed, with what only the person knows put in. */
function nextOf(said: string, known: Readonly<Record<string, string>> = {}): string {
  const line = /^(?:next|again) +tonewright (.*?)(?: {2,}\(.*)?$/m.exec(said)?.[1];
  expect(line, said).toBeDefined();
  return Object.entries(known).reduce((text, [word, value]) => text.replace(word, value), line!);
}

/** Burning and scanning, which a shop does with its own machine: not typed. */
async function burnAndScan(folder: string, model: string): Promise<void> {
  const chart = folder === 'dose' ? ['--chart', 'dose/chart.json'] : [];
  for (const argv of [
    [
      'simulate',
      'engrave',
      `${folder}/chart.png`,
      '--material-model',
      model,
      ...chart,
      '--dpi',
      '600',
      '--out',
      'a.npy',
    ],
    ['simulate', 'capture', 'a.npy', '--camera', 'flatbed-300', '--out', `${folder}.png`],
  ]) {
    const { status, stderr } = await runCli([...argv, '--force'], { cwd });
    expect(status, stderr).toBe(0);
  }
}

test('from an empty folder to a piece that is burned and made again, by printed next steps alone', async () => {
  copyFileSync('images/photos/cat.png', join(cwd, 'cat.png'));
  await type('machine new', { 'do you call': 'My diode', nearest: 'gantry-450', 'full power': '10' });
  const material = await type('material new', {
    'do you call': 'Felt board',
    'Which machine': 'my-diode',
    lighter: 'darker',
  });
  const dose = nextOf(material);
  expect(dose).toBe('chart dose --material felt-board --machine my-diode --out dose');
  await type(dose);
  await burnAndScan('dose', 'birch');
  const settings = await type('learn dose.png --out settings.json');
  const tone = nextOf(settings);
  expect(tone).toContain('--settings settings.json');
  await type(tone);
  await burnAndScan('chart', 'birch');
  const profile = await type('learn chart.png --out felt.json');
  await type(nextOf(profile, { PHOTO: 'cat.png' }));
  const burned = await type('burned out/cat.ticket.json');
  await type(nextOf(burned));
  expect(readFileSync(join(cwd, 'again/cat.png')).equals(readFileSync(join(cwd, 'out/cat.png')))).toBe(true);
  // Before, a machine was a file of some thirty fields, and a dose chart's settings went into no next command.
  expect(typed.filter((line) => line.includes(' ')).length).toBeLessThanOrEqual(12);
  expect(typed.join('').length).toBeLessThan(700);
}, 120_000);
