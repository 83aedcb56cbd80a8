import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { luminanceOf } from '../../src/simulation/colour.ts';
import { engrave, meanLightness, parseMaterialModel } from '../../src/simulation/index.ts';
import { colourAt } from '../../src/simulation/law.ts';
import { drawDots, MODEL_NAMES, readModel, readModelJson } from './models.ts';

test('there are at least eight materials, of both mark directions', () => {
  const directions = MODEL_NAMES.map((name) => readModel(name).direction);
  expect(directions.length).toBeGreaterThanOrEqual(8);
  expect(directions.filter((direction) => direction === 'lighter').length).toBeGreaterThanOrEqual(3);
  expect(directions.filter((direction) => direction === 'darker').length).toBeGreaterThanOrEqual(3);
});

describe.each(MODEL_NAMES)('%s', (name) => {
  const model = readModel(name);

  test('is named as its file and says that its numbers are assumed', () => {
    expect([model.name, model.origin.kind]).toEqual([name, 'assumed']);
  });

  test('goes from bare to full without turning back', () => {
    const path = Array.from({ length: 51 }, (_, i) => luminanceOf(colourAt(i / 50, 0, model.colour)));
    const rising = model.direction === 'lighter' ? path : path.reverse();
    expect(rising).toEqual([...rising].sort((a, b) => a - b));
  });

  test('shows its bare colour beside the burn and comes near its full colour in a solid', () => {
    const [size, marginMm] = [60, 2];
    const grid = model.reference;
    const surface = engrave(
      drawDots(size, size, () => true),
      { grid, model, seed: 5, marginMm },
    );
    const bare = meanLightness(surface, { xMm: -1.8, yMm: -1.8, widthMm: size * grid.pitchMm + 3.6, heightMm: 1 });
    const solid = meanLightness(surface, {
      xMm: 12 * grid.pitchMm,
      yMm: 12 * grid.lineSpacingMm,
      widthMm: (size - 24) * grid.pitchMm,
      heightMm: (size - 24) * grid.lineSpacingMm,
    });
    expect(Math.abs(bare - model.colour.bare[0])).toBeLessThan(2.5);
    expect(Math.abs(solid - model.colour.full[0])).toBeLessThan(
      0.2 * Math.abs(model.colour.full[0] - model.colour.bare[0]),
    );
  });
});

describe('a material model from a file is refused', () => {
  const json = readModelJson('slate');
  test.each([
    ['when it is no record', 7],
    ['when a field is missing', { ...json, beam: undefined }],
    ['when a field is unknown', { ...json, beams: 1 }],
    ['when a number is out of range', { ...json, lightSpread: { share: 1.5, radiusUm: 40 } }],
    ['when it names an unknown source', { ...json, origin: { kind: 'assumed', source: 'hearsay', note: 'x' } }],
    ['when its colours contradict its direction', { ...json, direction: 'darker' }],
  ])('%s', (_, broken) => {
    try {
      parseMaterialModel(broken);
      expect.unreachable();
    } catch (error) {
      expect(error).toBeInstanceOf(AppError);
      expect((error as AppError).code).toBe('file-invalid');
    }
  });
});
