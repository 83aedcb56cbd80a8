import ndarray from 'ndarray';
import { expect, test } from 'vitest';
import { dotsOf, gatherSamples, planeOf, viewPlane, viewSamples } from '../../src/library/views.ts';
import { createPlane } from '../../src/plane/index.ts';

//  1 2 3
//  4 5 6
const view = () => ndarray(Uint16Array.of(1, 2, 3, 4, 5, 6), [2, 3]);

test.each([
  ['whole', view(), [1, 2, 3, 4, 5, 6]],
  ['rows of it', view().lo(1, 0), [4, 5, 6]],
  ['a crop', view().lo(0, 1).hi(2, 2), [2, 3, 5, 6]],
  ['turned clockwise', view().transpose(1, 0).step(1, -1), [4, 1, 5, 2, 6, 3]],
  ['upside down', view().step(-1, -1), [6, 5, 4, 3, 2, 1]],
  ['mirrored', view().step(1, -1), [3, 2, 1, 6, 5, 4]],
  ['every other column', view().step(1, 2), [1, 3, 4, 6]],
  ['one column', view().lo(0, 2), [3, 6]],
])('%s: the samples come as the view shows them', (_, seen, wanted) => {
  const plane = planeOf('luminance', seen);
  expect([[...plane.data], plane.height, plane.width]).toEqual([wanted, ...seen.shape]);
  for (let y = 0; y < plane.height; y++) {
    for (let x = 0; x < plane.width; x++) expect(plane.data[y * plane.width + x]).toBe(seen.get(y, x));
  }
});

test('what lies without gaps is lent, not copied; what is gathered is not', () => {
  const whole = view();
  expect(planeOf('luminance', whole).data.buffer).toBe(whole.data.buffer);
  expect(planeOf('luminance', whole.lo(1, 0)).data.buffer).toBe(whole.data.buffer);
  expect(planeOf('luminance', whole.step(1, -1)).data.buffer).not.toBe(whole.data.buffer);
  const plane = createPlane('coverage', 3, 2);
  expect(viewPlane(plane).data).toBe(plane.data);
});

test('channels go along with their pixel', () => {
  const rgb = viewSamples(Uint8Array.of(1, 2, 3, 4, 5, 6), { width: 2, height: 1 });
  expect(rgb.shape).toEqual([1, 2, 3]);
  expect([...gatherSamples(rgb.step(1, -1, 1))]).toEqual([4, 5, 6, 1, 2, 3]);
  expect([...gatherSamples(rgb.transpose(1, 0, 2))]).toEqual([1, 2, 3, 4, 5, 6]);
});

test.each([
  ['another kind of array', () => planeOf('luminance', ndarray(new Uint8Array(6), [2, 3]) as never), /no Uint16Array/],
  ['plain numbers', () => planeOf('luminance', ndarray([1, 2, 3, 4], [2, 2]) as never), /no Uint16Array/],
  ['a dimension too many', () => planeOf('luminance', ndarray(new Uint16Array(6), [1, 2, 3])), /1 × 2 × 3/],
  ['nothing', () => planeOf('luminance', ndarray(new Uint16Array(0), [0, 3])), /0 × 3/],
  ['places beyond the memory', () => planeOf('luminance', ndarray(new Uint16Array(6), [2, 4])), /0 to 7, needed 0 … 5/],
  ['places before it', () => planeOf('luminance', ndarray(new Uint16Array(6), [2, 3], [-3, 1], 0)), /from -3/],
  ['more light than white', () => planeOf('luminance', ndarray(Uint16Array.of(32768), [1, 1])), /found 32768 at 0/],
  ['a dot that is no level', () => dotsOf(ndarray(Uint8Array.of(0, 2), [1, 2]), 2), /found 2 at 1, needed 0 … 1/],
  ['levels without meaning', () => dotsOf(ndarray(Uint8Array.of(0), [1, 1]), 1), /levels: found 1/],
])('%s is a fault of the caller', (_, make, words) => {
  expect(make).toThrow(words);
  expect(make).toThrow(/^(?!.*undefined)/);
});
