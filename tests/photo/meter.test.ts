import { describe, expect, test } from 'vitest';
import { MONK_TONES, type MonkTone, monkLightness, seededChance } from '../../benchmarks/common/face-scenes.ts';
import { adjustTone, chooseTone, type Meter, meterPicture, placeSkin, TONE_DEFAULTS } from '../../src/photo/index.ts';
import { toneCurve } from '../../src/photo/tone-curve.ts';
import { createPlane, lightnessOfLuminance, luminanceOfLightness, type Plane } from '../../src/plane/index.ts';

const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const viewed = { grid, markDiameterUm: 40, viewingDistanceMm: 300 };
const SIZE = { width: 800, height: 600 };

function paint(lightnessAt: (x: number, y: number) => number): Plane<'luminance'> {
  const plane = createPlane('luminance', SIZE.width, SIZE.height);
  for (let y = 0; y < SIZE.height; y++) {
    for (let x = 0; x < SIZE.width; x++) plane.data[y * SIZE.width + x] = luminanceOfLightness(lightnessAt(x, y));
  }
  return plane;
}

const BOX = { x: 0.4, y: 0.25, width: 0.2, height: 0.3 };
const isHead = (x: number, y: number) => Math.hypot((x / 800 - 0.5) / 0.11, (y / 600 - 0.38) / 0.2) < 1;
const isBody = (x: number, y: number) => isHead(x, y) || (y > 330 && Math.abs(x - 400) < 180);
const SHARE = {
  width: 80,
  height: 60,
  data: Float32Array.from({ length: 4800 }, (_, at) =>
    isBody(10 * (at % 80) + 5, 10 * Math.floor(at / 80) + 5) ? 1 : 0,
  ),
};

/** A drawn person: skin with dark eyes, a dark coat with folds, before a backdrop. */
function drawPerson({
  skin,
  coat,
  backdrop,
}: {
  readonly skin: number;
  readonly coat: number;
  readonly backdrop: number;
}) {
  const light = paint((x, y) => {
    if (x < 20) return 98;
    if (isHead(x, y)) return y > 200 && y < 215 && Math.abs(Math.abs(x - 400) - 35) < 14 ? 5 : skin;
    return isBody(x, y) ? coat + 2 * Math.sin(x / 9) : backdrop;
  });
  return {
    light,
    meter: meterPicture(light, { subject: { faces: [BOX], share: SHARE, isGiven: false }, opaque: undefined }),
  };
}

/** Where skin of such lightness comes to lie, L*. */
const toneOf = (lightness: number, { light, meter }: ReturnType<typeof drawPerson>) => {
  const tone = chooseTone(light, { ...viewed, meter });
  return toneCurve(tone)[luminanceOfLightness(lightness)]!;
};

describe('the meter', () => {
  test('tells skin from eyes, hair and backdrop, the folds of a coat, and the light of a sky', () => {
    const { meter } = drawPerson({ skin: 47, coat: 9, backdrop: 92 });
    expect(meter.by).toBe('faces');
    expect(meter.skins[0]!.lightness).toBeCloseTo(47, 0);
    expect(meter.foldsL).toBeGreaterThan(6);
    expect(meter.foldsL).toBeLessThan(9);
    expect(meter.backdropL).toBeCloseTo(92, 0);
  });

  test('goes by a subject that somebody named, and by the whole picture where nobody has', () => {
    const { light } = drawPerson({ skin: 47, coat: 20, backdrop: 92 });
    const of = (isGiven: boolean) =>
      meterPicture(light, { subject: { faces: [], share: SHARE, isGiven }, opaque: undefined });
    expect(of(true)).toMatchObject({ by: 'subject', skins: [] });
    expect(of(true).subjectL).toBeLessThan(50);
    expect(of(false)).toEqual({ by: 'picture', skins: [] });
    const outside = { faces: [{ ...BOX, x: 1.4 }], share: SHARE, isGiven: false };
    expect(meterPicture(light, { subject: outside, opaque: undefined }).by).toBe('picture');
  });

  test('does not look where the photo is transparent', () => {
    const { light } = drawPerson({ skin: 47, coat: 9, backdrop: 92 });
    const opaque = createPlane(
      'mask',
      800,
      600,
      Uint8Array.from({ length: 480000 }, (_, at) => (isBody(at % 800, Math.floor(at / 800)) ? 255 : 0)),
    );
    const meter = meterPicture(light, { subject: { faces: [BOX], share: SHARE, isGiven: false }, opaque });
    expect(meter.backdropL).toBeUndefined();
    expect(meter.skins[0]!.lightness).toBeCloseTo(47, 0);
  });
});

describe('the place of skin', () => {
  const tones = (Object.keys(MONK_TONES) as unknown as MonkTone[]).map(monkLightness);

  test('the six tones are those of the scale: L* 88 to 21, as published', () => {
    expect(tones.map((lightness) => Math.round(lightness))).toEqual([88, 78, 55, 42, 31, 21]);
  });

  test.each([24, 30, 42, 63, 90])(
    'on a range of %d L* rises with the skin’s own lightness, before a wall and a sky',
    (spanL) => {
      for (const backdrop of [0, 0.5, 0.75, 0.95]) {
        let before = -1;
        for (let own = 0; own <= 1; own += 0.01) {
          const place = placeSkin(own, { backdrop, spanL });
          expect(place).toBeGreaterThan(before);
          expect(place).toBeLessThan(0.92);
          before = place;
        }
      }
    },
  );

  test('is legible on the range: at least 15 L* above its darkest where it has room, and more of a short one', () => {
    for (const own of tones.map((lightness) => lightness / 100)) {
      expect(63 * placeSkin(own, { backdrop: 0, spanL: 63 })).toBeGreaterThan(15);
      expect(30 * placeSkin(own, { backdrop: 0, spanL: 30 })).toBeGreaterThan(10);
      expect(placeSkin(own, { backdrop: 0, spanL: 30 })).toBeGreaterThanOrEqual(
        placeSkin(own, { backdrop: 0, spanL: 63 }),
      );
    }
  });

  test('before a bright sky is nowhere lower than before a wall', () => {
    for (const own of tones.map((lightness) => lightness / 100)) {
      const [wall, sky] = [0.5, 0.92].map((backdrop) => placeSkin(own, { backdrop, spanL: 63 }));
      expect(sky).toBeGreaterThanOrEqual(wall!);
    }
  });
});

describe('automatic', () => {
  test('gives a face before a bright sky its light: at least 10 L* more, where the picture alone took some', () => {
    const person = drawPerson({ skin: 47, coat: 20, backdrop: 92 });
    expect(toneOf(47, person)).toBeGreaterThan(57 * 1.0);
    expect(toneOf(47, person)).toBeLessThan(72);
    expect(toneCurve(chooseTone(person.light, viewed))[luminanceOfLightness(47)]!).toBeLessThan(50);
  });

  test('lands where the range wants the skin: more is asked of a range that shows it darker', () => {
    const person = drawPerson({ skin: 47, coat: 20, backdrop: 50 });
    const at = (share: number) => 100 * share ** 0.8;
    const reach = { spanL: 63, lightnessAt: at };
    const tone = chooseTone(person.light, { ...viewed, meter: person.meter, reach });
    const wanted = at(placeSkin(0.47, { backdrop: 0.5, spanL: 63 }));
    expect(toneCurve(tone)[luminanceOfLightness(47)]!).toBeCloseTo(wanted, 0);
  });

  test('of two faces the darker becomes legible, the lighter stays the lighter and is not washed out', () => {
    const { light, meter } = drawPerson({ skin: 30, coat: 20, backdrop: 60 });
    const two: Meter = { ...meter, skins: [...meter.skins, { box: BOX, lightness: 80 }] };
    const reach = { spanL: 63, lightnessAt: (share: number) => 100 * share };
    const curve = toneCurve(chooseTone(light, { ...viewed, meter: two, reach }));
    const [dark, fair] = [30, 80].map((lightness) => curve[luminanceOfLightness(lightness)]!);
    expect(dark).toBeGreaterThan(38);
    expect(fair! - dark!).toBeGreaterThan(20);
    expect(fair).toBeLessThan(93);
  });

  test('keeps the folds of a dark coat, and takes haze off what is darkest', () => {
    const person = drawPerson({ skin: 50, coat: 9, backdrop: 80 });
    const curve = toneCurve(chooseTone(person.light, { ...viewed, meter: person.meter }));
    const fold = (from: number, to: number) => curve[luminanceOfLightness(to)]! - curve[luminanceOfLightness(from)]!;
    expect(fold(7, 11)).toBeGreaterThan(4);
    const hazy = drawPerson({ skin: 62, coat: 42, backdrop: 72 });
    expect(chooseTone(hazy.light, { ...viewed, meter: hazy.meter }).blackPointL).toBeGreaterThan(32);
  });

  test('blemishes and pores of skin are brought out less than the same elsewhere', () => {
    const chance = seededChance(9);
    const spots = Array.from({ length: 60 }, () => [
      260 + 280 * Math.abs((chance() / 3) % 1),
      100 + 260 * Math.abs((chance() / 3) % 1),
    ]);
    const light = paint((x, y) => {
      const near = spots.some(([sx, sy]) => Math.hypot(x - sx!, y - sy!) < 7);
      return 62 - (near ? 5 : 0) + 6 * Math.sin(x / 150);
    });
    const tone = { ...TONE_DEFAULTS, localContrast: 0.4, sharpenAmount: 0.8, sharpenRadiusMm: 0.09 };
    const depth = (faces: readonly (typeof BOX)[]) => {
      const out = adjustTone(light, tone, { grid, faces });
      let [inside, around] = [0, 0];
      for (const [sx, sy] of spots) {
        const at = (dx: number, dy: number) => {
          const [x, y] = [Math.round(sx! + dx), Math.round(sy! + dy)];
          return lightnessOfLuminance(out.data[y * 800 + x]!) - lightnessOfLuminance(light.data[y * 800 + x]!);
        };
        inside += at(0, 0);
        around += (at(14, 0) + at(-14, 0) + at(0, 14) + at(0, -14)) / 4;
      }
      return 1 + (around - inside) / spots.length / 5;
    };
    const whole = { x: 0.2, y: 0, width: 0.6, height: 0.9 };
    expect(depth([])).toBeGreaterThan(1.3);
    expect(depth([whole])).toBeLessThan(1.2);
  });

  test('a face outside the picture, and none, change nothing', () => {
    const { light } = drawPerson({ skin: 47, coat: 9, backdrop: 92 });
    const tone = chooseTone(light, viewed);
    const plain = adjustTone(light, tone, { grid });
    const bytesOf = (faces: readonly (typeof BOX)[]) =>
      Buffer.from(adjustTone(light, tone, { grid, faces }).data.buffer);
    expect(bytesOf([]).equals(Buffer.from(plain.data.buffer))).toBe(true);
    expect(bytesOf([{ ...BOX, y: 3 }]).equals(Buffer.from(plain.data.buffer))).toBe(true);
    expect(bytesOf([BOX]).equals(Buffer.from(plain.data.buffer))).toBe(false);
  });
});
