import { describe, expect, test } from 'vitest';
import {
  DUSK,
  darkenCloth,
  FACE,
  fileOf,
  layHaze,
  MONK_TONES,
  type MonkTone,
  type Scene,
  SKY,
  seat,
  sitPortrait,
  standBefore,
  tintSkin,
  WALL,
} from '../../benchmarks/common/face-scenes.ts';
import {
  chooseToneValues,
  facesOf,
  type JobRequest,
  makeDots,
  prepareJob,
  resolveJob,
  tabulateCoverage,
  takePicture,
} from '../../src/job/index.ts';
import type { Picture } from '../../src/job/prepare/picture.ts';
import { openShop } from '../../src/material/index.ts';
import { adjustTone } from '../../src/photo/index.ts';
import { decodePhoto, ONE } from '../../src/plane/index.ts';

const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const sitter = await sitPortrait();
const TONES = Object.keys(MONK_TONES).map(Number) as MonkTone[];

interface Part {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** The middle of a face: skin and little else. */
const cheeksOf = ({ x, y, width, height }: Part): Part => ({
  x: x + 0.2 * width,
  y: y + 0.2 * height,
  width: 0.6 * width,
  height: 0.55 * height,
});

async function tone(scene: Scene, request: Partial<JobRequest> = {}) {
  const spec = resolveJob(
    { size: '20x20', profile: 'anodised-black', tone: 'auto', ...request },
    { shop, refused: [] },
  );
  const photo = await decodePhoto(await fileOf(scene), 'scene');
  const picture: Picture = await takePicture(async () => photo, { spec, withThumbnail: false });
  const values = chooseToneValues(picture, spec);
  const toned = adjustTone(picture.light, values, { grid: spec.grid, ...facesOf(picture) });
  const { table } = tabulateCoverage(spec);
  /** L* on the work of a part, sorted. */
  const seen = (part: Part) => {
    const out: number[] = [];
    for (let y = Math.round(part.y * toned.height); y < (part.y + part.height) * toned.height; y++) {
      for (let x = Math.round(part.x * toned.width); x < (part.x + part.width) * toned.width; x++) {
        out.push(table.lightness[toned.data[y * toned.width + x]!]!);
      }
    }
    return out.sort((a, b) => a - b);
  };
  const place = (face: Part) => {
    const values_ = seen(cheeksOf(face));
    return (values_[values_.length >> 1]! - table.darkest) / (table.lightest - table.darkest);
  };
  return { spec, picture, values, toned, table, seen, place };
}

describe('skin of six tones (Monk Skin Tone scale)', () => {
  test.each(['anodised-black', 'slate-coaster'])(
    'keeps its order on %s, is legible, and is no darker before a bright sky',
    async (profile) => {
      const { darkest, lightest } = tabulateCoverage(
        resolveJob({ size: '20x20', profile }, { shop, refused: [] }),
      ).table;
      const places = { wall: [] as number[], sky: [] as number[] };
      // The second material shows that its own range counts; every other tone is enough for that.
      for (const one of profile === 'slate-coaster' ? TONES.filter((_, at) => at % 2 === 0) : TONES) {
        for (const [name, backdrop] of [
          ['wall', WALL],
          ['sky', SKY],
        ] as const) {
          const { place, picture } = await tone(standBefore(tintSkin(sitter, one), backdrop), { profile });
          expect(picture.meter.by).toBe('faces');
          places[name].push(place(FACE));
        }
      }
      for (const found of Object.values(places)) {
        for (let at = 1; at < found.length; at++) expect(found[at]!).toBeLessThan(found[at - 1]!);
        expect(Math.min(...found) * (lightest - darkest)).toBeGreaterThan(profile === 'slate-coaster' ? 10 : 18);
        expect(Math.max(...found)).toBeLessThan(0.93);
      }
      // A hundredth of the range is not seen: local contrast knows the backdrop, too.
      places.sky.forEach((place, at) => {
        expect(place).toBeGreaterThan(places.wall[at]! - 0.01);
      });
    },
  );

  test('in the shade before a sky gets its light: 8 L* and more on the work', async () => {
    const scene = standBefore(tintSkin(sitter, 5), SKY, -1.5);
    const [plain, auto] = [await tone(scene, { tone: 'plain' }), await tone(scene)];
    const rangeL = auto.table.lightest - auto.table.darkest;
    expect((auto.place(FACE) - plain.place(FACE)) * rangeL).toBeGreaterThan(8);
    // The face is not flattened: the middle half of its tones is as wide as it was, or nearly.
    const spread = ({ seen }: typeof plain) => {
      const values = seen(FACE);
      return values[Math.floor(0.75 * values.length)]! - values[Math.floor(0.25 * values.length)]!;
    };
    expect(spread(auto)).toBeGreaterThan(0.85 * spread(plain));
  });

  test.each([-1, -1.5])(
    'lies as high %d EV darker before a sky as in even light, since its colour tells how much it lacks',
    async (ev) => {
      const fair = tintSkin(sitter, 5);
      const [even, shaded] = [await tone(standBefore(fair, WALL)), await tone(standBefore(fair, SKY, ev))];
      expect(shaded.place(FACE)).toBeGreaterThan(even.place(FACE) - 0.01);
    },
  );

  test('of two in one picture the darker is lifted and stays the darker', async () => {
    const { faces, ...scene } = seat(standBefore(tintSkin(sitter, 8), WALL), standBefore(tintSkin(sitter, 4), WALL));
    const [plain, auto] = [await tone(scene, { size: '40x20', tone: 'plain' }), await tone(scene, { size: '40x20' })];
    const [dark, fair] = faces.map(auto.place);
    expect(dark).toBeGreaterThan(plain.place(faces[0]!) + 0.05);
    expect(fair! - dark!).toBeGreaterThan(0.25);
  });
});

test('haze gets its black, and a dark coat keeps its folds', async () => {
  const coat = { x: 0.3, y: 0.8, width: 0.4, height: 0.18 };
  const widthOf = ({ seen }: Awaited<ReturnType<typeof tone>>) => {
    const values = seen(coat);
    return values[Math.floor(0.9 * values.length)]! - values[Math.floor(0.1 * values.length)]!;
  };
  const dark = darkenCloth(standBefore(tintSkin(sitter, 5), DUSK, -1), 0.12);
  expect(widthOf(await tone(dark))).toBeGreaterThan(widthOf(await tone(dark, { tone: 'plain' })));
  const haze = layHaze(standBefore(tintSkin(sitter, 5), WALL, -0.5), 0.55, 66);
  const [plain, auto] = [await tone(haze, { tone: 'plain' }), await tone(haze)];
  const darkestOf = ({ seen, table: { darkest, lightest } }: typeof plain) => {
    const whole = seen({ x: 0, y: 0, width: 1, height: 1 });
    return (whole[Math.floor(0.01 * whole.length)]! - darkest) / (lightest - darkest);
  };
  expect(darkestOf(plain)).toBeGreaterThan(0.45);
  expect(darkestOf(auto)).toBeLessThan(0.25);
});

test.each([
  ['anodised-black', 0],
  ['birch-sign', 1],
])(
  '%s: what wants less than 1 percent of coverage is bare, without a single dot, and nothing else changes',
  async (profile, bright) => {
    const { width, height } = sitter;
    // From bare in the middle, slowly: even edges would be bars and cut off.
    const rgb = Float32Array.from({ length: 3 * width * height }, (_, i) => {
      const way = Math.abs((2 * (Math.floor(i / 3) % width)) / width - 1);
      return bright === 1 ? 1 - 0.2 * way : 0.03 * way;
    });
    for (const mode of ['plain', 'auto'] as const) {
      const request = {
        profile,
        // Strews single dots from the least coverage on; diffusion would hold them back.
        screen: 'blue-noise',
        size: '40x40',
        tone: mode,
        toneValues: {
          blackPointL: 0,
          whitePointL: 100,
          midtoneL: 0,
          localContrast: 0,
          sharpenAmount: 0,
          noiseL: 0,
          contrast: 0,
        },
      };
      const { spec, picture, values, toned } = await tone({ width, height, rgb }, request);
      const wanted = tabulateCoverage({ ...spec, tone: 'plain' }).table.coverage;
      const { dots } = makeDots(picture, { spec, tone: values, toned });
      let [dust, marked] = [0, 0];
      for (let at = 0; at < dots.data.length; at++) {
        const share = wanted[toned.data[at]!]! / ONE;
        if (dots.data[at]! === 0) continue;
        if (share > 0 && share < 0.008) dust++;
        if (share > 0.02) marked++;
      }
      if (mode === 'auto') expect(dust).toBe(0);
      else expect(dust).toBeGreaterThan(5);
      expect(marked).toBeGreaterThan(1000);
    }
  },
);

test('the ticket says what was metered, and a subject that somebody named keeps its face', async () => {
  const photo = await decodePhoto(await fileOf(standBefore(sitter, SKY, -1)), 'scene');
  const ticketOf = async (request: Partial<JobRequest>) => {
    const spec = resolveJob({ size: '20x20', profile: 'anodised-black', ...request }, { shop, refused: [] });
    const names = { name: 'photo', photoFile: 'photo.png', version: 'test', only: 'everything' } as const;
    const job = await prepareJob(async () => photo, { spec, ...names });
    return { ticket: job.ticket!, html: String(job.files.find(({ name }) => name.endsWith('.html'))!.bytes) };
  };
  const { ticket: byFace, html } = await ticketOf({});
  expect(byFace.tone.metered).toEqual({ by: 'faces', note: 'Set by the skin of one face.' });
  expect(html).toContain('Set by the skin of one face.');
  const { ticket: named } = await ticketOf({ subject: { x: 0, y: 0, width: 1, height: 1 } });
  expect(named.tone.metered!.by).toBe('faces');
  const { ticket: aside } = await ticketOf({ subject: { x: 0.3, y: 0.75, width: 0.4, height: 0.2 } });
  expect(aside.tone.metered).toEqual({ by: 'subject', note: 'Set by the subject.' });
  const { ticket: none } = await ticketOf({ subject: 'none' });
  expect(none.tone.metered).toEqual({ by: 'picture', note: 'Set by the whole picture.' });
  expect(none.tone.values.midtoneL).toBeLessThan(byFace.tone.values.midtoneL);
  expect((await ticketOf({ tone: 'plain' })).ticket.tone).not.toHaveProperty('metered');
});
