import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { createPlane, encodeDots, writeFilesAtomic } from '../../src/plane/index.ts';
import { openShopFolder, proveBitmap, type TaskContext } from '../../src/tasks/index.ts';
import { useFolder } from '../cli/run-cli.ts';

const folder = useFolder();

function contextWith(warnings: string[], refused: ReturnType<TaskContext['refused']> = []): TaskContext {
  return {
    shop: openShopFolder({}),
    refused: () => refused,
    clock: { today: () => '2026-01-01' },
    version: '0',
    progress: () => undefined,
    warn: (text) => warnings.push(text),
  };
}

async function burnSolid(at: string, lineSpacingMm: number): Promise<string> {
  const path = join(at, 'solid.png');
  const dots = { ...createPlane('bit', 100, 50), levels: 2 };
  dots.data.fill(1);
  await writeFilesAtomic([{ path, bytes: encodeDots(dots, { pitchMm: 0.02, lineSpacingMm }, { format: 'png' }) }]);
  return path;
}

test('a solid bitmap shows the full mark of the profile, at the size that its file says', async () => {
  const at = folder();
  const warnings: string[] = [];
  const request = { path: await burnSolid(at, 0.02), profile: 'anodised-black', out: join(at, 'proof.png') };
  const record = await proveBitmap(request, contextWith(warnings));
  expect(record.widthMm).toBeCloseTo(2, 3);
  expect(record.heightMm).toBeCloseTo(1, 3);
  expect(record.meanLightness).toBeGreaterThan(
    record.profile.bare[0] + 0.9 * (record.profile.full[0] - record.profile.bare[0]),
  );
  expect(existsSync(record.file)).toBe(true);
  expect(warnings).toEqual([expect.stringContaining('not measured')]);
});

test('another grid than the profile’s is said; what is asked goes before what the file says', async () => {
  const at = folder();
  const warnings: string[] = [];
  const path = await burnSolid(at, 0.02);
  const asked = { path, profile: 'anodised-black', lineSpacingMm: 0.03, out: join(at, 'proof.png') };
  expect((await proveBitmap(asked, contextWith(warnings))).heightMm).toBeCloseTo(1.5, 6);
  expect(warnings[0]).toContain('0.02 × 0.03 mm');
});
