import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { type JobRequest, prepareJob, resolveJob } from '../../src/job/index.ts';
import { isAtRest, knowNotice, NOTICES, notice, RESTABLE } from '../../src/notices.ts';
import { readPhoto } from '../../src/plane/index.ts';
import { openShopFolder, restNotice, wakeNotice } from '../../src/tasks/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { REFUSED } from '../job/shop.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-rest-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
mkdirSync(join(folder, 'shop'));
const shop = openShopFolder({ shopDir: join(folder, 'shop') });
const type = (...argv: string[]) => runCli(argv, { cwd: folder });
const rest = (code: string, ...more: string[]) => type('warning', 'rest', code, ...more);

async function prepare(request: Partial<JobRequest> = {}) {
  const job = { size: '90x60', profile: 'anodised-black', lineSpacingMm: 0.1, subject: 'none', ...request } as const;
  const spec = resolveJob(job, { shop, refused: REFUSED });
  const facts = { spec, name: 'cat', photoFile: 'cat.png', version: 'test', only: 'everything' } as const;
  const { ticket, files } = await prepareJob(() => readPhoto('images/photos/cat.png'), facts);
  writeFileSync(join(folder, 'cat.ticket.json'), JSON.stringify(ticket));
  const page = String(files.find(({ name }) => name.endsWith('.html'))!.bytes);
  const codes = (ticket!.warned ?? []).map(({ code }) => code);
  return { ticket: ticket!, page, codes, bitmap: ticket!.bitmap.sha256 };
}

describe('a warning put to rest in a shop', () => {
  test('speaks no more on its tickets, which name it in one quiet line; the dots stay as they are', async () => {
    const before = await prepare();
    expect(before.codes).toContain('profile-assumed');
    expect(before.codes).toContain('photo-small');
    expect(before.ticket.warnings).toHaveLength(before.codes.length);
    expect(before.page).not.toContain('at-rest"');
    const said = await rest('profile-assumed', '--ticket', 'cat.ticket.json', '--note', 'a shop window piece');
    expect(said.status, said.stderr).toBe(0);
    expect(said.stdout).toContain('warning wake profile-assumed');
    await rest('photo-small', '--ticket', 'cat.ticket.json');
    const after = await prepare();
    expect(after.codes).not.toContain('profile-assumed');
    expect(after.ticket.warnings.join(' ')).not.toMatch(/NOT CALIBRATED|look soft/);
    expect(after.ticket.atRest!.map(({ code }) => code)).toEqual(['profile-assumed', 'photo-small']);
    expect(after.page).toContain(
      'Put to rest by the shop: Profile computed, not measured, Photo small for its size.</p>',
    );
    expect(after.bitmap).toBe(before.bitmap);
    expect((await type('warning', 'list')).stdout).toMatch(
      /^profile-assumed .* at rest since 2026-01-01 \(anodised-black\) +a shop window piece$/m,
    );
  });

  test('speaks again about another profile, and when it is half as large again', async () => {
    expect((await prepare({ profile: 'slate-coaster' })).codes).toContain('profile-assumed');
    expect((await prepare({ size: '60x40' })).codes).not.toContain('photo-small');
    expect((await prepare({ size: '90x60', lineSpacingMm: 0.05, viewingDistanceMm: 100 })).codes).toContain(
      'photo-small',
    );
  });

  test('speaks again when it is woken', async () => {
    expect((await type('warning', 'wake', 'profile-assumed')).stdout).toContain('speaks again');
    expect((await prepare()).codes).toContain('profile-assumed');
    await expect(wakeNotice('profile-assumed', { shop })).rejects.toMatchObject({ code: 'name-unknown' });
    expect(readdirSync(join(folder, 'shop', 'rested'))).toEqual(['photo-small.json']);
  });

  test('rests whatever it is about where no ticket says more', async () => {
    await rest('profile-assumed');
    expect((await prepare({ profile: 'slate-coaster' })).codes).not.toContain('profile-assumed');
    // What was accepted at large is not made narrower by accepting one more.
    const clock = { today: () => '2026-01-02' };
    const { record } = await restNotice({ code: 'profile-assumed', seen: { cause: 'elm' } }, { shop, clock });
    expect(record).not.toHaveProperty('causes');
    expect((await prepare()).codes).not.toContain('profile-assumed');
  });

  test('is none that warns of harm: such a warning always speaks', async () => {
    for (const code of ['material-unrecorded', 'dose-strong', 'setting-beyond', 'chart-differs']) {
      const { status, stderr } = await rest(code);
      expect([code, status]).toEqual([code, 2]);
      expect(stderr).toContain('always speaks');
    }
    mkdirSync(join(folder, 'shop', 'rested'), { recursive: true });
    const forged = { schema: 'tonewright-rested/1', code: 'dose-strong', date: '2026-01-01' };
    writeFileSync(join(folder, 'shop', 'rested', 'dose-strong.json'), JSON.stringify(forged));
    expect(() => resolveJob({ size: '20x20', profile: 'anodised-black' }, { shop, refused: REFUSED })).toThrow(
      /field "code": found "dose-strong", needed the code of a notice that may rest/,
    );
    rmSync(join(folder, 'shop', 'rested', 'dose-strong.json'));
    expect((await rest('photo-smal')).stderr).toContain('did you mean photo-small?');
    expect((await rest('runs-short', '--ticket', 'cat.ticket.json')).stderr).toContain(
      'needed runs-short on the ticket',
    );
  });
});

test('every notice that may rest is one of the table, with a name of its own', () => {
  const titles = Object.values(RESTABLE).map(({ title }) => title);
  expect(new Set(titles).size).toBe(titles.length);
  for (const code of Object.keys(RESTABLE)) expect(NOTICES).toHaveProperty(code);
  const strong = notice('dose-strong', { said: 'strong', times: 3 });
  expect(isAtRest(knowNotice(strong), [{ code: 'dose-strong' }])).toBe(false);
});
