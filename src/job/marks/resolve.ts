import { AppError } from '../../errors.ts';
import { type Palette, parsePalette, type RefusedMaterial, type Shop } from '../../material/index.ts';
import { notice, withoutCodes } from '../../notices.ts';
import { isProgramFormat } from '../../plane/index.ts';
import { refuseBeyond } from '../request/grid.ts';
import { resolveJob } from '../request/resolve.ts';
import type { MarksRequest, MarksSpec } from './types.ts';

/**
 * Palettes whose colours lie further apart than this beside their lightness are colours to the eye, ΔE in a* b*.
 * Assumed: a palette of greys with a tinge is judged by its lightness alone.
 */
const COLOURFUL = 12;

/**
 * A job of several marks: names turned into records. Its grid, material and machine are the palette's.
 * @throws AppError those of `parsePalette` and `resolveJob`
 */
export function resolveMarks(
  { palette: asked, by, ...request }: MarksRequest,
  { shop, refused }: { readonly shop: Shop; readonly refused: readonly RefusedMaterial[] },
): MarksSpec {
  if (request.caption || request.artwork) {
    throw new AppError(
      'option-invalid',
      'found a caption or a drawing beside several marks, needed one of the two: words stand on jobs of one mark',
    );
  }
  if (request.settings) {
    throw new AppError(
      'option-invalid',
      'found settings beside several marks, needed one of the two: each mark of the palette has its own',
      { options: ['power', 'speed', 'rate', 'pulse', 'passes', 'scan'] },
    );
  }
  if (request.format !== undefined && isProgramFormat(request.format)) {
    throw new AppError(
      'option-invalid',
      `format: found ${request.format} beside several marks, needed a picture of the dots: each mark has settings of its own`,
    );
  }
  const { json, path } = shop.read('palettes', asked);
  const palette = parsePalette(json, path);
  const job = resolveJob(
    { ...request, material: palette.material, machine: palette.machine, ...palette.grid },
    { shop, refused },
  );
  for (const { name, settings } of palette.marks) {
    refuseBeyond(settings, { machine: job.machine, of: `${path}: mark ${name}`, code: 'file-invalid' });
  }
  const warnings = [
    ...(palette.origin === 'assumed' ? [notice('palette-assumed', { palette: palette.name })] : []),
    ...withoutCodes(job.warnings, 'tone-guessed'),
  ];
  return { job, palette, by: by ?? (isColourful(palette) ? 'colour' : 'lightness'), warnings };
}

function isColourful({ bare, marks }: Palette): boolean {
  const colours = [bare, ...marks.map(({ colour }) => colour)];
  return colours.some(([, a, b]) => colours.some((other) => Math.hypot(a - other[1], b - other[2]) > COLOURFUL));
}
