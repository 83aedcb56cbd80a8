import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, describe, expect, test } from 'vitest';
import {
  drawSubjectShare,
  type JobRequest,
  prepareJob,
  resolveJob,
  type Ticket,
  takePicture,
} from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { decodePhoto, readPhoto } from '../../src/plane/index.ts';

const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const folder = mkdtempSync(join(tmpdir(), 'tonewright-subject-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function prepare(file: string, request: Partial<JobRequest>): Promise<Ticket> {
  const spec = resolveJob({ size: '30x20', profile: 'anodised-black', ...request }, { shop, refused: [] });
  const names = { name: 'photo', photoFile: 'photo.png', version: 'test', only: 'everything' } as const;
  return (await prepareJob(() => readPhoto(file), { spec, ...names })).ticket!;
}

/** The portrait between two walls: 1500 × 512 pixels, the face about 40 % from the left. */
async function wide(): Promise<string> {
  const path = join(folder, 'wide.png');
  await sharp('images/photos/portrait.png').extend({ left: 400, right: 588, extendWith: 'copy' }).toFile(path);
  return path;
}

describe('the crop', () => {
  test.each(['30x60', '40x40', '60x30'])('on %s holds the whole head, eyes in the upper half', async (size) => {
    const { frame, subject, photo } = await prepare(await wide(), { size });
    expect(subject).toMatchObject({ by: 'faces', faces: 1 });
    expect(frame.focus.origin).toBe('subject');
    const { crop } = frame;
    // Hair from x 145 to 285 and y 15 to 190 of the portrait, which begins at x 400.
    expect(crop.x).toBeLessThan(400 + 145);
    expect(crop.x + crop.width).toBeGreaterThan(400 + 285);
    expect(crop.y).toBeLessThan(15);
    expect(crop.y + crop.height).toBeGreaterThan(190);
    const eyes = (109 - crop.y) / crop.height;
    expect(eyes).toBeLessThan(0.5);
    expect(subject!.photoLost).toBeCloseTo(1 - (crop.width * crop.height) / (photo.width * photo.height), 2);
  });

  test.each([
    ['circle', '60x30', 0.5],
    ['oval', '30x40', 1],
  ] as const)('keeps the head inside a %s on %s', async (outline, size, share) => {
    const path = join(folder, 'roomy.png');
    await sharp(await wide())
      .extend({ top: 200, extendWith: 'copy' })
      .toFile(path);
    const { frame, warnings } = await prepare(path, { size, outline });
    const { crop } = frame;
    // Forehead and chin, and the ears, of the portrait that begins at x 400: on a piece from −1 to 1 either way.
    for (const [x, y] of [
      [610, 220],
      [610, 380],
      [560, 310],
      [665, 310],
    ] as const) {
      const [u, v] = [(2 * (x - crop.x)) / crop.width - 1, (2 * (y - crop.y)) / crop.height - 1];
      expect(Math.hypot(u / share, v), `${x}, ${y}`).toBeLessThan(1);
    }
    expect(warnings.join(' ')).not.toMatch(/fit into this crop/);
  });

  test('of faces that do not fit together keeps the larger one, and says so with the share that is lost', async () => {
    const head = (side: number) =>
      sharp('images/photos/portrait.png').extract({ left: 130, top: 20, width: 190, height: 190 }).resize(side, side);
    const path = join(folder, 'two.png');
    await sharp({ create: { width: 1200, height: 500, channels: 3, background: '#8c8f94' } })
      .composite([
        { input: await head(180).toBuffer(), left: 60, top: 150 },
        { input: await head(260).toBuffer(), left: 880, top: 100 },
      ])
      .toFile(path);
    const ticket = await prepare(path, { size: '30x60' });
    expect(ticket.subject!.faces).toBe(2);
    expect(ticket.frame.crop.x).toBeGreaterThan(800);
    expect(ticket.warnings.join(' ')).toMatch(
      /1 of 2 faces does not fit into this crop \(79 % of the photo is cut off\)/,
    );
    const whole = await prepare(path, { size: '60x25' });
    expect(whole.warnings.join(' ')).not.toMatch(/fit into this crop/);
  });

  test('by hand is left alone, and nothing is looked for where nobody asked', async () => {
    const given = await prepare(await wide(), { focus: { x: 0.9, y: 0.5 }, zoom: 2 });
    expect(given.frame).toMatchObject({ focus: { x: 0.9, origin: 'given' }, zoom: 2 });
    expect(given.frame.crop.height).toBeCloseTo(256, 0);
    const none = await prepare(await wide(), { subject: 'none' });
    expect(none.subject).toBeUndefined();
    expect(none.frame.focus.origin).toBe('attention');
  });

  test('follows a part that is named, or a picture of the subject', async () => {
    const part = await prepare(await wide(), { size: '20x20', subject: { x: 0.8, y: 0.2, width: 0.1, height: 0.5 } });
    expect(part.frame.focus.x).toBeGreaterThan(0.8);
    const mask = await sharp({ create: { width: 150, height: 51, channels: 3, background: '#000' } })
      .composite([
        {
          input: await sharp({ create: { width: 20, height: 30, channels: 3, background: '#fff' } })
            .png()
            .toBuffer(),
          left: 10,
          top: 10,
        },
      ])
      .png()
      .toBuffer();
    const drawn = await prepare(await wide(), { size: '20x20', subject: { mask: mask.toString('base64') } });
    expect(drawn.subject).toMatchObject({ by: 'given', faces: 0 });
    expect(drawn.frame.focus.x).toBeLessThan(0.25);
  });
});

describe('a picture of the subject', () => {
  /** White in a part of the portrait, shares of it, and black around. */
  const maskOf = async (x: number, y: number, width: number, height: number) => {
    const side = 200;
    const rgb = Buffer.alloc(3 * side * side);
    for (let row = Math.round(y * side); row < (y + height) * side; row++) {
      for (let column = Math.round(x * side); column < (x + width) * side; column++) {
        rgb.fill(255, 3 * (row * side + column), 3 * (row * side + column) + 3);
      }
    }
    const png = await sharp(rgb, { raw: { width: side, height: side, channels: 3 } })
      .png()
      .toBuffer();
    return { mask: png.toString('base64') };
  };

  test.each([90, 180, 270, 7, -83])('is turned with the photo by %i°', async (turnDeg) => {
    const path = join(folder, 'square.png');
    await sharp('images/photos/portrait.png').toFile(path);
    const spec = resolveJob(
      { size: '20x20', profile: 'anodised-black', turnDeg, subject: await maskOf(0.55, 0.2, 0.2, 0.1), tone: 'plain' },
      { shop, refused: [] },
    );
    const { subject, width, height } = await takePicture(() => readPhoto(path), { spec, withThumbnail: false });
    const { x, y, width: across, height: down } = subject!.box;
    // The middle of the white part, turned about the middle of the photo, in pixels.
    const angle = (turnDeg * Math.PI) / 180;
    const [u, v] = [(0.65 - 0.5) * 512, (0.25 - 0.5) * 512];
    const wanted = {
      x: width / 2 + u * Math.cos(angle) - v * Math.sin(angle),
      y: height / 2 + u * Math.sin(angle) + v * Math.cos(angle),
    };
    expect((x + across / 2) * width).toBeCloseTo(wanted.x, -1);
    expect((y + down / 2) * height).toBeCloseTo(wanted.y, -1);
    // A strip as long as before, whichever way it lies.
    expect(Math.max(across * width, down * height)).toBeGreaterThan(0.18 * 512);
  });

  test('keeps the faces that are inside it, and no others', async () => {
    const face = await prepare('images/photos/portrait.png', { size: '20x10', subject: await maskOf(0.2, 0, 0.5, 1) });
    expect(face.subject).toMatchObject({ by: 'given', faces: 1 });
    const rocket = await prepare('images/photos/portrait.png', {
      size: '20x10',
      subject: await maskOf(0.7, 0, 0.2, 1),
    });
    expect(rocket.subject).toMatchObject({ by: 'given', faces: 0 });
  });

  test('is drawn to be painted on as the photo came, however that stands, white where the face is', async () => {
    for (const turnDeg of [0, 90, 10]) {
      const spec = resolveJob({ size: '20x20', profile: 'anodised-black', turnDeg: turnDeg }, { shop, refused: [] });
      const upright = await sharp('images/photos/portrait.png').rotate(-turnDeg, { background: '#888' }).toBuffer();
      const photo = await decodePhoto(upright, 'photo');
      const { width, height, rgb } = await drawSubjectShare(photo, spec);
      // The face of the portrait, and a wall, turned against the turn.
      const at = (x: number, y: number) => {
        const angle = (-turnDeg * Math.PI) / 180;
        const [u, v] = [(x - 0.5) * 512, (y - 0.5) * 512];
        const px = photo.width / 2 + u * Math.cos(angle) - v * Math.sin(angle);
        const py = photo.height / 2 + u * Math.sin(angle) + v * Math.cos(angle);
        return rgb[3 * (Math.floor((py / photo.height) * height) * width + Math.floor((px / photo.width) * width))]!;
      };
      expect(at(0.43, 0.25), `${turnDeg}°`).toBeGreaterThan(240);
      expect(at(0.66, 0.3), `${turnDeg}°`).toBeLessThan(15);
    }
  });
});

describe('the turn', () => {
  test.each([
    [90, 270],
    [180, 180],
    [270, 90],
  ])('of a photo that lies by %i° is noticed; it is turned only when there is no doubt', async (lies, back) => {
    const path = join(folder, `turned-${lies}.png`);
    await sharp('images/photos/portrait.png').rotate(lies).toFile(path);
    const ticket = await prepare(path, {});
    const said = ticket.frame.turn === undefined ? 'when it is turned' : 'was turned';
    expect(ticket.warnings.join(' ')).toContain(`${said} by ${back}° clockwise`);
  });

  test('is left alone where somebody has said it', async () => {
    const path = join(folder, 'turned.png');
    await sharp('images/photos/portrait.png').rotate(90).toFile(path);
    const given = await prepare(path, { turnDeg: 270 });
    expect(given.frame.turn).toEqual({ deg: 270, origin: 'given' });
    expect(given.warnings.join(' ')).not.toMatch(/turned/);
    const { crop } = (await prepare('images/photos/portrait.png', {})).frame;
    expect(given.frame.crop).toEqual(crop);
    expect((await prepare(path, { turnDeg: 0 })).frame.turn).toBeUndefined();
  });
});

describe('a piece of a named size', () => {
  test('lies as suits the photo, and says so', async () => {
    const tall = join(folder, 'tall.png');
    await sharp('images/photos/portrait.png').extract({ left: 60, top: 0, width: 320, height: 512 }).toFile(tall);
    const { piece, warnings } = await prepare(tall, { size: 'ID-1' });
    expect([piece.widthMm, piece.heightMm]).toEqual([expect.closeTo(53.98, 1), expect.closeTo(85.6, 1)]);
    expect(warnings.join(' ')).toMatch(/laid upright \(53.98 × 85.6 mm\)/);
    const asked = await prepare(tall, { size: 'ID-1', lay: 'lengthwise' });
    expect(asked.piece.widthMm).toBeCloseTo(85.6, 1);
    const byNumbers = await prepare(tall, { size: '85.6x53.98' });
    expect(byNumbers.piece.widthMm).toBeCloseTo(85.6, 1);
  });
});

describe('the backdrop', () => {
  const burn = async (request: Partial<JobRequest>) => {
    const spec = resolveJob({ size: '25x25', profile: 'anodised-black', ...request }, { shop, refused: [] });
    const names = { name: 'photo', photoFile: 'photo.png', version: 'test', only: 'everything' } as const;
    const job = await prepareJob(() => readPhoto('images/photos/portrait.png'), { spec, ...names });
    const { data, info } = await sharp(job.files[0]!.bytes as Buffer)
      .raw()
      .toBuffer({ resolveWithObject: true });
    /** Share of dots that fire in a part of the piece; black fires. */
    const firing = (x: number, y: number, side = 0.08) => {
      let count = 0;
      const [left, top, length] = [x, y, side].map((share) => Math.round(share * info.width)) as [
        number,
        number,
        number,
      ];
      for (let row = top; row < top + length; row++) {
        for (let column = left; column < left + length; column++) {
          if (data[(row * info.width + column) * info.channels]! < 128) count++;
        }
      }
      return count / length ** 2;
    };
    return { firing, ticket: job.ticket! };
  };
  // Of the portrait: a wall in the upper right, and the forehead.
  const [WALL, FACE] = [
    [0.66, 0.06],
    [0.4, 0.12],
  ] as const;

  test('is left bare around a face that stays as it was; the ticket says so', async () => {
    const [kept, bare] = [await burn({}), await burn({ backdrop: 'bare' })];
    expect(kept.firing(...WALL)).toBeGreaterThan(0.2);
    expect(bare.firing(...WALL)).toBe(0);
    expect(bare.firing(...FACE)).toBeCloseTo(kept.firing(...FACE), 1);
    expect(bare.ticket.frame.backdrop).toBe('bare');
    expect(kept.ticket.frame).not.toHaveProperty('backdrop');
  });

  test('stays where the shape of the subject is not known, and that is said', async () => {
    const { ticket, firing } = await burn({ backdrop: 'bare', subject: { x: 0.2, y: 0, width: 0.5, height: 0.9 } });
    expect(ticket.warnings.join(' ')).toMatch(/backdrop was left as it is/);
    expect(ticket.frame).not.toHaveProperty('backdrop');
    expect(firing(...WALL)).toBeGreaterThan(0.2);
  });

  test('is cut off by an outline, which the ticket names', async () => {
    const { ticket, firing } = await burn({ outline: 'circle', vignetteMm: 2 });
    expect(ticket.frame.outline).toEqual({ outline: 'circle', vignetteMm: 2 });
    expect(firing(0.01, 0.01)).toBe(0);
    expect(firing(...FACE)).toBeGreaterThan(0.2);
  });
});
