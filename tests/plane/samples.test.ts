import { expect, test } from 'vitest';
import { createDots } from '../../src/plane/index.ts';
import { packDots } from '../../src/plane/samples.ts';

test('dots become bits, the first one highest, by kernel and plainly the same, whatever the width', () => {
  for (const [width, height] of [
    [1, 1],
    [7, 3],
    [8, 2],
    [9, 5],
    [64, 1],
    [1001, 300],
  ] as const) {
    const data = Uint8Array.from({ length: width * height }, (_, at) => (Math.imul(at + 7, 0x9e3779b1) >>> 13) & 1);
    const dots = createDots(width, height, 2, data);
    for (const lead of [0, 1]) {
      const [fast, plain] = (['simd', 'scalar'] as const).map((arithmetic) => packDots(dots, { lead, arithmetic }));
      expect(fast).toEqual(plain);
    }
    const { bytes, rowBytes } = packDots(dots);
    for (const [at, dot] of data.entries()) {
      const x = at % width;
      const byte = bytes[((at - x) / width) * rowBytes + (x >> 3)];
      expect((byte >> (7 - (x & 7))) & 1).toBe(1 - dot);
    }
  }
});
