import { type ChartLayout, drawChart, layoutChart } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { fillDotTable, type Surface } from '../../material/index.ts';
import { createDots, type Dots, mirrorDots, type Plane } from '../../plane/index.ts';
import { applyScreen, type ScreenName, takesStrength } from '../../screens/index.ts';
import { roundTo } from '../page/html.ts';
import { predictPoints } from '../request/curve.ts';
import { aimTones } from '../request/tones.ts';
import type { JobSpec } from '../request/types.ts';

/**
 * Size of the strip and its distance from the piece. Assumed: five tones with their references, beside a card on common
 * scrap.
 */
export const STRIP_DEFAULTS = { lengthMm: 60, breadthMm: 8, gapMm: 3 } as const;

export type StripSide = 'below' | 'right';

/** Place of the strip's upper left dot, counted from the piece's upper left dot; x right, y down. */
export interface StripOffset {
  readonly xDots: number;
  readonly yDots: number;
  readonly xMm: number;
  readonly yMm: number;
}

/** The control strip that goes beside a piece: seven patches that tell later whether the profile still holds. */
export interface Strip {
  readonly layout: ChartLayout;
  readonly dots: Dots;
  readonly side: StripSide;
  readonly offset: StripOffset;
}

type StripSpec = Pick<
  JobSpec,
  'profile' | 'curve' | 'grid' | 'screen' | 'settings' | 'machine' | 'orientation' | 'side'
>;

/**
 * Layout of the strip as this job burns it: its grid, screen and settings, and tones that the profile puts at equal
 * steps of L*. The same job settings give the same layout, and so the same hash in its tags.
 * @param size of the whole strip, mm; upright where it is higher than wide.
 * @throws AppError profile-unusable when no profile stands behind the job; option-invalid when the size is too small
 */
export function layoutStrip(
  spec: StripSpec,
  size: { readonly widthMm: number; readonly heightMm: number } = {
    widthMm: STRIP_DEFAULTS.lengthMm,
    heightMm: STRIP_DEFAULTS.breadthMm,
  },
): ChartLayout {
  const { profile, grid, screen, settings, machine } = spec;
  if (profile.points.length <= 2 && profile.origin === 'assumed') {
    throw new AppError(
      'profile-unusable',
      'found a material without a profile, needed a learned profile for the strip: there is no tone that it could hold or miss',
    );
  }
  const points = spec.curve === 'predicted' ? predictPoints(spec) : profile.points;
  return layoutChart('check', {
    machine: machine.name,
    material: profile.material,
    direction: profile.direction,
    settings,
    grid,
    screen: { name: screen.name, options: screen.options },
    ...size,
    ...(spec.side?.seen === 'through' ? { seen: 'through' as const } : {}),
    ...(spec.side?.beneath && profile.beneath ? { beneath: spec.side.beneath } : {}),
    expected: points,
    tones: aimTones(points, { kind: 'check', steps: undefined }),
  });
}

/**
 * Dots of a strip, each patch through the screen that its layout names.
 * @param surface what dots leave, for screens that count marks.
 */
export function drawStrip(layout: ChartLayout, surface: Surface): Dots {
  const screen = { ...layout.screen.options, name: layout.screen.name as ScreenName };
  const marks = takesStrength(screen) ? { marks: fillDotTable(surface, layout.grid) } : {};
  return drawChart(layout, (coverage: Plane<'coverage'>, grid) => applyScreen(coverage, { ...screen, grid, ...marks }));
}

/**
 * The strip beside a piece that lies in the middle of the machine's field: below it, else upright to its right,
 * wherever the field has room. Flush with the piece's edge, at whole dots.
 * @param piece size of the piece, dots.
 * @throws AppError size-exceeds-field when no side has room; those of `layoutStrip`
 */
export function makeStrip(spec: StripSpec, piece: { readonly width: number; readonly height: number }): Strip {
  const { grid, machine } = spec;
  const { lengthMm, breadthMm, gapMm } = STRIP_DEFAULTS;
  const [fieldWidth, fieldHeight] = machine.fieldMm;
  const widthMm = piece.width * grid.pitchMm;
  const heightMm = piece.height * grid.lineSpacingMm;
  const [besideX, besideY] = [(fieldWidth - widthMm) / 2, (fieldHeight - heightMm) / 2];
  const lies = besideY >= gapMm + breadthMm && besideX + lengthMm <= fieldWidth;
  const stands = besideX >= gapMm + breadthMm && besideY + lengthMm <= fieldHeight;
  if (!lies && !stands) {
    throw new AppError(
      'size-exceeds-field',
      `strip: found ${Math.max(0, besideX).toFixed(1)} mm beside and ${Math.max(0, besideY).toFixed(1)} mm below a piece of ${widthMm.toFixed(1)} × ${heightMm.toFixed(1)} mm in the field of ${machine.name}, needed ${gapMm + breadthMm} mm; burn a chart of kind "check" by itself`,
      { widthMm, heightMm, neededMm: gapMm + breadthMm },
    );
  }
  const side: StripSide = lies ? 'below' : 'right';
  const layout = layoutStrip(
    spec,
    lies ? { widthMm: lengthMm, heightMm: breadthMm } : { widthMm: breadthMm, heightMm: lengthMm },
  );
  const xDots = lies ? 0 : piece.width + Math.ceil(gapMm / grid.pitchMm);
  const yDots = lies ? piece.height + Math.ceil(gapMm / grid.lineSpacingMm) : 0;
  const offset = { xDots, yDots, xMm: round6(xDots * grid.pitchMm), yMm: round6(yDots * grid.lineSpacingMm) };
  // Burned from behind as the piece is, so that both are looked at from the same side. It lies as the field has room.
  const drawn = drawStrip(layout, spec.profile);
  return { layout, dots: spec.orientation?.mirrored ? mirrorDots(drawn) : drawn, side, offset };
}

/** Piece and strip in one bitmap that starts at the piece's upper left dot; what lies between stays bare. */
export function joinStrip(piece: Dots, { dots, offset }: Pick<Strip, 'dots' | 'offset'>): Dots {
  const joined = createDots(
    Math.max(piece.width, offset.xDots + dots.width),
    Math.max(piece.height, offset.yDots + dots.height),
    Math.max(piece.levels, dots.levels),
  );
  for (const { from, x, y } of [
    { from: piece, x: 0, y: 0 },
    { from: dots, x: offset.xDots, y: offset.yDots },
  ]) {
    for (let row = 0; row < from.height; row++) {
      joined.data.set(from.data.subarray(row * from.width, (row + 1) * from.width), (y + row) * joined.width + x);
    }
  }
  return joined;
}

/** What a ticket says of its strip. */
export interface StripFacts {
  /** Bitmap of its own; null where the strip is part of the picture's bitmap. */
  readonly bitmapFile: string | null;
  readonly layoutFile: string;
  /** Name of the chart that its tags carry. */
  readonly hash: string;
  readonly side: StripSide;
  /** Upper left corner of the strip from the upper left corner of the piece, mm; x right, y down. */
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  /** Time of its own bitmap, s; 0 where it is part of the picture's. */
  readonly seconds: number;
  readonly note: string;
}

/** @param files names of the strip's files, the layout last. */
export function describeStrip(
  { layout, side, offset }: Strip,
  { seconds, files }: { readonly seconds: number; readonly files: readonly string[] },
): StripFacts {
  const { hash, widthMm, heightMm } = layout;
  const { xMm, yMm } = offset;
  const bitmapFile = files.length > 1 ? files[0]! : null;
  const what = bitmapFile === null ? 'The bitmap holds' : `${bitmapFile} is`;
  return {
    bitmapFile,
    layoutFile: files.at(-1)!,
    hash,
    side,
    xMm,
    yMm,
    widthMm,
    heightMm,
    seconds: bitmapFile === null ? 0 : seconds,
    note: `${what} a control strip of ${roundTo(widthMm, 2)} × ${roundTo(heightMm, 2)} mm ${side === 'below' ? 'below' : 'to the right of'} the piece, its upper left corner ${roundTo(xMm, 3)} mm right and ${roundTo(yMm, 3)} mm down from the piece’s. Put waste of the same stock there, at the same height; scan it after burning and run check.`,
  };
}

const round6 = (value: number) => Math.round(value * 1e6) / 1e6;
