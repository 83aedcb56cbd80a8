import type { DotGrid } from '../../src/plane/index.ts';

/** The numbers of a response model, in the words of its file. */
export interface BurnLaw {
  /** 1/e² diameters of one dot's dose, µm. */
  readonly doseDiameterXUm: number;
  readonly doseDiameterYUm: number;
  /** In units of the solid's mean dose. */
  readonly halfDose: number;
  readonly steepness: number;
  readonly fading: number;
}

export interface Part {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** Points along each side of a cell. */
const POINTS = 6;

/**
 * What dots do to a surface, worked out apart from the code under test, from the law alone: each firing dot leaves a
 * Gaussian dose whose whole is one cell's worth of the solid's mean; doses add up; Hill's law and the fading at high
 * dose turn the sum into strength; the strength of the part is averaged and divided by that of an endless solid.
 */
export function burnByHand(
  dots: { readonly width: number; readonly height: number; readonly data: Uint8Array },
  { law, grid, part }: { readonly law: BurnLaw; readonly grid: DotGrid; readonly part: Part },
): number {
  const [dx, dy] = [law.doseDiameterXUm / 1000, law.doseDiameterYUm / 1000];
  const peak = (8 * grid.pitchMm * grid.lineSpacingMm) / (Math.PI * dx * dy);
  const across = (diameter: number, step: number) => {
    const reach = Math.ceil((1.7 * diameter) / step);
    return Array.from({ length: POINTS }, (_, point) =>
      Array.from({ length: 2 * reach + 1 }, (__, k) => {
        const distance = ((point + 0.5) / POINTS - 0.5 - (k - reach)) * step;
        return Math.exp((-8 * distance * distance) / (diameter * diameter));
      }),
    );
  };
  const alongX = across(dx, grid.pitchMm);
  const alongY = across(dy, grid.lineSpacingMm);
  const strengthOf = (dose: number) => {
    const hill = dose ** law.steepness / (dose ** law.steepness + law.halfDose ** law.steepness);
    return hill * (1 - law.fading) ** (dose * dose);
  };
  const reachX = (alongX[0]!.length - 1) / 2;
  const reachY = (alongY[0]!.length - 1) / 2;
  const average = (fires: (x: number, y: number) => number, area: Part) => {
    let sum = 0;
    for (let y = area.y; y < area.y + area.height; y++)
      for (let x = area.x; x < area.x + area.width; x++)
        for (const down of alongY)
          for (const along of alongX) {
            let dose = 0;
            for (let j = -reachY; j <= reachY; j++)
              for (let i = -reachX; i <= reachX; i++)
                if (fires(x + i, y + j)) dose += along[i + reachX]! * down[j + reachY]!;
            sum += strengthOf(peak * dose);
          }
    return sum / (area.width * area.height * POINTS * POINTS);
  };
  const isInside = (x: number, y: number) => x >= 0 && y >= 0 && x < dots.width && y < dots.height;
  const marked = average((x, y) => (isInside(x, y) ? dots.data[y * dots.width + x]! : 0), part);
  return marked / average(() => 1, { x: 0, y: 0, width: 1, height: 1 });
}

/** Relative luminance of an L* above 8, and back. source: 'cie15'. */
export const luminanceOf = (lightness: number) => ((lightness + 16) / 116) ** 3;
export const lightnessOf = (luminance: number) => 116 * Math.cbrt(luminance) - 16;

/** Luminance of a mean strength between bare and full. source: 'yuleNielsen1951'. */
export function mixByHand(strength: number, { bareL, fullL, n }: { bareL: number; fullL: number; n: number }): number {
  return (strength * luminanceOf(fullL) ** (1 / n) + (1 - strength) * luminanceOf(bareL) ** (1 / n)) ** n;
}
