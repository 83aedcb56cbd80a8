import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { resolveChart, resolveJob } from '../../src/job/index.ts';
import { decodeDots } from '../../src/plane/index.ts';
import { openShopFolder } from '../../src/tasks/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { REFUSED, SHOP } from '../job/shop.ts';

const folders: string[] = [];
afterEach(() => {
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
});
function emptyFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'tonewright-new-'));
  folders.push(folder);
  return folder;
}
const split = (line: string) => line.match(/"[^"]*"|\S+/g)!.map((word) => word.replaceAll('"', ''));
const type = (cwd: string, line: string, ask?: (question: string) => Promise<string>) =>
  runCli(split(line), { cwd, ...(ask ? { ask } : {}) });

/** Somebody at a terminal who answers what is asked, by a word of the question; Enter where there is no answer. */
function answering(answers: Readonly<Record<string, string | string[]>>) {
  const asked: string[] = [];
  const left = Object.fromEntries(Object.entries(answers).map(([key, given]) => [key, [given].flat()]));
  return {
    asked,
    ask: async (question: string) => {
      asked.push(question);
      const key = Object.keys(left).find((word) => question.includes(word) && left[word]!.length > 0);
      return key === undefined ? '' : left[key]!.shift()!;
    },
  };
}

const CAT = resolve('images/photos/cat.png');

const GALVO =
  'machine new --title "My galvo" --like galvo-1064-f160 --focal-length 160 --field 110x110 --full-power 20 --power-unit % --speed-unit mm/min --rate-unit us --fires white --origin bottom-left --mirrors x';

describe('stock that is looked through', () => {
  test('is said so in its record, and may then be burned from behind', async () => {
    const cwd = emptyFolder();
    const make = (title: string, more = '') =>
      type(cwd, `material new --title ${title} --machine gantry-10600 --direction lighter ${more} --json`);
    const { material } = JSON.parse((await make('Blue-pane', '--clear glass')).stdout);
    expect(material.clear).toMatchObject({ refractiveIndex: 1.52, source: 'rubin1985' });
    expect(JSON.parse((await make('Tile')).stdout).material).not.toHaveProperty('clear');
    const shop = openShopFolder({ shopDir: join(cwd, 'shop') });
    const job = (name: string) =>
      resolveJob(
        { size: '20x20', material: name, machine: 'gantry-10600', seen: 'through' },
        { shop, refused: REFUSED },
      );
    expect(job('blue-pane').orientation?.mirrored).toBe(true);
    expect(() => job('tile')).toThrow(/not known to be clear/);
    expect((await make('Other', '--clear water')).stderr).toContain('glass');
  });
});

describe('machine new', () => {
  test('by options alone, in an empty folder: its shop folder is made, and all sheets speak in its units', async () => {
    const cwd = emptyFolder();
    const { status, stdout } = await type(cwd, `${GALVO} --json`);
    expect(status).toBe(0);
    const { machine, path, next } = JSON.parse(stdout);
    expect(path).toBe(join(cwd, 'shop', 'machines', 'my-galvo.json'));
    expect(machine).toMatchObject({ name: 'my-galvo', fieldMm: [110, 110], powerW: { max: 20 } });
    expect(machine.control).toMatchObject({ power: '%', speed: 'mm/min', rate: 'us', fires: 'white' });
    expect(next).toContain('chart dose --machine my-galvo');
    const shop = openShopFolder({ shopDir: join(cwd, 'shop') });
    const job = resolveJob(
      { size: '20x20', material: 'stainless-steel', machine: 'my-galvo', settings: { powerPercent: 45 } },
      { shop, refused: REFUSED },
    );
    expect(job.settings.powerW).toBeCloseTo(9, 9);
    expect((await type(cwd, 'machine list')).stdout).toMatch(/my-galvo +My galvo/);
    expect((await type(cwd, 'machine show my-galvo')).stdout).toContain('in percent of 20 W');
  });

  test('a machine reads programs only where somebody says so, and what is not said is the standard’s', async () => {
    const cwd = emptyFolder();
    const make = async (line: string) => JSON.parse((await type(cwd, `machine new ${line} --json`)).stdout).machine;
    expect((await make('--title one --like gantry-10600')).program).toBeUndefined();
    const yes = await make('--title two --like gantry-10600 --program yes');
    const standard = { units: 'mm', feedPer: 'min', beam: 'M3', end: 'M2', decimals: 3, zero: 'piece' };
    expect(yes.program).toEqual({ ...standard, fullPower: 1000 });
    const words =
      '--program-power 255 --program-zero field --program-lag 80 --program-backlash 0.02 --program-blocks 900';
    expect((await make(`--title three --like gantry-10600 ${words}`)).program).toEqual({
      ...standard,
      ...{ fullPower: 255, zero: 'field', beamLagUs: 80, backlashMm: 0.02, blocksPerS: 900 },
    });
    expect((await make('--title four --like gantry-450 --program no')).program).toBeUndefined();
    expect((await make('--title five --like gantry-450 --program-units in')).program).toMatchObject({ units: 'in' });
    expect((await type(cwd, 'machine show three')).stdout).toContain('S255 is full power');
    const refused = await type(cwd, 'machine new --title six --like gantry-450 --program-decimals 9');
    expect(refused.stderr).toContain('--program-decimals: found "9"');
  });

  test('a machine whose programs turn a piece: the axis, what a turn is, and none without its rotary', async () => {
    const cwd = emptyFolder();
    const make = async (line: string) => {
      const { machine } = JSON.parse((await type(cwd, `machine new --like gantry-450 ${line} --json`)).stdout);
      return machine.program.turn;
    };
    expect(await make('--title one --rotary yes')).toBeUndefined();
    expect(await make('--title two --program-turn-axis A')).toEqual({ axis: 'A', wordPerTurn: 360 });
    expect(await make('--title three --program-turn-axis Y --program-turn -40')).toEqual({
      axis: 'Y',
      wordPerTurn: -40,
    });
    const lent = '--title four --like three';
    const change = async (line: string) =>
      JSON.parse((await type(cwd, `machine new ${line} --json`)).stdout).machine.program;
    expect((await change(`${lent} --program-power 255`)).turn).toEqual({ axis: 'Y', wordPerTurn: -40 });
    expect((await change('--title five --like three --rotary no')).turn).toBeUndefined();
    // Whoever changes such a machine and presses Enter keeps its rotary.
    const { ask } = answering({ 'do you call': 'five', nearest: 'three' });
    await type(cwd, 'machine new --force', ask);
    const five = await change('--title five --like five --force');
    expect(five.turn).toEqual({ axis: 'Y', wordPerTurn: -40 });
    expect((await change('--title six --like three --program-turn-axis no')).turn).toBeUndefined();
    expect((await type(cwd, 'machine show three')).stdout).toContain('a whole turn is Y-40');
    for (const [line, words] of [
      ['--program-turn 400', 'no program-turn-axis'],
      ['--program-turn-axis Y', 'no program-turn,'],
      ['--program-turn-axis A --program-turn 0', 'program-turn: found 0'],
      ['--program-turn-axis U', 'U'],
    ]) {
      expect((await type(cwd, `machine new --title seven --like gantry-450 ${line}`)).stderr).toContain(words);
    }
  });

  test('a tumbler as a program: the dots of its picture, the clock’s time', async () => {
    const cwd = emptyFolder();
    await type(cwd, 'machine new --title two --like gantry-450 --program-turn-axis A');
    const prepare = async (more: string) => {
      const said = await type(cwd, `prepare ${CAT} --size 20x15 --machine two --material birch-plywood ${more} --json`);
      return JSON.parse(said.stdout);
    };
    const program = await prepare('--around 73 --format gcode --out a');
    const picture = await prepare('--around 73 --out b');
    const [burned, drawn] = await Promise.all(['a/cat.gcode', 'b/cat.png'].map((path) => decodeDots(join(cwd, path))));
    expect(burned!.dots).toEqual(drawn!.dots);
    expect(program.ticket.time.seconds).toBe(picture.ticket.time.seconds);
    const timed = JSON.parse((await type(cwd, 'time a/cat.ticket.json --json')).stdout);
    expect(timed.seconds).toBe(program.ticket.time.seconds);
    expect(program.ticket.program.words.turn).toEqual({ axis: 'A', wordPerTurn: 360 });
    const head = readFileSync(join(cwd, 'a/cat.gcode'), 'latin1').split('G21')[0]!;
    expect(head).toContain('A360 is a whole turn');
    const none = await type(
      cwd,
      `prepare ${CAT} --size 20x15 --machine gantry-450 --material birch-plywood --around 73 --format gcode --out c`,
    );
    expect(none.stderr).toContain('no word in its record that turns a piece');
    expect(existsSync(join(cwd, 'c'))).toBe(false);
  });

  test('by questions: Enter takes what stands there, and a slip is told and asked again', async () => {
    const cwd = emptyFolder();
    const { ask, asked } = answering({
      'What do you call': 'Diode',
      nearest: ['gantry', 'gantry-450'],
      'full power': '5.5',
      'take power': '%',
    });
    const { status, stderr } = await type(cwd, 'machine new', ask);
    expect(status).toBe(0);
    expect(stderr).toContain('found "gantry", needed one of');
    expect(asked.some((question) => question.includes('[50]'))).toBe(true);
    expect(asked.join(' ')).not.toContain('pulse');
    const machine = JSON.parse(readFileSync(join(cwd, 'shop/machines/diode.json'), 'utf8'));
    expect(machine).toMatchObject({ powerW: { max: 5.5 }, control: { power: '%', speed: 'mm/s' } });
    expect(machine.defaults.powerW).toBeCloseTo(2.75, 6);
  });

  test.each([
    ['machine new', /found no title/],
    ['machine new --title x', /found no like/],
    ['machine new --title x --like galvo', /found no machine "galvo"/],
    ['machine new --title x --like gantry-450 --field big', /field: found "big"/],
    ['machine new --title x --like galvo-355-f210 --rates fast', /rates: found "fast"/],
    ['machine new --title "!" --like gantry-450', /needed letters or digits/],
  ])('%s is refused, and nothing is kept', async (line, message) => {
    const cwd = emptyFolder();
    const { status, stderr } = await type(cwd, line);
    expect(status).toBe(2);
    expect(stderr).toMatch(message);
    expect(existsSync(join(cwd, 'shop', 'machines'))).toBe(false);
  });

  test('replaces a machine of the name only when told to', async () => {
    const cwd = emptyFolder();
    await type(cwd, GALVO);
    expect((await type(cwd, GALVO)).status).toBe(1);
    expect((await type(cwd, `${GALVO} --force`)).status).toBe(0);
  });
});

describe('material new', () => {
  test('keeps a material that charts and photos take from then on', async () => {
    const cwd = emptyFolder();
    const line = 'material new --title "Painted steel, red" --machine gantry-450 --direction lighter --bare 35';
    const { status, stdout } = await type(cwd, line);
    expect(status).toBe(0);
    expect(stdout).toContain('chart dose --material painted-steel-red --machine gantry-450');
    const shop = openShopFolder({ shopDir: join(cwd, 'shop') });
    const request = { material: 'painted-steel-red', machine: 'gantry-450' };
    expect(resolveJob({ size: '20x20', ...request }, { shop, refused: REFUSED }).profile.direction).toBe('lighter');
    const { ask } = answering({ 'do you call': 'Felt', machine: 'gantry-450', lighter: 'darker' });
    expect((await type(cwd, 'material new', ask)).status).toBe(0);
    expect((await type(cwd, 'material list')).stdout).toMatch(/felt +Felt +gantry-450 darker +shop/);
  });

  test.each([
    ['material new --title PVC --machine gantry-450 --direction darker', /never put under a laser/],
    ['material new --title x --machine gantry-450 --direction darker --bare 20 --full 60', /a mark that is darker/],
    ['material new --title x --machine gantry-450 --direction darker --bare dark', /bare: found "dark"/],
  ])('%s is refused', async (line, message) => {
    const { status, stderr } = await type(emptyFolder(), line);
    expect(status).toBeGreaterThan(0);
    expect(stderr).toMatch(message);
  });
});

describe('an unknown material with a direction', () => {
  const request = { size: '20x20', machine: 'gantry-450', material: 'painted steel', direction: 'darker' } as const;

  test('is taken for a photo as for a chart, with a warning that no cautions are known', () => {
    const { profile, warnings } = resolveJob(request, { shop: SHOP, refused: REFUSED });
    expect(profile).toMatchObject({ material: 'painted-steel', direction: 'darker' });
    expect(warnings.map(({ text }) => text).join(' ')).toContain('no record of the material (painted steel)');
    expect(() => resolveJob({ ...request, material: 'PVC' }, { shop: SHOP, refused: REFUSED })).toThrow(/never put/);
  });

  test('a known one that marks otherwise is refused; without a known mark here the direction is taken', () => {
    const known = { shop: SHOP, refused: REFUSED };
    expect(() => resolveJob({ ...request, material: 'slate' }, known)).toThrow(/known to mark lighter/);
    expect(resolveJob({ ...request, material: 'clear-glass', direction: 'lighter' }, known).warnings).toBeDefined();
  });

  test('settings of a chart may be a share of full power, too', () => {
    const chart = { kind: 'tone', machine: 'gantry-450', material: 'slate', settings: { powerPercent: 50 } } as const;
    expect(resolveChart(chart, { shop: SHOP, refused: REFUSED }).options.settings.powerW).toBe(5);
  });
});

describe('price new and the lists', () => {
  test('writes a list that tickets read, once', async () => {
    const cwd = emptyFolder();
    const line = 'price new --title Shop --currency eur --per-minute 0,8 --setup 5 --tax 19';
    expect((await type(cwd, line)).status).toBe(0);
    const kept = JSON.parse(readFileSync(join(cwd, 'shop', 'prices.json'), 'utf8'));
    expect(kept).toMatchObject({ currency: 'EUR', machine: { perMinute: 0.8 }, tax: { percent: 19 } });
    expect((await type(cwd, line)).status).toBe(1);
    expect((await type(cwd, 'price show')).stdout).toContain('"EUR"');
    expect((await type(emptyFolder(), 'price new --title x --currency coins --per-minute 1')).stderr).toMatch(
      /currency.*ISO 4217/,
    );
  });

  test.each([
    ['material list', 'slate'],
    ['material show slate', 'After the burn'],
    ['palette list', 'stainless-oxides'],
    ['palette show stainless-oxides', ' W, '],
    ['jig list', '6 of 85.6 × 53.98'],
    ['screen list', 'faces and skies'],
  ])('%s', async (line, words) => {
    const { status, stdout } = await type(process.cwd(), line);
    expect(status).toBe(0);
    expect(stdout).toContain(words);
  });

  test('the page of screens has a picture of each', async () => {
    const cwd = emptyFolder();
    expect((await type(cwd, 'screen list --out screens.html')).status).toBe(0);
    const page = readFileSync(join(cwd, 'screens.html'), 'utf8');
    expect(page.match(/data:image\/png/g)).toHaveLength(16);
  });
});
