import { createRequire } from 'node:module';
import { describe, expect, test } from 'vitest';
import { burnDots, followProgram, type Stretch, splitRuns } from '../../benchmarks/common/follow-program.ts';
import {
  estimateTime,
  type Machine,
  type Motion,
  parseMachine,
  planProgram,
  programRunUpMm,
  refuseProgram,
} from '../../src/machine/index.ts';
import { readJson } from '../../src/material/index.ts';
import { createDots, DOT_FORMATS, type Dots, decodeDotsBytes, type ProgramWords } from '../../src/plane/index.ts';

const require = createRequire(import.meta.url);
// Of cncjs, a program for milling machines; MIT. They bring no types.
const Toolpath = require('gcode-toolpath') as new (options: {
  addLine(
    modal: { motion: string; spindle: string; units: string; distance: string },
    from: { x: number; y: number },
    to: { x: number; y: number },
  ): void;
}) => { loadFromStringSync(text: string): void };
const { parseLine } = require('gcode-parser') as {
  parseLine(line: string): { words: readonly (readonly [letter: string, value: number])[] };
};

const GANTRY = parseMachine(readJson('shared/machines/gantry-450.json'), 'gantry-450');
const WORDS: ProgramWords = { ...GANTRY.program!, decimals: 6 };
const GRID = { pitchMm: 0.08, lineSpacingMm: 0.1 };
const SETTINGS = { powerW: 5, speedMmPerS: 80, passes: 1, scan: 'two-way' } as const;

/** Lone dots, runs, an empty line, a line at the edges. */
function drawDots(levels = 2): Dots {
  const rows = [
    '#..##.#.....###.',
    '................',
    '.....#..........',
    '#..............#',
    '################',
    '..#.##..........',
  ];
  const dots = createDots(16, rows.length, levels);
  rows.forEach((row, y) => {
    [...row].forEach((sign, x) => {
      if (sign === '#') dots.data[16 * y + x] = levels === 2 ? 1 : 1 + ((3 * x + y) % (levels - 1));
    });
  });
  return dots;
}

/** The machine with a rotary whose word grows by so much in a turn. */
const turning = (wordPerTurn: number, axis: 'A' | 'B' | 'C' | 'Y' = 'A'): Machine => ({
  ...GANTRY,
  program: { ...GANTRY.program!, turn: { axis, wordPerTurn } },
});

interface Choice {
  readonly machine?: Partial<Machine>;
  readonly words?: Partial<ProgramWords>;
  readonly settings?: Partial<typeof SETTINGS | { scan: 'one-way'; passes: number; speedMmPerS: number }>;
  readonly dots?: Dots;
  readonly turnMm?: number;
}

function makeProgram({ machine: own, words, settings: asked, dots = drawDots(), turnMm }: Choice = {}) {
  const machine: Machine = { ...GANTRY, ...own, program: { ...WORDS, ...words } };
  const settings = { ...SETTINGS, ...asked } as typeof SETTINGS;
  const [widthMm, heightMm] = [dots.width * GRID.pitchMm, dots.height * GRID.lineSpacingMm];
  const piece = { widthMm, heightMm, xMm: 100, yMm: 50, ...(turnMm === undefined ? {} : { turnMm }) };
  const { program, facts, notices } = planProgram(machine, {
    title: 'card',
    blocks: [{ remark: 'card', dots, grid: GRID, settings, xMm: 0, yMm: 0 }],
    piece,
    cautions: machine.cautions.map(({ text }) => text),
  });
  const counts = { bytes: 0, blocks: 0 };
  const bytes = Buffer.concat([...DOT_FORMATS.gcode.write(program, counts)]);
  return { machine, settings, dots, bytes, text: bytes.toString('latin1'), facts, notices, counts, piece, program };
}

/** Middle of the first dot with 0, 0 at the lower left corner of the piece, x right, y up. */
const FROM_BELOW = {
  first: [GRID.pitchMm / 2, 6 * GRID.lineSpacingMm - GRID.lineSpacingMm / 2],
  step: [GRID.pitchMm, -GRID.lineSpacingMm],
} as const;

const sizeOf = (dots: Dots, full = 500) => ({ width: dots.width, height: dots.height, levels: dots.levels, full });

describe('a program burns the dots of its bitmap and nothing else', () => {
  test.each([
    ['there and back', {}],
    ['one way', { settings: { scan: 'one-way' } }],
    ['in inches', { words: { units: 'in' } }],
    ['five levels', { dots: drawDots(5) }],
    ['another beam word and end', { words: { beam: 'M4', end: 'M30' } }],
    ['bare ends run', { machine: { motion: { ...GANTRY.motion, bare: 'line-ends-scanned' } as Motion } }],
    ['every line run', { machine: { motion: { ...GANTRY.motion, bare: 'all-scanned' } as Motion } }],
  ] as const)('%s: by an interpreter of its own, and by its reader', async (_, choice) => {
    const { text, dots, bytes, settings } = makeProgram(choice as Choice);
    const { stretches, beforePause } = followProgram(text);
    expect(burnDots(stretches, sizeOf(dots), FROM_BELOW)).toEqual(dots);
    expect(stretches.slice(0, beforePause).every(({ power, isRapid }) => power === 0 && isRapid)).toBe(true);
    for (const { power, feedMmPerS } of stretches)
      if (power > 0) expect(feedMmPerS).toBeCloseTo(settings.speedMmPerS, 3);
    const read = await decodeDotsBytes(bytes, 'card');
    const greys = Uint8Array.from(dots.data, (level) => Math.round((255 * level) / (dots.levels - 1)));
    expect(read.dots.data).toEqual(dots.levels === 2 ? dots.data : greys);
    expect(read.grid!.pitchMm).toBeCloseTo(GRID.pitchMm, 9);
    expect(read.grid!.lineSpacingMm).toBeCloseTo(GRID.lineSpacingMm, 9);
  });

  test.each(['two-way', 'one-way'] as const)('%s: by a general parser of such programs', (scan) => {
    const { text, dots } = makeProgram({ settings: { scan } } as Choice);
    const stretches: Stretch[] = [];
    let power = 0;
    const path = new Toolpath({
      addLine({ motion, spindle, units, distance }, from, to) {
        expect([units, distance]).toEqual(['G21', 'G90']);
        const isOn = spindle === 'M3';
        if (isOn && power > 0) expect(motion).toBe('G1');
        stretches.push({
          from: [from.x, from.y],
          to: [to.x, to.y],
          isRapid: motion === 'G0',
          feedMmPerS: 0,
          power: isOn ? power : 0,
        });
      },
    });
    for (const line of text.split('\n')) {
      for (const [letter, value] of parseLine(line).words) if (letter === 'S') power = value;
      path.loadFromStringSync(`${line}\n`);
    }
    expect(burnDots(stretches, sizeOf(dots), FROM_BELOW)).toEqual(dots);
  });

  test('several passes burn each dot as often', () => {
    const { text, dots } = makeProgram({ settings: { passes: 3 } } as unknown as Choice);
    const { stretches, beforePause } = followProgram(text);
    const own = stretches.slice(beforePause);
    const third = (own.length - 1) / 3;
    expect(Number.isInteger(third)).toBe(true);
    for (const pass of [0, 1, 2]) {
      expect(burnDots(own.slice(pass * third, (pass + 1) * third), sizeOf(dots), FROM_BELOW)).toEqual(dots);
    }
  });

  test.each([
    ['top-left', [100.04, 50.05], [0.08, 0.1]],
    ['top-right', [299.96, 50.05], [-0.08, 0.1]],
    ['bottom-left', [100.04, 349.95], [0.08, -0.1]],
    ['bottom-right', [299.96, 349.95], [-0.08, -0.1]],
    ['centre', [-99.96, 149.95], [0.08, -0.1]],
  ] as const)('where 0, 0 is the field’s %s, dots lie in the field as the axes run', (origin, first, step) => {
    const control = { power: 'W', speed: 'mm/s', rate: 'kHz', fires: 'black', origin, mirrors: 'no' } as const;
    const { text, dots, bytes } = makeProgram({ machine: { control }, words: { zero: 'field' } });
    const { stretches } = followProgram(text);
    expect(burnDots(stretches, sizeOf(dots), { first, step })).toEqual(dots);
    return expect(decodeDotsBytes(bytes, 'card')).resolves.toMatchObject({ dots });
  });

  test.each([
    [120, 0],
    [0, 0.16],
    [-300, 0.05],
  ])('a beam that lags by %i µs and a slack of %f mm land on the dots', async (beamLagUs, backlashMm) => {
    const { text, dots, bytes, settings } = makeProgram({ words: { beamLagUs, backlashMm } });
    const lagMm = (settings.speedMmPerS * beamLagUs) / 1e6;
    const { stretches } = followProgram(text);
    expect(burnDots(stretches, sizeOf(dots), { ...FROM_BELOW, lagMm, backlashMm })).toEqual(dots);
    expect((await decodeDotsBytes(bytes, 'card')).dots).toEqual(dots);
  });
});

const closedForm = (distance: number, speed: number, acceleration: number) =>
  distance < speed ** 2 / acceleration
    ? 2 * Math.sqrt(distance / acceleration)
    : distance / speed + speed / acceleration;

describe('a program turns a round piece from line to line', () => {
  const turnMm = Math.PI * 20;
  const degreesOf = (mm: number) => (360 * mm) / turnMm;
  const around = (share: number) =>
    ({
      first: [GRID.pitchMm / 2, (share * degreesOf(GRID.lineSpacingMm)) / 2],
      step: [GRID.pitchMm, share * degreesOf(GRID.lineSpacingMm)],
    }) as const;

  test.each([
    ['degrees', 'A', 360, 'mm', 1],
    ['degrees beside inches, which they are not', 'B', 360, 'in', 1],
    ['a rotary that turns the other way', 'C', -360, 'mm', -1],
    ['a drive of half the ratio', 'A', 180, 'mm', 0.5],
  ] as const)('%s', async (_, axis, wordPerTurn, units, share) => {
    const { text, dots, bytes } = makeProgram({ turnMm, words: { units, turn: { axis, wordPerTurn } } });
    const { stretches } = followProgram(text, { turnAxis: axis });
    expect(burnDots(stretches, sizeOf(dots), around(share))).toEqual(dots);
    expect(text).not.toMatch(/^[^(\n]*Y/m);
    const read = await decodeDotsBytes(bytes, 'tumbler');
    expect(read.dots.data).toEqual(dots.data);
    expect(read.grid!.lineSpacingMm).toBeCloseTo(GRID.lineSpacingMm, 9);
  });

  test.each([
    ['mm', 1],
    ['in', 25.4],
  ] as const)('a rotary in the place of Y, whose words are lengths, in %s', async (units, unit) => {
    const { text, dots, bytes } = makeProgram({ turnMm, words: { units, turn: { axis: 'Y', wordPerTurn: 50 } } });
    // A turn is 50 mm to the controller whatever the piece; the interpreter gives mm.
    const stepMm = (50 * GRID.lineSpacingMm) / turnMm;
    const { stretches } = followProgram(text);
    expect(burnDots(stretches, sizeOf(dots), { first: [0.04, stepMm / 2], step: [0.08, stepMm] })).toEqual(dots);
    expect(
      text.match(/^G0 X\S+ Y(\S+)$/gm)!.some((line) => line.endsWith(`Y${Number((stepMm / 2 / unit).toFixed(6))}`)),
    ).toBe(true);
    expect((await decodeDotsBytes(bytes, 'tumbler')).dots.data).toEqual(dots.data);
  });

  test('every pass comes to its first line from before, beyond the slack, and goes one way from there', () => {
    const words = { turn: { axis: 'A', wordPerTurn: 360 } } as const;
    const { text } = makeProgram({ turnMm, words, settings: { passes: 2 } } as unknown as Choice);
    const { stretches, beforePause } = followProgram(text, { turnAxis: 'A' });
    const own = stretches.slice(beforePause);
    const starts = own.flatMap(({ to }, at) => (to[1] < 0 ? [at] : []));
    expect(starts).toHaveLength(2);
    for (const [k, start] of starts.entries()) {
      expect(own[start]!.to[1]).toBeCloseTo(-2, 6);
      const pass = own.slice(start, starts[k + 1] ?? -1).map(({ to }) => to[1]);
      expect(pass).toEqual(pass.toSorted((a, b) => a - b));
    }
  });

  test('its 0, 0 is set by hand, whatever the machine has, and its head says so', () => {
    const words = { zero: 'field', turn: { axis: 'A', wordPerTurn: 360 } } as const;
    const { text, dots } = makeProgram({ turnMm, words });
    const { stretches, remarks } = followProgram(text, { turnAxis: 'A' });
    expect(burnDots(stretches, sizeOf(dots), around(1))).toEqual(dots);
    const head = remarks.join(' ');
    expect(head).toContain('A360 is a whole turn');
    expect(head).toContain('X0 is the left end of the picture, A0 is where the piece stands at the start');
    expect(head).toContain('Set the head above the axis by hand');
  });
});

describe('the motion of a program', () => {
  const {
    accelerationMmPerS2: a,
    travelSpeedMmPerS,
    turnDelayMs,
    overtravelMm,
  } = GANTRY.motion as {
    accelerationMmPerS2: number;
    travelSpeedMmPerS: number;
    turnDelayMs: number;
    overtravelMm: number;
  };
  const lengthOf = ({ from, to }: Stretch) => Math.hypot(to[0] - from[0], to[1] - from[1]);

  test('nothing fires at rest, in a rapid move, or before the speed is reached', () => {
    const { text, settings } = makeProgram();
    const { stretches, powerAtRest, longestLine } = followProgram(text);
    expect(powerAtRest).toBe(0);
    expect(longestLine).toBeLessThanOrEqual(72);
    const rampMm = settings.speedMmPerS ** 2 / (2 * a);
    let lines = 0;
    for (const run of splitRuns(stretches)) {
      if (run[0]!.isRapid) {
        expect(run[0]!.power).toBe(0);
        continue;
      }
      lines++;
      const lengths = run.map(lengthOf);
      const burning = run.flatMap(({ power }, at) => (power > 0 ? [at] : []));
      const sum = (part: readonly number[]) => part.reduce((total, length) => total + length, 0);
      expect(sum(lengths.slice(0, burning[0]))).toBeGreaterThanOrEqual(rampMm + overtravelMm);
      expect(sum(lengths.slice(burning.at(-1)! + 1))).toBeGreaterThanOrEqual(rampMm + overtravelMm);
      // One straight way in one sense: the head never slows down for a turn within it.
      expect(sum(lengths)).toBeCloseTo(Math.abs(run.at(-1)!.to[0] - run[0]!.from[0]), 6);
    }
    expect(lines).toBe(5);
  });

  test.each([
    ['there and back', {}],
    ['one way, twice', { settings: { scan: 'one-way', passes: 2 } }],
    ['bare ends run', { machine: { motion: { ...GANTRY.motion, bare: 'line-ends-scanned' } as Motion } }],
    ['every line run', { machine: { motion: { ...GANTRY.motion, bare: 'all-scanned' } as Motion } }],
  ] as const)('%s: it takes as long as the clock says', (_, choice) => {
    const { text, machine, settings, dots } = makeProgram(choice as Choice);
    const { stretches, beforePause } = followProgram(text);
    let seconds = 0;
    let lines = 0;
    // The first rapid move comes from wherever the pause left the head; the clock begins at the first line.
    for (const run of splitRuns(stretches.slice(beforePause + 1))) {
      const [dx, dy] = [0, 1].map((k) => Math.abs(run.at(-1)!.to[k]! - run[0]!.from[k]!)) as [number, number];
      if (run[0]!.isRapid) {
        seconds += Math.max(closedForm(dx, travelSpeedMmPerS, a), closedForm(dy, travelSpeedMmPerS, a));
      } else {
        lines++;
        seconds += closedForm(dx, run[0]!.feedMmPerS, a) + turnDelayMs / 1000;
      }
    }
    const clock = estimateTime(dots, { motion: machine.motion, settings, grid: GRID });
    expect(lines).toBe(clock.scanLines * clock.passes);
    const expected = clock.seconds - clock.parts.overheadS;
    expect(Math.abs(seconds / expected - 1)).toBeLessThan(1e-4);
  });

  test('run-ups of coarse steps are never shorter than the clock’s', () => {
    for (const decimals of [1, 2, 3]) {
      const words = { ...WORDS, decimals };
      const runUpMm = programRunUpMm(80, GANTRY, words);
      expect(runUpMm).toBeGreaterThan(80 ** 2 / (2 * a) + overtravelMm);
      expect(runUpMm).toBeLessThan(80 ** 2 / (2 * a) + overtravelMm + 2.1 / 10 ** decimals);
    }
  });
});

describe('the head of a program', () => {
  test('says what full power is, where 0, 0 is, what to keep free, and the usual cautions', () => {
    const { text, machine } = makeProgram();
    const { remarks } = followProgram(text);
    const said = remarks.join(' ');
    expect(said).toContain('S1000 is full power, 10 W');
    expect(said).toContain('0, 0 is the bottom left corner of the piece');
    expect(said).toMatch(/Keep 3\.14 mm free/);
    for (const word of ['eyewear', 'enclosure', 'xtract', 'fire', 'unattended', 'manual']) expect(said).toContain(word);
    expect(said.match(/Caution:/g)).toHaveLength(machine.cautions.length);
    expect([...text].every((letter) => letter === '\n' || (letter >= ' ' && letter <= '~'))).toBe(true);
  });

  test('the counts are those of the file', () => {
    const { bytes, text, counts } = makeProgram();
    const blocks = text.split('\n').filter((line) => /^[A-Z]/.test(line)).length;
    expect(counts).toEqual({ bytes: bytes.length, blocks });
  });
});

describe('what a program warns of and refuses', () => {
  test('a power between two steps of the S word, and levels that fall together', () => {
    const coarse = makeProgram({ words: { fullPower: 7 }, dots: drawDots(5) });
    expect(coarse.facts.power).toBe(4);
    expect(coarse.notices.map(({ code }) => code)).toEqual(['program-power-rounded']);
    const few = makeProgram({ words: { fullPower: 4 }, dots: drawDots(5) });
    expect(few.notices.map(({ code }) => code)).toEqual(['program-levels-merged']);
    expect(makeProgram({ words: { fullPower: 1, powerStep: 0.001 }, dots: drawDots(5) }).notices).toEqual([]);
  });

  test('more blocks a second than the controller follows, with the speed that it would follow', () => {
    const dots = createDots(
      60,
      2,
      2,
      new Uint8Array(120).map((_, at) => at % 2),
    );
    const { notices } = makeProgram({ dots, words: { blocksPerS: 100 } });
    expect(notices.map(({ code }) => code)).toEqual(['program-too-dense']);
    const { needed, speedMmPerS } = notices[0]!.data as { needed: number; speedMmPerS: number };
    // Dots every second place: a block a pitch.
    expect(needed / (80 / GRID.pitchMm)).toBeCloseTo(1, 1);
    expect(speedMmPerS).toBeCloseTo((80 * 100) / needed, 9);
    expect(makeProgram({ dots, words: { blocksPerS: 1100 } }).notices).toEqual([]);
  });

  const REQUEST = { widthMm: 80, settings: { speedMmPerS: 80 }, grid: GRID };
  const { program: _, ...dumb } = GANTRY;
  test.each([
    ['a machine that reads none', dumb, REQUEST, /no word in its record/],
    ['no room to gain speed', GANTRY, { ...REQUEST, widthMm: 395 }, /2\.5 mm of the field .* needed 3\.14 mm/],
    ['a round piece without an axis that turns', GANTRY, { ...REQUEST, turnMm: 200 }, /no word .* that turns a piece/],
    [
      'turns coarser than lines',
      turning(4),
      { ...REQUEST, turnMm: 200 },
      /turns in steps of 0\.05 mm around the piece/,
    ],
    [
      'places coarser than dots',
      GANTRY,
      { ...REQUEST, grid: { ...GRID, pitchMm: 0.005 } },
      /pitch of 0\.01 mm or more/,
    ],
  ])('%s', (_title, machine, request, words) => {
    expect(() => refuseProgram(machine as Machine, request)).toThrow(
      expect.objectContaining({ code: 'program-impossible', message: expect.stringMatching(words) }),
    );
  });

  test('a program cut short, and one that is no program of ours', async () => {
    const { bytes } = makeProgram();
    for (const share of [0.01, 0.3, 0.95]) {
      const cut = bytes.subarray(0, Math.max(60, Math.floor(bytes.length * share)));
      await expect(decodeDotsBytes(cut, 'card')).rejects.toMatchObject({ code: 'image-broken' });
    }
    await expect(decodeDotsBytes(Buffer.from('%\nG21 G90\nM2\n%\n'), 'card')).rejects.toMatchObject({
      code: 'image-unknown',
    });
  });
});
