import { readFileSync } from 'node:fs';
import { Worker } from 'node:worker_threads';
import { describe, expect, test } from 'vitest';
import { readNetwork, runNetwork } from '../../src/subject/network.ts';
import { openRandom } from './noise.ts';

const MODELS = [
  'node_modules/@mediapipe/face_detection/face_detection_short_range.tflite',
  'node_modules/@mediapipe/face_detection/face_detection_full_range.tflite',
  'node_modules/@mediapipe/selfie_segmentation/selfie_segmentation.tflite',
];

describe.each(MODELS)('%s', (path) => {
  const network = readNetwork(readFileSync(path), path);
  const { width, height, channels } = network.input;
  const next = openRandom(7);
  const input = Float32Array.from({ length: width * height * channels }, () => next());
  const run = (arithmetic: 'simd' | 'scalar') =>
    new Map([...runNetwork(network, input, { arithmetic })].map(([name, { data }]) => [name, { data: data.slice() }]));
  const fast = run('simd');

  test('gives the same bits with and without the kernels, and a second time', () => {
    const plain = run('scalar');
    const again = run('simd');
    for (const [name, { data }] of plain) {
      expect(fast.get(name)!.data).toEqual(data);
      expect(again.get(name)!.data).toEqual(data);
    }
  });

  test('gives what a general library gives for the same file', async () => {
    const names = [...fast.keys()];
    const theirs = await askOpenCv(path, { input, side: width, channels, names });
    for (const [at, name] of names.entries()) {
      const { data } = fast.get(name)!;
      expect(theirs[at]!.length).toBe(data.length);
      let worst = 0;
      for (let i = 0; i < data.length; i++) {
        worst = Math.max(worst, Math.abs(data[i]! - theirs[at]![i]!) / Math.max(1, Math.abs(theirs[at]![i]!)));
      }
      expect(worst, name).toBeLessThan(1e-3);
    }
  });
});

test('a network that cannot be computed is refused in words', () => {
  const whole = readFileSync(MODELS[0]!);
  expect(() => readNetwork(whole.subarray(0, 3000), 'model')).toThrow(/^model: found a file that is cut off, needed/);
  expect(() => readNetwork(new Uint8Array(8), 'model')).toThrow(/^model: found no graph, needed/);
});

/** OpenCV loads only in a thread of its own, whose process-wide handlers end with it. */
function askOpenCv(
  path: string,
  ask: { input: Float32Array; side: number; channels: number; names: readonly string[] },
): Promise<Float32Array[]> {
  const code = `
    const { parentPort, workerData: { path, input, side, channels, names } } = require('node:worker_threads');
    const cv = require('@techstark/opencv-js');
    const begin = () => {
      if (!(cv.Mat && cv.readNet && cv.FS_createDataFile)) return setTimeout(begin, 5);
      cv.FS_createDataFile('/', 'model.tflite', require('node:fs').readFileSync(path), true, false, false);
      const net = cv.readNet('/model.tflite');
      const mat = cv.matFromArray(side, side, cv.CV_32FC3, Array.from(input));
      const blob = cv.blobFromImage(mat, 1, new cv.Size(side, side), new cv.Scalar(0, 0, 0, 0), false, false, cv.CV_32F);
      parentPort.postMessage(names.map((name) => {
        net.setInput(blob);
        return Float32Array.from(net.forward(name).data32F);
      }));
    };
    begin();`;
  return new Promise((resolve, reject) => {
    const worker = new Worker(code, { eval: true, workerData: { path, ...ask } });
    worker.once('error', reject).once('message', (answer: Float32Array[]) => {
      resolve(answer);
      void worker.terminate();
    });
  });
}
