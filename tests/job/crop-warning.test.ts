import sharp from 'sharp';
import { beforeAll, expect, test } from 'vitest';
import { chooseFocus } from '../../src/job/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { type FaceToKeep, framePhoto } from '../../src/photo/index.ts';
import { decodePhoto, type Photo } from '../../src/plane/index.ts';

let photo: Photo;
const [WIDTH, HEIGHT] = [300, 200];
const GRID = { pitchMm: 0.1, lineSpacingMm: 0.1 } as const;

beforeAll(async () => {
  const grey = sharp({ create: { width: WIDTH, height: HEIGHT, channels: 3, background: '#888' } });
  photo = await decodePhoto(await grey.png().toBuffer(), 'photo');
});

test('no face is cut by an automatic crop without a warning, wherever faces lie and whatever the piece', async () => {
  const random = createRandom(7);
  const between = (low: number, high: number) => low + (high - low) * random.nextUnit();
  let cut = 0;
  for (let round = 0; round < 1500; round++) {
    const faces = Array.from({ length: 1 + Math.floor(3 * random.nextUnit()) }, (): FaceToKeep => {
      const width = between(0.04, 0.5);
      const height = Math.min(0.95, width * between(1, 1.6) * (WIDTH / HEIGHT));
      const box = { x: between(0, 1 - width), y: between(0, 1 - height), width, height };
      return { box, eyesY: box.y + 0.35 * height, look: between(-1, 1) };
    }).sort((a, b) => b.box.height - a.box.height);
    const subject: Parameters<typeof chooseFocus>[0]['subject'] = {
      by: 'faces',
      faces,
      box: { x: 0.1, y: 0.1, width: 0.8, height: 0.9 },
      share: undefined,
    };
    const [widthMm, heightMm] = [between(10, 90), between(10, 90)];
    const size = { widthMm, heightMm, cornerRadiusMm: 0 };
    const { focus, notices } = await chooseFocus({ photo, subject }, { fit: 'cover', size });
    const { crop } = framePhoto(photo, {
      widthMm,
      heightMm,
      fit: 'cover',
      grid: GRID,
      focus: { x: focus.x, y: focus.y },
    });
    // A pixel beside the crop is none.
    const isCut = faces.some(
      ({ box }) =>
        box.x * WIDTH < crop.x - 1 ||
        box.y * HEIGHT < crop.y - 1 ||
        (box.x + box.width) * WIDTH > crop.x + crop.width + 1 ||
        (box.y + box.height) * HEIGHT > crop.y + crop.height + 1,
    );
    if (!isCut) continue;
    cut++;
    expect(
      notices.map(({ code }) => code),
      `round ${round}`,
    ).toContain('subject-cut');
  }
  // The placements are hard ones, and not all are.
  expect(cut).toBeGreaterThan(150);
  expect(cut).toBeLessThan(1350);
});
