import { describe, expect, test } from 'vitest';
import { encodeSrgb, reflectanceOfLightness } from '../../src/colour/index.ts';
import {
  CLIP_COLOURS,
  coarsenTaken,
  drawDots,
  drawDraft,
  type JobRequest,
  predictJob,
  prepareJob,
  resolveJob,
  takeImage,
} from '../../src/job/index.ts';
import { decodePhoto, encodeColour } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

/** Stripes of equal width, of these L*. */
async function drawStripes(lightness: readonly number[]): Promise<Buffer> {
  const stripe = 40;
  const width = stripe * lightness.length;
  const rgb = new Uint8Array(3 * width * 80);
  for (let i = 0; i < rgb.length; i++) {
    const value = lightness[Math.floor((Math.floor(i / 3) % width) / stripe)]!;
    rgb[i] = Math.round(255 * encodeSrgb(reflectanceOfLightness(value)));
  }
  return encodeColour({ width, height: 80, rgb }, { format: 'png' });
}

/** What the ticket, the draft and the proof of the page count, and what is painted over. */
async function countAll(lightness: readonly number[], request: Partial<JobRequest>) {
  const png = await drawStripes(lightness);
  const load = () => decodePhoto(png, 'stripes.png');
  // All of the photo: stripes at its edges are no bars of a screen here.
  const all = { size: `${6 * lightness.length}x12`, focus: { x: 0.5, y: 0.5 } } as const;
  const asked = { ...all, profile: 'anodised-black', tone: 'plain', ...request } as const;
  const spec = resolveJob(asked, { shop: SHOP, refused: REFUSED });
  const names = { name: 'stripes', version: '1' };
  const { ticket, files } = await prepareJob(load, { ...names, spec, photoFile: 'stripes.png', only: 'everything' });
  const prepared = await takeImage(await load(), spec);
  const draft = drawDraft(coarsenTaken(prepared, { spec, longSidePx: 300 }), { spec, showClipped: true });
  const look = (await drawDots(prepared, { spec, showClipped: true }))!;
  const seen = predictJob(prepared, look, { ...names, spec }).tone;
  const painted = (colour: readonly number[]) => {
    const { rgb } = draft.image;
    let count = 0;
    for (let i = 0; i < rgb.length; i += 3) if (colour.every((value, channel) => rgb[i + channel] === value)) count++;
    return count / (rgb.length / 3);
  };
  const page = String(files.find(({ name }) => name.endsWith('.html'))!.bytes);
  return {
    ticket: [ticket!.tone.clippedDark, ticket!.tone.clippedLight],
    proof: [seen.clippedDark, seen.clippedLight],
    painted: [painted(CLIP_COLOURS.dark), painted(CLIP_COLOURS.light)],
    said: /([\d.]+) % at the dark end, ([\d.]+) % at the light end/.exec(page)!.slice(1).map(Number),
  };
}

describe('what counts as cut off', () => {
  test.each<[string, readonly number[], Partial<JobRequest>, readonly [number, number]]>([
    ['nothing of black and white that are burned as such', [0, 40, 100, 100], {}, [0, 0]],
    [
      'nothing within the range that two materials share',
      [0, 40, 100, 100],
      { aim: 'anodised-black,slate-coaster' },
      [0, 0],
    ],
    ['what true lightness leaves beyond the material', [0, 5, 40, 100], { range: 'absolute' }, [1 / 2, 1 / 4]],
    ['what the white point takes, and not white', [20, 60, 80, 100], { toneValues: { whitePointL: 70 } }, [0, 1 / 4]],
    ['what the black point takes, and not black', [0, 10, 20, 60], { toneValues: { blackPointL: 30 } }, [1 / 2, 0]],
    ['what more light takes', [0, 40, 90, 100], { toneValues: { brightnessEv: 1 } }, [0, 1 / 4]],
    ['nothing where white is only darkened', [0, 40, 90, 100], { toneValues: { brightnessEv: -1 } }, [0, 0]],
  ])('%s', async (_, lightness, request, wanted) => {
    const { said, ...counts } = await countAll(lightness, request);
    for (const [where, shares] of Object.entries(counts)) {
      // A pixel where two stripes meet is neither.
      for (const end of [0, 1]) expect(Math.abs(shares[end]! - wanted[end]!), `${where} ${end}`).toBeLessThan(0.02);
    }
    for (const end of [0, 1]) expect(Math.abs(said[end]! - 100 * wanted[end]!)).toBeLessThan(2);
  });
});
