import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import type { DoseReading } from '../../src/job/index.ts';
import { keepFoundSettings } from '../../src/tasks/found-settings.ts';
import { describeShop, openShopFolder, readSettingsFile, showMachine } from '../../src/tasks/index.ts';

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-found-'));
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

/** What of a reading counts here. */
const readingOf = (material: string | undefined, powerW: number) =>
  ({
    schema: 'tonewright-dose/1',
    machine: 'gantry-450',
    ...(material === undefined ? {} : { material }),
    recommended: {
      settings: { powerW, speedMmPerS: 60, passes: 1, scan: 'one-way', lineSpacingMm: 0.1 },
    },
  }) as DoseReading;

describe('a machine’s own list of settings', () => {
  const shop = openShopFolder({ shopDir: join(cwd, 'shop') });

  test('holds what the last dose chart of each material found, as a file that --settings takes', async () => {
    for (const [material, powerW] of [
      ['birch-plywood', 2],
      ['leather-vegetable', 1.5],
      ['birch-plywood', 3],
    ] as const) {
      await keepFoundSettings(readingOf(material, powerW), shop);
    }
    const { found } = showMachine('gantry-450', shop);
    expect(found.map(({ material, settings: { powerW } }) => [material, powerW])).toEqual([
      ['birch-plywood', 3],
      ['leather-vegetable', 1.5],
    ]);
    expect(readSettingsFile(found[0]!.path)).toMatchObject({ settings: { powerW: 3 }, lineSpacingMm: 0.1 });
    const offered = describeShop(shop).machines;
    expect(offered.find(({ name }) => name === 'gantry-450')!.found).toEqual(found);
    expect(offered.find(({ name }) => name === 'gantry-10600')!.found).toEqual([]);
  });

  test('keeps nothing where it is not known what was burned, or where there is no shop', async () => {
    expect(await keepFoundSettings(readingOf(undefined, 2), shop)).toBeUndefined();
    expect(await keepFoundSettings(readingOf('birch-plywood', 2), openShopFolder({}))).toBeUndefined();
  });

  test('a file that cannot be read hides no other', () => {
    mkdirSync(join(cwd, 'shop', 'settings'), { recursive: true });
    writeFileSync(join(cwd, 'shop', 'settings', 'broken.json'), '{"schema": "other"}');
    expect(showMachine('gantry-450', shop).found.length).toBe(2);
    expect(
      describeShop(shop)
        .notices.map(({ text }) => text)
        .join(),
    ).toContain('broken.json');
  });
});
