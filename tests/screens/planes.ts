import { createRandom } from '../../src/numeric/index.ts';
import { createPlane, type Dots, ONE, type Plane } from '../../src/plane/index.ts';

export function constantPlane(share: number, width: number, height = width): Plane<'coverage'> {
  const plane = createPlane('coverage', width, height);
  plane.data.fill(Math.round(share * ONE));
  return plane;
}

/**
 * Gradients, hard edges, exactly bare and exactly solid areas, and noise: what photographs and masks bring together.
 */
export function mixedPlane(width: number, height: number, seed = 1): Plane<'coverage'> {
  const random = createRandom(seed);
  const plane = createPlane('coverage', width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const slope = (x / width) * 0.7 + (y / height) * 0.3;
      const area = (Math.floor(x / 23) + 3 * Math.floor(y / 17)) % 7;
      const value = area === 0 ? 0 : area === 3 ? 1 : area === 5 ? random.nextUnit() : slope;
      plane.data[y * width + x] = Math.round(value * ONE);
    }
  }
  return plane;
}

export function meanOfDots({ data, levels }: Dots): number {
  let sum = 0;
  for (const level of data) sum += level;
  return sum / (data.length * (levels - 1));
}

/** Dots as text, `#` fires. */
export function drawDots({ data, width, height }: Dots): string[] {
  return Array.from({ length: height }, (_, y) =>
    Array.from(data.subarray(y * width, (y + 1) * width), (level) => (level > 0 ? '#' : '.')).join(''),
  );
}
