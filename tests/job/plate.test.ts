import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import {
  type JobTicket,
  type LayoutSource,
  makeJig,
  makePlates,
  type PlateJob,
  type PlateOptions,
  parseJobTicket,
  readMachine,
  readProfile,
  STRIP_ROOM,
} from '../../src/job/index.ts';
import { composeDots, drawMarks } from '../../src/job/plate/dots.ts';
import { estimateTime } from '../../src/machine/index.ts';
import { createDots, type DotGrid, type Dots, decodeDotsBytes, turnQuarter } from '../../src/plane/index.ts';
import {
  JIG_DEFAULTS,
  type Jig,
  layoutGrid,
  NO_CORRECTION,
  parseJig,
  placeMarks,
  refuseBeyondField,
} from '../../src/plate/index.ts';
import { SHOP } from './shop.ts';

const MACHINE = 'galvo-355-f210';

interface JobFacts {
  readonly name: string;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly grid?: DotGrid;
  readonly count?: number;
  readonly ticket?: Partial<JobTicket>;
}

/** A job whose dots follow from its name: no two jobs are alike, and no turn of one is like another. */
function jobOf({ name, widthMm, heightMm, grid = { pitchMm: 0.1, lineSpacingMm: 0.1 }, count = 1, ticket }: JobFacts) {
  const width = Math.round(widthMm / grid.pitchMm);
  const height = Math.round(heightMm / grid.lineSpacingMm);
  const dots = createDots(width, height);
  const salt = [...name].reduce((sum, sign) => sum + sign.charCodeAt(0), 0);
  for (let i = 0; i < dots.data.length; i++) dots.data[i] = (i * 7919 + salt * 104729) % 11 < 4 ? 1 : 0;
  // The corners fire, so that edges are seen.
  for (const at of [0, width - 1, (height - 1) * width, height * width - 1]) dots.data[at] = 1;
  const full: JobTicket = {
    schema: 'tonewright-ticket/1',
    name,
    bitmap: { file: `${name}.png`, sha256: 'f'.repeat(64), width, height, levels: 2 },
    piece: { widthMm, heightMm, cornerRadiusMm: 0 },
    grid,
    machine: { name: MACHINE, title: 'Machine' },
    material: { name: 'anodised-black', title: 'Black anodised aluminium' },
    profile: { name: 'anodised-black', title: 'Profile', sha256: 'a', bareL: 20, fullL: 80, curve: 'measured' },
    settings: { powerW: 2, speedMmPerS: 1000, rateKHz: 50, passes: 1, scan: 'one-way' },
    screen: { name: 'floyd-steinberg', options: {} },
    time: { seconds: 1 },
    cautions: [{ text: 'Hot.', source: 'commonPractice' }],
    warnings: [],
    assumptions: ['Something.'],
    ...ticket,
  };
  const job: PlateJob = { ticket: full, count, text: null, price: null, load: async () => dots };
  return { job, dots };
}

const free: LayoutSource = {
  kind: 'packed',
  frame: {
    name: 'packed',
    title: 'Packed',
    gapMm: 5,
    marginMm: 2,
    rimMm: 12,
    clearanceMm: 0.2,
    kerfMm: 0,
    stop: 'top-left',
    origin: JIG_DEFAULTS.origin,
  },
};

const jigOf = (pockets: readonly object[], more: object = {}): Jig =>
  parseJig(
    { schema: 'tonewright-jig/1', name: 'jig', title: 'Jig', widthMm: 120, heightMm: 120, pockets, ...more },
    'jig.json',
  );
const at = (name: string, xMm: number, yMm: number, widthMm: number, heightMm: number, more: object = {}) => ({
  name,
  xMm,
  yMm,
  widthMm,
  heightMm,
  ...more,
});

const options = (more: Partial<PlateOptions> = {}): PlateOptions => ({
  source: free,
  bitmaps: 'plate',
  quarterTurns: false,
  correction: NO_CORRECTION,
  strip: false,
  format: 'png',
  version: '0.0.0-test',
  readMachine: (name) => readMachine(name, SHOP),
  readProfile: (name) => readProfile(name, SHOP),
  ...more,
});

/** Dots of a file of the result, as any reader of bitmaps sees them. */
async function readBitmap({ files }: Awaited<ReturnType<typeof makePlates>>, name: string): Promise<Dots> {
  const file = files.find((one) => one.name === name)!;
  return (await decodeDotsBytes(Buffer.from(file.bytes as Uint8Array), name)).dots;
}

/** Every dot of a part at its place, and nothing fires elsewhere. */
function expectOnly(
  whole: Dots,
  parts: readonly { readonly dots: Dots; readonly x: number; readonly y: number }[],
): void {
  const wanted = createDots(whole.width, whole.height);
  for (const { dots, x, y } of parts) {
    for (let row = 0; row < dots.height; row++)
      for (let column = 0; column < dots.width; column++)
        if (dots.data[row * dots.width + column] > 0) wanted.data[(y + row) * whole.width + x + column] = 1;
  }
  expect(Buffer.compare(Buffer.from(whole.data), Buffer.from(wanted.data))).toBe(0);
}

const codeOf = async (run: () => unknown) => {
  try {
    await run();
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('nothing was thrown');
};

describe('dots', () => {
  const rows = (dots: Dots) =>
    Array.from({ length: dots.height }, (_, y) =>
      [...dots.data.subarray(y * dots.width, (y + 1) * dots.width)].join(''),
    );

  test('a quarter turn goes clockwise', () => {
    const dots = createDots(3, 2, 2, Uint8Array.of(1, 1, 0, 0, 0, 1));
    expect(rows(turnQuarter(dots))).toEqual(['01', '01', '10']);
  });

  test('four quarter turns are none', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 9 }),
        fc.integer({ min: 1, max: 9 }),
        fc.integer(),
        (width, height, seed) => {
          const data = Uint8Array.from({ length: width * height }, (_, i) => ((i * 31 + seed) >>> 2) & 1);
          const dots = createDots(width, height, 2, data);
          expect(turnQuarter(turnQuarter(turnQuarter(turnQuarter(dots))))).toEqual(dots);
        },
      ),
      { numRuns: 50, seed: 6 },
    );
  });

  test('parts lie at their dots, and what fires stays where they touch', () => {
    const one = createDots(2, 1, 2, Uint8Array.of(1, 1));
    const two = createDots(2, 2, 2, Uint8Array.of(0, 1, 1, 0));
    const whole = composeDots(
      [
        { dots: one, xDots: 0, yDots: 0 },
        { dots: two, xDots: 1, yDots: 0 },
      ],
      { width: 4, height: 3 },
    );
    expect(rows(whole)).toEqual(['1110', '0100', '0000']);
    expect(() => composeDots([{ dots: one, xDots: 3, yDots: 0 }], { width: 4, height: 3 })).toThrow(RangeError);
  });

  test('alignment marks: the first exactly at its place, the others within half a dot', () => {
    const jig = jigOf([at('A', 10.013, 10.007, 40, 30), at('B', 60, 70, 40, 30)]);
    const marks = placeMarks(jig);
    const grid = { pitchMm: 0.07, lineSpacingMm: 0.05 };
    const { dots, corner, offMm } = drawMarks(marks, grid);
    expect(offMm[0]).toEqual({ xMm: 0, yMm: 0 });
    for (const { xMm, yMm } of offMm) {
      expect(Math.abs(xMm)).toBeLessThanOrEqual(0.035 + 1e-9);
      expect(Math.abs(yMm)).toBeLessThanOrEqual(0.025 + 1e-9);
    }
    // The middle dot of each cross fires, and so do its arms, but not what lies between two arms.
    for (const [index, mark] of marks.entries()) {
      const x = Math.round((mark.xMm + offMm[index]!.xMm - corner.xMm) / grid.pitchMm - 0.5);
      const y = Math.round((mark.yMm + offMm[index]!.yMm - corner.yMm) / grid.lineSpacingMm - 0.5);
      const fires = (dx: number, dy: number) => dots.data[(y + dy) * dots.width + x + dx];
      expect([fires(0, 0), fires(20, 0), fires(-20, 0), fires(0, 20), fires(0, -20)]).toEqual([1, 1, 1, 1, 1]);
      expect([fires(-10, -10), fires(10, -10), fires(-10, 10)]).toEqual([0, 0, 0]);
    }
  });
});

describe('one bitmap per plate', () => {
  test('holds every piece exactly at the dots worked by hand', async () => {
    // Pitch 0.1 mm across, 0.05 mm down. A at 10, 12; B at 60, 12; C at 10, 62.3: 500 dots right, 1006 lines down.
    const grid = { pitchMm: 0.1, lineSpacingMm: 0.05 };
    const jig = jigOf([at('A', 10, 12, 40, 30), at('B', 60, 12, 40, 30), at('C', 10, 62.3, 40, 30)]);
    const jobs = ['one', 'two', 'three'].map((name) => jobOf({ name, widthMm: 40, heightMm: 30, grid }));
    const plates = await makePlates(
      jobs.map(({ job }) => job),
      options({ source: { kind: 'jig', jig } }),
    );
    const [plate] = plates.record.plates;
    expect(
      plate!.pieces.map(({ name, pocket, xDots, yDots, off }) => [name, pocket, xDots, yDots, off.xMm, off.yMm]),
    ).toEqual([
      ['one', 'A', 0, 0, 0, 0],
      ['two', 'B', 500, 0, 0, 0],
      ['three', 'C', 0, 1006, 0, 0],
    ]);
    const [burn] = plate!.burns;
    expect(burn).toMatchObject({ file: 'plate-1.png', widthDots: 900, heightDots: 1606 });
    expect(burn!.control.corner).toEqual({ xMm: 10, yMm: 12 });
    expect(burn!.control.centre).toEqual({ xMm: 55, yMm: 52.15 });
    const whole = await readBitmap(plates, 'plate-1.png');
    expect([whole.width, whole.height]).toEqual([900, 1606]);
    expectOnly(whole, [
      { dots: jobs[0]!.dots, x: 0, y: 0 },
      { dots: jobs[1]!.dots, x: 500, y: 0 },
      { dots: jobs[2]!.dots, x: 0, y: 1006 },
    ]);
    // Its time is that of these dots.
    const { motion } = readMachine(MACHINE, SHOP);
    const { settings } = jobs[0]!.job.ticket;
    expect(plate!.time.seconds).toBe(estimateTime(whole, { motion, settings, grid }).seconds);
  });

  test('moves a piece to the nearest whole dot and says by how much', async () => {
    const grid = { pitchMm: 0.3, lineSpacingMm: 0.3 };
    const jig = jigOf([at('A', 10, 10, 30, 30), at('B', 50.1, 10, 30, 30), at('C', 10, 50.2, 30, 30)]);
    const jobs = ['one', 'two', 'three'].map((name) => jobOf({ name, widthMm: 30, heightMm: 30, grid }));
    const { record } = await makePlates(
      jobs.map(({ job }) => job),
      options({ source: { kind: 'jig', jig } }),
    );
    // 40.1 mm are 133.67 dots: 134 dots are 40.2 mm. 40.2 mm down are 134 dots.
    expect(record.plates[0]!.pieces.map(({ xDots, yDots, off }) => [xDots, yDots, off.xMm, off.yMm])).toEqual([
      [0, 0, 0, 0],
      [134, 0, 0.1, 0],
      [0, 134, 0, 0],
    ]);
  });

  test('is never shared by pieces of other dots, settings or profiles, and says why', async () => {
    const size = { widthMm: 20, heightMm: 20 };
    const { settings, profile } = jobOf({ name: 'x', ...size }).job.ticket;
    const jobs = [
      jobOf({ name: 'plain', ...size }),
      jobOf({ name: 'again', ...size }),
      jobOf({ name: 'fine', ...size, grid: { pitchMm: 0.1, lineSpacingMm: 0.05 } }),
      jobOf({ name: 'fast', ...size, ticket: { settings: { ...settings, speedMmPerS: 1500 } } }),
      jobOf({ name: 'other', ...size, ticket: { profile: { ...profile, name: 'another', sha256: 'b' } } }),
    ];
    const { record } = await makePlates(
      jobs.map(({ job }) => job),
      options(),
    );
    const [plate] = record.plates;
    expect(
      plate!.burns.map(({ file, pieces }) => [file, pieces.map((number) => plate!.pieces[number - 1]!.name)]),
    ).toEqual([
      ['plate-1.1.png', ['plain', 'again']],
      ['plate-1.2.png', ['fine']],
      ['plate-1.3.png', ['fast']],
      ['plate-1.4.png', ['other']],
    ]);
    expect(plate!.notes[0]).toMatch(
      /line spacing \(0.1 mm, 0.05 mm\), speed \(1000 mm\/s, 1500 mm\/s\), profile \(anodised-black, another\)/,
    );
  });

  test('one machine and one material a plate', async () => {
    const size = { widthMm: 20, heightMm: 20 };
    const jobs = [
      jobOf({ name: 'card', ...size }),
      jobOf({ name: 'steel', ...size, ticket: { material: { name: 'stainless-steel', title: 'Steel' } } }),
      jobOf({ name: 'wood', ...size, ticket: { machine: { name: 'gantry-450', title: 'Gantry' } } }),
      jobOf({ name: 'card2', ...size }),
    ];
    const { record } = await makePlates(
      jobs.map(({ job }) => job),
      options(),
    );
    expect(record.plates.map(({ pieces }) => pieces.map(({ name }) => name))).toEqual([
      ['card', 'card2'],
      ['steel'],
      ['wood'],
    ]);
    expect(record.notes[0]).toMatch(/different machines or materials do not share a plate/);
    const jig = jigOf([at('A', 10, 10, 30, 30)], { machine: MACHINE });
    const error = await codeOf(() => makePlates([jobs[2]!.job], options({ source: { kind: 'jig', jig } })));
    expect(error.message).toMatch(/wood: found a job for gantry-450, but the jig jig lies under galvo-355-f210/);
  });
});

describe('one bitmap per piece', () => {
  test('keeps the dots, shares a file between copies, and places each', async () => {
    const jig = jigOf([at('A', 10, 10, 40, 30), at('B', 60.03, 10, 40, 30)]);
    const { job, dots } = jobOf({ name: 'cat', widthMm: 40, heightMm: 30, count: 2 });
    const plates = await makePlates([job], options({ source: { kind: 'jig', jig }, bitmaps: 'piece' }));
    const [plate] = plates.record.plates;
    expect(plate!.burns.map(({ file, control }) => [file, control.corner])).toEqual([
      ['piece-cat.png', { xMm: 10, yMm: 10 }],
      ['piece-cat.png', { xMm: 60.03, yMm: 10 }],
    ]);
    expect(await readBitmap(plates, 'piece-cat.png')).toEqual(dots);
    expect(plates.files.filter(({ name }) => name === 'piece-cat.png').length).toBe(1);
    expect(plate!.pieces.every(({ off }) => off.xMm === 0 && off.yMm === 0)).toBe(true);
  });
});

describe('quarter turns', () => {
  const upright = jigOf([at('A', 10, 10, 30, 40), at('B', 60, 10, 30, 40)]);

  test('turn square dots, each whole', async () => {
    const { job, dots } = jobOf({ name: 'cat', widthMm: 40, heightMm: 30 });
    const plates = await makePlates([job], options({ source: { kind: 'jig', jig: upright }, quarterTurns: true }));
    const [plate] = plates.record.plates;
    expect(plate!.pieces[0]).toMatchObject({ turned: true, place: { widthMm: 30, heightMm: 40 } });
    expect(await readBitmap(plates, 'plate-1.png')).toEqual(turnQuarter(dots));
    expect(plate!.notes.join()).toMatch(/turned by a quarter.*tone differs a little/);
  });

  test('are refused where dots are not square, and where nobody asked', async () => {
    const oblong = jobOf({ name: 'cat', widthMm: 40, heightMm: 30, grid: { pitchMm: 0.1, lineSpacingMm: 0.05 } });
    for (const [job, quarterTurns] of [
      [oblong.job, true],
      [jobOf({ name: 'cat', widthMm: 40, heightMm: 30 }).job, false],
    ] as const) {
      const error = await codeOf(() =>
        makePlates([job], options({ source: { kind: 'jig', jig: upright }, quarterTurns })),
      );
      expect([error.code, /turned by a quarter it would fit/.test(error.message)]).toEqual([
        'piece-fits-nowhere',
        true,
      ]);
    }
    const { record } = await makePlates([oblong.job], options({ quarterTurns: true }));
    expect(record.notes[0]).toMatch(/cat is not turned: its dots are 0.1 × 0.05 mm/);
  });
});

describe('packed plates', () => {
  test('reuse the board of an earlier plate when its pockets fit', async () => {
    const { job } = jobOf({ name: 'card', widthMm: 85.6, heightMm: 40, count: 5 });
    const { record, files } = await makePlates([job], options());
    expect(record.plates.map(({ pieces }) => pieces.length)).toEqual([3, 2]);
    expect(new Set(record.plates.map(({ jig }) => jig.mark)).size).toBe(1);
    expect(files.filter(({ name }) => name.endsWith('.svg')).map(({ name }) => name)).toEqual([
      'jig.svg',
      'jig.engrave.svg',
      'jig.cut.svg',
    ]);
    expect(record.batches[0]).toMatchObject({ pieces: 5, plates: 2, lowerBound: 2 });
  });

  test('have boards of one size, and jigs that can be read again', async () => {
    const jobs = [
      jobOf({ name: 'card', widthMm: 85.6, heightMm: 54 }),
      jobOf({ name: 'tall', widthMm: 54, heightMm: 85.6 }),
      jobOf({ name: 'small', widthMm: 20, heightMm: 30, count: 4 }),
    ];
    const { files, record } = await makePlates(
      jobs.map(({ job }) => job),
      options(),
    );
    const jigs = files
      .filter(({ name }) => /^jig.*\.json$/.test(name))
      .map(({ name, bytes }) => parseJig(JSON.parse(String(bytes)), name));
    expect(jigs.length).toBe(record.plates.length);
    expect(new Set(jigs.map(({ widthMm, heightMm }) => `${widthMm} ${heightMm}`))).toEqual(new Set(['170 170']));
  });
});

describe('control strip', () => {
  const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
  const { job, dots } = jobOf({ name: 'card', widthMm: 20, heightMm: 10, grid });

  test('lies in its pocket, in the same bitmap, with a layout to read it by', async () => {
    const jig = jigOf([
      at('A', 10, 10, 20, 10),
      at('S', 10, 40, STRIP_ROOM.lengthMm, STRIP_ROOM.breadthMm, { use: 'strip' }),
    ]);
    const plates = await makePlates([job], options({ source: { kind: 'jig', jig }, strip: true }));
    const [plate] = plates.record.plates;
    expect(plate!.strip).toMatchObject({ pocket: 'S', burn: 1, place: { xMm: 12, yMm: 42, widthMm: 60, heightMm: 8 } });
    const layout = JSON.parse(String(plates.files.find(({ name }) => name === 'plate-1.strip.json')!.bytes));
    expect([layout.schema, layout.hash]).toEqual(['tonewright-chart/1', plates.stripLayouts[0]!.hash]);
    const whole = await readBitmap(plates, 'plate-1.png');
    // From the piece's corner at 10, 10 the strip's is 2 mm right and 32 mm down.
    expect([whole.width, whole.height]).toEqual([100 + 3000, 1600 + 400]);
    const row = (y: number, from: number, to: number) =>
      whole.data.subarray(y * whole.width + from, y * whole.width + to);
    expect(row(0, 0, dots.width)).toEqual(dots.data.subarray(0, dots.width));
    expect(row(1000, 0, whole.width).every((dot) => dot === 0)).toBe(true);
    expect(row(1800, 100, 3100).some((dot) => dot === 1)).toBe(true);
  });

  test('of a screen that counts marks is drawn from what the profile says dots leave', async () => {
    const screen = { name: 'floyd-steinberg', options: { errorOf: 'marks' } };
    const modelled = jobOf({ name: 'card', widthMm: 20, heightMm: 10, grid, ticket: { screen } });
    const source = { ...free, strip: STRIP_ROOM } as LayoutSource;
    const plates = await makePlates([modelled.job], options({ source, strip: true }));
    expect(plates.stripLayouts[0]!.screen).toEqual(screen);
  });

  test('needs a pocket of its own', async () => {
    const jig = jigOf([at('A', 10, 10, 20, 10)]);
    const error = await codeOf(() => makePlates([job], options({ source: { kind: 'jig', jig }, strip: true })));
    expect(error.message).toMatch(/no pocket with "use": "strip".*64 × 12 mm/);
  });

  test('is burned by itself beside a bitmap of many levels', async () => {
    const many = jobOf({ name: 'card', widthMm: 20, heightMm: 10, grid });
    const data = Uint8Array.from(many.dots.data, (dot, i) => (dot === 0 ? 0 : 85 * (1 + (i % 3))));
    const ticket = { ...many.job.ticket, bitmap: { ...many.job.ticket.bitmap, levels: 4 } };
    const shades = createDots(many.dots.width, many.dots.height, 256, data);
    const source = { ...free, strip: STRIP_ROOM } as LayoutSource;
    const plates = await makePlates(
      [{ ...many.job, ticket, load: async () => shades }],
      options({ source, strip: true }),
    );
    expect(plates.record.plates[0]!.burns.map(({ file, levels }) => [file, levels])).toEqual([
      ['plate-1.1.png', 4],
      ['plate-1.strip.png', 2],
    ]);
    expect(await readBitmap(plates, 'plate-1.1.png')).toEqual(shades);
    const two = await codeOf(() => makePlates([{ ...many.job, ticket }], options()));
    expect(two.message).toMatch(/two tones in a bitmap of 4 levels/);
  });

  test('is burned by itself where pieces are', async () => {
    const plates = await makePlates(
      [job],
      options({ source: { ...free, strip: STRIP_ROOM } as LayoutSource, strip: true, bitmaps: 'piece' }),
    );
    expect(plates.record.plates[0]!.burns.map(({ file, strip }) => [file, strip])).toEqual([
      ['piece-card.png', false],
      ['plate-1.strip.png', true],
    ]);
  });
});

test('packs round pieces into round pockets, square ones of the same size into square ones, plate after plate', async () => {
  const sized = (name: string, cornerRadiusMm: number, count: number) =>
    jobOf({ name, widthMm: 40, heightMm: 40, count, ticket: { piece: { widthMm: 40, heightMm: 40, cornerRadiusMm } } });
  const { record, files } = await makePlates([sized('coaster', 20, 9).job, sized('tile', 0, 7).job], options());
  const pieces = record.plates.flatMap((plate) => plate.pieces.map((piece) => ({ ...piece, jig: plate.jig.name })));
  expect(pieces).toHaveLength(16);
  expect(record.plates.length).toBeGreaterThan(1);
  const jigs = files
    .filter((file) => file.name.endsWith('.json') && String(file.bytes).includes('tonewright-jig/1'))
    .map((file) => JSON.parse(String(file.bytes)));
  for (const { name, pocket, jig } of pieces) {
    const { pockets } = jigs.find((one) => one.name === jig);
    const cut = pockets.find((one: { name: string }) => one.name === pocket);
    expect([name, cut.round]).toEqual([name, name === 'coaster' ? true : undefined]);
  }
});

test('says from which side its pieces are looked at, of some by their names', async () => {
  const seen = { note: 'Looked at through the stock.' };
  const piece = (name: string, ticket: Partial<JobTicket>) => jobOf({ name, widthMm: 20, heightMm: 10, ticket }).job;
  const notesOf = async (jobs: readonly PlateJob[]) => (await makePlates(jobs, options())).record.plates[0]!.notes;
  expect(await notesOf([piece('cat', { seen }), piece('cup', { seen })])).toContain(seen.note);
  expect(await notesOf([piece('cat', { seen }), piece('cup', {})])).toContain(`cat: ${seen.note}`);
  expect((await notesOf([piece('cat', {})])).join()).not.toContain('Looked at');
});

describe('what is written', () => {
  const jig = layoutGrid({
    ...(free as Extract<LayoutSource, { kind: 'packed' }>).frame,
    columns: 2,
    rows: 2,
    pocketWidthMm: 40,
    pocketHeightMm: 30,
    fieldMm: [110, 110],
    machineTitle: MACHINE,
  });
  const price = { amountMinor: 5998, currency: 'EUR', locale: 'en-IE', minorDigits: 2 };
  const job: PlateJob = {
    ...jobOf({ name: 'cat', widthMm: 40, heightMm: 30, count: 3, ticket: { warnings: ['Too soft.'] } }).job,
    price,
    text: 'For <Ada>',
  };
  const correction = { offsetXMm: 0.2, offsetYMm: -0.1, turnDeg: 0.3 };
  const make = () => makePlates([job], options({ source: { kind: 'jig', jig }, correction }));
  let made: Awaited<ReturnType<typeof make>>;
  const textOf = (name: string) => String(made.files.find((file) => file.name === name)!.bytes);

  beforeAll(async () => {
    made = await make();
  });

  test('is the same twice, and ends with the page of all plates', async () => {
    expect(made.files.map(({ name }) => name)).toEqual([
      'jig.svg',
      'jig.engrave.svg',
      'jig.cut.svg',
      'jig.json',
      'jig.csv',
      'jig.align.png',
      'jig.html',
      'plate-1.png',
      'plate-1.ticket.json',
      'plate-1.ticket.html',
      'plates.csv',
      'plates.json',
      'plates.html',
    ]);
    const again = await make();
    for (const [index, { name, bytes }] of made.files.entries()) {
      expect(Buffer.from(again.files[index]!.bytes as Uint8Array).equals(Buffer.from(bytes as Uint8Array)), name).toBe(
        true,
      );
    }
  });

  test('the ticket tells sequence, places, time, price, cautions and what is assumed', () => {
    const page = textOf('plate-1.ticket.html');
    for (const words of [
      'Plate 1 of 1',
      '€59.98',
      'Too soft.',
      'For &lt;Ada&gt;',
      'Hot.',
      'Something.',
      'Import <b>plate-1.png</b>',
      'came out 0.2 mm too far right and 0.1 mm too far up and turned by 0.3° clockwise',
      'Turn each bitmap by 0.3° anticlockwise',
      '3 of 3',
    ]) {
      expect(page).toContain(words);
    }
    expect(page).not.toMatch(/NaN|undefined|<Ada>/);
    expect(textOf('plates.html')).toContain('€59.98');
    const ticket = JSON.parse(textOf('plate-1.ticket.json'));
    expect(ticket).toEqual(JSON.parse(textOf('plates.json')).plates[0]);
    expect(ticket.price.amountMinor).toBe(5998);
    expect(ticket.time.secondsApart).toBeGreaterThan(0);
  });

  test('the table has a row for the bitmap and for every piece, with all columns', () => {
    const rows = textOf('plates.csv')
      .trimEnd()
      .split('\r\n')
      .map((row) => row.split(','));
    expect(rows.map(([, what]) => what)).toEqual(['what', 'bitmap', 'piece', 'piece', 'piece']);
    expect(new Set(rows.map((row) => row.length)).size).toBe(1);
    const column = (name: string) => rows[0]!.indexOf(name);
    expect(rows.slice(2).map((row) => [row[column('x_dots')], row[column('y_dots')]])).toEqual([
      ['0', '0'],
      ['450', '0'],
      ['0', '350'],
    ]);
    expect(rows[1]![column('turn_deg_clockwise')]).toBe('-0.3');
  });

  test('the jig’s page says how to measure, over which length', () => {
    // From cross 1 at 17 to cross 2 at 12 + 40 + 5 + 40 − 5.
    expect(textOf('jig.html')).toContain('--turn d/75');
    expect(textOf('jig.csv').split('\r\n').length).toBe(6);
  });

  test.each(SHOP.list('jigs'))(
    'the example’s jig $name can be cut and lies in the field of its machine',
    ({ name }) => {
      const { json, path } = SHOP.read('jigs', name);
      const example = parseJig(json, path);
      const machine = readMachine(example.machine!, SHOP);
      expect(example.name).toBe(name);
      refuseBeyondField(example, { fieldMm: machine.fieldMm, machine: machine.name });
      const [drawing] = makeJig(example, { machine, correction: NO_CORRECTION, format: 'png', version: '0' });
      expect(String(drawing!.bytes)).toContain(`width="${example.widthMm + example.kerfMm}mm"`);
    },
  );

  test('a jig alone has the same files', () => {
    const machine = readMachine(MACHINE, SHOP);
    const files = makeJig(jig, { machine, correction: NO_CORRECTION, format: 'png', version: '0' });
    expect(files.map(({ name }) => name)).toEqual([
      ...['jig.svg', 'jig.engrave.svg', 'jig.cut.svg'],
      ...['jig.json', 'jig.csv', 'jig.align.png', 'jig.html'],
    ]);
  });

  test('the price of an order is shared out to the last coin', async () => {
    const big = jobOf({ name: 'big', widthMm: 90, heightMm: 90, count: 3 }).job;
    const { record } = await makePlates([{ ...big, price: { ...price, amountMinor: 1000 } }], options());
    expect(record.plates.map((plate) => plate.price!.amountMinor)).toEqual([333, 333, 334]);
    const { record: mixed } = await makePlates([job, jobOf({ name: 'gift', widthMm: 9, heightMm: 9 }).job], options());
    expect(mixed.plates[0]!.price).toBe(null);
  });

  test('a correction that leaves the field is told', async () => {
    const near = jigOf([at('A', 1.5, 1.5, 40, 30)], { fieldAtMm: [1, 1], notch: null, reliefDiameterMm: 0 });
    const { record } = await makePlates(
      [jobOf({ name: 'cat', widthMm: 40, heightMm: 30 }).job],
      options({ source: { kind: 'jig', jig: near }, correction: { offsetXMm: 0.8, offsetYMm: 0, turnDeg: 0 } }),
    );
    expect(record.plates[0]!.warnings[0]).toMatch(/plate-1.png: the correction moves a corner 0.3 mm out of the field/);
  });
});

describe('bad input', () => {
  test('a ticket that is none, or whose bitmap is not the piece alone', async () => {
    const { ticket } = jobOf({ name: 'cat', widthMm: 40, heightMm: 30 }).job;
    expect(parseJobTicket(ticket, 'cat')).toEqual(ticket);
    expect((await codeOf(() => parseJobTicket({ schema: 'tonewright-order/1' }, 'cat'))).message).toMatch(
      /field "schema"/,
    );
    expect((await codeOf(() => parseJobTicket({ schema: 'tonewright-marks/1' }, 'cat'))).message).toMatch(
      /a job of several marks, needed one of a single bitmap/,
    );
    const joined = { ...ticket, bitmap: { ...ticket.bitmap, height: 410 } };
    expect((await codeOf(() => parseJobTicket(joined, 'cat'))).message).toMatch(/needed the piece alone/);
  });

  test('a bitmap of another size, no job at all, and a bitmap that no computer holds', async () => {
    const { job } = jobOf({ name: 'cat', widthMm: 40, heightMm: 30 });
    const wrong = { ...job, load: async () => createDots(3, 3) };
    expect((await codeOf(() => makePlates([wrong], options()))).message).toMatch(/3 × 3 dots, needed the 400 × 300/);
    expect((await codeOf(() => makePlates([], options()))).code).toBe('option-invalid');
    const jig = jigOf([at('A', 5, 5, 5, 5), at('B', 105, 105, 5, 5)]);
    const fine = jobOf({
      name: 'dot',
      widthMm: 5,
      heightMm: 5,
      grid: { pitchMm: 0.005, lineSpacingMm: 0.005 },
      count: 2,
    });
    expect((await codeOf(() => makePlates([fine.job], options({ source: { kind: 'jig', jig } })))).message).toMatch(
      /a bitmap of its own|one bitmap for each piece/,
    );
  });
});
