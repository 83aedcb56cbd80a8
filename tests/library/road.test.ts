// The library against the inside that it wraps, and its views against turned pictures.
import { readFileSync } from 'node:fs';
import ndarray from 'ndarray';
import { expect, test } from 'vitest';
import { drawChart, layoutChart } from '../../src/chart/index.ts';
import { learnProfile, prepareJob, resolveJob } from '../../src/job/index.ts';
import * as tw from '../../src/library/index.ts';
import { photoOf } from '../../src/library/photo.ts';
import { dotsOf } from '../../src/library/views.ts';
import { openShop } from '../../src/material/index.ts';
import { orientDots, readPhoto, turnPhoto, wholeBytes } from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { CAMERAS, captureSurface, engrave, parseMaterialModel } from '../../src/simulation/index.ts';

const shop = openShop({ builtIn: ['shared', 'shared/shop'] });
const machine = tw.parseMachine(shop.read('machines', 'galvo-355-f210').json, 'machine');
const profile = tw.parseProfile(shop.read('profiles', 'anodised-black').json, 'profile');
const { grid } = profile;
const CAT = 'images/photos/cat.png';
const decode = () => tw.decodePhoto(readFileSync(CAT), CAT);

function prepare(photo: tw.DecodedPhoto, { widthMm, heightMm }: { widthMm: number; heightMm: number }) {
  const frame = tw.framePhoto(photo, { widthMm, heightMm, grid });
  const { light, opaque } = tw.sampleLight(photo, frame);
  const toned = tw.adjustTone(light, tw.chooseTone(light, { frame, profile, opaque }), { grid });
  const screen = tw.chooseScreen(profile, { machine });
  const tones = tw.planTones(profile, { screen });
  const coverage = tw.wantCoverage(toned, { tones, frame, opaque });
  const dots = tw.applyScreen(coverage, { screen, grid, profile });
  return { frame, light, opaque, toned, tones, coverage, dots, bytes: tw.encodeDots(dots, grid, { format: 'png' }) };
}

test('the stages one by one make the bytes and the figures of a job', async () => {
  const spec = resolveJob(
    { size: '20x16', profile: 'anodised-black', subject: 'none', focus: { x: 0.5, y: 0.5 } },
    { shop, refused: [] },
  );
  const options = { spec, name: 'cat', photoFile: 'cat.png', version: '0', only: 'everything' } as const;
  const job = await prepareJob(() => readPhoto(CAT), options);
  const { dots, bytes, ...made } = prepare(await decode(), { widthMm: 20, heightMm: 16 });
  expect(Buffer.from(bytes).equals(wholeBytes(job.files[0]!.bytes))).toBe(true);
  expect(tw.estimateTime(dots, { machine, settings: spec.settings, grid }).seconds).toBe(job.seconds);
  const { mean, p95, worst, wanted, predicted } = tw.assessTone(dots, { profile, ...made, light: made.toned });
  const { meanDeltaL, p95DeltaL, worstDeltaL } = job.ticket!.prediction;
  expect([mean, p95, worst]).toEqual([meanDeltaL, p95DeltaL, worstDeltaL]);
  expect(wanted.shape).toEqual(predicted.shape);
});

test('a quarter turn and a mirror image are views, and the same photo turned', async () => {
  const photo = await decode();
  const turned = { ...photo, pixels: photo.pixels.transpose(1, 0, 2).step(1, -1, 1) } as tw.DecodedPhoto;
  const wanted = turnPhoto(await readPhoto(CAT), 90);
  expect([photoOf(turned).width, photoOf(turned).height]).toEqual([wanted.width, wanted.height]);
  expect(Buffer.from(photoOf(turned).rgb.buffer).equals(Buffer.from(wanted.rgb.buffer))).toBe(true);

  const { dots } = prepare(photo, { widthMm: 6, heightMm: 4 });
  const inside = orientDots(dotsOf(dots, 2), { mirrored: true, turnedDeg: 0 });
  expect(Buffer.from(dotsOf(dots.step(1, -1), 2).data).equals(Buffer.from(inside.data))).toBe(true);
});

test('a crop of the pixels is the photo that was cropped', async () => {
  const photo = await decode();
  const { pixels } = photo;
  const [height, width] = pixels.shape as [number, number];
  const part = { ...photo, pixels: pixels.lo(8, 16, 0).hi(height - 16, width - 16, 3) } as tw.DecodedPhoto;
  const options = { widthMm: 5, heightMm: 5 * ((height - 16) / (width - 16)), grid };
  const frame = tw.framePhoto(part, options);
  expect(tw.sampleLight(part, frame).light.shape).toEqual([frame.place.height, frame.place.width]);
  const within = { ...frame, crop: { ...frame.crop, x: frame.crop.x + 16, y: frame.crop.y + 8 } };
  const [own, whole] = [tw.sampleLight(part, frame).light, tw.sampleLight(photo, within).light];
  // The filter sees what lies beside a crop, and nothing beside a photo.
  const inner = (view: tw.Luminance) => view.lo(4, 4).hi(view.shape[0]! - 8, view.shape[1]! - 8);
  const [a, b] = [inner(own), inner(whole)];
  let differing = 0;
  for (let y = 0; y < a.shape[0]!; y++)
    for (let x = 0; x < a.shape[1]!; x++) if (a.get(y, x) !== b.get(y, x)) differing++;
  expect([a.size > 10_000, differing]).toEqual([true, 0]);
});

const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/slate.json', 'utf8')));

test('a chart is read and learned from its scan as by the inside, a turned scan too', () => {
  const layout = layoutChart('tone', {
    ...{ machine: 'virtual', material: 'slate', direction: 'lighter', settings: model.settings, grid: model.reference },
    ...{
      screen: { name: 'floyd-steinberg', options: {} },
      widthMm: 50,
      heightMm: 36,
      steps: 9,
      replicates: 1,
      seed: 1,
    },
  });
  const burned = drawChart(layout, (plane) => applyScreen(plane, { name: 'floyd-steinberg', grid: layout.grid }));
  const piece = engrave(burned, { grid: layout.grid, model, seed: 4, marginMm: 3 });
  const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, seed: 1 }), bits: 8 as const };
  const options = {
    layouts: [tw.parseChartLayout(JSON.parse(JSON.stringify(layout)), 'chart')],
    camera: 'known',
  } as const;
  const wanted = learnProfile([{ name: 'scan', image }], { ...options, date: '2026-01-01' });

  const pixels = ndarray(image.rgb as Uint8Array, [image.height, image.width, 3]);
  const photo = { pixels, facts: {} as never };
  const {
    profile: learned,
    fit,
    warnings,
  } = tw.learnProfile([{ name: 'scan', photo }], { ...options, date: '2026-01-01' });
  expect(learned).toEqual(wanted.profile);
  expect(fit.modelRms).toBe(wanted.report.modelRms);
  expect(warnings).toEqual(wanted.warnings);

  const upsideDown = { ...photo, pixels: pixels.step(-1, -1, 1) };
  const reading = tw.readChart({ name: 'turned', photo: upsideDown }, options);
  expect(reading.layout.hash).toBe(layout.hash);
  expect(reading.readings.length + reading.rejected.length).toBe(layout.patches.length);
  expect(reading.bare[0]).toBeCloseTo(wanted.profile.bare[0], 1);
});

test('what a person can mend has a code, a hint, and is told from a fault', async () => {
  const photo = await decode();
  const error = await tw.decodePhoto(new Uint8Array(0), 'empty').catch((thrown: unknown) => thrown);
  expect(tw.isAppError(error) && [error.code, error.hint.length > 10]).toEqual(['image-empty', true]);
  expect(tw.isAppError(new RangeError('x'))).toBe(false);
  expect(() => tw.framePhoto(photo, { widthMm: -1, heightMm: 5, grid })).toThrow(/needed a length above 0 mm/);
});
