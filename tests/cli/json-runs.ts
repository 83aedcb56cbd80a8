import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { burnInto, TONE_CHART } from '../tasks/burned.ts';
import { runCli } from './run-cli.ts';

const NEW_MACHINE = '--title Kiln --like gantry-450 --full-power 10';

/** Every command that prints a document and ends, in an order in which each finds what it needs. */
export const JSON_RUNS: readonly (readonly [command: string, argv: string])[] = [
  ['machine list', 'machine list'],
  ['machine show', 'machine show gantry-450'],
  ['material list', 'material list'],
  ['material show', 'material show slate'],
  ['profile list', 'profile list'],
  ['profile show', 'profile show anodised-black'],
  ['profile compare', 'profile compare anodised-black leather-patch'],
  ['screen list', 'screen list'],
  ['screen show', 'screen show line'],
  ['palette list', 'palette list'],
  ['jig list', 'jig list'],
  ['jig show', 'jig show cards-2x3'],
  ['jig new', 'jig new --title Coasters --machine gantry-450 --columns 3 --pocket 90'],
  ['price new', 'price new --title Shop --currency EUR --per-minute 0.8 --setup 5 --tax 19'],
  ['price show', 'price show'],
  ['palette show', 'palette show slate-greys'],
  ['simulate list', 'simulate list'],
  ['optics', 'optics --machine gantry-450'],
  ['optics', 'optics --machine galvo-1064-f160'],
  ['machine show', 'machine show galvo-1064-f160'],
  ['chart spot', 'chart spot --machine gantry-450 --direction darker --pitch 0.1 --spacing 0.1 --out spot'],
  [
    'chart focus',
    'chart focus --machine galvo-355-f210 --material anodised-black --pitch 0.03 --spacing 0.03 --size 64x50 --rise 6 --replicates 6 --out focus',
  ],
  [
    'simulate capture',
    'simulate capture focus/chart.png --material-model anodised-black --focus 0.5 --astigmatism -0.2 --camera flatbed-300 --out focus.png',
  ],
  ['learn', 'learn focus.png --chart focus/chart.json --out focus.json'],
  ['chart dose', 'chart dose --machine gantry-450 --direction darker --pitch 0.1 --spacing 0.1 --out dose'],
  [
    'simulate capture',
    'simulate capture dose/chart.png --material-model birch --chart dose/chart.json --camera flatbed-300 --out dose.png',
  ],
  ['learn', 'learn dose.png --chart dose/chart.json --out dose.json'],
  ['simulate capture', 'simulate capture spot/chart.png --material-model birch --camera flatbed-300 --out spot.png'],
  ['check', 'check spot.png --chart spot/chart.json'],
  [
    'chart tone',
    'chart tone --machine gantry-450 --direction darker --pitch 0.1 --spacing 0.1 --steps 5 --replicates 1 --out tone',
  ],
  ['chart field', 'chart field --profile slate-coaster --size 120x120 --out field'],
  ['chart verify', 'chart verify --profile slate-coaster --out verify'],
  ['chart check', 'chart check --profile slate-coaster --out strip'],
  ['learn', 'learn scan.png --chart chart.json --out birch.json'],
  ['check', 'check scan.png --chart chart.json --profile birch.json'],
  ['prepare', 'prepare cat.png --profile slate-coaster --size 30x20 --out out'],
  ['profile show', 'profile show birch.json'],
  ['time', 'time out/cat.png --machine gantry-450'],
  ['time', 'time out/cat.ticket.json --machine galvo-1064-f160'],
  ['proof', 'proof out/cat.png --profile slate-coaster --out again.png'],
  ['burned', 'burned out/cat.ticket.json --count 1'],
  ['order', 'order photos --profile slate-coaster --size 30x20 --out ordered --workers 1'],
  ['plate', 'plate --grid 2x1 --pocket 30x20 --jobs out --out plates'],
  ['simulate faults', 'simulate faults --material-model anodised-black --faults clipped'],
  ['simulate engrave', 'simulate engrave out/cat.png --material-model slate --dpi 150 --out a.npy'],
  ['simulate capture', 'simulate capture a.npy --camera flatbed-300 --out a.png'],
  ['warning rest', 'warning rest profile-assumed --ticket out/cat.ticket.json'],
  ['warning list', 'warning list'],
  ['warning wake', 'warning wake profile-assumed'],
  ['machine new', `machine new ${NEW_MACHINE}`],
  ['material new', 'material new --title Felt --machine kiln --direction darker'],
];

/** What each run printed as JSON, with the name of its command. */
export async function runAll(cwd: string): Promise<readonly (readonly [command: string, json: unknown])[]> {
  for (const folder of ['shop', 'photos']) mkdirSync(join(cwd, folder), { recursive: true });
  copyFileSync('images/photos/cat.png', join(cwd, 'cat.png'));
  copyFileSync('images/photos/cat.png', join(cwd, 'photos', 'cat.png'));
  writeFileSync(join(cwd, 'chart.json'), JSON.stringify(TONE_CHART));
  await burnInto(cwd);
  const told: (readonly [string, unknown])[] = [];
  for (const [command, argv] of JSON_RUNS) {
    const { status, stdout, stderr } = await runCli([...argv.split(' '), '--json'], { cwd });
    if (status !== 0) throw new Error(`${argv}: ${stderr}`);
    told.push([command, JSON.parse(stdout)]);
  }
  return told;
}

export const readSchema = () => JSON.parse(readFileSync('shared/json-output.schema.json', 'utf8'));
