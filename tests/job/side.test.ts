import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import type { CaptureImage } from '../../src/chart/index.ts';
import {
  type ChartRequest,
  checkLocated,
  type JobRequest,
  type Learned,
  learnProfile,
  locateCaptures,
  makeChart,
  prepareJob,
  renderCustomerPage,
  resolveChart,
  resolveJob,
} from '../../src/job/index.ts';
import { openShop, type Profile, parseProfile, type Shop } from '../../src/material/index.ts';
import { decodeDotsBytes, mirrorDots, readPhoto } from '../../src/plane/index.ts';
import { CAMERAS, captureSurface, engrave, parseMaterialModel, seeThroughPane } from '../../src/simulation/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const KNOWN = { shop: SHOP, refused: REFUSED };
const GLASS = { size: '20x12', machine: 'gantry-10600', material: 'clear-glass', subject: 'none' } as const;
const resolve = (more: Partial<JobRequest>) => resolveJob({ ...GLASS, ...more }, KNOWN);

describe('how clear stock is looked at', () => {
  test('at the burned face over its usual ground, unless somebody says otherwise', () => {
    const { side, orientation, profile } = resolve({});
    expect(side).toEqual({ seen: 'face', beneath: 'dark', told: 'face', passesBeam: false });
    expect(orientation).toBeUndefined();
    expect(profile.full[0]).toBe(60);
  });

  test('through it the bitmap is mirrored once, and a guessed mark is darker: light is held back in the stock', () => {
    const through = resolve({ seen: 'through' });
    expect(through.side?.seen).toBe('through');
    expect(through.orientation).toEqual({ mirrored: true, turnedDeg: 0 });
    expect(through.profile.full[0]).toBeLessThan(52);
    expect(through.profile.full[0]).toBeGreaterThan(35);
    expect(through.profile.bare).toEqual(resolve({}).profile.bare);
    for (const same of [{ mirror: true }, { mirror: true, seen: 'through' }] as const) {
      expect(resolve(same)).toMatchObject({ side: through.side, orientation: through.orientation });
    }
    expect(resolve({ mirror: true, seen: 'face' })).toMatchObject({
      side: { seen: 'face' },
      orientation: { mirrored: true },
    });
  });

  test('a coat that is taken off from behind marks as what lies beneath it', () => {
    const mirror = (beneath?: 'dark' | 'light') =>
      resolve({ material: 'silvered-mirror', ...(beneath ? { beneath } : {}) });
    expect(mirror().side).toEqual({ seen: 'through', beneath: 'dark', told: 'through', passesBeam: false });
    expect(mirror().orientation?.mirrored).toBe(true);
    expect([mirror('dark').profile.direction, mirror('light').profile.direction]).toEqual(['darker', 'lighter']);
    expect(resolve({ material: 'painted-glass' }).profile.direction).toBe('lighter');
  });

  test('a beam that passes it is warned of, with the spacer; one that does not is not', () => {
    const said = (machine: string) =>
      resolve({ machine })
        .material.cautions.map(({ text }) => text)
        .join(' ');
    expect(said('galvo-355-f210')).toContain('most of a beam of 355 nm passes');
    expect(said('galvo-355-f210')).toContain('on spacers');
    expect(said('gantry-10600')).not.toContain('spacers');
  });

  test.each([
    [{ material: 'slate', seen: 'through' }, 'option-invalid', 'not known to be clear'],
    [{ material: 'slate', beneath: 'dark' }, 'option-invalid', 'not known to be clear'],
    [{ beneath: 'light' }, 'option-invalid', 'its mark would hardly show'],
    [{ material: 'painted-glass', beneath: 'dark' }, 'option-invalid', 'known over light only'],
    [{ machine: 'gantry-450' }, 'profile-unusable', 'the beam passes it'],
  ] as const)('%j is refused: %s', (more, code, words) => {
    expect(() => resolve(more)).toThrow(expect.objectContaining({ code, message: expect.stringContaining(words) }));
  });

  test('slate is mirrored as before, and its ticket says nothing of sides', () => {
    const { side, orientation } = resolve({ material: 'slate', machine: 'gantry-450', mirror: true });
    expect(side).toBeUndefined();
    expect(orientation?.mirrored).toBe(true);
  });
});

/** A small chart on virtual glass, and what a scanner sees of it from either side. */
const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/glass.json', 'utf8')));
const pane = model.pane!;

async function burnChart(seen: 'face' | 'through') {
  const request: ChartRequest = {
    kind: 'tone',
    machine: GLASS.machine,
    material: GLASS.material,
    seen,
    size: '60x40',
    pitchMm: 0.1,
    lineSpacingMm: 0.1,
    steps: 8,
    replicates: 1,
  };
  const { layout, dots, files } = await makeChart(resolveChart(request, KNOWN));
  const surface = engrave(dots, { grid: layout.grid, model, seed: 1, pixelUm: 60, marginMm: 2 });
  const scan = (piece: typeof surface): CaptureImage => ({
    ...captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, seed: 2 }),
    bits: 8,
  });
  return {
    layout,
    dots,
    page: String(files.find(({ name }) => name === 'chart.html')!.bytes),
    face: scan(surface),
    through: scan(seeThroughPane(surface, { ...model, pane })),
  };
}

type Chart = Awaited<ReturnType<typeof burnChart>>;

const learn = ({ layout }: Pick<Chart, 'layout'>, image: CaptureImage, isClear = true): Learned =>
  learnProfile([{ name: 'scan', image }], {
    layouts: [layout],
    camera: 'known',
    isClear: () => isClear,
    date: '2026-01-01',
    origin: 'simulated',
  });

describe('a chart of clear stock', () => {
  let plain: Chart;
  let turned: Chart;
  let ofFace: Learned;
  let ofBack: Learned;
  beforeAll(async () => {
    [plain, turned] = [await burnChart('face'), await burnChart('through')];
    [ofFace, ofBack] = [learn(plain, plain.face), learn(turned, turned.through)];
  }, 120_000);

  test('is burned mirrored where it is looked at through the stock, and says what to do', () => {
    expect(turned.layout.seen).toBe('through');
    expect(plain.layout).not.toHaveProperty('seen');
    expect(turned.layout.hash).not.toBe(plain.layout.hash);
    expect(mirrorDots(turned.dots).data.length).toBe(plain.dots.data.length);
    expect(turned.page).toContain('take the picture through the stock');
    expect(turned.page).toContain('mirrored already');
    expect(plain.page).toContain('Take the picture of the burned face');
  });

  test('gives a profile that says from which side it was learned, and over what', () => {
    expect(ofFace.profile).not.toHaveProperty('seen');
    expect(ofBack.profile).toMatchObject({ seen: 'through', beneath: 'dark', material: 'clear-glass' });
    expect(ofBack.warnings.map(({ code }) => code)).not.toContain('chart-side');
    // Light that is held back in the pane: Saunderson's correction of this mark leaves less than two thirds of its L*.
    expect(ofBack.profile.full[0]).toBeLessThan(ofFace.profile.full[0] - 10);
    expect(ofBack.profile.bare[0]).toBeCloseTo(ofFace.profile.bare[0], 0);
    expect(parseProfile(JSON.parse(JSON.stringify(ofBack.profile)), 'p')).toEqual(ofBack.profile);
  });

  test('is read from the other side too, by its marks, and that is told', () => {
    const other = learn(plain, plain.through);
    expect(other.profile.seen).toBe('through');
    expect(other.profile.name).not.toBe(ofFace.profile.name);
    expect(other.warnings.find(({ code }) => code === 'chart-side')?.data).toEqual({ seen: 'through' });
    const back = learn(turned, turned.face);
    expect(back.profile).not.toHaveProperty('seen');
    expect(back.warnings.find(({ code }) => code === 'chart-side')?.data).toEqual({ seen: 'face' });
  });

  test('of stock that is not known to be clear is refused when it is mirrored, as before', () => {
    expect(() => learn(plain, plain.through, false)).toThrow(expect.objectContaining({ code: 'chart-mirrored' }));
  });

  test('from both sides at once is refused', () => {
    const both = [
      { name: 'a', image: plain.face },
      { name: 'b', image: plain.through },
    ];
    expect(() => locateCaptures(both, { layouts: [plain.layout], isClear: () => true })).toThrow(
      expect.objectContaining({ code: 'chart-wrong', message: expect.stringContaining('learn each side by itself') }),
    );
  });

  test('is not compared with a profile of the other side', () => {
    const [located] = locateCaptures([{ name: 'a', image: plain.face }], { layouts: [plain.layout] });
    const compare = (profile: Profile) => checkLocated(located!, { profile, camera: 'known' });
    expect(compare(ofFace.profile).verdict).toBe('holds');
    expect(() => compare(ofBack.profile)).toThrow(expect.objectContaining({ code: 'chart-wrong' }));
  });

  describe('and a job through its profile', () => {
    const shopWith = (profile: Profile): Shop => {
      const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
      return {
        ...shop,
        read: (kind, name) =>
          kind === 'profiles' && name === 'own'
            ? { ...shop.read(kind, 'anodised-black'), json: profile, path: 'own' }
            : shop.read(kind, name),
      };
    };
    const job = (profile: Profile, more: Partial<JobRequest> = {}) =>
      resolveJob({ size: '20x12', profile: 'own', subject: 'none', ...more }, { ...KNOWN, shop: shopWith(profile) });
    const codes = (spec: ReturnType<typeof job>) => spec.warnings.map(({ code }) => code);

    test('is looked at as the profile was learned', () => {
      expect(job(ofBack.profile)).toMatchObject({ side: { seen: 'through' }, orientation: { mirrored: true } });
      expect(codes(job(ofBack.profile))).not.toContain('side-differs');
      expect(job(ofFace.profile).orientation).toBeUndefined();
    });

    test('says so in one notice where it is looked at otherwise', () => {
      expect(codes(job(ofFace.profile, { seen: 'through' }))).toContain('side-differs');
      expect(codes(job(ofFace.profile, { mirror: true }))).toContain('side-differs');
      expect(codes(job(ofBack.profile, { seen: 'face' }))).toContain('side-differs');
      expect(codes(job(ofBack.profile, { beneath: 'light' }))).toContain('beneath-differs');
      expect(codes(job(ofBack.profile, { beneath: 'dark' }))).not.toContain('beneath-differs');
    });

    test('is mirrored in the file and upright in the proof; ticket, strip and the customer’s sheet say which side', async () => {
      const make = async (seen: 'face' | 'through') => {
        const { files, ticket } = await prepareJob(() => readPhoto('images/photos/cat.png'), {
          spec: job(ofBack.profile, { seen, strip: 'apart' }),
          name: 'cat',
          photoFile: 'cat.png',
          version: '0',
          only: 'everything',
        });
        const bytes = (name: string) => Buffer.from(files.find((one) => one.name === name)!.bytes as Uint8Array);
        return { ticket: ticket!, bytes, dots: (await decodeDotsBytes(bytes('cat.png'), 'cat.png')).dots };
      };
      const [face, through] = [await make('face'), await make('through')];
      expect(through.dots.data).toEqual(mirrorDots(face.dots).data);
      expect(through.bytes('cat.proof.png').equals(face.bytes('cat.proof.png'))).toBe(true);
      expect(through.ticket.seen).toMatchObject({ seen: 'through', beneath: 'dark' });
      expect(through.ticket.seen!.note).toContain('Tones and proof are as they show through.');
      expect(face.ticket.seen!.note).toContain('that show through the stock, since the profile was learned there');
      expect(String(through.bytes('cat.ticket.html'))).toContain('the face that is burned is its back');
      expect(JSON.parse(String(through.bytes('cat.strip.json'))).seen).toBe('through');
      expect(JSON.parse(String(face.bytes('cat.strip.json')))).not.toHaveProperty('seen');
      const sheet = (seen: NonNullable<(typeof through.ticket)['seen']>) =>
        renderCustomerPage(
          {
            pieces: [
              {
                status: 'done',
                name: 'cat',
                count: 1,
                widthMm: 20,
                heightMm: 12,
                materialTitle: 'Glass',
                seen,
              },
            ],
            totals: { copies: 1 },
            quote: null,
          } as unknown as Parameters<typeof renderCustomerPage>[0],
          { title: 'Order', proofs: new Map() } as Parameters<typeof renderCustomerPage>[1],
        );
      expect(sheet(through.ticket.seen!)).toContain('Engraved on the back, smooth in front');
      expect(sheet(through.ticket.seen!)).toContain('something dark behind it');
      expect(sheet(face.ticket.seen!)).toContain('Engraved on the front');
    });
  });
});
