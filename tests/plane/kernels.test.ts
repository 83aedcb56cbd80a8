// Instances of the kernels: each takes addresses that a process has only 12 800 times, all its threads together.
import { expect, onTestFinished, test } from 'vitest';
import { countValues } from '../../src/plane/counts.ts';
import { giveBackKernels, loadKernels, ONE, reserveBuffers } from '../../src/plane/index.ts';
import { createPlane } from '../../src/plane/plane.ts';

test('an instance that was given back is taken again, and its memory is zeros again', () => {
  const first = loadKernels()!;
  const [at] = reserveBuffers(first, [1000]);
  new Uint8Array(first.memory.buffer, at, 1000).fill(7);
  giveBackKernels(first);
  const again = loadKernels()!;
  expect(again).toBe(first);
  const [here, beside] = reserveBuffers(again, [100, 900]);
  expect(Math.max(...new Uint8Array(again.memory.buffer, here, 100))).toBe(0);
  expect(Math.max(...new Uint8Array(again.memory.buffer, beside, 900))).toBe(0);
  expect(loadKernels()).not.toBe(again);
});

test('what grew large goes instead of lying idle', () => {
  const large = loadKernels()!;
  reserveBuffers(large, [32 * 2 ** 20]);
  giveBackKernels(large);
  expect(loadKernels()).not.toBe(large);
});

test('many small planes are counted by few instances, the same each time', () => {
  const { Instance } = WebAssembly;
  let made = 0;
  WebAssembly.Instance = class extends Instance {
    constructor(module: WebAssembly.Module, imports?: WebAssembly.Imports) {
      super(module, imports);
      made++;
    }
  };
  onTestFinished(() => {
    WebAssembly.Instance = Instance;
  });
  const plane = createPlane('luminance', 40, 30);
  plane.data.forEach((_, at) => {
    plane.data[at] = (at * 7919) % (ONE + 1);
  });
  const wanted = countValues(plane, { arithmetic: 'scalar' });
  const bytes = Buffer.from(wanted.buffer);
  for (let i = 0; i < 50; i++) expect(Buffer.from(countValues(plane).buffer).equals(bytes)).toBe(true);
  expect(made).toBe(1);
});
