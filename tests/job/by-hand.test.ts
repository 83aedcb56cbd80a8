import { describe, expect, test } from 'vitest';
import { type JobRequest, parseJobTicket, prepareJob, resolveJob, resolveMarks } from '../../src/job/index.ts';
import { createDots, decodeDotsBytes, mirrorDots, orientDots, readPhoto, turnQuarter } from '../../src/plane/index.ts';
import { readRequest } from '../../src/tasks/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const KNOWN = { shop: SHOP, refused: REFUSED };
const CARD = { size: '20x12', profile: 'anodised-black', pitchMm: 0.1, lineSpacingMm: 0.1, subject: 'none' } as const;
const resolve = (more: Partial<JobRequest>) => resolveJob({ ...CARD, ...more }, KNOWN);

async function make(more: Partial<JobRequest>) {
  const { files, ticket } = await prepareJob(() => readPhoto('images/photos/cat.png'), {
    spec: resolve(more),
    name: 'cat',
    photoFile: 'cat.png',
    version: '0',
    only: 'everything',
  });
  const bytesOf = (name: string) => files.find((file) => file.name === name)!.bytes as Uint8Array;
  return {
    ticket: ticket!,
    page: String(bytesOf('cat.ticket.html')),
    proof: Buffer.from(bytesOf('cat.proof.png')),
    dots: (await decodeDotsBytes(Buffer.from(bytesOf('cat.png')), 'cat.png')).dots,
    strip: async () => (await decodeDotsBytes(Buffer.from(bytesOf('cat.strip.png')), 'strip')).dots,
  };
}

describe('settings by hand', () => {
  test('replace the profile’s, and no others', () => {
    const learned = resolve({}).settings;
    expect(resolve({ settings: { powerW: 2, scan: 'two-way' } }).settings).toEqual({
      ...learned,
      powerW: 2,
      scan: 'two-way',
    });
    expect(resolve({})).not.toHaveProperty('setByHand');
    expect(resolve({ settings: { scan: 'two-way', powerW: 2 } }).setByHand).toEqual(['powerW', 'scan']);
  });

  test('need neither a profile nor a chart', () => {
    const request = { size: '50x50', material: 'slate', machine: 'gantry-450' };
    const { settings, warnings } = resolveJob(
      { ...request, settings: { powerW: 4, speedMmPerS: 90, passes: 2 } },
      KNOWN,
    );
    expect(settings).toMatchObject({ powerW: 4, speedMmPerS: 90, passes: 2 });
    expect(warnings.map(({ text }) => text).join(' ')).toContain('The dose is');
  });

  test('of another dose than the profile’s are told, and not refused: whoever types them means them', () => {
    const { powerW } = resolve({}).settings;
    const said = resolve({ settings: { powerW: powerW * 0.2, passes: 40 } })
      .warnings.map(({ text }) => text)
      .join(' ');
    expect(said).toContain('times the');
    expect(said).toContain('learned with other settings');
  });

  test.each([
    [{ powerW: 600 }, 'the settings: found a power of 600 W'],
    [{ speedMmPerS: 0.0001 }, 'the settings: found a speed'],
  ])('%o is beyond the machine, and refused', (settings, message) => {
    expect(() => resolve({ settings })).toThrow(expect.objectContaining({ message: expect.stringContaining(message) }));
  });

  test('pulses of a beam that has none are refused', () => {
    const request = { size: '50x50', material: 'slate', machine: 'gantry-450', settings: { rateKHz: 20 } };
    expect(() => resolveJob(request, KNOWN)).toThrow(/rate: found 20, but gantry-450 has no pulse rate to set/);
  });

  test('stand beside no palette, whose marks have their own', () => {
    const request = { size: '20x12', palette: 'stainless-oxides', settings: { powerW: 2 } };
    expect(() => resolveMarks(request, KNOWN)).toThrow(/settings beside several marks/);
  });

  test('are read from options as they are typed', () => {
    const options = { size: '20x12', power: '2,5', speed: '800', rate: '40', passes: '2', scan: 'one-way' };
    const { settings, mirror, rotateDeg } = readRequest({ ...options, mirror: true, rotate: '-90' });
    expect(settings).toEqual({ powerW: 2.5, speedMmPerS: 800, rateKHz: 40, passes: 2, scan: 'one-way' });
    expect([mirror, rotateDeg]).toEqual([true, 270]);
    expect(readRequest({ size: '20x12', rotate: '0' })).not.toHaveProperty('rotateDeg');
    expect(() => readRequest({ size: '20x12', rotate: '45' })).toThrow(/rotate: found "45", needed 0, 90, 180 or 270/);
  });

  test('stand on the ticket, with what the material wants done before and after', async () => {
    const { ticket, page } = await make({ settings: { powerW: 2 } });
    expect(ticket.settings.powerW).toBe(2);
    expect(ticket.setByHand).toEqual(['powerW']);
    expect(ticket.handling?.before[0]?.source).toBe('commonPractice');
    expect(page).toContain('Set by hand');
    expect(page).toContain('Before the burn');
    expect(page).toContain('After the burn');
  });
});

describe('how the dots go into the bitmap', () => {
  const dots = createDots(3, 2, 2, Uint8Array.from([1, 0, 0, 1, 1, 0]));

  test('mirrored first, then turned clockwise', () => {
    expect([...mirrorDots(dots).data]).toEqual([0, 0, 1, 0, 1, 1]);
    const both = orientDots(dots, { mirrored: true, turnedDeg: 90 });
    expect([both.width, both.height, ...both.data]).toEqual([2, 3, 0, 0, 1, 0, 1, 1]);
    expect(orientDots(dots, undefined)).toBe(dots);
  });

  test('the bitmap is the very same dots; proof, error and piece are as it is looked at', async () => {
    const [plain, turned] = [await make({}), await make({ mirror: true, rotateDeg: 90 })];
    expect(turned.dots.data).toEqual(turnQuarter(mirrorDots(plain.dots)).data);
    expect(turned.proof.equals(plain.proof)).toBe(true);
    expect(turned.ticket.prediction).toEqual(plain.ticket.prediction);
    expect(turned.ticket.piece).toEqual(plain.ticket.piece);
    expect(turned.ticket.orientation).toEqual({ mirrored: true, turnedDeg: 90 });
    expect(plain.ticket).not.toHaveProperty('orientation');
    expect([turned.ticket.bitmap.width, turned.ticket.bitmap.height]).toEqual([120, 200]);
    const { xMm, yMm, note } = turned.ticket.placement;
    const [fieldWidth, fieldHeight] = turned.ticket.machine.fieldMm;
    expect([xMm, yMm]).toEqual([(fieldWidth - 12) / 2, (fieldHeight - 20) / 2]);
    expect(note).toContain('on the back of the piece');
    expect(note).toContain('upper edge to the right');
  });

  test('a strip beside a mirrored piece is mirrored, too, so that both are looked at from one side', async () => {
    const [plain, mirrored] = [await make({ strip: 'apart' }), await make({ strip: 'apart', mirror: true })];
    expect((await mirrored.strip()).data).toEqual(mirrorDots(await plain.strip()).data);
  });

  test('a quarter turn needs square dots', () => {
    expect(() => resolve({ lineSpacingMm: 0.12, rotateDeg: 90 })).toThrow(/turn by half turns only/);
    expect(resolve({ lineSpacingMm: 0.12, rotateDeg: 180 }).orientation?.turnedDeg).toBe(180);
  });

  test('a piece that fits the field only as it lies is taken', () => {
    const { fieldMm } = SHOP.read('machines', 'gantry-10600').json as { fieldMm: [number, number] };
    const [long, short] = [Math.max(...fieldMm), Math.min(...fieldMm)];
    expect(long).toBeGreaterThan(short);
    const request = { size: `${short}x${long}`, material: 'slate', machine: 'gantry-10600' };
    expect(() => resolveJob(request, KNOWN)).toThrow(/missing/);
    expect(resolveJob({ ...request, rotateDeg: 270 }, KNOWN).orientation).toBeDefined();
  });

  test('on a plate it is as large as it lies', async () => {
    const { ticket } = await make({ rotateDeg: 270 });
    const { piece } = parseJobTicket(JSON.parse(JSON.stringify(ticket)), 'cat.ticket.json');
    expect([piece.widthMm, piece.heightMm]).toEqual([12, 20]);
  });
});
