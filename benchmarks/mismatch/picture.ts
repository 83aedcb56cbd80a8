// Fields of constant coverage on the second engraver, whose truth is known, and pictures of its pieces.
import type { ChartLayout } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { createDots, createPlane, type DotGrid, type Dots, ONE } from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { luminanceOf, meanReflectance, type Surface } from '../../src/simulation/index.ts';
import { simulateCapture } from '../common/simulate-capture.ts';
import { burnOther, createOtherRandom, type OtherMaterial } from './engraver.ts';

/** A flatbed, a phone with a plain sRGB curve, or one with a contrast curve of its own. */
export type Kind = 'scan' | 'photo' | 'unknown';

export interface OtherScreen {
  readonly name: 'floyd-steinberg' | 'blue-noise';
  readonly options: Readonly<Record<string, never>>;
}

/** Coverages of the truth; not simple fractions, where error diffusion falls into textures. */
export const COVERAGES = [
  0, 0.013, 0.03, 0.05, 0.075, 0.105, 0.14, 0.18, 0.22, 0.265, 0.31, 0.36, 0.41, 0.46, 0.515, 0.57, 0.63, 0.69, 0.755,
  0.82, 0.88, 0.93, 0.97, 0.99, 1,
];
const FIELD = { side: 112, rim: 18 } as const;

const encodeSrgb = (light: number) =>
  light <= 0.0031308 ? 12.92 * Math.max(0, light) : 1.055 * Math.min(1, light) ** (1 / 2.4) - 0.055;

/** Fields of constant coverage side by side. */
function drawFields(grid: DotGrid, screen: OtherScreen): Dots {
  const { side } = FIELD;
  const width = COVERAGES.length * side;
  const data = new Uint8Array(width * side);
  COVERAGES.forEach((coverage, at) => {
    const plane = createPlane('coverage', side, side);
    plane.data.fill(Math.round(coverage * ONE));
    const dots = applyScreen(plane, { ...screen.options, name: screen.name, grid });
    for (let y = 0; y < side; y++) data.set(dots.data.subarray(y * side, (y + 1) * side), y * width + at * side);
  });
  return createDots(width, side, 2, data);
}

/** Luminance of even fields of every one of `COVERAGES`, without the grain of the stock. */
export function trueLuminance(
  material: OtherMaterial,
  { seed, screen }: { readonly seed: number; readonly screen: OtherScreen },
): number[] {
  const { grid } = material;
  // Grain is scatter from place to place, not part of the curve.
  const even = { ...material, grainDose: 0, grainLight: 0 };
  const piece = burnOther(drawFields(grid, screen), { material: even, seed });
  const { side, rim } = FIELD;
  return COVERAGES.map((_, at) =>
    luminanceOf(
      meanReflectance(piece, {
        xMm: (at * side + rim) * grid.pitchMm,
        yMm: rim * grid.lineSpacingMm,
        widthMm: (side - 2 * rim) * grid.pitchMm,
        heightMm: (side - 2 * rim) * grid.lineSpacingMm,
      }),
    ),
  );
}

/** A picture by the camera of the chart's tests, with an own contrast curve where it is unknown. */
export function takePicture(
  piece: Surface,
  {
    layout,
    material,
    kind,
    seed,
    withPaper,
  }: {
    readonly layout: ChartLayout;
    readonly material: OtherMaterial;
    readonly kind: Kind;
    readonly seed: number;
    readonly withPaper: boolean;
  },
) {
  const random = createOtherRandom(seed + 4099);
  const between = (low: number, high: number) => low + (high - low) * random();
  const bare = reflectanceOfLightness(material.bareL);
  const solid = reflectanceOfLightness(material.fullL);
  const scan = kind === 'scan';
  const pxPerMm = scan ? (seed % 2 === 0 ? 23.62 : 11.81) : 18;
  const contrast = kind === 'unknown' ? between(1.5, 5) : 0;
  const bend = (code: number) => 1 / (1 + Math.exp(-contrast * (code - 0.5)));
  const encode =
    contrast === 0 ? encodeSrgb : (light: number) => (bend(encodeSrgb(light)) - bend(0)) / (bend(1) - bend(0));
  const ink = {
    width: piece.width,
    height: piece.height,
    perMmX: 1 / piece.pixelWidthMm,
    perMmY: 1 / piece.pixelHeightMm,
    data: Float32Array.from(
      { length: piece.width * piece.height },
      (_, i) => (piece.rgb[3 * i]! - bare) / (solid - bare),
    ),
  };
  const around = withPaper ? 20 : 0;
  const paper = reflectanceOfLightness(90 + 6 * createOtherRandom(seed + 7919)());
  return simulateCapture(ink, layout, {
    width: Math.round((layout.widthMm + (scan ? 10 : 26) + around) * pxPerMm),
    height: Math.round((layout.heightMm + (scan ? 10 : 28) + around) * pxPerMm),
    pxPerMm,
    turnDeg: between(-8, 8) / (scan ? 4 : 1),
    tiltX: scan ? 0 : between(-0.12, 0.12),
    tiltY: scan ? 0 : between(-0.08, 0.08),
    bare,
    solid,
    table: withPaper ? paper : 0.3,
    lightX: between(-0.3, 0.3) / (scan ? 8 : 1),
    lightY: between(-0.25, 0.25) / (scan ? 8 : 1),
    vignetting: scan ? 0 : between(0, 0.25),
    blurPx: scan ? between(0.5, 0.9) : between(0.8, 1.5),
    noise: scan ? 1.5 : 3,
    exposure: Math.min(1.2, 0.8 / Math.max(bare, solid, withPaper ? paper : 0)),
    encode,
    seed,
  }).capture;
}
