import { type JobSpec, tabulateCoverage } from '../../src/job/index.ts';
import { invertAtPlace, type PlaceFacts } from '../../src/job/prepare/evenness.ts';
import { correctPiece } from '../../src/job/prepare/run.ts';
import { createPlane, ONE, type Plane } from '../../src/plane/index.ts';

/**
 * Coverage of a piece whose lightness, L* 0 … 100 of the photo, is known by its dots, through the job's own curve and
 * what is corrected for where each dot lies.
 */
export function coverPiece(
  spec: JobSpec,
  lightnessAt: (at: {
    readonly x: number;
    readonly y: number;
    readonly width: number;
    readonly height: number;
  }) => number,
): { readonly coverage: Plane<'coverage'>; readonly facts: PlaceFacts | undefined } {
  const { size, grid } = spec;
  const width = Math.round(size.widthMm / grid.pitchMm);
  const height = Math.round(size.heightMm / grid.lineSpacingMm);
  const frame = { width, height, ...size, place: { x: 0, y: 0, width, height } };
  const toned = createPlane('luminance', width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const lightness = lightnessAt({ x, y, width, height });
      const light = lightness > 8 ? ((lightness + 16) / 116) ** 3 : lightness / 903.3;
      toned.data[y * width + x] = Math.round(ONE * light);
    }
  }
  const { table } = tabulateCoverage(spec);
  const correction = correctPiece(spec, { table, frame });
  const coverage = correction
    ? invertAtPlace(toned, { correction, frame })
    : createPlane(
        'coverage',
        width,
        height,
        toned.data.map((value) => table.coverage[value]!),
      );
  return { coverage, facts: correction?.facts };
}
