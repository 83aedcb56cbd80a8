import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { createDots, type Dots } from '../../src/plane/index.ts';
import { type MaterialModel, parseMaterialModel } from '../../src/simulation/index.ts';

const FOLDER = 'shared/simulation';

export const MODEL_NAMES = readdirSync(FOLDER)
  .filter((file) => file.endsWith('.json'))
  .map((file) => file.slice(0, -5));

export const readModelJson = (name: string): Record<string, unknown> =>
  JSON.parse(readFileSync(join(FOLDER, `${name}.json`), 'utf8'));

export const readModel = (name: string): MaterialModel => parseMaterialModel(readModelJson(name));

/** A surface without any chance, heat, spread or grain, for numbers that can be worked out on paper. */
export const PLAIN: MaterialModel = {
  schema: 'tonewright-simulation-material/1',
  name: 'plain',
  title: 'plain',
  direction: 'lighter',
  settings: { powerW: 10, speedMmPerS: 1000, passes: 1, scan: 'one-way' },
  reference: { pitchMm: 0.05, lineSpacingMm: 0.05 },
  beam: {
    emission: 'continuous',
    spotDiameterXUm: 80,
    spotDiameterYUm: 80,
    rayleighLengthMm: 2,
    duty: 1,
    jitterUm: 0,
    lineWobbleUm: 0,
    dotEnergySd: 0,
    lineEnergySd: 0,
    returnOffsetUm: 0,
  },
  heat: { gainAlong: 0, lengthAlongUm: 200, gainAcross: 0, lengthAcrossUm: 200 },
  law: { kind: 'threshold', halfDoseJPerCm2: 10, edge: 0.05, order: 1, accumulation: 1 },
  grain: [],
  colour: { bare: [20, 0, 0], half: [50, 0, 0], full: [80, 0, 0], faded: [80, 0, 0] },
  lightSpread: { share: 0, radiusUm: 50 },
  origin: { kind: 'assumed', source: 'commonPractice', note: 'for tests' },
};

/** Dots from a rule. */
export function drawDots(width: number, height: number, fires: (x: number, y: number) => boolean | number): Dots {
  const dots = createDots(width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) dots.data[y * width + x] = Number(fires(x, y));
  }
  return dots;
}
