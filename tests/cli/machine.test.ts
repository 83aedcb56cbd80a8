import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { runCli, useFolder } from './run-cli.ts';

const GOOD = JSON.parse(readFileSync('shared/machines/galvo-355-f100.json', 'utf8'));

describe('tonewright machine', () => {
  const newFolder = useFolder();

  test('lists the built-in machines with spot and field', async () => {
    const { status, stdout } = await runCli(['machine', 'list']);
    expect(status).toBe(0);
    expect(stdout).toMatch(/galvo-355-f210 +355 nm galvo, 210 mm lens +31\.3 µm +150 × 150 mm +built-in/);
    const { machines } = JSON.parse((await runCli(['machine', 'list', '--json'])).stdout);
    expect(machines).toHaveLength(5);
  });

  test("lists the shop's own first of a name, and passes over a broken file with a warning", async () => {
    const shop = newFolder();
    mkdirSync(join(shop, 'machines'));
    const write = (name: string, json: unknown) =>
      writeFileSync(join(shop, 'machines', `${name}.json`), JSON.stringify(json));
    write('our-uv', { ...GOOD, name: 'our-uv', title: 'The small one', spotDiameterUm: 17 });
    write('broken', { ...GOOD, focalLengthMm: 'long' });
    const { status, stdout, stderr } = await runCli(['machine', 'list', '--shop', shop, '--json']);
    expect(status).toBe(0);
    const ours = JSON.parse(stdout).machines.filter((machine: { from: string }) => machine.from === 'shop');
    expect(ours).toMatchObject([{ name: 'our-uv', spotDiameterUm: 17 }]);
    expect(stderr).toMatch(/warning: Left out .*broken.*: machine broken, field "focalLengthMm": found "long"/);
    const shown = await runCli(['machine', 'show', 'broken', '--shop', shop]);
    expect([shown.status, shown.stdout]).toEqual([1, '']);
  });

  test('shows a machine with ranges, motion, origins and cautions', async () => {
    const { stdout } = await runCli(['machine', 'show', 'gantry-10600']);
    for (const words of [/focal length +50\.8 mm/, /travel speed +500 mm\/s/, /Motion \(assumed\): gantry/, /cornea/]) {
      expect(stdout).toMatch(words);
    }
    const { machine, from } = JSON.parse((await runCli(['machine', 'show', 'gantry-10600', '--json'])).stdout);
    expect([machine, from]).toEqual([
      JSON.parse(readFileSync('shared/machines/gantry-10600.json', 'utf8')),
      'built-in',
    ]);
  });

  test.each([
    [['lst'], /unknown command 'lst'[\s\S]*Did you mean list/],
    [['show'], /missing required argument 'name'/],
    [['list', 'galvo-355-f100'], /too many arguments/],
  ])('%j is wrong usage', async (args, message) => {
    const { status, stdout, stderr } = await runCli(['machine', ...args]);
    expect([status, stdout]).toEqual([2, '']);
    expect(stderr).toMatch(message);
  });
});
