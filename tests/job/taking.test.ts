import sharp from 'sharp';
import { expect, test } from 'vitest';
import { drawOnce, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import { inkOf, simulateCapture } from '../../benchmarks/common/simulate-capture.ts';
import { locateChart, readPatches } from '../../src/chart/index.ts';
import { toCaptureImage } from '../../src/job/index.ts';
import { decodePhoto } from '../../src/plane/index.ts';

test('a chart photographed with flash, zoomed and composed is read, and each is warned of', async () => {
  const layout = LAYOUTS.verify;
  const [width, height] = [1000, 700];
  const options = { width, height, pxPerMm: 9, bare: 0.6, solid: 0.06, blurPx: 0.8 };
  const { capture } = simulateCapture(inkOf(drawOnce(layout), layout), layout, options);
  const file = (fields: Record<string, string>) =>
    sharp(capture.rgb, { raw: { width, height, channels: 3 } })
      .withExif({ IFD2: fields })
      .jpeg({ quality: 92 })
      .toBuffer();
  const warningsOf = async (fields: Record<string, string>) => {
    const image = toCaptureImage(await decodePhoto(await file(fields), 'photo'));
    return readPatches(image, locateChart(image, [layout])).warnings.map(({ code }) => code);
  };
  const told = await warningsOf({ Flash: '1', DigitalZoomRatio: '2/1', CustomRendered: '1' });
  expect(told).toEqual(expect.arrayContaining(['camera-flash', 'camera-zoomed', 'camera-processed']));
  const calm = await warningsOf({ Flash: '16', DigitalZoomRatio: '0/1', CustomRendered: '0' });
  expect(calm.filter((code) => /^camera-(?:flash|zoomed|processed)$/.test(code))).toEqual([]);
});
