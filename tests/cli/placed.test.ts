import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { decodeDotsBytes } from '../../src/plane/index.ts';
import { runCli } from './run-cli.ts';

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-placed-'));
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

/** A gantry whose beam loses a tenth along each half of its way. */
const none = [0, 0, 0];
const EVENNESS = {
  schema: 'tonewright-evenness/1',
  machine: 'gantry-10600',
  fieldMm: [600, 400],
  charts: ['any'],
  profile: 'slate-coaster',
  material: 'slate',
  date: '2026-01-01',
  covered: { xMm: 0, yMm: 0, widthMm: 600, heightMm: 400 },
  home: { xMm: 0, yMm: 0, widthMm: 600, heightMm: 400 },
  surface: 'tilt',
  lnDose: { coefficients: [0, -0.12, 0], covariance: [none, none, none] },
  lnWidth: { coefficients: none, covariance: [none, none, none] },
  patches: 99,
  unevenL: 2,
  leftL: 0.1,
  crossL: 0.1,
  notes: [],
};

const readDots = async (path: string) => (await decodeDotsBytes(readFileSync(join(cwd, path)), path)).dots;
const run = async (line: string) => {
  const { status, stdout, stderr } = await runCli([...line.split(' '), '--json'], { cwd });
  expect([line, status, status === 0 ? '' : stderr + stdout]).toEqual([line, 0, '']);
  return { json: JSON.parse(stdout), stderr };
};

test('a piece is corrected for its place, and for each pocket of a plate again', async () => {
  cpSync('images/photos/cat.png', join(cwd, 'cat.png'));
  mkdirSync(join(cwd, 'shop', 'evenness'), { recursive: true });
  writeFileSync(join(cwd, 'shop', 'evenness', 'gantry-10600.json'), JSON.stringify(EVENNESS));
  const common = '--shop shop --profile slate-coaster --size 20x14 --subject none --pitch 0.2 --spacing 0.2';
  const here = await run(`prepare cat.png ${common} --at 40,200 --out here`);
  const { ticket } = here.json;
  expect(ticket.evenness).toMatchObject({ xMm: 40, yMm: 200 });
  expect(ticket.evenness.dose[0]).toBeCloseTo(Math.exp((0.12 * 260) / Math.hypot(300, 200)), 1);
  await run(`prepare cat.png ${common} --out plain`);
  const [placed, plain] = [await readDots('here/cat.png'), await readDots('plain/cat.png')];
  expect(placed.data).not.toEqual(plain.data);

  const grid = '--grid 2x1 --pocket 20x14 --gap 150 --margin 8 --machine gantry-10600 --bitmaps piece --count 2';
  const { json, stderr } = await run(`plate --shop shop --jobs here ${grid} --photos . --out plates`);
  expect(stderr).not.toContain('another place');
  const [plate] = json.plates;
  for (const { corrected, burn } of plate.pieces) {
    const { xMm, yMm, note } = corrected;
    expect(note).toContain('Corrected for where it lies');
    const there = `at-${burn}`;
    await run(`prepare cat.png ${common} --at ${xMm},${yMm} --out ${there}`);
    const file = plate.burns[burn - 1].file;
    expect((await readDots(`plates/${file}`)).data).toEqual((await readDots(`${there}/cat.png`)).data);
  }
  expect(plate.pieces[1].corrected.xMm - plate.pieces[0].corrected.xMm).toBeCloseTo(170, 1);

  rmSync(join(cwd, 'plates'), { recursive: true });
  const lost = await run(`plate --shop shop --jobs here ${grid} --photos plain --out plates`);
  expect(lost.stderr).toContain('cat in A1 was corrected for another place of the field');
  expect(lost.json.plates[0].pieces[0]).not.toHaveProperty('corrected');
}, 60_000);
