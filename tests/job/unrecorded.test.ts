import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { resolveChart, resolveJob } from '../../src/job/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const folder = mkdtempSync(join(tmpdir(), 'unrecorded-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function profileOf(material: string): string {
  const path = join(folder, `${material || 'nothing'}.json`);
  const { json } = SHOP.read('profiles', 'anodised-black');
  writeFileSync(path, JSON.stringify({ ...(json as object), name: 'felt', title: 'felt', material }));
  return path;
}

describe('a profile of a material that the shop has no record of', () => {
  const known = { shop: SHOP, refused: REFUSED };

  test('prepares pictures, and says that cautions about the material are missing', () => {
    const spec = resolveJob({ size: '20x15', profile: profileOf('grey felt') }, known);
    expect(spec.material).toEqual({ name: 'grey felt', title: 'grey felt', cautions: [] });
    expect(spec.warnings.map(({ text }) => text).join('\n')).toContain(
      'There is no record of the material (grey felt)',
    );
    const recorded = resolveJob({ size: '20x15', profile: 'anodised-black' }, known);
    expect(recorded.warnings.map(({ text }) => text).join('\n')).not.toContain('no record');
  });

  test('draws verification charts and strips', () => {
    for (const kind of ['verify', 'check'] as const) {
      expect(resolveChart({ kind, profile: profileOf('grey felt') }, known).options.material).toBe('grey felt');
    }
  });

  test('is refused where the name is on the never list, and a material asked for by name must be known', () => {
    expect(() => resolveJob({ size: '20x15', profile: profileOf('PVC') }, known)).toThrow(
      expect.objectContaining({ code: 'material-refused' }),
    );
    expect(() => resolveJob({ size: '20x15', profile: 'anodised-black', material: 'grey felt' }, known)).toThrow(
      expect.objectContaining({ code: 'name-unknown' }),
    );
  });
});
