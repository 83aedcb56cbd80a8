import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { readMachine } from '../../src/job/index.ts';
import { parseJig } from '../../src/plate/index.ts';
import {
  type FormRequest,
  keepForm,
  listFields,
  openShopFolder,
  showMaterial,
  sketchForm,
} from '../../src/tasks/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { REFUSED } from '../job/shop.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-forms-'));
const shop = openShopFolder({ shopDir: join(folder, 'shop') });
const context = { shop, refused: () => REFUSED, force: false };
const keep = (request: FormRequest, force = false) => keepForm(request, { ...context, force });
const fields = (request: FormRequest) => listFields(request, { shop });
const read = (...path: string[]) => readFileSync(join(folder, ...path), 'utf8');

beforeAll(() => mkdirSync(join(folder, 'shop')));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a form', () => {
  test('asks as the command does, says what each answer rests on, and what would measure it', () => {
    const open = fields({ kind: 'machine', answers: {} });
    expect(open.map(({ key }) => key)).toEqual(['title', 'like']);
    const all = fields({ kind: 'machine', answers: { like: 'galvo-1064-f160' } });
    expect(all.map(({ key }) => key)).toEqual([
      ...['title', 'like', 'focalLength', 'field', 'fullPower', 'topSpeed', 'rates'],
      ...['powerUnit', 'speedUnit', 'rateUnit', 'fires', 'origin', 'mirrors', 'program', 'rotary'],
    ]);
    const lens = all.find(({ key }) => key === 'focalLength')!;
    const machine = readMachine('galvo-1064-f160', shop);
    expect(lens).toMatchObject({ value: String(machine.focalLengthMm), rests: machine.origins.optics.kind });
    expect(lens.measuredBy).toContain('focus chart');
  });

  test('keeps the very file that the command writes of the same answers', async () => {
    const line = 'machine new --title Kiln --like gantry-450 --full-power 10 --power-unit % --shop by-command';
    await runCli(line.split(' '), { cwd: folder });
    await keep({ kind: 'machine', answers: { title: 'Kiln', like: 'gantry-450', fullPower: '10', powerUnit: '%' } });
    expect(read('shop', 'machines', 'kiln.json')).toBe(read('by-command', 'machines', 'kiln.json'));
    const priced = 'price new --title Shop --currency EUR --per-minute 0.8 --setup 5 --tax 19 --shop by-command';
    await runCli(priced.split(' '), { cwd: folder });
    const answers = { title: 'Shop', currency: 'EUR', perMinute: '0.8', setup: '5', tax: '19' };
    await keep({ kind: 'price', answers });
    expect(read('shop', 'prices.json')).toBe(read('by-command', 'prices.json'));
    await expect(keep({ kind: 'price', answers })).rejects.toMatchObject({ code: 'result-exists' });
  });

  test('changes what is answered and nothing else', async () => {
    const before = readMachine('galvo-355-f210', shop);
    const same = await keep({ kind: 'machine', answers: {}, from: 'galvo-355-f210' });
    const { control: _, ...kept } = readMachine(same.name, shop);
    const { control: __, ...own } = before;
    expect(kept).toEqual(own);
    await keep({ kind: 'machine', answers: { fullPower: '4' }, from: 'galvo-355-f210' }, true);
    const changed = readMachine('galvo-355-f210', shop);
    expect(changed.powerW.max).toBe(4);
    expect(changed.origins.optics).toEqual(before.origins.optics);
    expect(changed.origins.ranges.note).toMatch(/typed in by the shop/);
    expect(changed.cautions).toEqual(before.cautions);
  });

  test('a material that is changed or copied keeps its cautions and the marks of other lasers', async () => {
    const before = showMaterial('slate', shop).material;
    await keep({ kind: 'material', answers: { bare: '22' }, from: 'slate' });
    const changed = showMaterial('slate', shop).material;
    expect(changed.bare[0]).toBe(22);
    expect([changed.cautions, changed.before, changed.after]).toEqual([before.cautions, before.before, before.after]);
    expect(changed.marks.slice(1)).toEqual(before.marks.slice(1));
    expect(changed.origin.kind).toBe('assumed');
    const { name } = await keep({ kind: 'material', answers: { title: 'Slate, Welsh', name: '' }, from: 'slate' });
    expect(name).toBe('slate-welsh');
    expect(showMaterial('slate-welsh', shop).material.cautions).toEqual(before.cautions);
  });

  test('prices that are changed keep blanks and steps of quantity', async () => {
    writeFileSync(join(folder, 'shop', 'prices.json'), readFileSync('shared/shop/prices.json', 'utf8'));
    const before = JSON.parse(read('shop', 'prices.json'));
    await keep({ kind: 'price', answers: { perMinute: '1.1' }, from: 'prices' }, true);
    const { note: _, ...after } = JSON.parse(read('shop', 'prices.json'));
    expect(after).toMatchObject({
      blanks: before.blanks,
      quantitySteps: before.quantitySteps,
      rounding: before.rounding,
      machine: { ...before.machine, perMinute: 1.1 },
      tax: before.tax,
    });
  });

  test('a jig: the very file of the command, its pockets where they were asked, and a drawing before it is kept', async () => {
    const line =
      'jig new --title Coasters --machine gantry-450 --columns 3 --rows 2 --pocket 90 --board 340x240 --field-x -5 --shop by-command';
    await runCli(line.split(' '), { cwd: folder });
    const answers = {
      ...{ title: 'Coasters', machine: 'gantry-450', columns: '3', rows: '2' },
      ...{ pocket: '90', board: '340x240', fieldX: '-5' },
    };
    const drawn = sketchForm({ kind: 'jig', answers }, { shop })!;
    expect(drawn.match(/>[AB][123]</g)).toEqual(['>A1<', '>A2<', '>A3<', '>B1<', '>B2<', '>B3<']);
    await keep({ kind: 'jig', answers });
    expect(read('shop', 'jigs', 'coasters.json')).toBe(read('by-command', 'jigs', 'coasters.json'));
    const jig = parseJig(JSON.parse(read('shop', 'jigs', 'coasters.json')), 'coasters');
    // On paper: 3 of 90 and 2 gaps of 10 are 290, in 340 mm; the field of 400 mm stands 80 mm over a board of 240 mm.
    expect(jig.pockets.map(({ xMm, yMm }) => [xMm, yMm])).toEqual([
      ...[25, 125, 225].map((x) => [x, 25]),
      ...[25, 125, 225].map((x) => [x, 125]),
    ]);
    expect(jig).toMatchObject({ widthMm: 340, heightMm: 240, fieldAtMm: [-5, -80], stop: 'top-left' });
  });

  test('a jig that is changed keeps its pockets, its strip and its holes, until they are asked anew', async () => {
    const before = parseJig(shop.read('jigs', 'cards-2x3').json, 'cards-2x3');
    await keep({ kind: 'jig', answers: {}, from: 'cards-2x3' });
    const kept = () => parseJig(JSON.parse(read('shop', 'jigs', 'cards-2x3.json')), 'cards-2x3');
    expect(kept()).toEqual(before);
    await keep({ kind: 'jig', answers: { stop: 'bottom-right', kerf: '0.2' }, from: 'cards-2x3' }, true);
    expect(kept()).toMatchObject({ stop: 'bottom-right', kerfMm: 0.2, holes: before.holes });
    const places = ({ pockets }: typeof before) => pockets.map(({ name, xMm, yMm }) => [name, xMm, yMm]);
    expect(places(kept())).toEqual(places(before));
    expect(new Set(kept().pockets.map(({ stop }) => stop))).toEqual(new Set(['bottom-right']));
    await keep({ kind: 'jig', answers: { rows: '2' }, from: 'cards-2x3' }, true);
    expect(kept().pockets.filter(({ use }) => use === 'piece')).toHaveLength(4);
    expect(kept().pockets.filter(({ use }) => use === 'strip')).toHaveLength(1);
    expect(kept()).toMatchObject({ widthMm: before.widthMm, heightMm: before.heightMm });
    // Free pockets are no grid: they stay, and half a grid is refused.
    const free = parseJig(shop.read('jigs', 'keepsakes').json, 'keepsakes');
    const { name } = await keep({ kind: 'jig', answers: { title: 'Tags', name: '' }, from: 'keepsakes' });
    expect(places(parseJig(JSON.parse(read('shop', 'jigs', `${name}.json`)), name))).toEqual(places(free));
    await expect(keep({ kind: 'jig', answers: { columns: '3' }, from: 'keepsakes' }, true)).rejects.toThrow(
      /rows: found "kept"/,
    );
  });

  test.each([
    [{ columns: '9' }, 'jig-exceeds-field', /missing .* mm in width/],
    [{ fieldX: '300' }, 'jig-exceeds-field', /A1 by/],
    [{ board: '50x50' }, 'option-invalid', /board: found 50 × 50 mm, needed at least 205.2/],
    [{ gap: '0.5' }, 'option-invalid', /gap of 0.5 mm/],
    [{ columns: '2.5' }, 'option-invalid', /columns: found "2.5"/],
    [{ fieldY: 'left' }, 'option-invalid', /field-y/],
    [{ stop: 'left' }, 'option-invalid', /stop: found "left", needed one of top-left/],
  ])('a jig of %o is refused as a drawing and as a record, with the reason', async (answers, code, words) => {
    const request = { kind: 'jig', answers: { title: 'Wrong', machine: 'gantry-450', ...answers } } as const;
    await expect(keep(request)).rejects.toMatchObject({ code, message: expect.stringMatching(words) });
    expect(() => sketchForm(request, { shop })).toThrow(words);
    expect(existsSync(join(folder, 'shop', 'jigs', 'wrong.json'))).toBe(false);
  });

  test('says what is missing or wrong, and keeps nothing', async () => {
    await expect(keep({ kind: 'machine', answers: { title: '', name: '' }, from: 'gantry-450' })).rejects.toThrow(
      /found no title/,
    );
    await expect(keep({ kind: 'material', answers: { title: 'PVC', machine: 'gantry-450' } })).rejects.toThrow();
    await expect(
      keep({ kind: 'material', answers: { title: 'PVC', machine: 'gantry-450', direction: 'darker' } }),
    ).rejects.toMatchObject({ code: 'material-refused' });
    await expect(
      keep({ kind: 'machine', answers: { title: 'X', like: 'gantry-450', fullPower: 'lots' } }),
    ).rejects.toMatchObject({ code: 'option-invalid' });
    expect(() => fields({ kind: 'machine', answers: {}, from: 'none' })).toThrow(/found no machine "none"/);
  });
});
